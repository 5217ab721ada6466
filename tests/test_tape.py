"""What of a press goes into the record, and that each fact goes there once."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from rig import BEGIN_UTC_MS, Rig
from tawny.core.effects import SendDuty
from tawny.core.events import Asked
from tawny.core.intents import Advance, Mark, Quit, SetLot, SetOperator
from tawny.core.names import AlarmState, Phase, Result
from tawny.core.record import AlarmChange
from tawny.core.step import step
from tawny.service.tape import REST_AFTER_MS
from tawny.service.window import unpack
from tawny.store.codes import pressing_code


def test_tape_of_two_pressings_says_everything_once(tmp_path: Path) -> None:
    """Phases and breaths of a pressing are in its window only; short waits break no segment."""
    with Rig(tmp_path, start_c=175.0, person=2) as rig:
        assert rig.lockstep.run(lambda: rig.press.pressings_ended == 2, 3600.0)
        rig.recorder.flush()
        entries = rig.store.entries()
        windows = [unpack(rig.store.trace(pressing_code(number))) for number in (1, 2)]
        segments = rig.store.segments(0, 1 << 62)
        spans_ms = [
            (record.started_mono_ms, record.ended_mono_ms)
            for record in (rig.store.pressing(pressing_code(n)).record for n in (1, 2))
        ]

    assert not {entry.kind for entry in entries} & {"phase", "breath"}
    assert [entry.kind for entry in entries].count("board_event") == 1  # armed, before full rate
    for window in windows:
        order = list(dict.fromkeys(row.phase for row in window.rows))
        assert order[:4] == [Phase.FILL, Phase.CLOSE, Phase.BREATHE, Phase.HOLD]
        asked = [row.event.intent for row in window.rows if isinstance(row.event, Asked)]
        assert asked.count(Mark()) == 3
    between = [
        segment
        for segment in segments
        if spans_ms[0][1] <= segment.start_utc_ms - BEGIN_UTC_MS < spans_ms[1][0]
    ]
    assert [segment.rate for segment in between] == ["full"]


def test_tape_goes_to_rest_when_a_wait_lasts(tmp_path: Path) -> None:
    """Ready and left alone, the trace falls to 1 Hz after half a minute; then a tap is told."""
    with Rig(tmp_path, start_c=178.0, person=1) as rig:
        rig.until(Phase.READY)
        rig.working = False
        ready_ms = rig.lockstep.now_ms
        rig.run(90.0)
        assert rig.ask(Advance(seen=Phase.READY))
        oil_ms = rig.lockstep.now_ms
    with Rig(tmp_path) as again:
        segments = again.store.segments(0, 1 << 62)
        moves = again.store.entries(kinds=("phase",))

    full = [segment for segment in segments if segment.rate == "full"]
    rest = [segment for segment in segments if segment.rate == "rest"]
    assert full[-1].end_utc_ms - BEGIN_UTC_MS == pytest.approx(ready_ms + REST_AFTER_MS, abs=300)
    assert rest[-1].start_utc_ms == pytest.approx(full[-1].end_utc_ms, abs=300)
    assert rest[-1].end_utc_ms - BEGIN_UTC_MS == pytest.approx(ready_ms + 90_000, abs=1000)
    assert [entry.mono_ms for entry in moves] == [oil_ms]


def test_tape_at_rest_ends_where_the_board_is_lost(tmp_path: Path) -> None:
    """A segment spans what was connected, never the night between."""
    with Rig(tmp_path) as rig:
        rig.run(20.0)
        lost_ms = rig.lockstep.now_ms
        rig.world.line.plugged = False
        rig.run(120.0)
        rig.world.line.plugged = True
        rig.run(60.0)
    with Rig(tmp_path) as again:
        spans_ms = [
            (one.start_utc_ms - BEGIN_UTC_MS, one.end_utc_ms - BEGIN_UTC_MS)
            for one in again.store.segments(0, 1 << 62)
        ]

    first, second = spans_ms
    assert first[1] == pytest.approx(lost_ms + 3000, abs=500)  # given up for lost by then
    assert second[0] >= lost_ms + 120_000


def test_tape_heat_up_kept_whole_gives_the_same_states_and_duties(tmp_path: Path) -> None:
    """Segments at full rate replay as pressings do: phases and duty lines, to the per mille."""
    with Rig(tmp_path, start_c=150.0, person=1) as rig:
        rig.until(Phase.FILL)
        rig.recorder.flush()
        segments = [one for one in rig.store.segments(0, 1 << 62) if one.rate == "full"]
        windows = [unpack(rig.store.blob(one.trace)) for one in segments]

    assert len(windows) >= 2
    heated = 0
    for window in windows:
        state = window.state
        for row in window.rows:
            state, effects = step(state, row.event)
            sent = next((one for one in effects if isinstance(one, SendDuty)), None)
            assert (sent is None) is (row.duty is None)
            assert state.cycle.phase is row.phase
            if sent is not None and row.duty is not None:
                assert round(sent.upper * 1000) == round(row.duty.upper * 1000)
                assert round(sent.lower * 1000) == round(row.duty.lower * 1000)
                heated += sent.upper > 0.0
    assert heated > 100


def test_who_worked_is_in_the_journal(tmp_path: Path) -> None:
    """Operator and lot as they were named, by whom, and who ended the owner."""
    with Rig(tmp_path) as rig:
        rig.run(3.0)
        assert rig.ask(SetOperator(name=" Ada "))
        assert rig.ask(SetLot(name="grain 7"))
        assert rig.ask(Quit())
        rig.recorder.flush()
        entries = rig.store.entries(kinds=("operator", "lot", "ending"))

    assert [(one.kind, one.who) for one in entries] == [
        ("operator", "tester"),
        ("lot", "tester"),
        ("ending", "tester"),
    ]
    assert [msgspec.json.decode(one.payload) for one in entries] == [
        {"name": "Ada"},
        {"name": "grain 7"},
        {"phase": "idle"},
    ]


def test_alarm_is_journalled_once_with_what_changed_it(tmp_path: Path) -> None:
    """One entry for each change of state, with the event, the state before and the pressing."""
    with Rig(tmp_path, person=1) as rig:
        rig.until(Phase.HOLD)
        rig.working = False
        rig.world.line.plugged = False
        rig.run(6.0)
        rig.recorder.flush()
        entries = rig.store.entries()

    changes = [entry.read(AlarmChange) for entry in entries if entry.kind == "alarm"]
    raised = [one for one in changes if one.event == "raise"]
    assert "link_lost" in {one.alarm for one in raised}
    assert all(one.before is AlarmState.NORMAL for one in raised)
    assert all(one.state is AlarmState.ACTIVE for one in raised)
    assert not [entry for entry in entries if entry.kind == "alarm_event"]


def test_shift_of_an_hour_is_not_cut_short_by_the_presence_rule(tmp_path: Path) -> None:
    """The person of the virtual press touches a button in time: each pressing is completed."""
    with Rig(tmp_path, start_c=178.0, person=7) as rig:
        assert rig.lockstep.run(lambda: rig.person.finished, 7200.0)
        assert rig.lockstep.now_ms > 40 * 60_000
        rig.recorder.flush()
        parts = rig.store.parts()

    assert [part.result for part in parts] == [Result.COMPLETE] * 7
    assert not [part.alarms for part in parts if part.alarms]
