"""The contactor's pulse train: no state that a fault can leave the image in keeps it running."""

from __future__ import annotations

from itertools import pairwise
from random import Random
from typing import Final

import pytest

import image_busy
from board_rig import Bench
from elf_rig import ElfRig
from image_busy import busy_host
from image_code import INTERRUPTS_OFF, NOTHING, SLEEP, functions, symbol
from image_hang import REACHED_MS, TRAIN_MS, WATCHDOG_MS, Hang, stop_at, turn, watch
from image_rig import DRIVES, HEATERS, OVER_C, Host, ms, ran, shared_heating, split
from image_start import Found, look, new_board, restart, run_to
from tawny.core import messages as m
from tawny.core.names import ResetCause
from tawny.sim.chip import CYCLES_PER_MS, Chip, Pin
from telling import say

TICK_CYCLES: Final = CYCLES_PER_MS // 2  # an edge each: 1 kHz
TRAIN: Final = Pin.CONTACTOR_TRAIN
# Registers in data space, from the controller's data sheet.
TCCR0A, TCCR1A, TCCR2A, TCCR1B, TIMSK1, OCR1AH, OCR1AL = 0x44, 0x80, 0xB0, 0x81, 0x6F, 0x89, 0x88
COMPARE_OUTPUTS: Final = 0xF0  # the COM bits
INTERRUPTS: Final = ("__vector_11", "__vector_18", "__vector_19")  # tick, byte came, byte may go


def edges(rig: ElfRig) -> int:
    """Return how often the train's pin has moved."""
    return rig.chip.call("edges", TRAIN)


# Only while it is permitted.


def test_image_train_waits_for_arming() -> None:
    """Still from power-on through start, session, ready, challenge and answer; on by the press."""
    rig = ElfRig()
    bench = Bench(rig).greet()
    bench.run(1.0)
    assert bench.state == "ready"
    assert bench.why(bench.request(m.ArmAnswer, bench.challenge())) == ""
    bench.run(1.0)
    assert edges(rig) == 0
    bench.press_arm()
    assert bench.state == "armed"
    assert edges(rig) > 100


@pytest.mark.parametrize("by", ["disarm", "bye", "button", "mains", "trip"])
def test_image_train_ends_with_its_permission(by: str) -> None:
    """Disarming, the end of the session, button, mains and a trip stop it, and it stays so."""

    def stop() -> list[float]:
        host = shared_heating()
        began = host.now
        if by == "trip":
            host.set_c(OVER_C)
        elif by in {"button", "mains"}:
            bit = m.IN_BUTTON if by == "button" else m.IN_MAINS
            host.rig.board.set_input(bit, on=by == "button")
        else:
            began = host.send({"disarm": m.Disarm, "bye": m.Bye}[by])
        host.live(600)
        stopped, count = host.edge(TRAIN), host.chip.call("edges", TRAIN)
        host.live(2000)
        more = host.chip.call("edges", TRAIN) - count
        return [ms(stopped - began), more, host.level(TRAIN)]

    took_ms, more, level = split(stop)
    limit_ms = 550 if by == "trip" else 100
    assert 0 < took_ms <= limit_ms
    assert (more, level) == (0, 0)


def test_image_train_is_1_khz() -> None:
    """Every half period is 0.5 ms within 2 %, over a busy quarter of a minute to its end."""

    def halves() -> list[int]:
        host = busy_host()
        found: list[int] = []
        seen = host.now

        def look() -> None:
            nonlocal seen
            cycles = [cycle for cycle, _ in host.edges(TRAIN) if cycle >= seen]
            found.extend(later - earlier for earlier, later in pairwise(cycles))
            seen = cycles[-1] if cycles else seen

        host.after_step = look
        image_busy.busy(host)
        return found

    found = split(halves)
    say(f"train: {len(found)} half periods of {min(found)} to {max(found)} cycles")
    assert len(found) > 20_000
    assert min(found) >= 0.98 * TICK_CYCLES
    assert max(found) <= 1.02 * TICK_CYCLES


