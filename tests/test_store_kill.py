"""What was acknowledged survives a killed process and a power cut."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

import invented
from disks import PowerCutDisk
from invented import STAMP
from tawny.errors import StoreError
from tawny.store.codes import pressing_code
from tawny.store.database import only
from tawny.store.store import Store

KILLS = 6
CUTS = 80

# Acknowledges each commit on its standard output; never ends by itself.
CHILD = """
import sys, pathlib, invented
from invented import STAMP, record
from tawny.store.store import Store
store = Store.open(pathlib.Path(sys.argv[1]), simulated=True)
print("open", flush=True)
number = store.next_pressing_number()
while True:
    store.begin_pressing(invented.pressing_code(number), number, {"operator": "Ada"})
    for _ in range(10):
        store.spool(invented.pressing_code(number), bytes(300))
        print(store.append("note", {"n": number}, **STAMP).seq, flush=True)
    print(store.seal_pressing(record(number), b"trace", **STAMP).entry_seq, flush=True)
    number += 1
"""


def test_store_loses_nothing_acknowledged_when_killed(tmp_path: Path) -> None:
    """Killed in mid-write again and again: the file is whole, and every entry told is there."""
    chance = random.Random(11)  # noqa: S311 - moments to kill at
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    for _ in range(KILLS):
        with subprocess.Popen(
            [sys.executable, "-c", CHILD, str(tmp_path)],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        ) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "open\n"
            told = [child.stdout.readline() for _ in range(chance.randrange(1, 60))]
            child.send_signal(signal.SIGKILL)
            told += child.stdout.read().splitlines(keepends=True)
        assert child.returncode == -signal.SIGKILL
        acknowledged = max(int(line) for line in told if line.endswith("\n"))
        with Store.open(tmp_path, simulated=True) as store:
            assert only(store._db, "PRAGMA integrity_check") == "ok"  # noqa: SLF001
            verdict = store.verify()
            assert verdict.sound
            assert verdict.entries >= acknowledged
            for left in store.spooled():
                invented.seal(store, left.number)
            assert store.spooled() == ()


@pytest.fixture
def cut_disk() -> Iterator[Callable[[], PowerCutDisk]]:
    """Disks whose power goes after a number of operations."""
    disks: list[PowerCutDisk] = []

    def make() -> PowerCutDisk:
        disks.append(PowerCutDisk(f"cut {len(disks)}"))
        return disks[-1]

    yield make
    for disk in disks:
        disk.unregister()


def press_until_the_power_goes(
    disk: PowerCutDisk, home: Path, operations: int, synchronous: str = "full"
) -> tuple[int, list[str]]:
    """Record until the cut; return the last entry and the pressings acknowledged."""
    acknowledged, sealed = 0, []
    store = None
    disk.left = operations
    with suppress(StoreError):
        store = Store.open(home, simulated=True, vfs=disk.name)
        store._db.pragma("synchronous", synchronous)  # noqa: SLF001
        store._db.pragma("wal_autocheckpoint", 12)  # noqa: SLF001 - cut in checkpoints as well
        for number in range(1, 100):
            for _ in range(3):
                store.spool(pressing_code(number), bytes(300))
                acknowledged = store.append("note", {"n": number}, **STAMP).seq
            invented.seal(store, number)
            sealed.append(pressing_code(number))
            acknowledged += 1
    disk.left = 0
    if store is not None:
        store.close()
    return acknowledged, sealed


def after_the_cut(
    disk: PowerCutDisk, home: Path, chance: random.Random
) -> tuple[int, list[str], bool]:
    """Open what the platter held; return its last entry, its pressings, and whether it is sound."""
    home.mkdir()
    disk.leave(home, chance)
    with Store.open(home, simulated=True) as store:
        assert only(store._db, "PRAGMA integrity_check") == "ok"  # noqa: SLF001
        verdict = store.verify()
        return verdict.entries, [row.pressing_id for row in store.parts()], verdict.sound


def test_store_loses_nothing_acknowledged_in_a_power_cut(
    tmp_path: Path, cut_disk: Callable[[], PowerCutDisk]
) -> None:
    """Cut at any write or sync, unsynced sectors kept by chance: all told is there, and sound."""
    chance = random.Random(5)  # noqa: S311 - moments and sectors
    reached = 0
    for cut in range(CUTS):
        disk = cut_disk()
        before, after = tmp_path / f"before {cut}", tmp_path / f"after {cut}"
        told, sealed = press_until_the_power_goes(disk, before, chance.randrange(1, 400))
        entries, pressings, sound = after_the_cut(disk, after, chance)
        assert sound, cut
        assert entries >= told, cut
        assert set(sealed) <= set(pressings), cut
        reached += told > 0
    assert reached > CUTS // 2  # most cuts fell into recording, not into opening


def test_store_power_cut_would_show_a_weaker_setting(
    tmp_path: Path, cut_disk: Callable[[], PowerCutDisk]
) -> None:
    """The same cuts with synchronous=NORMAL do lose entries: the test above can fail."""
    chance = random.Random(5)  # noqa: S311 - as above
    lost = 0
    for cut in range(15):
        disk = cut_disk()
        before, after = tmp_path / f"before {cut}", tmp_path / f"after {cut}"
        told, _ = press_until_the_power_goes(disk, before, chance.randrange(60, 400), "normal")
        lost += after_the_cut(disk, after, chance)[0] < told
    assert lost > 0
