"""Commissioning on a simulated board: each step passes, fails with a sentence, is not skipped."""

from __future__ import annotations

import shutil
from collections.abc import Callable

import msgspec
import pytest

from commission_rig import BEGIN_UTC_MS, Rig, plan_for, types
from needs import lacking
from tawny.cli.firmware import THIS_CHECKOUT, elf_boards
from tawny.core import messages as m
from tawny.core.commission import Asked, Outcome
from tawny.core.commission_steps import STEPS
from tawny.core.names import Half, ResetCause
from tawny.core.wire import decode_to_board
from tawny.sim.build import build_for
from tawny.sim.commission import measure
from tawny.sim.memory import Memory
from tawny.sim.parameters import load
from tawny.sim.sim_boards import SimBoards
from tawny.words import commission as words
from tawny.words.sentences import commissioning

# The first half alone heats the other one and the room; what is measured is compared with the
# model's own R and lag, which `sim.commission` finds by heating both halves at once.
RISE_WITHIN, LAG_WITHIN, HEAT_UP_WITHIN = 0.10, 0.20, 0.15

Sabotage = Callable[[Rig], None]


@pytest.fixture(scope="module")
def whole() -> Rig:
    """One commissioning from beginning to end."""
    rig = Rig()
    rig.until_outcome(Outcome.DONE, 4000.0)
    rig.run(2.0)
    return rig


def test_commission_ends_with_a_board_that_is_ready(whole: Rig) -> None:
    """Stored in its slot, used, the trip point reduced, and every step in the record."""
    record = whole.commissioner.record()
    contents = whole.world.memory.contents

    assert contents.slot_in_use == 1
    assert contents.trip_tenths == 2000
    assert contents.slots[1].upper is not None
    assert contents.slots[1].upper.rise == round(1000 * record.halves[Half.UPPER].rise_k_per_s)
    assert contents.slots[1].lower is not None
    assert contents.slots[1].lower.lag == round(10 * record.halves[Half.LOWER].lag_s)
    assert [step.step for step in record.steps] == [step.name for step in STEPS]
    assert {step.outcome for step in record.steps} == {"done"}
    assert (record.person, record.second) == ("Ada Reed", "Tom Hale")
    assert record.board_build == whole.world.board.build.build  # type: ignore[attr-defined]
    assert record.started_utc_ms == BEGIN_UTC_MS + 200
    assert record.ended_utc_ms > record.started_utc_ms
    assert record.simulated


def test_commission_measures_what_the_mould_is(whole: Rig) -> None:
    """R, lag and heat-up time of both halves, one heated at a time, below 100 degC."""
    true = measure(load("saucer-160"))

    for half, own in whole.commissioner.record().halves.items():
        there = true.half(half)
        assert own.rise_k_per_s == pytest.approx(there.rise_k_per_s, rel=RISE_WITHIN)
        assert own.lag_s == pytest.approx(there.lag_s, rel=LAG_WITHIN)
        assert own.heat_up_s == pytest.approx(there.heat_up_s, rel=HEAT_UP_WITHIN)


def test_commission_heats_only_while_arm_is_held(whole: Rig) -> None:
    """Not a millisecond of heat with the button up, over the whole of it."""
    assert whole.heated_ms > 500_000
    assert whole.unheld_ms == 0


def test_commission_never_heats_for_somebody_who_does_not_hold_arm() -> None:
    """All else done, ARM never touched: no heat, no contactor, and the step fails."""
    rig = Rig(step="moves_upper")
    rig.deeds["hold_arm"] = lambda _: None
    rig.until_outcome(Outcome.FAILED, 200.0)

    assert rig.codes("failed") == ["nothing_seen"]
    assert rig.heated_ms == 0


def heat_asked(rig: Rig) -> list[int]:
    """Return a list that collects when lines of commissioning heat leave the program."""
    times_ms: list[int] = []

    def listen(data: bytes) -> None:
        lines = map(decode_to_board, data.split(b"\n")[:-1])
        times_ms.extend(rig.now_ms for line in lines if isinstance(line, m.CommissioningHeat))

    rig.before_send = listen
    return times_ms