def test_image_drives_no_pin_by_a_timer() -> None:
    """Through start, arming, heat and trip no compare output is connected: each ms is looked at."""

    def look(chip: Chip) -> None:
        assert chip.call("peek", TCCR1A) & COMPARE_OUTPUTS == 0
        assert chip.call("peek", TCCR0A) == 0
        assert chip.call("peek", TCCR2A) == 0

    rig = ElfRig()
    looks = 0
    advance = rig.advance

    def step(ms: int) -> None:
        nonlocal looks
        for _ in range(ms):
            advance(1)
            look(rig.chip)
            looks += 1

    rig.advance = step  # type: ignore[method-assign]
    bench = Bench(rig, 208.0, 208.0).greet().arm()
    bench.setpoints = (2000, 2000)
    bench.run(1.0, (600, 600))
    bench.upper_c = OVER_C
    bench.run(1.0, (600, 600))
    assert bench.tele.st == "tripped"
    assert looks > 4000


# Nothing that hangs keeps it.


def hang_at(address: int) -> Hang | None:
    """Hang a heating board at an address of its image."""
    host = shared_heating()
    assert all(host.level(pin) for pin in HEATERS)
    turned = stop_at(host, address)
    return None if turned is None else watch(host, turned)


def check(hang: Hang) -> None:
    """Hold what follows a hang to its limits."""
    assert hang.train <= TRAIN_MS
    assert hang.enabled <= TRAIN_MS + 100
    assert hang.heaters <= WATCHDOG_MS
    assert hang.cause == "watchdog"
    assert hang.state.endswith(" none")
    assert not hang.driven
    assert not hang.state.startswith("armed")


def ran_in_a_second() -> dict[str, list[int]]:
    """Return addresses that ran in a second of heating, by function."""

    def cover() -> list[int]:
        host = shared_heating()
        host.send(m.LogAsk, 0)
        return ran(host, 1000)

    return functions(shared_heating().chip.image, split(cover))


