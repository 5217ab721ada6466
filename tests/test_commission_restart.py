"""Commissioning over restarts, silence and a clock that wraps: measured right, or begun anew."""

from __future__ import annotations

import msgspec
import pytest

from commission_rig import DEEDS, Deed, Rig, arm
from tawny.core import messages as m
from tawny.core.commission import Outcome
from tawny.core.names import Half, ResetCause
from tawny.core.snapshot import Code
from tawny.core.wire import decode_to_board
from tawny.link import events as e
from tawny.service.commission_samples import Samples
from tawny.sim.build import build_for
from tawny.sim.commands import ContactorFault
from tawny.sim.commission import measure
from tawny.sim.memory import Memory
from tawny.sim.parameters import load
from tawny.sim.sim_boards import SimBoards

# As in test_commission.py, but for the lag: noise moves it by 1 s or 2 of 16 s.
RISE_WITHIN, LAG_WITHIN, HEAT_UP_WITHIN = 0.10, 0.25, 0.15
DAY_MS = 86_400_000
WRAP_MS = 1 << 32


def assert_measured_right(rig: Rig) -> None:
    """Compare what would be stored with the model's own figures."""
    true = measure(load("saucer-160"))
    halves = rig.commissioner._halves  # noqa: SLF001
    assert set(halves) == set(Half)
    for half, own in halves.items():
        there = true.half(half)
        assert own.rise_k_per_s == pytest.approx(there.rise_k_per_s, rel=RISE_WITHIN), half
        assert own.lag_s == pytest.approx(there.lag_s, rel=LAG_WITHIN), half
        assert own.heat_up_s == pytest.approx(there.heat_up_s, rel=HEAT_UP_WITHIN), half


@pytest.mark.parametrize("clock_ms", [3_600_000, 20 * DAY_MS])
def test_commission_takes_no_longer_on_a_board_that_ran_before(clock_ms: int) -> None:
    """The plug pulled for the permission sets the board's clock to 0; nobody waits for it again."""
    rig = Rig(step="permission", clock_ms=clock_ms)
    assert rig.run(2000.0, lambda: rig.commissioner.step == "hot_lamp"), rig.last(5)

    assert rig.codes("failed") == []
    assert_measured_right(rig)


def test_commission_measures_over_the_wrap_of_the_boards_clock() -> None:
    """2^32 ms are 49.7 days: it comes in the heat of the upper half."""
    rig = Rig(step="measure_upper", clock_ms=WRAP_MS - 100_000)
    assert rig.run(2000.0, lambda: rig.commissioner.step == "hot_lamp"), rig.last(5)

    assert rig.world.board_ms > WRAP_MS
    assert rig.codes("failed") == []
    assert_measured_right(rig)


def restart(rig: Rig) -> None:
    """The board starts again; its USB plug stays where it is."""
    rig.hand.restart(ResetCause.BROWNOUT)


def silence(rig: Rig) -> None:
    """The plug is out for 2 min; the board has a supply of its own and runs on."""
    rig.hand.plug(plugged=False)
    rig.world.after(120_000, lambda: rig.hand.plug(plugged=True) and None)


@pytest.mark.parametrize(
    ("what", "half", "asked", "later_s"),
    [
        (restart, "upper", "heating", 150.0),
        (silence, "upper", "rest_after", 250.0),
        (restart, "lower", "rest_before", 15.0),
        (restart, "lower", "heating", 20.0),
        (silence, "lower", "let_go_of_arm", 0.1),
        (silence, "lower", "rest_after", 5.0),
    ],
)
def test_commission_measures_anew_after_an_interruption(
    what: Deed, half: str, asked: str, later_s: float
) -> None:
    """The step fails; done again it ends with true figures, of the half measured before too."""
    rig = Rig(step="measure_upper")
    times = 1 if half == "upper" else 2
    assert rig.run(2000.0, lambda: rig.codes("do").count(asked) == times), rig.last(5)
    rig.run(later_s)
    what(rig)
    rig.until_outcome(Outcome.FAILED, 60.0)
    assert rig.codes("failed") in (["board_restarted"], ["no_link"])
    rig.run(180.0)
    rig.world.set_input(m.IN_ARM, on=False)
    rig.commissioner.typed("", rig.now_ms)

    assert rig.run(9000.0, lambda: rig.commissioner.step == "hot_lamp"), rig.last(5)
    assert len(rig.codes("failed")) == 1
    assert_measured_right(rig)


