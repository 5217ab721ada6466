"""What one pressing takes on the disk: the real service on the virtual clock, all counted."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tawny.cli.benches.measured import Figure, Measured
from tawny.cli.benches.speed import BEGIN_UTC_MS, LONGEST_S, RECIPE
from tawny.cli.virtual_press import VirtualPress
from tawny.core.names import Phase
from tawny.settings.home import Home
from tawny.store.codes import pressing_code
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tawny.store.sizes import Sizes

MOST_BYTES = 16_000.0
WARM_UP = 1


class Shift(NamedTuple):
    """The record's sizes at four moments of a shift, and what was pressed between the last two.

    Attributes:
        seconds: Of each pressing's own window.
        traces, stretches: Bytes of the pressings' traces and of those between them.
    """

    new: Sizes
    hot: Sizes
    before: Sizes
    after: Sizes
    seconds: list[float]
    traces: list[int]
    stretches: list[int]
    entries: Counter[str]


def measure(*, short: bool) -> Iterator[Measured]:
    """Press some parts after a warm-up and divide what the record grew by."""
    pressings = 4 if short else 10
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        shift = press(Path(folder), pressings=pressings)
    yield judged(shift)


def judged(shift: Shift) -> Measured:
    """Return the growth of a shift by pressing: pages in use or the file, whichever grew more."""
    count = len(shift.traces)
    grown = grown_bytes(shift.before, shift.after)
    used, file = sum(grown.values()), shift.after.file - shift.before.file
    figures: dict[str, Figure] = {
        "pressings": count,
        "pressing_mean_s": round(sum(shift.seconds) / count, 1),
        "used_bytes": used,
        "file_bytes": file,
        "trace_mean_bytes": round(sum(shift.traces) / count),
        "between_mean_bytes": round(sum(shift.stretches) / count),
        "entries": " ".join(f"{kind}:{n}" for kind, n in sorted(shift.entries.items())),
        "heat_up_before_bytes": sum(grown_bytes(shift.new, shift.hot).values()),
        "free_for_next_spool_bytes": shift.after.free,
        "log_bytes": shift.after.log,
    }
    return Measured(
        bench="size",
        compares=_(
            "bytes the record grew by for each pressing of about 5 minutes, all channels, with"
            " journal, lists, indexes, part-filled pages and the wait until the next pressing"
        ),
        ratio=max(used, file) / count,
        unit="B",
        limit=MOST_BYTES,
        figures=figures | {f"grown_{name}_bytes": size for name, size in grown.items() if size},
    )


def grown_bytes(before: Sizes, after: Sizes) -> dict[str, int]:
    """Return by how much each table and index grew."""
    names = sorted(before.tables | after.tables)
    return {name: after.tables.get(name, 0) - before.tables.get(name, 0) for name in names}


def press(folder: Path, *, pressings: int) -> Shift:
    """Heat up, press once to warm the record up, then press what is measured."""
    total = WARM_UP + pressings
    with VirtualPress(
        Home(folder), begin_utc_ms=BEGIN_UTC_MS, pressings=total + 1, recipe=RECIPE
    ) as v:
        new = _sizes(v)
        v.lockstep.run(lambda: v.press.state.cycle.phase is Phase.READY, LONGEST_S)
        hot = _sizes(v)
        v.lockstep.run(lambda: v.press.pressings_ended >= WARM_UP, LONGEST_S)
        before, first = _sizes(v), v.store.entries()[-1].seq + 1
        from_utc_ms = BEGIN_UTC_MS + v.lockstep.now_ms
        v.lockstep.run(lambda: v.press.pressings_ended >= total, LONGEST_S)
        after = _sizes(v)
        codes = [pressing_code(number) for number in range(WARM_UP + 1, total + 1)]
        records = [v.store.pressing(code).record for code in codes]
        between = v.store.segments(from_utc_ms, BEGIN_UTC_MS + v.lockstep.now_ms)
        return Shift(
            new=new,
            hot=hot,
            before=before,
            after=after,
            seconds=[(one.ended_mono_ms - one.started_mono_ms) / 1000.0 for one in records],
            traces=[len(v.store.trace(code)) for code in codes],
            stretches=[len(v.store.blob(one.trace)) for one in between],
            entries=Counter(entry.kind for entry in v.store.entries(first)),
        )


def _sizes(virtual: VirtualPress) -> Sizes:
    """Write what waits, bring the log into the file, and count."""
    virtual.recorder.flush()
    virtual.store.checkpoint()
    return virtual.store.sizes()
