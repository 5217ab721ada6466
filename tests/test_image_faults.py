"""Faults of the controller and of what hangs on it, in the compiled image: doubt goes to heat off.

The simulator shows what software does with a fault, not that hardware is safe.
"""

from __future__ import annotations

from random import Random
from typing import Final

import pytest
import size

import image_busy
import image_flips
import image_memory
import image_stuck
from image_busy import REQUESTS
from image_code import PAINT, RAM_BEGIN, RAM_END, offsets, symbol, within
from image_rig import DRIVES, HEATERS, ms, shared_heating, split
from image_start import Found, decoded, look, new_board, restart, run_to
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause
from tawny.sim.chip import CYCLES_PER_MS, Pin
from tawny.sim.elf import UNUSED_FLASH
from telling import say

SILENT_PINS: Final = (*DRIVES, Pin.CALL_LAMP, Pin.BUZZER)
ALL_ONES: Final = 0xFFFF_FFFF
# Data space of the controller, from its data sheet.
WDTCSR: Final = 0x60
CHANGE_ENABLE, OFF, AT_64_MS, AT_250_MS = 0x18, 0x00, 0x0A, 0x0C


# The start.


@pytest.mark.parametrize("cause", list(ResetCause))
def test_image_keeps_outputs_off_until_it_has_tested_itself(cause: ResetCause) -> None:
    """From the first cycle on, whatever the start's cause: never touched."""

    def begin() -> list[object]:
        board = shared_heating().rig.board
        assert restart(board, cause) == 0
        chip = board.chip
        began = [(chip.call("on_cycles", pin), chip.call("edges", pin)) for pin in SILENT_PINS]
        board.take()
        said = b""
        while b"st=locked" not in said:
            board.advance(board.now_ms + 5)
            said += board.take()
            assert board.now_ms < 2500
        ended = [(chip.call("on_cycles", pin), chip.call("edges", pin)) for pin in SILENT_PINS]
        good = decoded(said)
        boot = next(one for one in good if isinstance(one, m.Boot))
        states = [one.st for one in good if isinstance(one, m.Tele)]
        return [began == ended, states, boot.cause, boot.latch]

    untouched, states, told, latch = split(begin)
    assert untouched
    assert set(states[:-1]) == {"selftest"}
    assert (told, latch) == (cause.value, "none")


def selftest(prepare: str) -> Found:
    """Start a board that has something wrong from the start; for a copy of the process."""
    board = new_board()
    chip = board.chip
    if prepare == "watchdog fuse":
        chip.call("set_fuse", 3, 0xD7)
    elif prepare == "boot fuse":
        chip.call("set_fuse", 3, 0xC6)
    elif prepare == "brown-out fuse":
        chip.call("set_fuse", 2, 0xFF)
    elif prepare == "brown-out level":
        chip.call("set_fuse", 2, 0xFD)
    elif prepare in {"no watchdog", "slow clock", "fast clock"}:
        assert run_to(chip, symbol(chip.image, "main"), 100)
        rate = {"no watchdog": OFF, "slow clock": AT_64_MS, "fast clock": AT_250_MS}[prepare]
        chip.call("store", WDTCSR, CHANGE_ENABLE)
        chip.call("store", WDTCSR, rate)
    return look(board, 3000)


@pytest.mark.parametrize(
    "wrong",
    [
        "watchdog fuse",
        "boot fuse",
        "brown-out fuse",
        "brown-out level",
        "no watchdog",
        "slow clock",
        "fast clock",
    ],
)
def test_image_trips_on_what_its_start_finds(wrong: str) -> None:
    """Fuses, a watchdog that does not bite, a clock at half or twice its rate against it."""
    found = Found.of(split(lambda: selftest(wrong)))
    assert (found.state, found.latch, found.driven) == ("tripped", "selftest", False)


def test_image_starts_with_nothing_wrong() -> None:
    """The same start without a fault does not trip."""
    found = Found.of(split(lambda: selftest("nothing")))
    assert (found.state, found.latch) == ("ready", "none")


# Resets.


