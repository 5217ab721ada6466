"""A whole press, end to end on a virtual clock: pressings, record, replay, bad moments."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import msgspec
import pytest

from rig import Rig
from tawny.cli import virtual_press
from tawny.core.effects import SendDuty
from tawny.core.intents import Arm, HeatOff, Prepare, RescueStep, Scrap
from tawny.core.names import BoardState, Half, LinkStatus, Phase, Quality, Result
from tawny.core.record import AlarmChange
from tawny.core.step import step
from tawny.errors import StoreDamagedError
from tawny.service.part_trace import part_trace
from tawny.service.window import unpack
from tawny.sim.sensor import SensorFault
from tawny.sim.world import World
from tawny.store.codes import part_code, pressing_code


def test_service_presses_a_part_from_idle_to_the_record(tmp_path: Path) -> None:
    """One pressing: held at setpoint, ended by dose, sealed with its figures."""
    with Rig(tmp_path, person=1) as rig:
        assert rig.lockstep.run(lambda: rig.person.finished, 3600.0)
        record = rig.store.pressing(pressing_code(1)).record

    assert record.result is Result.COMPLETE
    assert record.recipe.name == "grain-apple"
    assert record.equivalent_s == pytest.approx(240.0, abs=20.0)
    assert record.hold_s >= 180.0
    assert record.mean_hold_c == pytest.approx(180.0, abs=2.0)
    assert 0.005 < record.energy_kwh < 0.1
    assert len(record.breaths_s) == 3
    assert record.simulated


def test_service_holds_both_halves_at_setpoint(tmp_path: Path) -> None:
    """Soaked and left alone, both readings stay within 1 K of setpoint for ten minutes."""
    with Rig(tmp_path, start_c=170.0, person=1) as rig:
        rig.until(Phase.READY)
        rig.working = False
        worst_k = 0.0
        for _ in range(600):
            rig.run(1.0)
            for half in (rig.press.state.upper, rig.press.state.lower):
                assert half.value_c is not None
                worst_k = max(worst_k, abs(half.value_c - 180.0))

    assert worst_k <= 1.0


def test_replay_of_the_recorded_events_gives_the_same_states_and_duties(tmp_path: Path) -> None:
    """Stepping the core over a recorded pressing reproduces each duty line and the last state."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 1, 3600.0)
        rig.recorder.flush()
        opened = unpack(rig.store.trace(pressing_code(1)))

    state, duties, phases = opened.state, [], []
    for row in opened.rows:
        state, effects = step(state, row.event)
        sent = [one for one in effects if isinstance(one, SendDuty)]
        duties.append(_per_mille(sent[0]) if sent else None)
        phases.append(state.cycle.phase)

    recorded = [None if row.duty is None else _per_mille(row.duty) for row in opened.rows]
    assert len(recorded) > 1000
    assert duties == recorded
    assert phases == [row.phase for row in opened.rows]
    assert any(duty not in (None, (0, 0)) for duty in duties)


def _per_mille(duty: SendDuty) -> tuple[int, int]:
    """Return a duty line's duties as the wire carries them."""
    return round(duty.upper * 1000), round(duty.lower * 1000)


def test_trace_of_a_part_reads_in_the_units_of_people(tmp_path: Path) -> None:
    """The export's samples are those the board sent, five a second, phases in order."""
    with Rig(tmp_path, person=1) as rig:
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 1, 3600.0)
        rig.recorder.flush()
        trace = part_trace(rig.store, part_code(1))

    samples = trace.samples
    steps_s = [b - a for a, b in zip(samples.t_s, samples.t_s[1:], strict=False)]
    assert max(steps_s) <= 0.21
    assert samples.t_s[0] == 0.0
    order = list(dict.fromkeys(samples.phase))
    assert order[:4] == [Phase.FILL, Phase.CLOSE, Phase.BREATHE, Phase.HOLD]
    assert samples.event.count("breath") == 3
    assert trace.record.highest_c == max(
        value for value in samples.upper_c + samples.lower_c if value is not None
    )


def test_board_that_dies_in_mid_press_alarms_and_the_pressing_is_sealed(tmp_path: Path) -> None:
    """Silence: stale in 1.5 s, heat given up once the board must be off, rescue card shown."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        rig.world.line.plugged = False
        rig.run(1.5)
        assert rig.press.state.link.status is not LinkStatus.UP
        assert rig.press.state.upper.quality is Quality.STALE
        assert rig.press.state.upper.duty == 0.0
        rig.run(3.0)
        rig.recorder.flush()

        assert rig.phase is Phase.COOL
        assert "link_lost" in rig.alarms()
        assert rig.store.pressing(pressing_code(1)).record.result is Result.INTERRUPTED
        rescue = rig.press.snapshot(rig.lockstep.now_ms).rescue
        assert rescue is not None
        assert rescue.closed
        assert rescue.pressing == pressing_code(1)


def test_heat_comes_back_only_with_a_new_arming(tmp_path: Path) -> None:
    """After the line returns nothing heats until a person has prepared and armed again."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        rig.world.line.plugged = False
        rig.run(6.0)
        rig.world.line.plugged = True
        rig.run(30.0)

        assert rig.press.state.link.status is LinkStatus.UP
        assert rig.press.state.upper.duty == 0.0
        assert rig.world.board.state is not BoardState.ARMED
        delivered = rig.world.mould.given_j
        rig.run(30.0)
        assert rig.world.mould.given_j == delivered