def test_commission_measures_right_after_a_restart_between_two_halves() -> None:
    """In the wait for the board's rest, where it may start again: the upper half stays true."""
    rig = Rig(step="measure_upper")
    rig.deeds["rest_after"] = arm(down=True)  # so that the board is not at rest after it
    assert rig.run(2000.0, lambda: rig.codes("do")[-1:] == ["clear"] and len(rig.said) > 9)
    rig.run(5.0)
    rig.hand.restart(ResetCause.POWER)
    rig.run(20.0)
    rig.deeds.pop("rest_after")
    arm(down=False)(rig)

    assert rig.run(2000.0, lambda: rig.commissioner.step == "hot_lamp"), rig.last(5)
    assert rig.codes("failed") == []
    assert_measured_right(rig)


def warming(number: int) -> m.Tele:
    """Return a line of an upper half that rises by 0.25 K/s at full duty, from the 200th on."""
    value, on_ms = 220 + max(number - 200, 0) // 2, number * 200 % 65536
    blank = m.Tele(0, 0, 220, "0", 0, 0, 220, "0", 0, 0, "locked", "none", 0, 0, 0)
    return msgspec.structs.replace(blank, n=number, u=value, uo=on_ms)


def test_samples_of_a_measurement_that_was_interrupted_are_never_read_out() -> None:
    """A start of the board, or 3 s without a line, in any part of it; what was read stays."""

    def measured(*, broken_at: int, gap_ms: int, boots: int) -> tuple[Samples, int, str]:
        samples, at_ms, why = Samples(), 0, ""
        for number in range(1000):
            at_ms += 200 + gap_ms * (number == broken_at)
            samples.take(warming(number), at_ms, 1 + boots * (number >= broken_at))
            if number == 100:
                samples.begin(Half.UPPER, at_ms)
            elif number == 200:
                samples.heat_on(Half.UPPER, at_ms)
            elif number == 800:
                trouble = samples.heat_off(Half.UPPER, at_ms)
                why = "" if trouble is None else trouble.code
        return samples, at_ms, why

    for broken_at in (150, 500, 900):
        for gap_ms, boots in ((0, 1), (3001, 0)):
            samples, _, why = measured(broken_at=broken_at, gap_ms=gap_ms, boots=boots)
            assert why == ("" if broken_at == 900 else "no_fit")
            assert samples.fit(Half.UPPER, 22.0) is None
    for broken_at, gap_ms, boots in ((50, 9000, 1), (500, 2600, 0)):
        samples, at_ms, _ = measured(broken_at=broken_at, gap_ms=gap_ms, boots=boots)
        first = samples.fit(Half.UPPER, 22.0)
        assert first is not None
        for number in range(1, 500):  # it cools, faster than any half does
            samples.take(warming(1000 - number), at_ms + 200 * number, 7)
        assert samples.fit(Half.UPPER, 22.0) == first


def weld_unseen(rig: Rig) -> None:
    """The contactor welds, and nobody hears of it."""
    rig.deaf = True
    rig.hand.contactor(ContactorFault.WELDED)


@pytest.mark.parametrize("step", ["heat_off", "thermostat_upper", "mains", "permission", "mirror"])
def test_commission_passes_no_contactor_on_old_telemetry(step: str) -> None:
    """What was out a moment ago and is welded now: nothing is recorded, no link is told."""
    rig = Rig(step=step)
    rig.deeds["contactor_stays_out"] = weld_unseen
    rig.until_outcome(Outcome.FAILED, 300.0)

    assert rig.codes("failed") == ["no_link"]
    assert rig.codes("passed") == []