def test_commission_asks_for_no_heat_while_arm_is_up() -> None:
    """Not even a line that the board would refuse, in a stage that would heat."""
    rig = Rig(step="heat_off")
    rig.deeds["hold_arm_for_contactor"] = lambda _: None
    asked_ms = heat_asked(rig)
    rig.until_asked("hold_arm_for_contactor")
    rig.run(20.0)

    assert asked_ms == []
    rig.world.set_input(m.IN_ARM, on=True)
    assert rig.run(3.0, lambda: bool(asked_ms))


@pytest.mark.parametrize("moment_s", [0.0, 0.3, 5.0, 60.0])
def test_commission_ends_the_heat_when_arm_comes_up(moment_s: float) -> None:
    """Letting go ends it at the board at once, and the program asks for no more."""
    rig = Rig(step="moves_upper" if moment_s < 10 else "measure_upper")
    rig.until_asked("heating_a_moment" if moment_s < 10 else "heating")
    rig.run(moment_s)
    rig.world.set_input(m.IN_ARM, on=False)
    before_ms = rig.heated_ms
    rig.until_outcome(Outcome.FAILED, 2.0)

    assert rig.codes("failed") == ["arm_let_go"]
    rig.world.set_input(m.IN_ARM, on=True)
    rig.run(10.0)
    assert rig.heated_ms - before_ms <= 50  # one pass of the clock
    assert rig.unheld_ms == 0


def test_commission_asks_for_no_heat_on_old_telemetry() -> None:
    """1 s after the last line the program no longer knows that ARM is down."""
    rig = Rig(step="measure_upper")
    rig.until_asked("heating")
    rig.run(5.0)
    heat_ms = heat_asked(rig)
    rig.run(2.0)
    assert len(heat_ms) >= 4
    heat_ms.clear()
    deaf_ms = rig.now_ms
    rig.deaf = True
    rig.run(5.0)
    assert rig.session.up
    # 1 s, and the 100 ms that a line may wait for the reply to the one before.
    assert max(heat_ms) - deaf_ms <= 1100


def test_commission_that_stops_running_stops_heating() -> None:
    """A killed program: the board lets the heat expire within 1.5 s of the last line."""
    rig = Rig(step="measure_upper")
    rig.until_asked("heating")
    rig.run(20.0)
    before_ms = rig.heated_ms
    start_ms = rig.world.now_ms
    rig.world.advance(start_ms + 20_000)
    rig._watch_heat()  # noqa: SLF001 - the rig's own count

    assert rig.heated_ms - before_ms <= 1500
    assert not rig.world.scene().contactor


def test_commission_left_in_the_middle_changes_nothing() -> None:
    """Heat off at once, nothing stored, the trip point as it was, no record."""
    rig = Rig(step="measure_upper")
    rig.until_asked("heating")
    rig.run(30.0)
    before_ms = rig.heated_ms
    rig.commissioner.leave(rig.now_ms)
    rig.run(10.0)
    contents = rig.world.memory.contents

    assert rig.commissioner.outcome is Outcome.LEFT
    assert rig.commissioner.over
    assert rig.codes("note")[-1] == "left"
    assert rig.heated_ms - before_ms <= 100
    assert contents.slots == {}
    assert contents.trip_tenths == 2150
    with pytest.raises(RuntimeError, match="unfinished"):
        rig.commissioner.record()


def test_commission_left_while_storing_says_so() -> None:
    """The board may then hold half of it."""
    rig = Rig(step="trip_point")
    rig.commissioner._halves = {}  # noqa: SLF001
    rig.until_asked("hold_arm", 30.0)
    rig.commissioner.typed("leave", rig.now_ms)

    rig.run(1.0)
    assert rig.codes("note")[-1] == "left_changed"