def test_owner_killed_in_mid_press_leaves_a_pressing_sealed_as_interrupted(tmp_path: Path) -> None:
    """The next owner seals what was spooled, to the last second, and shows the rescue card."""
    rig = Rig(tmp_path, person=1)
    rig.until(Phase.HOLD)
    rig.run(20.0)
    equivalent_s = rig.press.state.cycle.pressing.equivalent_s  # type: ignore[union-attr]
    rig.recorder.flush()
    rig.store.close()

    with Rig(tmp_path) as again:
        record = again.store.pressing(pressing_code(1)).record
        rescue = again.press.snapshot(0).rescue

    assert record.result is Result.INTERRUPTED
    assert record.phase_at_end is Phase.HOLD
    assert record.equivalent_s == pytest.approx(equivalent_s, abs=1.5)
    assert rescue is not None
    assert rescue.pressing == pressing_code(1)


def test_spool_that_cannot_be_read_is_one_sentence_and_nothing_is_deleted(tmp_path: Path) -> None:
    """A chunk that is no chunk: named with its pressing, and left for repair."""
    rig = Rig(tmp_path, start_c=175.0, person=1)
    rig.until(Phase.FILL)
    rig.run(3.0)
    rig.recorder.spool(pressing_code(1), b"\xc1")
    rig.recorder.flush()
    rig.store.close()
    for _ in range(2):
        with pytest.raises(StoreDamagedError, match="C0001-U was left open and cannot be read"):
            Rig(tmp_path)


def test_alarm_of_a_pressing_is_recorded_with_its_own_moment(tmp_path: Path) -> None:
    """An empty desk in mid hold: the record says when, not only that."""
    with Rig(tmp_path, start_c=175.0, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.run(20.0)
        rig.press.desk("", 12.0, 0, rig.lockstep.now_ms)
        rig.run(5.0)
        rig.press.desk("tester", 0.0, 1, rig.lockstep.now_ms)
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 1, 3600.0)
        rig.recorder.flush()
        record = rig.store.pressing(pressing_code(1)).record
        raised = [
            entry.utc_ms
            for entry in rig.store.entries(kinds=("alarm",))
            if entry.read(AlarmChange).event == "raise"
        ]

    assert [note.alarm for note in record.alarms] == ["desk_empty"]
    assert record.alarms[0].utc_ms == raised[0] < record.ended_utc_ms - 60_000


def test_tripped_board_ends_the_pressing_and_names_its_first_out(tmp_path: Path) -> None:
    """An open sensor trips the board; the host seals, alarms with the cause and wants a reset."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        rig.hand.sensor(Half.UPPER, SensorFault.OPEN)
        rig.run(3.0)

        snapshot = rig.press.snapshot(rig.lockstep.now_ms)
        assert snapshot.board.state is BoardState.TRIPPED
        assert snapshot.board.first_out.value == "sensor"
        assert snapshot.sentence.code == "rescue"
        assert {"board_tripped", "interrupted"} <= rig.alarms()
        rig.recorder.flush()
        note = rig.store.pressing(pressing_code(1)).record.alarms[-1]
        raised = rig.store.entries(kinds=("alarm",))
        assert note.alarm == "board_tripped"
        assert note.utc_ms == next(
            entry.utc_ms for entry in raised if entry.read(AlarmChange).alarm == note.alarm
        )
        for step_code in snapshot.rescue.steps:  # type: ignore[union-attr]
            assert rig.ask(RescueStep(step=step_code))
        assert rig.press.snapshot(rig.lockstep.now_ms).sentence.code == "tripped"


def test_heat_off_in_mid_press_disarms_the_board_within_a_second(tmp_path: Path) -> None:
    """Heat off needs no question: duty 0 and a disarmed board, the pressing aborted."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        assert rig.ask(HeatOff())
        rig.run(1.0)
        rig.recorder.flush()

        assert rig.world.board.state is not BoardState.ARMED
        assert rig.store.pressing(pressing_code(1)).record.result is Result.ABORTED