@pytest.mark.slow
def test_image_reset_at_any_instruction_ends_heat() -> None:
    """Outputs off in the same cycle, and nothing armed or driven afterwards, for every cause."""
    random = Random(1)  # noqa: S311 - chance, not secrets

    def cut(cycles: int, cause: ResetCause) -> list[object]:
        host = shared_heating()
        host.run(host.now + cycles)
        assert any(host.level(pin) for pin in DRIVES)
        levels = restart(host.rig.board, cause)
        return [levels, look(host.rig.board)]

    for at in range(60):
        cause = list(ResetCause)[at % len(ResetCause)]
        cycles = random.randrange(1000 * CYCLES_PER_MS)
        levels, told = split(lambda cycles=cycles, cause=cause: cut(cycles, cause))
        found = Found.of(told)
        assert levels == 0
        assert (found.state, found.latch, found.driven) == ("ready", "none", False)
        assert (found.cause, found.trip) == (cause.value, image_memory.DEFAULT_TRIP)


@pytest.mark.slow
@pytest.mark.parametrize("what", ["trip", "reduce", "charge", "silence"])
def test_image_reset_while_it_writes_loses_nothing(what: str) -> None:
    """In the middle of a byte: off, not armed, a begun latch kept, the trip point never higher."""
    random = Random(what)  # noqa: S311 - chance, not secrets
    deeds = [image_memory.draw(random, what) for _ in range(30)]
    cuts = [image_memory.Cut(*split(lambda deed=deed: image_memory.cut(deed))) for deed in deeds]
    cuts = [cut._replace(found=Found.of(cut.found)) for cut in cuts]
    wrong = [image_memory.wrong_cut(*both) for both in zip(deeds, cuts, strict=True)]
    assert [text for text in wrong if text] == []
    assert sum(cut.was_writing for cut in cuts) > 15
    if what == "trip":
        assert sum(cut.latch_begun for cut in cuts) > 15
    if what == "reduce":
        assert {cut.found.trip for cut in cuts} >= {image_memory.REDUCED}


def test_image_begins_to_store_a_latch_at_once() -> None:
    """The first byte of the latch is being written within a pass of the cut-off."""

    def wait() -> float:
        host = shared_heating()
        before = host.chip.eeprom
        image_memory.do(host, "trip")
        began = host.now
        while host.chip.eeprom[:5] == before[:5]:
            host.live(0.1, step_ms=0.1)
        return ms(host.now - began)

    took = split(wait)
    say(f"latch begun {took:.1f} ms after the cut-off")
    assert took <= 10


@pytest.mark.slow
def test_image_survives_any_byte_of_its_memory() -> None:
    """Bytes of each record and some of the log with other values; latched and not."""
    random = Random(1)  # noqa: S311 - chance, not secrets
    addresses = [
        *range(48),
        *random.sample(range(48, 256), 12),
        *random.sample(range(256, 1024), 8),
    ]
    cases = random.sample(image_memory.cases(addresses, random), 200)
    found = [Found.of(split(lambda case=case: image_memory.corrupt(case))) for case in cases]
    wrong = [(one, image_memory.wrong(one, came)) for one, came in zip(cases, found, strict=True)]
    assert [one for one in wrong if one[1]] == []
    assert any(one.latch == "selftest" for one in found)


# Converters.


@pytest.mark.parametrize("raw", [0, ALL_ONES])
def test_image_takes_a_stuck_bus_for_no_sensor(raw: int) -> None:
    """All zeros or all ones from the start on: never ready, and not armed."""

    def begin() -> Found:
        board = new_board()
        board.start(lambda _: raw, ResetCause.POWER, inputs=m.IN_MAINS, selftest_fails=False)
        return look(board)

    found = Found.of(split(begin))
    assert (found.state, found.latch, found.driven) == ("locked", "none", False)


@pytest.mark.parametrize("halves", [(Half.UPPER,), (Half.LOWER,), (Half.UPPER, Half.LOWER)])
@pytest.mark.parametrize("raw", [0, ALL_ONES])
def test_image_trips_on_a_bus_that_sticks(raw: int, halves: tuple[Half, ...]) -> None:
    """While it heats: off within a second, tripped by `sensor`."""

    def stick() -> list[object]:
        host = shared_heating()
        began = host.now
        for half in halves:
            host.rig.set_register(half, raw)
        host.live(1500)
        tele = host.last(m.Tele)
        return [tele.st, tele.fo, ms(max(host.edge(pin) for pin in HEATERS) - began)]

    state, first_out, took = split(stick)
    assert (state, first_out) == ("tripped", "sensor")
    assert took <= 1000


