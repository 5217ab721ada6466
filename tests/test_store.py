"""The record keeps what it is told and lists it again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import apsw
import msgspec
import pytest

import invented
from invented import seal
from tawny.core import columns
from tawny.core.names import AlarmState, Half, Priority, Result
from tawny.core.record import AlarmChange, Pressing
from tawny.errors import (
    InputError,
    StoreDamagedError,
    StoreFullError,
    StoreNewerError,
)
from tawny.store.codes import part_code, pressing_code
from tawny.store.reader import Reader
from tawny.store.store import Store

STAMP = invented.STAMP


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new simulated record."""
    with Store.open(tmp_path / "home", simulated=True) as opened:
        yield opened


def test_store_gives_back_a_pressing_whole(store: Store) -> None:
    """Summary and trace of a sealed pressing come back as they were given."""
    trace = columns.encode(invented.trace(), invented.SCALES)
    given_record = invented.record(1, gaps=(), extra={"note": "é, 80 °C"})
    sealed = store.seal_pressing(given_record, trace, **STAMP)
    found = store.pressing(sealed.pressing_id)
    assert found.record == given_record
    assert found.record.recipe.copy == invented.RECIPE.copy
    assert store.trace(sealed.pressing_id) == trace
    assert found.trace == hashlib.sha256(trace).hexdigest()
    assert found.part_ids == sealed.part_ids
    assert found.entry.hash.hex() == sealed.entry_hash == store.last_hash()


def test_store_makes_one_part_for_each_cavity(store: Store) -> None:
    """Three cavities yield three parts of one pressing, numbered on from the last."""
    assert seal(store, 1) == (part_code(1),)
    parts = seal(store, 2, cavities=3)
    assert parts == (part_code(2), part_code(3), part_code(4))
    assert [row.part_id for row in store.parts(3)] == list(reversed(parts))
    assert [row.cavity for row in store.parts(3)] == [3, 2, 1]
    assert {row.pressing_id for row in store.parts(3)} == {pressing_code(2)}
    assert store.part(parts[1].lower()).cavity == 2


def test_store_lists_what_the_summary_says(store: Store) -> None:
    """A row of the list repeats the summary, None included, and the hotter half's peak."""
    seal(store, 1, equivalent_s=None, dose_gap=True, peak_c={Half.UPPER: 181.2, Half.LOWER: 184.9})
    row = store.parts()[0]
    record = store.pressing(row.pressing_id).record
    assert (row.equivalent_s, row.dose_gap, row.peak_c) == (None, True, 184.9)
    assert (row.recipe, row.lot, row.mould) == (record.recipe.name, record.lot, record.mould)
    assert (row.hold_s, row.energy_kwh) == (record.hold_s, record.energy_kwh)
    assert (row.alarms, row.simulated) == (("deviation_low",), True)


def test_store_filters_and_pages_parts(store: Store) -> None:
    """Newest first, a page at a time, by recipe, lot, person, mould, result and time."""
    for number in range(1, 11):
        result = Result.ABORTED if number == 4 else Result.COMPLETE
        seal(store, number, lot=f"lot {number % 2}", result=result, operator="Ben")
    assert [row.pressing_id for row in store.parts(2)] == [pressing_code(10), pressing_code(9)]
    assert [row.pressing_id for row in store.parts(1, below=9)] == [pressing_code(8)]
    assert len(store.parts(lot="lot 1")) == 5
    assert [row.pressing_id for row in store.parts(result=Result.ABORTED)] == [pressing_code(4)]
    assert store.parts(operator="Ada") == []
    assert len(store.parts(recipe=invented.RECIPE.name, mould="saucer 160, two halves")) == 10
    sixth_ended = invented.record(6).ended_utc_ms
    assert len(store.parts(since_utc_ms=sixth_ended)) == 5
    assert len(store.parts(until_utc_ms=sixth_ended)) == 5


def test_store_keeps_the_spool_until_the_pressing_is_sealed(tmp_path: Path) -> None:
    """An open pressing is still there after a restart, chunks in order, and gone once sealed."""
    with Store.open(tmp_path, simulated=True) as store:
        number = store.next_pressing_number()
        store.begin_pressing(pressing_code(number), number, {"operator": "Ada"})
        for place in range(5):
            store.spool(pressing_code(number), bytes([place]) * 40)
    with Store.open(tmp_path, simulated=True) as store:
        (left,) = store.spooled()
        assert (left.pressing_id, left.about) == (pressing_code(1), {"operator": "Ada"})
        assert left.chunks == tuple(bytes([place]) * 40 for place in range(5))
        assert store.next_pressing_number() == 2  # its number is not given again
        seal(store, 1, result=Result.INTERRUPTED)
        assert store.spooled() == ()
        assert store.parts()[0].result is Result.INTERRUPTED


def test_store_knows_a_pressing_from_its_chunks_alone(store: Store) -> None:
    """A chunk whose pressing was never announced is not lost either."""
    store.spool(pressing_code(7), b"chunk")
    assert [(left.number, left.chunks) for left in store.spooled()] == [(7, (b"chunk",))]


