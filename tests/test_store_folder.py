"""The record looks after its folder: one owner, one kind, a local disk, rights and room."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import invented
from invented import seal
from tawny.core import columns
from tawny.errors import (
    BusyError,
    InputError,
    StoreError,
    StoreFullError,
)
from tawny.store import database, folder
from tawny.store.reader import Reader
from tawny.store.store import Store

NOBODY = 65534
STAMP = invented.STAMP


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new simulated record."""
    with Store.open(tmp_path / "home", simulated=True) as opened:
        yield opened


def test_store_is_one_file_once_closed(tmp_path: Path) -> None:
    """After closing, the record is one file, which can be copied as it is."""
    with Store.open(tmp_path, simulated=True) as store:
        seal(store, 1)
        assert {"record.db-wal", "record.db-shm"} <= {path.name for path in tmp_path.iterdir()}
    assert {path.name for path in tmp_path.iterdir()} == {"record.db", "lock"}


def test_store_keeps_its_settings_for_safety(store: Store) -> None:
    """Write-ahead log, full sync, foreign keys; the busy time is set."""
    pragma = store._db.pragma  # noqa: SLF001
    assert (pragma("journal_mode"), pragma("synchronous"), pragma("foreign_keys")) == ("wal", 2, 1)
    assert pragma("busy_timeout") == 5000
    assert pragma("journal_size_limit") == 16 << 20


def test_store_refuses_an_old_sqlite() -> None:
    """A version that can lose committed rows is refused by number; this one is not."""
    for found in ("3.40.1", "3.51.2"):
        with pytest.raises(StoreError, match=rf"{found} can lose rows; 3\.51\.3"):
            database.check_sqlite(found)
    database.check_sqlite("3.51.3")
    database.check_sqlite()


@pytest.mark.parametrize("first", [True, False])
def test_store_never_mixes_simulated_and_real(tmp_path: Path, first: bool) -> None:  # noqa: FBT001
    """A folder that holds the one kind is refused for the other, and stays as it was."""
    with Store.open(tmp_path, simulated=first) as store:
        before = store.last_hash()
    with pytest.raises(InputError, match="simulated record" if first else "record of a real press"):
        Store.open(tmp_path, simulated=not first)
    with Store.open(tmp_path, simulated=first) as store:
        assert store.last_hash() == before


def test_store_refuses_a_second_owner(store: Store) -> None:
    """A second copy, in this process or another, is told which process holds the folder."""
    home = store.file.parent
    with pytest.raises(BusyError, match=f"process {os.getpid()} already uses"):
        Store.open(home, simulated=True)
    code = (
        "import sys, pathlib\n"
        "from tawny.errors import BusyError\n"
        "from tawny.store.store import Store\n"
        "try: Store.open(pathlib.Path(sys.argv[1]), simulated=True)\n"
        "except BusyError as error: print(error, error.exit_code)"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(home)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert f"process {os.getpid()} already uses {home}" in told
    assert told.rstrip().endswith(" 2")


def test_store_says_where_none_is(tmp_path: Path) -> None:
    """Reading, or opening without beginning one, says that the folder holds no record."""
    with pytest.raises(InputError, match="holds no record yet"):
        Reader.open(tmp_path)
    with pytest.raises(InputError, match="holds no record yet"):
        Store.open(tmp_path, create=False, simulated=True)
    assert list(tmp_path.iterdir()) == []


def test_store_refuses_a_folder_on_a_network(tmp_path: Path) -> None:
    """The type of the file system decides, the deepest and latest mount over a folder counting."""
    real = tmp_path.resolve()
    mounts = (
        "22 1 8:1 / / rw,relatime - ext4 /dev/sda1 rw,data=writeback\n"
        f"40 22 0:45 / {real} rw - nfs4 server:/share rw\n"
    )
    with pytest.raises(InputError, match=r"network file system \(nfs4\)"):
        folder.check_local(tmp_path, mounts)
    over = mounts + f"41 22 0:46 / {real} rw - tmpfs tmpfs rw\n"
    folder.check_local(tmp_path, over)
    where = folder.file_system(tmp_path.parent, mounts)
    assert where is not None
    assert (where.kind, where.network, where.unordered) == ("ext4", False, True)
    blank = mounts + "42 22 0:47 / /mnt/a\\040b rw - cifs //server/x rw\n"
    assert folder.file_system(Path("/mnt/a b/c"), blank) == folder.FileSystem(
        kind="cifs", mount="/mnt/a b", options=("rw", "rw")
    )
    assert folder.file_system(tmp_path) is not None
    folder.check_local(tmp_path)


@contextmanager
def without_rights() -> Iterator[None]:
    """Be an ordinary user for a while; root may write anywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_to_all(tmp_path: Path) -> Path:
    """A folder that any user may enter."""
    for above in (tmp_path, *tmp_path.parents):
        if os.geteuid() == 0 and not above.stat().st_mode & 0o001:
            above.chmod(above.stat().st_mode | 0o055)
    return tmp_path


def test_store_says_when_the_folder_is_read_only(open_to_all: Path) -> None:
    """A read-only folder gets one sentence; a record in it can still be read."""
    home = open_to_all / "home"
    with Store.open(home, simulated=True) as store:
        seal(store, 1)
    for path in home.iterdir():
        path.chmod(0o444)
    home.chmod(0o555)
    try:
        with without_rights():
            with pytest.raises(StoreFullError, match=r"cannot be written: mend its rights"):
                Store.open(home, simulated=True)
            with pytest.raises(StoreFullError, match=r"cannot be written: mend its rights"):
                Store.open(home / "below", simulated=True)
            with Reader.open(home) as reader:
                assert len(reader.parts()) == 1
    finally:
        home.chmod(0o755)
    with Store.open(home, simulated=True) as store:
        assert len(store.parts()) == 1


def test_store_keeps_what_it_has_when_the_disk_is_full(store: Store) -> None:
    """A full disk gets one sentence, the transaction is whole, and writing goes on with room."""
    seal(store, 1)
    pages = store._db.pragma("page_count")  # noqa: SLF001
    store._db.pragma("max_page_count", pages)  # noqa: SLF001
    trace = columns.encode(invented.trace())
    sealed = 1

    def fill() -> None:
        nonlocal sealed
        for number in range(2, 30):
            store.seal_pressing(invented.record(number), trace + bytes([number]), **STAMP)
            sealed = number

    with pytest.raises(StoreFullError, match="the disk is full; free some space"):
        fill()
    assert len(store.parts()) == sealed < 29
    assert store.verify().sound
    store._db.pragma("max_page_count", pages * 100)  # noqa: SLF001
    seal(store, 30)
    assert store.verify().sound