def test_scrapped_pressing_keeps_the_mould_hot(tmp_path: Path) -> None:
    """Scrap leads through release and opening; the heat stays on, the part is aborted."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        assert rig.ask(Scrap(reason="oil on the charge"))
        assert rig.phase is Phase.RELEASE
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 1, 600.0)
        rig.recorder.flush()

        rig.run(1.0)
        assert rig.press.snapshot(rig.lockstep.now_ms).parts_today == 0
        assert rig.world.board.state is BoardState.ARMED
        record = rig.store.pressing(pressing_code(1)).record
        assert record.result is Result.ABORTED
        assert record.extra["reason"] == "oil on the charge"


def test_clock_of_the_board_that_wraps_in_mid_hold_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After 49.7 days its 32 bits begin anew: no gap, no restart, the same dose and trace."""
    found = []
    wrap_in_ms: int | None = None
    for name in ("new", "old"):
        if wrap_in_ms is not None:
            aged = partial(World, clock_ms=2**32 - wrap_in_ms)
            monkeypatch.setattr(virtual_press, "World", aged)
        with Rig(tmp_path / name, start_c=175.0, person=1) as rig:
            rig.until(Phase.HOLD)
            wrap_in_ms = wrap_in_ms or rig.lockstep.now_ms + 20_000
            assert rig.lockstep.run(lambda r=rig: r.press.pressings_ended == 1, 3600.0)
            rig.recorder.flush()
            tele = rig.press.state.tele
            assert tele is not None
            trace = part_trace(rig.store, part_code(1))
            found.append((tele.ms, trace.record, trace.samples))

    (new_ms, record, samples), (old_ms, aged_record, aged_samples) = found
    assert old_ms < new_ms
    assert aged_record.gaps == ()
    assert not aged_record.dose_gap
    assert aged_record.equivalent_s == pytest.approx(record.equivalent_s, abs=1e-6)
    assert aged_samples.t_s == pytest.approx(samples.t_s, abs=1e-9)
    assert aged_samples.upper_duty == samples.upper_duty


def test_same_seed_presses_the_same_parts(tmp_path: Path) -> None:
    """Two runs with one seed agree to the last bit; another seed does not."""
    traces = []
    for name, seed in (("a", 7), ("b", 7), ("c", 8)):
        with Rig(tmp_path / name, person=1, seed=seed) as rig:
            assert rig.lockstep.run(lambda r=rig: r.press.pressings_ended == 1, 3600.0)
            rig.recorder.flush()
            traces.append(rig.store.trace(pressing_code(1)))

    assert traces[0] == traces[1]
    assert traces[0] != traces[2]


def test_snapshot_crosses_the_desk_as_json(tmp_path: Path) -> None:
    """What viewers get survives its encoding."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        snapshot = rig.press.snapshot(rig.lockstep.now_ms)

    assert msgspec.json.decode(msgspec.json.encode(snapshot), type=type(snapshot)) == snapshot


def test_limits_read_again_after_a_change_reach_the_core(tmp_path: Path) -> None:
    """A trip point reduced at the board lowers the highest setpoint that the host will ask for."""
    with Rig(tmp_path) as rig:
        rig.run(3.0)
        assert rig.press.state.link.setpoint_most_c == 200.0
        rig.session.reduce_trip(190.0)
        rig.run(3.0)

        assert rig.press.state.link.trip_c == 190.0
        assert rig.press.state.link.setpoint_most_c == 175.0


@pytest.mark.parametrize("stored", [True, False])
def test_mould_of_the_press_is_selected_at_the_board_before_it_arms(
    tmp_path: Path, *, stored: bool
) -> None:
    """Another slot in use: the right one is selected; where the board has none, no arming."""
    with Rig(tmp_path) as rig:
        slots, slot = rig.world.memory.contents.slots, rig.mould.slot
        slots[slot + 1] = slots[slot]
        rig.world.memory.contents.slot_in_use = slot + 1
        if not stored:
            del slots[slot]
        rig.run(5.0)
        assert (rig.world.memory.contents.slot_in_use == slot) is stored
        assert rig.ask(Prepare(empty=True, dry=True, let_down=True))
        assert rig.ask(Arm()) is stored


def test_rescue_card_outlives_the_program_until_it_was_worked_through(tmp_path: Path) -> None:
    """Ended with the card open, the next start shows it with its ticks; worked through, no more."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        rig.world.line.plugged = False
        rig.run(6.0)
        card = rig.press.snapshot(rig.lockstep.now_ms).rescue
        assert card is not None
        assert rig.ask(RescueStep(step=card.steps[0]))

    with Rig(tmp_path) as again:
        shown = again.press.snapshot(0).rescue
        assert shown is not None
        assert (shown.pressing, shown.steps, shown.ticked) == (
            card.pressing,
            card.steps,
            card.steps[:1],
        )
        assert shown.closed
        for step_code in card.steps[1:]:
            assert again.ask(RescueStep(step=step_code))

    with Rig(tmp_path) as last:
        assert last.press.snapshot(0).rescue is None


def test_step_of_the_wall_clock_is_noted_and_changes_nothing(tmp_path: Path) -> None:
    """An hour forward in mid press: one entry says by how much; phase, duty and dose go on."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        utc_ms = rig.press._utc_ms  # noqa: SLF001 - the one clock the press is given
        rig.press._utc_ms = lambda host_ms: utc_ms(host_ms) + 3_600_000  # noqa: SLF001
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 1, 600.0)
        rig.recorder.flush()
        noted = rig.store.entries(kinds=("clock_step",))
        record = rig.store.pressing(pressing_code(1)).record

    assert [msgspec.json.decode(entry.payload) for entry in noted] == [{"by_ms": 3_600_000}]
    assert record.result is Result.COMPLETE
    assert record.equivalent_s == pytest.approx(240.0, abs=20.0)