def test_store_seals_all_or_nothing(store: Store) -> None:
    """A pressing that is refused leaves its spool, and no blob, entry or part."""
    store.spool(pressing_code(1), b"chunk")
    before = store.last_hash()
    with pytest.raises(InputError, match="not a finite number"):
        seal(store, 1, hold_s=float("nan"))
    seal(store, 1)
    with pytest.raises(InputError, match="refuses an entry"):
        seal(store, 1)
    assert len(store.parts()) == 1
    assert len(store.entries()) == 2
    assert store.last_hash() != before
    assert store.verify().sound


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"simulated": False}, "never mixed"),
        ({"cavities": 0}, "0 cavities"),
        ({"pressing_id": "C0009-X"}, "is called C0001-"),
    ],
)
def test_store_refuses_a_wrong_summary(store: Store, changes: dict[str, object], why: str) -> None:
    """A real pressing among simulated ones, no cavity, or a wrong code is refused."""
    with pytest.raises(InputError, match=why):
        seal(store, 1, **changes)
    assert len(store.entries()) == 1


def test_store_keeps_segments_of_the_trace(store: Store) -> None:
    """Stretches outside pressings are found by the time they overlap, oldest first."""
    for start in (0, 1000, 2000):
        store.put_segment("rest", start, start + 999, f"blob {start}".encode(), **STAMP)
    found = store.segments(999, 1500)
    assert [row.start_utc_ms for row in found] == [0, 1000]
    assert store.blob(found[1].trace) == b"blob 1000"
    with pytest.raises(InputError, match="wanted rest or full"):
        store.put_segment("half", 0, 1, b"", **STAMP)


def test_store_lists_alarms_of_a_pressing(store: Store) -> None:
    """Each change of state of an alarm is kept, newest first."""
    for state in (AlarmState.ACTIVE, AlarmState.ACKNOWLEDGED):
        change = AlarmChange(
            alarm="link_lost", state=state, priority=Priority.HIGH, pressing_id=pressing_code(1)
        )
        store.append("alarm", change, **STAMP)
    assert [row.state for row in store.alarms(pressing_id=pressing_code(1))] == [
        "acknowledged",
        "active",
    ]
    assert store.alarms(pressing_id=pressing_code(2)) == []


def test_store_reads_beside_its_owner(store: Store) -> None:
    """Another connection sees what is sealed, holds nothing back, and cannot write."""
    seal(store, 1)
    with Reader.open(store.file.parent) as reader:
        assert reader.simulated
        assert [row.part_id for row in reader.parts()] == [row.part_id for row in store.parts()]
        seal(store, 2)
        assert len(reader.parts()) == 2
        moved, done = store._db.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)  # noqa: SLF001
        assert (moved, done) == (0, 0)  # the whole log was taken back while the reader stood by
        with pytest.raises(apsw.ReadOnlyError):
            reader._db.execute("DELETE FROM part")  # noqa: SLF001


def test_store_refuses_an_entry_of_a_later_version(store: Store) -> None:
    """A kind whose payload a later program wrote is refused by number, not misread."""
    seal(store, 1)
    later = msgspec.structs.replace(store.entries(kinds=["pressing"])[0], schema=2)
    with pytest.raises(StoreNewerError, match=r"entry 2 \(pressing\) has version 2.*up to 1"):
        later.read(Pressing)


def test_store_says_when_a_payload_is_not_its_kind(store: Store) -> None:
    """A payload with a field nobody knows, or none of its own, is damage, not a guess."""
    entry = store.append("note", {"colour": "amber"}, **STAMP)
    with pytest.raises(StoreDamagedError, match=r"entry 2 \(note\) is damaged"):
        entry.read(Pressing)


def test_store_says_which_part_is_missing(store: Store) -> None:
    """A part or pressing that is not there, or a mistyped code, is named."""
    with pytest.raises(InputError, match=f"no part {part_code(142)}"):
        store.part("p142a")
    with pytest.raises(InputError, match=f"no pressing {pressing_code(3)}"):
        store.pressing(pressing_code(3))
    with pytest.raises(InputError, match="has a mistake in it"):
        store.part("P0124-A")


def test_store_backs_up_while_it_is_written(store: Store, tmp_path: Path) -> None:
    """The copy holds what still waits in the log, opens as a record, and is never half made."""
    for number in range(1, 6):
        seal(store, number)
    with Reader.open(store.file.parent) as reader:
        (tmp_path / "copy").mkdir()
        reader.backup(tmp_path / "copy" / "record.db")
        with pytest.raises(InputError, match="there already"):
            reader.backup(tmp_path / "copy" / "record.db")
        with pytest.raises(StoreFullError, match="cannot be written"):
            reader.backup(tmp_path / "nowhere" / "record.db")
    with Store.open(tmp_path / "copy", simulated=True) as copy:
        assert copy.verify(store.last_hash()).sound
        assert copy.parts() == store.parts()
        seal(copy, 6)
    assert {path.name for path in (tmp_path / "copy").iterdir()} == {"record.db", "lock"}