@pytest.mark.parametrize("text", ["skip", "yes", "next", "done", "", "again"])
def test_commission_cannot_be_skipped_by_typing(text: str) -> None:
    """In every stage that watches the board, typing changes nothing."""
    for step in STEPS:
        if step.stages[0].asks is not None or step.stages[0].sends is not None:
            continue
        rig = Rig(step=step.name)
        rig.deeds.clear()
        rig.run(1.0)
        asked = rig.codes("do")[-1]
        if rig.commissioner.asks is not None:
            continue
        for _ in range(5):
            rig.commissioner.typed(text, rig.now_ms)
            rig.run(0.2)
        assert rig.codes("do")[-1] == asked, step.name
        assert rig.codes("passed") == [], step.name
        assert ("cannot_skip" in rig.codes("note")) is bool(text), step.name


def test_commission_step_is_done_again_and_its_failures_are_kept() -> None:
    """After the person has mended it, the same step begins anew; the record tells of both."""
    rig = Rig(step="thermostat_upper")
    rig.deeds["type_opening"] = types("235 degC")
    rig.until_outcome(Outcome.FAILED, 60.0)
    rig.deeds["type_opening"] = types("251 degC")
    rig.commissioner.typed("", rig.now_ms)
    assert rig.run(60.0, lambda: rig.commissioner.step == "thermostat_lower")

    passed = rig.commissioner._passed[-1]  # noqa: SLF001
    assert passed.failed == ("opening_range",)
    assert passed.values == {"opens_c": 251.0}


def test_commission_second_person_must_be_another() -> None:
    """One person cannot hold ARM and stand at the isolator."""
    rig = Rig()
    rig.deeds["type_second"] = types(" ada  REED ")
    rig.until_outcome(Outcome.FAILED, 30.0)

    assert rig.codes("failed") == ["same_name"]


def test_commission_says_why_the_board_is_not_at_rest() -> None:
    """A trip that stands, a button that is in: waited for, named, and not passed over."""
    rig = Rig(step="arm_button")
    rig.hand.heat_off_button(pressed=True)
    rig.run(60.0)

    assert rig.codes("do") == ["clear"]
    rig.hand.heat_off_button(pressed=False)
    rig.until_asked("hold_arm", 5.0)


def test_commission_notes_what_is_not_fitted() -> None:
    """No mould switch, no lamp, no buzzer: not done, and said so in the record."""
    rig = Rig()
    build = rig.world.board.build  # type: ignore[attr-defined]
    rig.world.board.build = msgspec.structs.replace(build, fit=m.FIT_NEXT)  # type: ignore[attr-defined]
    rig.until_asked("hold_arm_for_contactor", 60.0)

    noted = {one.step: one.outcome for one in rig.commissioner._passed}  # noqa: SLF001
    assert noted["next_button"] == "done"
    assert {noted[name] for name in ("mould_switch", "call_lamp", "buzzer")} == {"not_fitted"}


def test_commission_of_a_press_with_one_heated_half() -> None:
    """The lower half is noted as not fitted at each step; the upper one is measured and stored."""
    model = load("saucer-160")
    build = msgspec.structs.replace(build_for(model), zones=1)
    memory = Memory()
    rig = Rig(boards=SimBoards(build, memory))
    rig.until_outcome(Outcome.DONE, 4000.0)
    record = rig.commissioner.record()

    noted = {one.step for one in record.steps if one.outcome == "not_fitted"}
    assert noted == {"thermostat_lower", "moves_lower", "measure_lower"}
    assert set(record.halves) == {Half.UPPER}
    # The world's mould has a lower half all the same, which takes heat and is not read.
    slot = memory.contents.slots[1]
    assert slot.upper is not None
    assert slot.upper.rise == round(1000 * record.halves[Half.UPPER].rise_k_per_s)
    assert 100 < slot.upper.rise < 1000 * measure(model).half(Half.UPPER).rise_k_per_s
    assert slot.lower is None


