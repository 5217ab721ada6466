"""Simulated seconds for each second of the world: the whole host, with its record."""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tawny.cli.benches.measured import Figure, Measured, machine
from tawny.cli.virtual_press import VirtualPress
from tawny.settings.home import Home
from tawny.store.writer import GROUP_ROWS, GROUP_S
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Iterator

LEAST = 1000.0
RECIPE = "grain-apple"
BEGIN_UTC_MS = 1_750_000_000_000
LONGEST_S = 12 * 3600.0
SYNCS, SYNCED_BYTES = 40, 4096


class Run(NamedTuple):
    """One run of the whole press."""

    simulated_s: float
    wall_s: float
    cpu_s: float
    pressings: int
    record_bytes: int


def measure(*, short: bool) -> Iterator[Measured]:
    """Press parts from cold on the virtual clock, recording each."""
    pressings, times = (1, 3) if short else (3, 5)
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        runs = [press(Path(folder, str(n)), pressings=pressings) for n in range(times)]
        sync_s = sync_time_s(Path(folder))
    best = max(runs, key=lambda run: run.simulated_s / run.wall_s)
    figures: dict[str, Figure] = {
        "simulated_s": best.simulated_s,
        "wall_s": best.wall_s,
        "cpu_s": best.cpu_s,
        "simulated_s_per_cpu_s": round(best.simulated_s / best.cpu_s, 1),
        "runs": ", ".join(f"{run.simulated_s / run.wall_s:.0f}" for run in runs),
        "pressings_each_run": best.pressings,
        "record_bytes": best.record_bytes,
        "sync_ms": round(sync_s * 1000.0, 3),
        "group_requests_most": GROUP_ROWS,
        "group_linger_s": GROUP_S,
    }
    yield Measured(
        bench="speed",
        compares=_(
            "simulated seconds for each second of the world: board, mould, line, core and record,"
            " the least disturbed of several runs"
        ),
        ratio=best.simulated_s / best.wall_s,
        limit=LEAST,
        at_least=True,
        figures=figures | machine(),
    )


def press(folder: Path, *, pressings: int) -> Run:
    """Press some parts in a folder and return what that took, the last commit included."""
    virtual = VirtualPress(
        Home(folder), begin_utc_ms=BEGIN_UTC_MS, pressings=pressings, recipe=RECIPE
    )
    with virtual as v:
        begin_s, begin_cpu_s = time.perf_counter(), time.process_time()
        v.lockstep.run(lambda: v.person.finished, LONGEST_S)
        v.recorder.flush()
        wall_s, cpu_s = time.perf_counter() - begin_s, time.process_time() - begin_cpu_s
        return Run(
            simulated_s=v.lockstep.now_ms / 1000.0,
            wall_s=wall_s,
            cpu_s=cpu_s,
            pressings=len(v.store.parts()) // v.mould.cavities,
            record_bytes=v.store.sizes().used,
        )


def sync_time_s(folder: Path) -> float:
    """Return the median time of an fsync after an append of 4 kB in a folder."""
    spans: list[float] = []
    with tempfile.TemporaryFile(dir=folder, buffering=0) as file:
        for _n in range(SYNCS):
            file.write(bytes(SYNCED_BYTES))
            begin_s = time.perf_counter()
            os.fsync(file.fileno())
            spans.append(time.perf_counter() - begin_s)
    return statistics.median(spans)
