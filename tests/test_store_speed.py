"""What the record costs: bytes for a pressing, time for a list of 10,000 parts and for a commit."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path

import invented
from invented import STAMP
from tawny.core import columns
from tawny.core.record import AlarmChange
from tawny.store.codes import pressing_code
from tawny.store.reader import Reader
from tawny.store.requests import Seal, Stamp
from tawny.store.store import Store

BYTES_MOST = 16_000  # for a pressing of 5 minutes, everything counted
LIST_MOST_S = 0.2  # 10,000 parts; measured about 0.05 s on one x86-64 core: four times spare
PRESSINGS = 12


def press(store: Store, number: int) -> None:
    """Record five minutes: 300 chunks, phases, taps and alarms, settings, and the sealed whole."""
    name = pressing_code(number)
    store.begin_pressing(name, number, {"operator": "Ada", "recipe": invented.RECIPE.copy})
    for second in range(300):
        store.spool(name, bytes(range(200)) + bytes([second % 256, number % 256]) * 20)
        if second % 15 == 0:
            store.append("intent", {"intent": "advance", "seen": "hold", "accepted": True}, **STAMP)
        if second % 100 == 0:
            change = AlarmChange(
                alarm="deviation_low",
                state=invented.CHANGE.state,
                priority=invented.CHANGE.priority,
                pressing_id=name,
                fields={"half": "upper", "deviation_k": -4.2},
            )
            store.append("alarm", change, **STAMP)
    trace = columns.encode(invented.trace(number), invented.SCALES)
    store.seal_pressing(invented.record(number), trace, **STAMP)


def size_after_closing(home: Path, first: int, count: int) -> int:
    """Record some pressings and return the bytes of the closed record."""
    with Store.open(home, simulated=True) as store:
        for number in range(first, first + count):
            press(store, number)
    return sum(path.stat().st_size for path in home.iterdir())


def test_store_of_a_five_minute_pressing_fits_16_kb(tmp_path: Path) -> None:
    """All channels, the summary with its recipe, 20 intents, 3 alarms, lists and indexes: counted.

    Counted as the growth of the whole folder over twelve pressings after two, closed both times:
    the pages the first pressing's spool took are used again by the next one's.
    """
    before = size_after_closing(tmp_path, 1, 2)
    after = size_after_closing(tmp_path, 3, PRESSINGS)
    each = (after - before) / PRESSINGS
    assert each <= BYTES_MOST, f"{each:.0f} bytes for a pressing"


def least_s(work: Callable[[], object], times: int = 7) -> float:
    """Return the shortest of several runs: the machine is shared."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spans.append(time.perf_counter() - start)
    return min(spans)


def test_store_lists_10_000_parts_in_time(tmp_path: Path) -> None:
    """Opened anew and read whole, newest first: at most 0.2 s, a filtered page far less."""
    stamp = Stamp(**STAMP)
    with Store.open(tmp_path, simulated=True) as store:
        for first in range(1, 10_001, 2500):
            store.write(
                [
                    Seal(invented.record(number), number.to_bytes(4, "little") * 20, stamp)
                    for number in range(first, first + 2500)
                ]
            )

    def whole() -> None:
        with Reader.open(tmp_path) as reader:
            assert len(reader.parts()) == 10_000

    def page() -> None:
        with Reader.open(tmp_path) as reader:
            assert len(reader.parts(50, recipe=invented.RECIPE.name, below=5000)) == 50

    whole_s, page_s = least_s(whole), least_s(page)
    assert whole_s <= LIST_MOST_S, f"{whole_s} s"
    assert page_s <= LIST_MOST_S / 4, f"{page_s} s"


def test_store_commits_each_second_in_time(tmp_path: Path) -> None:
    """One second's chunk is on the disk within a tenth of the second, in the median."""
    spans = []
    with Store.open(tmp_path, simulated=True) as store:
        for _ in range(200):
            start = time.perf_counter()
            store.spool(pressing_code(1), bytes(240))
            spans.append(time.perf_counter() - start)
    assert statistics.median(spans) <= 0.1
