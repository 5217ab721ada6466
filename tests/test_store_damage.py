"""A record that is damaged, foreign, later or earlier is met with a sentence, never with a loss."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import apsw
import pytest

import invented
from invented import seal
from tawny.core import columns
from tawny.errors import InputError, StoreDamagedError, StoreError, StoreNewerError
from tawny.store import database, models
from tawny.store.codes import part_code, pressing_code
from tawny.store.reader import Reader
from tawny.store.schema import MIGRATIONS
from tawny.store.store import Store

PAGE = database.PAGE_BYTES
KEPT_HASH = "98e9737f0c51bb72bbb10c101da5833d68ee377ff2076e70e740748b24a82d68"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """The closed record of 40 pressings."""
    with Store.open(tmp_path, simulated=True) as store:
        for number in range(1, 41):
            seal(store, number)
    return tmp_path


def dump(file: Path) -> list[list[tuple[Any, ...]]]:
    """Return every row of every table."""
    tables = ("journal", "blob", "pressing", "part", "alarm", "segment", "spool", "open_pressing")
    with apsw.Connection(str(file), flags=apsw.SQLITE_OPEN_READONLY) as db:
        return [database.rows(db, f"SELECT * FROM {table}") for table in tables]  # noqa: S608


def zero_the_start(data: bytearray) -> None:
    """As after a power cut on a disk that orders nothing."""
    data[:PAGE] = bytes(PAGE)


def break_every_page(data: bytearray) -> None:
    """Overwrite the head of each page but the first."""
    for start in range(PAGE, len(data), PAGE):
        data[start : start + 8] = b"\xff" * 8


def lose_the_end(data: bytearray) -> None:
    """Half of the file is missing."""
    del data[len(data) // 2 :]


def be_another_file(data: bytearray) -> None:
    """It is no database at all."""
    data[:] = b"pressings: see notebook\n" * 500


@pytest.mark.parametrize(
    "damage", [zero_the_start, break_every_page, lose_the_end, be_another_file]
)
def test_store_damage_gets_one_sentence_and_keeps_the_file(home: Path, damage: Any) -> None:
    """The sentence names the file and the copy, both as found; no second copy piles up."""
    file = home / "record.db"
    data = bytearray(file.read_bytes())
    damage(data)
    file.write_bytes(data)
    for _ in range(2):
        with pytest.raises(StoreDamagedError) as caught:
            Store.open(home, simulated=True)
        kept = home / "record.db.damaged-1"
        sentence = str(caught.value)
        assert f"{file} is damaged (" in sentence
        assert f"a copy kept as {kept}" in sentence
        assert "\n" not in sentence
        assert file.read_bytes() == kept.read_bytes() == data
    assert not (home / "record.db.damaged-2").exists()
    with pytest.raises(StoreDamagedError, match="is damaged"):
        Reader.open(home).verify()


def test_store_damage_takes_the_log_along(home: Path) -> None:
    """What still waits in the log beside a damaged file is copied too, and left alone."""
    with Store.open(home, simulated=True) as store:
        seal(store, 41)
        log = (home / "record.db-wal").read_bytes()
    file = home / "record.db"
    (home / "record.db-wal").write_bytes(log)
    be = bytearray(file.read_bytes())
    be_another_file(be)
    file.write_bytes(be)
    with pytest.raises(StoreDamagedError):
        Store.open(home, simulated=True)
    assert (home / "record.db.damaged-1-wal").read_bytes() == log


def test_store_damage_of_any_byte_is_found_or_changes_nothing(home: Path) -> None:
    """A byte changed anywhere is found at the start or by the walk, or no row reads differently."""
    file = home / "record.db"
    whole, rows = file.read_bytes(), dump(home / "record.db")
    chance = random.Random(7)  # noqa: S311 - places to damage
    at_start = by_walk = harmless = 0
    for place in [
        page + chance.randrange(PAGE) for page in range(0, len(whole), PAGE) for _ in range(4)
    ]:
        data = bytearray(whole)
        data[place] ^= 1 << chance.randrange(8)
        file.write_bytes(data)
        for beside in (home / "record.db-wal", home / "record.db-shm"):
            beside.unlink(missing_ok=True)
        try:
            store = Store.open(home, simulated=True)
        except (StoreError, InputError):
            at_start += 1
            continue
        with store:
            try:
                sound = store.verify().sound
            except StoreError:
                sound = False
        if not sound:
            by_walk += 1
            continue
        harmless += 1
        assert dump(file) == rows, place
    assert at_start > 0
    assert by_walk > 0
    assert harmless < at_start + by_walk + harmless


def test_store_refuses_a_later_record(home: Path) -> None:
    """A later record is refused by owner and reader, both versions named, and is left alone."""
    file = home / "record.db"
    with apsw.Connection(str(file)) as db:
        db.pragma("user_version", len(MIGRATIONS) + 2)
    before = file.read_bytes()
    wanted = rf"record version {len(MIGRATIONS) + 2}, this program reads up to {len(MIGRATIONS)}"
    with pytest.raises(StoreNewerError, match=wanted):
        Store.open(home, simulated=True)
    with pytest.raises(StoreNewerError, match=wanted):
        Reader.open(home)
    assert file.read_bytes() == before


def test_store_refuses_a_foreign_database(tmp_path: Path) -> None:
    """A database of another program is not turned into a record."""
    with apsw.Connection(str(tmp_path / "record.db")) as db:
        db.execute("CREATE TABLE stock(cups)")
    with pytest.raises(StoreDamagedError, match="not that of a record of this program"):
        Store.open(tmp_path, simulated=True)
    with apsw.Connection(str(tmp_path / "record.db")) as db:
        assert database.rows(db, "SELECT name FROM sqlite_schema") == [("stock",)]


def test_store_migrates_after_keeping_a_copy(home: Path) -> None:
    """A record of an earlier version is copied, migrated and its lists rebuilt; a reader waits."""
    file = home / "record.db"
    later = (*MIGRATIONS, "CREATE TABLE lot(name TEXT PRIMARY KEY) STRICT; DELETE FROM part")
    with pytest.raises(StoreError, match="of an earlier version"):
        database.open_reader(file, known=len(later))
    before = dump(file)
    db = database.open_writer(file, models.rebuild, migrations=later)
    assert database.only(db, "PRAGMA user_version") == len(later)
    db.close()
    assert dump(file) == before  # the emptied list came back from the journal
    assert dump(home / f"record.db.version-{len(MIGRATIONS)}") == before


def test_store_leaves_a_failed_migration_undone(home: Path) -> None:
    """A step that fails leaves the version and the tables as they were."""
    file = home / "record.db"
    before = dump(file)
    with pytest.raises(StoreError):
        database.open_writer(
            file, models.rebuild, migrations=(*MIGRATIONS, "DELETE FROM part; CREATE TABLE part(x)")
        )
    assert dump(file) == before
    with Store.open(home, simulated=True) as store:
        assert len(store.parts()) == 40


def test_store_of_version_1_opens_for_ever(tmp_path: Path) -> None:
    """A record kept from the first version opens, is sound, reads as meant, and goes on."""
    kept = Path(__file__).parent / "kept" / "record-1.db"
    (tmp_path / "record.db").write_bytes(kept.read_bytes())
    with Store.open(tmp_path, simulated=True) as store:
        assert store.verify(KEPT_HASH).sound
        assert [row.part_id for row in store.parts()] == [part_code(n) for n in (3, 2, 1)]
        one = store.pressing(pressing_code(1))
        assert one.record == invented.record(1)
        assert columns.decode(store.blob(one.trace)).values == invented.trace(1, rows=20)
        assert [row.state for row in store.alarms()] == ["active"]
        assert store.blob(store.segments(0, 1 << 50)[0].trace) == b"kept"
        assert [left.chunks for left in store.spooled()] == [(b"chunk",)]
        assert store.next_pressing_number() == 4
        seal(store, 4)
        assert store.verify(KEPT_HASH).sound