@pytest.mark.slow
def test_image_hung_anywhere_lets_go() -> None:
    """Hung at a place of each function and ten of the main one: train, pins, restart, no heat."""
    random = Random(1)  # noqa: S311 - places, not secrets
    by_function = ran_in_a_second()
    wanted = [random.choice(at) for name, at in by_function.items() if name not in INTERRUPTS]
    wanted += random.sample(by_function["main"], 10)
    came = [split(lambda at=at: hang_at(at)) for at in wanted]
    hangs = [Hang(*one) for one in came if one is not None]
    assert len(hangs) >= max(20, len(wanted) * 9 // 10)
    for hang in hangs:
        check(hang)
    train, enable, pins = (
        max(times)
        for times in zip(*((one.train, one.enabled, one.heaters) for one in hangs), strict=True)
    )
    say(
        f"{len(hangs)} hangs, at most: train {train:.1f} ms of {TRAIN_MS}, "
        f"enable circuit {enable:.1f} ms, pins {pins:.1f} ms of {WATCHDOG_MS}"
    )


@pytest.mark.parametrize("interrupt", INTERRUPTS)
def test_image_hung_in_an_interrupt_lets_go(interrupt: str) -> None:
    """There no other interrupt comes through: the train stops with the next edge at the latest."""
    address = shared_heating().chip.image.symbols[interrupt]
    came = split(lambda: hang_at(address))
    assert came is not None
    hang = Hang(*came)
    check(hang)
    assert hang.train <= ms(TICK_CYCLES)


def test_image_without_interrupts_lets_go() -> None:
    """Interrupts switched off where the loop would sleep: the train stops with the tick."""

    def stop() -> Hang:
        host = shared_heating()
        (sleep,) = ran(host, 20, SLEEP)
        turned = stop_at(host, sleep, INTERRUPTS_OFF)
        assert turned is not None
        return watch(host, turned)

    hang = Hang(*split(stop))
    check(hang)
    assert hang.train <= ms(TICK_CYCLES)


@pytest.mark.parametrize("level", [False, True])
@pytest.mark.parametrize("how", ["clock", "interrupt"])
def test_image_without_a_tick_lets_go(how: str, level: bool) -> None:  # noqa: FBT001 - a parameter
    """The timer stops with the pin at either level: the enable circuit lets go within 100 ms."""

    def stop() -> list[float]:
        host = shared_heating()
        while host.level(TRAIN) != level:
            host.live(0.1, step_ms=0.1)
        host.chip.call("store", {"clock": TCCR1B, "interrupt": TIMSK1}[how], 0)
        began = host.now
        host.chip.run(began + 100 * CYCLES_PER_MS)
        assert host.level(TRAIN) == level
        assert host.edge(TRAIN) <= began
        assert not host.rig.board.contactor
        let_go = ms(host.chip.call("enable_changed") - began)
        return [let_go, *watch(host, [])]

    let_go, *rest = split(stop)
    assert let_go <= 100
    check(Hang(*rest))


@pytest.mark.parametrize("factor", [8, 1 / 8])
def test_image_tick_at_another_rate_lets_go(factor: float) -> None:
    """A tick eight times too slow, or too fast: heat is off within a second."""

    def change() -> float:
        host = shared_heating()
        counts = round(1000 * factor) - 1
        host.chip.call("store", OCR1AH, counts >> 8)
        host.chip.call("store", OCR1AL, counts & 0xFF)
        began = host.now
        host.chip.run(began + 1000 * CYCLES_PER_MS)
        assert not any(host.level(pin) for pin in HEATERS)
        return ms(max(host.edge(pin) for pin in DRIVES) - began)

    assert split(change) <= 1000


# The watchdog's resets are counted.


def hang_again(host: Host) -> Hang:
    """Hang a board wherever it sleeps."""
    (sleep,) = ran(host, 20, SLEEP)
    turned = stop_at(host, sleep)
    assert turned is not None
    return watch(host, turned)


@pytest.mark.parametrize("after_ms", [5, 60, 110])
def test_image_tests_its_watchdog_anew_after_a_reset_in_the_middle_of_that(after_ms: int) -> None:
    """A button that bounces at power-up leaves no board that fails each test from then on."""

    def interrupt() -> Found:
        board = new_board()
        assert run_to(board.chip, symbol(board.chip.image, "main"), 100)
        board.chip.run(board.chip.cycle + after_ms * CYCLES_PER_MS)
        restart(board, ResetCause.BUTTON)
        return look(board, 3000)

    found = Found.of(split(interrupt))
    assert (found.state, found.latch, found.cause) == ("ready", "none", "button")


def test_image_trips_at_the_third_watchdog_reset() -> None:
    """Two within 10 min are told as the cause; the third trips `selftest`."""

    def three() -> list[Hang]:
        host = shared_heating()
        host.duty = None
        return [hang_again(host) for _ in range(3)]

    first, second, third = (Hang(*one) for one in split(three))
    assert first.state == second.state == "locked none"
    assert third.state == "tripped selftest"
    assert first.cause == second.cause == third.cause == "watchdog"


def test_image_forgets_watchdog_resets_after_10_min() -> None:
    """Ten minutes without one, and the count begins anew."""

    def three() -> list[Hang]:
        host = shared_heating()
        host.duty = None
        hangs = [hang_again(host) for _ in range(2)]
        host.chip.poke("board_ms", 599_900, 4)
        host.live(300)
        return [*hangs, hang_again(host)]

    assert Hang(*split(three)[2]).state == "locked none"


def test_image_rig_hangs_are_real() -> None:
    """The same watch over a board that does not hang: the train runs on, and nothing is reset."""

    def not_hung() -> list[float]:
        host = shared_heating()
        (sleep,) = ran(host, 20, SLEEP)
        turned = stop_at(host, sleep, NOTHING)  # it then never sleeps, but lives
        assert turned is not None
        began, resets = host.now, host.chip.call("resets")
        host.live(REACHED_MS)
        turn(host, turned)
        return [ms(host.edge(TRAIN) - began), host.chip.call("resets") - resets]

    last, resets = split(not_hung)
    assert last > REACHED_MS - 2
    assert resets == 0