@pytest.mark.parametrize("event", ["down", "reset", "up"])
def test_commission_forgets_a_line_once_the_link_or_the_board_was_away(event: str) -> None:
    """A line of half a second ago says nothing of a board that has started since."""
    rig = Rig(step="heat_off")
    rig.until_asked("hold_arm_for_contactor")
    rig.run(0.5)
    here, limits, mould = rig.session.here, rig.session.limits, rig.session.mould
    assert here is not None
    assert limits is not None
    assert mould is not None
    events = {"down": e.Down(Code("port_gone")), "reset": e.BoardReset(2, "power")}
    board = rig.commissioner._board  # noqa: SLF001
    assert board.fresh(rig.now_ms) is not None
    board.take(events.get(event, e.Up(here, limits, mould)), rig.now_ms)

    assert board.fresh(rig.now_ms) is None
    assert not board.arm_is_down(rig.now_ms)
    assert board.readings_c(rig.now_ms) == {}


def test_commission_counts_no_silence_as_steadiness() -> None:
    """Lines that stop for 2 s break the 3 s for which the contactor must stay out."""
    rig = Rig(step="heat_off")
    rig.until_asked("contactor_stays_out")
    rig.run(2.0)
    rig.deaf = True
    rig.run(2.0)
    rig.deaf = False
    rig.run(2.8)
    assert rig.codes("passed") == []
    rig.run(1.0)
    assert rig.codes("passed") == ["heat_off"]


def test_commission_waits_for_rest_by_fresh_telemetry_only() -> None:
    """ARM comes up unseen: the wait neither passes nor lasts."""
    rig = Rig(step="heat_off")
    rig.world.set_input(m.IN_ARM, on=True)
    rig.until_asked("clear")
    rig.run(2.0)
    rig.deaf = True
    rig.world.set_input(m.IN_ARM, on=False)
    rig.until_outcome(Outcome.FAILED, 20.0)

    assert rig.codes("failed") == ["no_link"]
    assert rig.codes("do") == ["clear"]


def test_commission_takes_no_room_temperature_without_a_fresh_reading() -> None:
    """The thermometer is compared with what the probes read now, or with nothing at all."""
    rig = Rig(step="room")
    rig.deeds["type_room"] = lambda _: None
    rig.until_asked("type_room")
    rig.run(1.0)
    rig.deaf = True
    rig.run(1.5)
    rig.commissioner.typed("22 degC", rig.now_ms)
    rig.run(0.1)

    assert rig.codes("failed") == ["no_link"]


@pytest.mark.parametrize("cause", [ResetCause.WATCHDOG, ResetCause.UNKNOWN])
def test_commission_takes_no_restart_of_the_boards_own_for_a_pulled_plug(cause: ResetCause) -> None:
    """The board hangs and its watchdog starts it: that proves nothing about the plug."""
    rig = Rig(step="permission")
    rig.deeds["pull_usb"] = lambda one: one.hand.restart(cause) and None
    rig.until_outcome(Outcome.FAILED, 60.0)

    assert rig.codes("failed") == ["board_restarted"]


@pytest.mark.parametrize(
    "cause", [ResetCause.POWER, ResetCause.BROWNOUT, ResetCause.BUTTON]
)  # fmt: skip
@pytest.mark.parametrize("out_s", [0.0, 1.0, 2.9, 5.0, 40.0])
def test_commission_permission_by_a_plug_that_is_out_for_a_while(
    cause: ResetCause, out_s: float
) -> None:
    """Pulled for a moment or for long: the contactor drops and stays out while ARM is held."""
    rig = Rig(step="permission", clock_ms=10_000_000)

    def pull(one: Rig) -> None:
        assert one.hand.look().scene.contactor  # type: ignore[union-attr]
        one.hand.restart(cause)
        if out_s:
            one.hand.plug(plugged=False)
            one.world.after(round(1000 * out_s), lambda: one.hand.plug(plugged=True) and None)

    rig.deeds["pull_usb"] = pull
    rig.deeds["let_go_of_arm"] = lambda _: None
    rig.until_asked("let_go_of_arm", 100.0)
    rig.run(5.0)
    assert not rig.hand.look().scene.contactor  # type: ignore[union-attr]
    arm(down=False)(rig)

    assert rig.run(30.0, lambda: rig.commissioner.step == "mirror"), rig.last(5)
    assert rig.codes("failed") == []