def halves_of(rig: Rig) -> None:
    """Give the rig what the measurements would have found."""
    from tawny.core.record import CommissionedHalf

    rig.commissioner._halves = {  # noqa: SLF001
        half: CommissionedHalf(rise_k_per_s=0.25, lag_s=16.0, heat_up_s=725.0, loss_per_s=4e-4)
        for half in Half
    }


def test_commission_stores_nothing_without_a_hand() -> None:
    """The board refuses, the person reads why, and the slot stays empty."""
    rig = Rig(step="store")
    halves_of(rig)

    def let_go(data: bytes) -> None:
        if b"store " in data:
            rig.world.set_input(m.IN_ARM, on=False)

    rig.before_send = let_go
    rig.until_outcome(Outcome.FAILED, 60.0)

    assert rig.codes("failed") == ["refused"]
    assert "needs a hand" in commissioning(next(one for one in rig.said if one.kind == "failed"))
    assert rig.world.memory.contents.slots == {}


def test_commission_finds_limits_that_differ_from_the_settings() -> None:
    """The press profile says relay, the board switches a solid-state output: said, not passed."""
    model = load("saucer-160")
    plan = plan_for(model)._replace(output="relay")
    rig = Rig(step="trip_point", plan=plan)
    halves_of(rig)
    rig.until_outcome(Outcome.FAILED, 60.0)

    assert rig.codes("failed") == ["limits_differ"]
    assert next(one for one in rig.said if one.kind == "failed").code.fields["differs"] == "out"


def test_commission_finds_a_rise_that_does_not_fit_the_passport() -> None:
    """Power over mass says 1 K/s, the mould rises by a quarter of it: probe, heater or mass."""
    plan = plan_for(load("saucer-160"))._replace(unlimited_k_per_s={Half.UPPER: 1.0})
    rig = Rig(step="measure_upper", plan=plan)
    rig.until_outcome(Outcome.FAILED, 2000.0)

    assert rig.codes("failed") == ["unlike_its_mass"]


def test_commission_of_a_board_that_was_commissioned_before() -> None:
    """Ready instead of locked: the same steps hold."""
    rig = Rig(step="heat_off", commissioned=True)
    assert rig.run(120.0, lambda: rig.commissioner.step == "moves_upper"), rig.last(10)


def test_commission_permission_survives_a_reset_of_the_board() -> None:
    """The start that the step asks for is its success; one of the board's own is a failure."""
    rig = Rig(step="permission")
    assert rig.run(60.0, lambda: rig.commissioner.step == "mirror"), rig.last(10)
    rig.hand.restart(ResetCause.WATCHDOG)
    rig.until_outcome(Outcome.FAILED, 10.0)

    assert rig.codes("failed") == ["board_restarted"]


@pytest.mark.slow
def test_commission_on_the_real_image() -> None:
    """The board's firmware, as compiled, is commissioned from a new memory to ready."""
    if shutil.which("avr-gcc") is None:
        lacking("avr-gcc is not installed")
    boards = elf_boards(THIS_CHECKOUT, load("saucer-160"))
    rig = Rig(boards=boards)
    rig.until_outcome(Outcome.DONE, 4000.0)
    true = measure(load("saucer-160"))

    assert rig.unheld_ms == 0
    assert rig.heated_ms > 500_000
    for half, own in rig.commissioner.record().halves.items():
        assert own.rise_k_per_s == pytest.approx(true.half(half).rise_k_per_s, rel=RISE_WITHIN)
        assert own.lag_s == pytest.approx(true.half(half).lag_s, rel=LAG_WITHIN)


def test_commission_has_words_for_every_step_and_stage() -> None:
    """Nothing is asked of a person without a sentence."""
    for step in STEPS:
        assert step.code in words.STEPS
        for stage in step.stages:
            assert stage.code in words.DOES, stage.code
            assert stage.late in words.FAILURES
            assert {wrong.code for wrong in stage.wrong} <= words.FAILURES.keys()
            assert (stage.until is None) is (stage.asks is not None)
    assert {asked for step in STEPS for stage in step.stages if (asked := stage.asks)} == set(Asked)
