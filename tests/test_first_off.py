"""First-off pressings: marked from the state to the lists, and kept out of learning."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

import invented
from core_events import RECIPE, Play, ended
from invented import seal
from rig import Rig
from tawny.core import effects as fx
from tawny.core import intents as ask
from tawny.core.aim import first_off
from tawny.core.names import Phase, Result
from tawny.core.record import AlarmNote, GapNote
from tawny.core.snapshot import Code
from tawny.core.teaching import in_hand_may_teach, may_teach
from tawny.core.view import snapshot
from tawny.report.about import about
from tawny.report.parts import part_lines, part_object, parts_lines
from tawny.service.last_parts import last_parts
from tawny.service.part_trace import part_trace
from tawny.store.codes import part_code, pressing_code
from tawny.store.store import Store
from warm_mould import at_recipe

P = Phase
WHOLE = invented.record(2)


def press_one(play: Play) -> dict[str, object]:
    """Press one part from ready and return its figures."""
    play.until(P.READY)
    while play.phase is not P.SOAK:
        if play.phase is P.CLOSE:
            play.close()
        if play.phase is P.OPEN:
            play.open()
        if play.phase in (P.BREATHE, P.HOLD):
            play.until(P.RELEASE)
        assert play.tap() is None
        if play.phase is P.SOAK:
            play.close()
    return ended(play)


@pytest.mark.parametrize("pressings", [0, 1, 2, 5])
def test_first_off_marks_the_first_pressings_of_a_heat_up(pressings: int) -> None:
    """As many as the press profile says, none with 0."""
    play = Play(at_recipe(replace(RECIPE, oil_every=0), first_off=pressings)).to(P.READY)
    marks = [press_one(play)["first_off"] for _ in range(pressings + 1)]
    assert marks == [True] * pressings + [False]


def test_first_off_begins_again_with_each_heat_up() -> None:
    """Heat off and on again: the next one is a first."""
    play = Play(at_recipe(replace(RECIPE, oil_every=0))).to(P.READY)
    press_one(play)
    assert not first_off(play.state)
    play.ask(ask.HeatOff())
    play.board["st"] = "ready"
    play.run(1.0)
    play.start()
    assert first_off(play.state)


def test_first_off_begins_again_after_a_rest() -> None:
    """Back from standby the mould was heated up; after a mere pause it was not."""
    play = Play(at_recipe(replace(RECIPE, oil_every=0))).to(P.READY)
    press_one(play)
    play.ask(ask.Pause())
    play.ask(ask.Resume())
    assert not first_off(play.state)
    play.ask(ask.Standby())
    play.ask(ask.Resume())
    assert first_off(play.state)


def test_first_off_is_not_spent_by_a_charge_that_was_never_closed() -> None:
    """A filling that was scrapped warmed nothing: the next pressing is still a first."""
    play = Play().to(P.FILL)
    assert play.ask(ask.Scrap(reason="spilt")) is None
    play.open()
    assert play.tap() is None
    assert first_off(play.state)


def test_first_off_is_said_before_and_at_the_end() -> None:
    """The screen says so beforehand; taking the part out, it asks for it to be kept apart."""
    play = Play().to(P.READY)
    assert snapshot(play.state, seq=1, utc_ms=0, simulated=True).first_off
    play = Play().to(P.DEMOULD)
    seen = snapshot(play.state, seq=1, utc_ms=0, simulated=True)
    assert (seen.first_off, seen.sentence) == (True, Code("demould_first_off"))


def test_may_teach_takes_a_whole_and_ordinary_pressing() -> None:
    """Complete, not first-off, no gap, no alarm: only then; each alone forbids it."""
    whole = replace(WHOLE, result=Result.COMPLETE, alarms=(), gaps=(), dose_gap=False)
    assert may_teach(whole)
    note = AlarmNote(alarm="deviation_low", utc_ms=0)
    for spoilt in (
        replace(whole, result=Result.ABORTED),
        replace(whole, result=Result.INTERRUPTED),
        replace(whole, first_off=True),
        replace(whole, dose_gap=True),
        replace(whole, gaps=(GapNote(start_s=1.0, end_s=2.0),)),
        replace(whole, alarms=(note,)),
    ):
        assert not may_teach(spoilt)


def test_may_teach_says_the_same_of_the_pressing_in_hand() -> None:
    """What the loop asks before it learns from a charge agrees with what the record says."""
    pressing = Play().to(P.DEMOULD).state.cycle.pressing
    assert pressing is not None
    assert pressing.first_off
    assert not in_hand_may_teach(pressing, Result.COMPLETE)
    second = replace(pressing, first_off=False)
    assert in_hand_may_teach(second, Result.COMPLETE)
    for spoilt in (
        replace(second, gaps=((0, 200),)),
        replace(second, dose_gap=True),
        replace(second, alarms=("disagree",)),
        replace(second, scrapped=True),
    ):
        assert not in_hand_may_teach(spoilt, Result.COMPLETE)
    assert not in_hand_may_teach(second, Result.ABORTED)


def test_first_off_is_in_the_record_the_lists_and_the_exports(tmp_path: Path) -> None:
    """One whole day of two parts: the first is marked everywhere, the second nowhere."""
    with Rig(tmp_path, person=2) as rig:
        assert rig.lockstep.run(lambda: rig.person.finished, 7200.0)
        rig.recorder.flush()
        records = [rig.store.pressing(pressing_code(n)).record for n in (1, 2)]
        rows = list(reversed(rig.store.parts()))
        views, _today = last_parts(rig.store, 1 << 50)
        shown = rig.press.snapshot(rig.lockstep.now_ms).last_parts
        traces = [part_trace(rig.store, part_code(n)) for n in (1, 2)]
    assert [record.first_off for record in records] == [True, False]
    assert [row.first_off for row in rows] == [True, False]
    assert [part_object(row)["first_off"] for row in rows] == [True, False]
    assert [view.first_off for view in views] == [False, True]
    assert [view.first_off for view in shown] == [False, True]
    assert [about(trace)["pressing"]["first_off"] for trace in traces] == [True, False]
    lines = list(parts_lines(rows, simulated=False))
    assert ["first-off" in line for line in lines[1:]] == [True, False]
    told = "\n".join(part_lines(rows[0], records[0]))
    assert "first-off     yes, check it apart from the others" in told
    assert [may_teach(record) for record in records] == [False, True]


def test_first_off_of_older_records_is_no(tmp_path: Path) -> None:
    """A record of before the mark opens, and lists its parts without it."""
    kept = Path(__file__).parent / "kept" / "record-1.db"
    (tmp_path / "record.db").write_bytes(kept.read_bytes())
    with Store.open(tmp_path, simulated=True) as store:
        assert [row.first_off for row in store.parts()] == [False] * 3
        seal(store, 4, first_off=True)
        assert store.parts()[0].first_off
        assert store.verify().sound


def test_first_off_record_opens_for_ever(tmp_path: Path) -> None:
    """A record of the step that brought the mark opens, is sound, and reads as meant."""
    kept = Path(__file__).parent / "kept" / "record-2.db"
    (tmp_path / "record.db").write_bytes(kept.read_bytes())
    with Store.open(tmp_path, simulated=True) as store:
        assert store.verify().sound
        assert [row.first_off for row in store.parts()] == [False, True]
        assert store.pressing(pressing_code(1)).record == invented.record(1, first_off=True)


def test_first_off_survives_the_lists_being_made_anew(tmp_path: Path) -> None:
    """Rebuilt from the journal, the mark is there again."""
    with Store.open(tmp_path, simulated=True) as store:
        seal(store, 1, first_off=True)
        seal(store, 2)
        store.rebuild()
        assert [row.first_off for row in store.parts()] == [False, True]


def test_first_off_of_a_pressing_that_is_lost_is_marked_too() -> None:
    """A first that is cut short by heat off is sealed as what it was."""
    play = Play().to(P.CLOSE)
    play.take(fx.PressingEnded)
    play.ask(ask.HeatOff())
    assert ended(play)["first_off"] is True