# Flash.


def test_image_finds_flips_of_its_flash_at_the_start() -> None:
    """A bit anywhere in the image: heat never; and tripped, or it never comes to life.

    Of the code that tests and decides some bits hide themselves: about one in a thousand, as
    `campaigns/flash_bits.py` counts them.
    """
    random = Random(1)  # noqa: S311 - places, not secrets
    length = len(new_board().chip.image.flash)
    bits = [(random.randrange(length), random.randrange(8)) for _ in range(60)]
    came = [image_stuck.try_bit(address, bit) for address, bit in bits]
    assert not any(heats for _, heats in came)
    believed = [state for state, _ in came if state not in image_stuck.UNFIT]
    assert len(believed) <= 1, believed


@pytest.mark.slow
@pytest.mark.parametrize("where", ["begin", "middle", "end"])
def test_image_finds_flips_of_its_flash_while_it_runs(where: str) -> None:
    """In a word that never runs, right after it was tested: a self-test's trip within 10 min."""
    image = new_board().chip.image
    address = {
        "begin": UNUSED_FLASH,
        "middle": symbol(image, "march_bad"),
        "end": symbol(image, "__stop_program"),
    }[where]
    took = split(lambda: image_stuck.flipped_while_running(address, 600_000))
    say(f"flash bit at {address:#x} found after {took / 1000:.0f} s")
    assert took <= 600_000


# RAM and stack.


@pytest.mark.parametrize(("bit", "value"), [(0, 0), (3, 1), (7, 0), (7, 1)])
@pytest.mark.parametrize("place", ["first", "unit", "last"])
def test_image_finds_a_stuck_bit_of_ram_at_the_start(place: str, bit: int, value: int) -> None:
    """The march finds a bit that holds 0 or 1, in the first byte, in the middle and in the last."""
    unit = symbol(new_board().chip.image, "unit")
    address = {"first": RAM_BEGIN, "unit": unit + 200, "last": RAM_END - 1}[place]
    found = Found.of(split(lambda: image_stuck.march(image_stuck.stuck_at(address, bit, value))))
    assert (found.state, found.latch) == ("tripped", "selftest")


@pytest.mark.parametrize("line", [0, 4, 8, 10])
def test_image_finds_two_addresses_with_one_cell(line: int) -> None:
    """The march finds an address line that does not reach the RAM."""
    address = 0x300
    found = Found.of(
        split(lambda: image_stuck.march(image_stuck.shared(address, address ^ 1 << line)))
    )
    assert (found.state, found.latch) == ("tripped", "selftest")


@pytest.mark.parametrize(("bit", "value"), [(2, 0), (6, 1)])
def test_image_finds_a_stuck_bit_of_ram_while_it_heats(bit: int, value: int) -> None:
    """The slice that comes to it trips, with everything off."""
    came = split(lambda: image_stuck.slice_over(0x600, bit, value))
    assert came == ["tripped", "selftest", 0]


def test_image_tests_all_its_ram_every_10_min() -> None:
    """The running test's pointer comes to each pair of bytes within a minute."""
    seen = split(lambda: sorted(image_stuck.walk(60_000)))
    assert set(seen) == set(range(RAM_BEGIN, RAM_END, 2))


@pytest.mark.parametrize("byte", [0, 1])
def test_image_watches_the_end_of_its_stack(byte: int) -> None:
    """A byte below the stack that changes trips in the next pass."""

    def spoil() -> list[object]:
        host = shared_heating()
        host.chip.call("poke", symbol(host.chip.image, "__heap_start") + byte, 0x00)
        began = host.now
        host.live(400)
        tele = host.last(m.Tele)
        return [tele.st, tele.fo, ms(max(host.edge(pin) for pin in DRIVES) - began)]

    state, first_out, took = split(spoil)
    assert (state, first_out) == ("tripped", "selftest")
    assert took <= 60


