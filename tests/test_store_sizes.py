"""How much room a record takes: every page of the file is counted once."""

from __future__ import annotations

from pathlib import Path

from invented import CHANGE, STAMP, seal
from tawny.store.codes import pressing_code
from tawny.store.database import PAGE_BYTES, rows
from tawny.store.store import Store


def test_sizes_leave_no_page_of_the_file_out(tmp_path: Path) -> None:
    """Tables, indexes and free pages together are the file, to the byte."""
    with Store.open(tmp_path, simulated=True) as store:
        for number in range(1, 5):
            store.begin_pressing(pressing_code(number), number, {})
            store.spool(pressing_code(number), bytes(40_000))
            seal(store, number)
        store.append("alarm", CHANGE, **STAMP)
        store.put_segment("rest", 1_770_000_900_000, 1_770_001_500_000, b"kept", **STAMP)
        store.checkpoint()
        found = store.sizes()
        names = {
            str(name)
            for (name,) in rows(store._db, "SELECT name FROM sqlite_schema WHERE rootpage > 0")  # noqa: SLF001
        }

    assert found.used + found.free == found.file
    assert found.free > 30_000  # most of what the last spool took, for the next one
    assert set(found.tables) == names | {"sqlite_schema"}
    assert {"journal", "blob", "pressing", "part", "alarm", "segment", "spool"} <= names
    assert all(size and size % PAGE_BYTES == 0 for size in found.tables.values())


def test_sizes_follow_what_is_added(tmp_path: Path) -> None:
    """A blob of 100 kB makes its table grow by that and little more, and no other."""
    with Store.open(tmp_path, simulated=True) as store:
        before = store.sizes()
        store.put_blob(bytes(range(256)) * 400)
        after = store.sizes()

    grown = {name: after.tables[name] - before.tables[name] for name in after.tables}
    assert 102_400 <= grown.pop("blob") <= 110_000
    assert set(grown.values()) == {0}
