"""The chain of hashes finds an edit, and the lists follow from the journal alone."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import apsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

import invented
from invented import seal
from tawny.core.canonical import canonical_json
from tawny.errors import (
    InputError,
    StoreDamagedError,
)
from tawny.store import database
from tawny.store.codes import pressing_code
from tawny.store.store import Store

STAMP = invented.STAMP


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new simulated record."""
    with Store.open(tmp_path / "home", simulated=True) as opened:
        yield opened


def test_store_hashes_as_documented(store: Store) -> None:
    """An independent reading of the journal's head gives each entry's hash from its columns."""
    store.append("note", {"text": "é", "b": [1, 2.5, None, True], "a": "\n"}, **STAMP)
    seal(store, 1)
    prev = bytes(32)
    for row in database.rows(store._db, "SELECT * FROM journal ORDER BY seq"):  # noqa: SLF001
        *fields, kept = row
        assert fields[-1] == prev
        data = b"tawny journal 1\n"
        for field in fields:
            piece = field if isinstance(field, bytes) else str(field).encode()
            data += len(piece).to_bytes(4, "little") + piece
        assert hashlib.sha256(data).digest() == kept
        prev = kept
    payload = store.entries(2, 2)[0].payload
    assert payload == '{"a":"\\n","b":[1,2.5,null,true],"text":"é"}'.encode()


JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(1 << 63), (1 << 63) - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text("ab é\n", max_size=3), inner)
    ),
    max_leaves=12,
)


@given(JSON_VALUES)
def test_store_payloads_are_canonical(value: object) -> None:
    """Any plain value reads back the same, and is spelled the same from what was read back."""
    spelled = canonical_json(value)
    assert json.loads(spelled) == value
    assert canonical_json(json.loads(spelled)) == spelled


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), 1 << 63, {1: 2}, b"bytes", {"a": {2}}, "\ud800", {"\ud800": 1}],
)
def test_store_payloads_refuse_what_has_no_one_spelling(value: object) -> None:
    """NaN, infinity, too wide a number, keys that are not text and bytes are refused."""
    with pytest.raises(InputError):
        canonical_json({"x": [value]})


@given(
    st.lists(
        st.tuples(st.text(), st.text(), st.integers(-(1 << 63) + 1, (1 << 63) - 1)), max_size=5
    )
)
def test_store_chain_holds_whatever_is_told(told: list[tuple[str, str, int]]) -> None:
    """Any text as kind, name and payload, blanks and zero bytes included, or a refusal; sound."""
    with TemporaryDirectory() as home, Store.open(Path(home), simulated=True) as store:
        for kind, who, number in told:
            store.append("x" + kind, {"text": who}, who=who, utc_ms=number, mono_ms=-number)
        assert store.verify().sound
        assert [(entry.kind, entry.who) for entry in store.entries(2)] == [
            ("x" + kind, who) for kind, who, _ in told
        ]


@pytest.mark.parametrize("when", [5.0, True, "5", 1 << 63])
def test_store_refuses_a_time_that_is_kept_otherwise(store: Store, when: Any) -> None:
    """A time that SQLite would turn into another value cannot enter the chain."""
    with pytest.raises(InputError, match="whole milliseconds"):
        store.append("note", {}, who="Ada", utc_ms=when, mono_ms=0)
    assert store.verify().sound


def test_store_refuses_a_payload_that_does_not_fit_its_kind(store: Store) -> None:
    """An alarm entry that is no change of an alarm is refused before it is written."""
    with pytest.raises(InputError, match="does not fit its kind"):
        store.append("alarm", {"alarm": "link_lost"}, **STAMP)
    assert len(store.entries()) == 1


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE journal SET who = 'Eve' WHERE seq = 2",
        "DELETE FROM journal WHERE seq = 2",
        "INSERT OR REPLACE INTO journal SELECT * FROM journal WHERE seq = 1",
        "INSERT INTO journal SELECT seq + 9, '', '', 1, 0, 0, '', '', prev, hash FROM journal",
        "UPDATE blob SET data = x'00'",
        "DELETE FROM blob",
    ],
)
def test_store_triggers_refuse_a_slip(store: Store, change: str) -> None:
    """A statement that changes, deletes, replaces or skips an entry, or touches a blob, fails."""
    seal(store, 1)
    with apsw.Connection(str(store.file)) as other, pytest.raises(apsw.ConstraintError):
        other.execute(change)
    assert store.verify().sound