def test_image_feeds_the_watchdog_only_after_a_whole_pass() -> None:
    """With the signature of its stages wrong in each pass it is reset; everything is off."""

    def spoil() -> list[float]:
        host = shared_heating()
        flow = within(host.chip.image, "flow")
        resets, began = host.chip.call("resets"), host.now
        while host.chip.call("resets") == resets and host.now < began + 1000 * CYCLES_PER_MS:
            host.chip.call("poke", flow, 0)
            host.chip.run(host.now + CYCLES_PER_MS // 10)
        return [ms(host.now - began), sum(host.level(pin) for pin in DRIVES)]

    took, levels = split(spoil)
    assert took <= 300
    assert levels == 0


def test_image_paints_its_stack() -> None:
    """Whatever stood in the stack's room, before the first call it holds the paint."""

    def paint() -> list[int]:
        chip = new_board().chip
        chip.run(chip.cycle + 600 * CYCLES_PER_MS)
        begin = symbol(chip.image, "__heap_start")
        for address in range(begin, RAM_END):
            chip.call("poke", address, 0x11)
        chip.call("reset", 2)
        assert run_to(chip, symbol(chip.image, "main"), 100)
        return sorted({chip.call("peek", address) for address in range(begin, RAM_END - 4)})

    assert split(paint) == [PAINT]


def test_image_stack_stays_within_its_room() -> None:
    """After a busy time and every kind of request: at most 75 %, and less than the code's bound."""
    bound = size.measure(new_board().chip.image.path)

    def deepest() -> int:
        host = image_busy.busy_host()
        image_busy.busy(host)
        for request in REQUESTS:
            host.send(*request)
            host.live(200)
        begin = symbol(host.chip.image, "__heap_start")
        touched = (at for at in range(begin, RAM_END) if host.chip.call("peek", at) != PAINT)
        return RAM_END - next(touched)

    depth = split(deepest)
    say(f"stack: {depth} bytes seen, {bound['stack']} bound, {bound['room']} room")
    assert 40 < depth <= 0.75 * bound["room"]
    assert depth <= bound["stack"]


@pytest.mark.slow
def test_image_heats_on_no_bit_that_turns_over() -> None:
    """Each byte of the safety core's memory and 250 others: heat off, or nothing unsafe."""
    random = Random(1)  # noqa: S311 - chance, not secrets
    image = shared_heating().chip.image
    core, end = within(image, "safety"), symbol(image, "unit") + offsets(())[""]
    addresses = [*range(core, end), *random.choices(range(RAM_BEGIN, RAM_END), k=250)]
    flips = [image_flips.draw(random, address) for address in addresses]
    came = [
        image_flips.Outcome(*split(lambda flip=flip: image_flips.try_flip(flip))) for flip in flips
    ]
    assert [both for both in zip(flips, came, strict=True) if both[1].unsafe] == []
    cores = [one for flip, one in zip(flips, came, strict=True) if core <= flip.address < end]
    assert sum(one.settled != "heats" for one in cores) >= 0.95 * len(cores)


@pytest.mark.parametrize("bit", [0, 1])
@pytest.mark.parametrize("half", ["upper", "lower"])
def test_image_judges_every_half_whatever_its_memory_says(half: str, bit: int) -> None:
    """A bit of `zones` that turns over leaves no half unread: too hot is still too hot."""
    zones = within(shared_heating().chip.image, "build.zones")
    flip = image_flips.Flip(zones, bit, 0, 20_000, half)
    assert image_flips.Outcome(*split(lambda: image_flips.try_flip(flip))).unsafe == ""


def test_image_does_not_seal_in_what_turned_over_while_it_worked() -> None:
    """The core's own count of halves, turned over at 24 moments of a pass: still too hot is off."""
    counted = within(shared_heating().chip.image, "safety.rules.halves")
    flips = [image_flips.Flip(counted, 1, 0, at, "lower") for at in range(1000, 25_000, 1000)]
    came = [
        image_flips.Outcome(*split(lambda flip=flip: image_flips.try_flip(flip))) for flip in flips
    ]
    assert [one.unsafe for one in came] == [""] * len(flips)
