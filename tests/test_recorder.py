"""The press never waits for the disk, and nothing that was told is lost without a word."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import apsw
import pytest

import invented
from disks import TroubledDisk
from invented import STAMP
from tawny.core.record import Gap, Refused
from tawny.store.codes import part_code, pressing_code
from tawny.store.reader import Reader
from tawny.store.recorder import Recorder
from tawny.store.store import Store
from tawny.store.writer import DirectWriter, ThreadWriter

Make = Callable[..., Recorder]


class Clock:
    """Seconds that pass when told to."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        """Return the time, in seconds."""
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    """A clock that stands still."""
    return Clock()


@pytest.fixture
def disk() -> Iterator[TroubledDisk]:
    """A disk that works until told otherwise."""
    disk = TroubledDisk("troubled")
    yield disk
    disk.unregister()


@pytest.fixture(params=["direct", "thread"])
def make(
    request: pytest.FixtureRequest, tmp_path: Path, disk: TroubledDisk, clock: Clock
) -> Iterator[Make]:
    """Build either recorder over a new record; both must behave alike."""
    made: list[Recorder] = []

    def build(**options: int) -> Recorder:
        store = Store.open(tmp_path, simulated=True, vfs=disk.name)
        if request.param == "direct":
            made.append(DirectWriter(store, clock=clock, **options))
        else:
            made.append(ThreadWriter(store, clock=clock, retry_s=0.01, **options))
        return made[0]

    yield build
    disk.trouble = None
    for recorder in made:
        recorder.close()


def texts(home: Path) -> list[str]:
    """Return the payloads of the notes on disk, in order."""
    with Reader.open(home) as reader:
        return [entry.payload.decode() for entry in reader.entries(kinds=["note"])]


def test_recorder_writes_in_order_and_tells_what_is_sealed(make: Make, tmp_path: Path) -> None:
    """Entries, chunks and a seal reach the disk in order; the sealed pressing is told once."""
    recorder = make()
    recorder.begin_pressing(pressing_code(1), 1, {"operator": "Ada"})
    for number in range(100):
        recorder.append("note", {"n": number}, **STAMP)
        recorder.spool(pressing_code(1), b"chunk")
    recorder.seal_pressing(invented.record(1, cavities=2), b"trace", **STAMP)
    assert recorder.flush()
    assert texts(tmp_path) == [f'{{"n":{number}}}' for number in range(100)]
    (sealed,) = recorder.take_sealed()
    assert sealed.part_ids == (part_code(1), part_code(2))
    assert recorder.take_sealed() == []
    status = recorder.status()
    assert (status.waiting, status.written, status.reason) == (0, 202, None)
    with Reader.open(tmp_path) as reader:
        assert reader.spooled() == ()
        assert reader.last_hash() == sealed.entry_hash


@pytest.mark.parametrize(
    "case",
    [
        (apsw.FullError("full"), "store_full", "full"),
        (apsw.ReadOnlyError("read only"), "store_full", "read_only"),
        (apsw.IOError("cable"), "store_failed", "cable"),
    ],
)
def test_recorder_keeps_what_the_disk_refuses(
    make: Make,
    tmp_path: Path,
    disk: TroubledDisk,
    clock: Clock,
    case: tuple[apsw.Error, str, str],
) -> None:
    """A full, read-only or broken disk is told by code; what waits is written once it is mended."""
    trouble, code, why = case
    recorder = make()
    recorder.append("note", {"n": 0}, **STAMP)
    assert recorder.flush()
    disk.trouble = trouble
    for number in range(1, 5):
        recorder.append("note", {"n": number}, **STAMP)
    assert not recorder.flush(timeout_s=0.05)
    clock.now_s += 7.0
    status = recorder.status()
    assert status.reason is not None
    assert (status.reason.code, status.waiting, status.lost) == (code, 4, 0)
    assert why in str(status.reason.fields["why"])
    assert recorder.stalled_s() == 7.0
    disk.trouble = None
    assert recorder.flush()
    assert texts(tmp_path) == [f'{{"n":{number}}}' for number in range(5)]
    assert recorder.status().reason is None
    assert recorder.stalled_s() == 0.0


def test_recorder_says_what_it_could_not_keep(
    make: Make, tmp_path: Path, disk: TroubledDisk
) -> None:
    """At its bound it counts what it drops, and the record says so when the disk is back."""
    recorder = make(bound_bytes=5000)
    disk.trouble = apsw.FullError("full")
    for number in range(100):
        stamp = STAMP | {"utc_ms": 1000 + number}
        recorder.append("note", {"n": number}, **stamp)
    recorder.flush(timeout_s=0.05)
    status = recorder.status()
    assert status.at_bound
    assert status.waiting_bytes <= 5000
    assert status.waiting + status.lost == 100
    disk.trouble = None
    assert recorder.flush()
    assert len(texts(tmp_path)) == status.waiting
    with Reader.open(tmp_path) as reader:
        (entry,) = reader.entries(kinds=["gap"])
        gap = entry.read(Gap)
        assert (gap.lost, gap.first_utc_ms, gap.last_utc_ms) == (
            status.lost,
            1000 + status.waiting,
            1099,
        )
        assert gap.reason in {"store_full", "store_stalled"}
    assert (recorder.status().at_bound, recorder.status().lost) == (False, status.lost)


def test_recorder_sets_aside_what_can_never_be_written(make: Make, tmp_path: Path) -> None:
    """A value without a spelling, and a pressing number taken twice, leave an entry, not a jam."""
    recorder = make()
    recorder.append("note", {"n": 1}, **STAMP)
    recorder.append("duty", {"upper": float("nan")}, **STAMP)
    recorder.append("alarm", {"alarm": "link_lost"}, **STAMP)
    recorder.seal_pressing(invented.record(1), b"one", **STAMP)
    recorder.seal_pressing(invented.record(1), b"two", **STAMP)
    recorder.append("note", {"n": 2}, **STAMP)
    assert recorder.flush()
    assert texts(tmp_path) == ['{"n":1}', '{"n":2}']
    assert [sealed.pressing_id for sealed in recorder.take_sealed()] == [pressing_code(1)]
    assert (recorder.status().refused, recorder.status().reason) == (3, None)
    with Reader.open(tmp_path) as reader:
        refused = [entry.read(Refused) for entry in reader.entries(kinds=["refused"])]
        assert [entry.kind for entry in refused] == ["duty", "alarm", "Seal"]
        first, second = refused[0], refused[2]
        assert (first.kind, first.text) == ("duty", "{'upper': nan}")
        assert "not a finite number" in first.reason
        assert refused[1].text == '{"alarm":"link_lost"}'
        assert "spent grain, week 14" in second.text
        assert reader.verify().sound
        blob = "SELECT count(*) FROM blob WHERE data = x'74776f'"  # the second trace is kept too
        assert reader._db.execute(blob).get == 1  # noqa: SLF001


def test_recorder_says_at_the_end_what_still_waits(make: Make, disk: TroubledDisk) -> None:
    """Closing over a full disk returns, with what could not be written counted."""
    recorder = make()
    disk.trouble = apsw.FullError("full")
    recorder.append("note", {"n": 1}, **STAMP)
    status = recorder.close(timeout_s=0.2)
    assert (status.waiting, status.reason is not None) == (1, True)


def test_recorder_in_a_thread_never_waits_for_a_stalled_disk(
    tmp_path: Path, disk: TroubledDisk, clock: Clock
) -> None:
    """While one write hangs in the disk, telling returns at once and the stall is measured."""
    recorder = ThreadWriter(Store.open(tmp_path, simulated=True, vfs=disk.name), clock=clock)
    disk.asked.clear()
    disk.answers.clear()
    recorder.append("note", {"n": 0}, **STAMP)
    assert disk.asked.wait(10)
    for number in range(1, 1000):
        recorder.append("note", {"n": number}, **STAMP)
    clock.now_s += 2.5
    assert recorder.stalled_s() == 2.5
    assert recorder.status().waiting == 1000
    disk.answers.set()
    assert recorder.flush(10)
    assert recorder.close().waiting == 0
    assert len(texts(tmp_path)) == 1000


def test_recorder_groups_on_a_virtual_clock(tmp_path: Path, clock: Clock) -> None:
    """It writes when something has waited long enough, when 60 wait, and at each seal."""
    recorder = DirectWriter(Store.open(tmp_path, simulated=True), clock=clock)
    recorder.append("note", {"n": 0}, **STAMP)
    recorder.tick()
    assert recorder.status().waiting == 1
    clock.now_s += 0.3
    recorder.tick()
    assert recorder.status().waiting == 0
    for number in range(59):
        recorder.append("note", {"n": number}, **STAMP)
    assert recorder.status().waiting == 59
    recorder.append("note", {"n": 59}, **STAMP)
    assert recorder.status().waiting == 0
    recorder.append("note", {"n": 60}, **STAMP)
    recorder.seal_pressing(invented.record(1), b"", **STAMP)
    assert recorder.status().waiting == 0
    assert len(recorder.take_sealed()) == 1
    recorder.close()