COLUMNS = ("seq", "origin", "kind", "schema", "utc_ms", "mono_ms", "who", "payload", "prev", "hash")


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("seq", [1, 3, 6])
def test_store_finds_an_edit_of_any_column(store: Store, column: str, seq: int) -> None:
    """An edit by someone who drops the triggers breaks the chain at that entry."""
    for number in range(1, 5):
        seal(store, number)
    store.append("note", {"x": 1}, **STAMP)
    assert store.verify().sound
    change = {
        "seq": "seq + 100",
        "origin": "origin || 'x'",
        "kind": "kind || 'x'",
        "who": "who || 'x'",
        "payload": "payload || ' '",
        "prev": "(SELECT sha256 FROM blob LIMIT 1)",
        "hash": "(SELECT sha256 FROM blob LIMIT 1)",
    }.get(column, f"{column} + 1")
    with apsw.Connection(str(store.file)) as other:
        other.execute("PRAGMA foreign_keys = OFF; DROP TRIGGER journal_keeps")
        other.execute(f"UPDATE journal SET {column} = {change} WHERE seq = {seq}")  # noqa: S608
    found = store.verify()
    wanted = {"seq": seq + 1 if seq < 6 else 106}.get(column, seq)
    reason = {"seq": "order", "prev": "prev"}.get(column, "hash")
    if column == "origin" and seq > 1:
        reason = "origin"
    assert (found.sound, found.broken_seq, found.why) == (False, wanted, reason)


def test_store_finds_a_missing_and_a_changed_trace(store: Store) -> None:
    """A trace that no longer fits its name is found, by the walk and by whoever reads it."""
    seal(store, 1)
    seal(store, 2)
    with apsw.Connection(str(store.file)) as other:
        other.execute("DROP TRIGGER blob_keeps; DROP TRIGGER blob_stays")
        other.execute("UPDATE blob SET data = zeroblob(9) WHERE rowid = 2")
    assert (store.verify().why, store.verify().broken_seq) == ("trace", 3)
    with pytest.raises(StoreDamagedError, match="changed"):
        store.trace(pressing_code(2))
    with apsw.Connection(str(store.file)) as other:
        other.execute("DELETE FROM blob WHERE rowid = 1")
    assert (store.verify().why, store.verify().broken_seq) == ("trace", 2)


def test_store_finds_a_cut_off_end_by_a_printed_hash(store: Store) -> None:
    """A journal shortened, or recomputed, no longer holds the hash a report printed."""
    seal(store, 1)
    seal(store, 2)
    printed = store.last_hash()
    assert store.verify(printed.upper()).sound
    with apsw.Connection(str(store.file)) as other:
        other.execute("DROP TRIGGER journal_stays; DELETE FROM part WHERE pressing = 2")
        other.execute("DELETE FROM pressing WHERE number = 2; DELETE FROM journal WHERE seq = 3")
    assert store.verify().sound  # the chain alone cannot know
    assert store.verify(printed).why == "printed"


def test_store_rebuilds_its_lists_from_the_journal(store: Store) -> None:
    """Emptied or edited lists differ from the journal, are found, and come back the same."""
    for number in range(1, 4):
        seal(store, number, cavities=2)
    store.put_segment("full", 0, 10, b"x", **STAMP)
    before = store.parts()
    with apsw.Connection(str(store.file)) as other:
        other.execute("UPDATE pressing SET peak_c = 150 WHERE number = 2; DELETE FROM segment")
    assert (store.verify().why, store.parts() == before) == ("models", False)
    store.rebuild()
    assert store.verify().sound
    assert store.parts() == before
    assert len(store.segments(0, 10)) == 1