def test_commission_asks_a_board_that_came_back_for_no_contactor() -> None:
    """The contactor has welded: while its failure is told, ARM held, nothing asks it to be in."""
    rig = Rig(step="permission")
    sent = bytearray()

    def pull(one: Rig) -> None:
        one.hand.contactor(ContactorFault.WELDED)
        DEEDS["pull_usb"](one)
        one.world.after(2000, lambda: setattr(one, "before_send", sent.extend))

    rig.deeds["pull_usb"] = pull
    rig.until_outcome(Outcome.FAILED, 60.0)

    assert rig.codes("failed") == ["contactor_stays_in"]
    lines = [decode_to_board(line) for line in bytes(sent).split(b"\n")[:-1]]
    assert any(isinstance(line, m.Duty) for line in lines)
    assert not any(isinstance(line, m.CommissioningHeat) for line in lines)


def test_commission_says_when_the_plug_does_not_end_the_board() -> None:
    """A supply beside USB keeps it alive: no start is seen, however long the plug is out."""
    rig = Rig(step="permission")
    rig.deeds["pull_usb"] = silence
    rig.until_outcome(Outcome.FAILED, 200.0)
    assert rig.codes("failed") == ["no_link"]

    rig = Rig(step="permission")
    rig.deeds["pull_usb"] = lambda _: None
    rig.until_outcome(Outcome.FAILED, 200.0)
    assert rig.codes("failed") == ["not_restarted"]


@pytest.mark.parametrize("change", [{"board": "7a3e000000000009"}, {"build": "deadbeef"}])
@pytest.mark.parametrize("asked", ["pull_usb", "type_dropped_at_once", "clear"])
def test_commission_ends_with_another_board_or_build(change: dict[str, str], asked: str) -> None:
    """What the one board has shown is no proof of the other: nothing is recorded."""
    rig = Rig(step="permission")
    if asked == "clear":
        arm(down=True)(rig)
    rig.until_asked(asked)
    rig.run(0.5)
    build = build_for(load("saucer-160"))
    rig.world._boards = SimBoards(msgspec.structs.replace(build, **change), Memory())  # noqa: SLF001
    rig.hand.restart(ResetCause.POWER)
    rig.until_outcome(Outcome.LEFT, 20.0)
    rig.run(1.0)

    assert rig.codes("note")[-2:] == ["left", "other_board"]
    assert rig.commissioner.over


def test_commission_begins_a_step_again_over_a_link_that_is_down() -> None:
    """Enter too early is told once more, and done with the plug in it goes on."""
    rig = Rig(step="mains")
    rig.until_asked("isolator_off")
    rig.hand.plug(plugged=False)
    rig.until_outcome(Outcome.FAILED, 10.0)
    rig.commissioner.typed("", rig.now_ms)
    rig.until_outcome(Outcome.FAILED, 20.0)
    assert rig.codes("failed") == ["no_link", "no_link"]
    arm(down=False)(rig)
    rig.hand.mains(on=True)
    rig.hand.plug(plugged=True)
    rig.commissioner.typed("", rig.now_ms)

    assert rig.run(60.0, lambda: rig.commissioner.step == "permission"), rig.last(8)


def test_rig_knows_every_deed_by_a_stage() -> None:
    """A deed for a stage that is gone would leave a test without its point."""
    from tawny.core.commission_steps import STEPS

    assert DEEDS.keys() <= {stage.code for step in STEPS for stage in step.stages}
