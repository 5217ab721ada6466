"""How long the list of a full record takes, beyond the start of the program."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tawny.cli.benches.measured import Measured
from tawny.cli.benches.start import quickest_s, run, script
from tawny.core.names import Phase, Result
from tawny.core.record import PressingRecord, RecipeCopy
from tawny.store.codes import pressing_code
from tawny.store.requests import Seal, Stamp
from tawny.store.store import Store
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_S = 0.2
PARTS = 10_000
AT_ONCE = 2500
BEGIN_UTC_MS = 1_750_000_000_000
EACH_MS = 360_000
RECIPE = RecipeCopy(
    name="grain-apple", version=3, sha256="5e" * 32, copy={"note": "made up for a measurement"}
)


def measure(*, short: bool) -> Iterator[Measured]:
    """List every part of a record made up for it, in a process of its own each time."""
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        fill(Path(folder), PARTS)
        tawny = (sys.executable, str(script()))
        listing = (*tawny, "parts", "--all", "--home", folder)
        lines = run(listing).stdout.count("\n")
        list_s, help_s = quickest_s((listing, (*tawny, "--help")), times=5 if short else 15)
    yield Measured(
        bench="list",
        compares=_(
            "`tawny parts --all` of 10,000 parts, less `tawny --help`, the quickest of each"
        ),
        ratio=list_s - help_s,
        unit="s",
        limit=MOST_S,
        figures={"list_s": list_s, "help_s": help_s, "lines": lines},
    )


def fill(folder: Path, parts: int) -> None:
    """Make a simulated record of so many parts, one to a pressing."""
    with Store.open(folder, simulated=True) as store:
        for first in range(1, parts + 1, AT_ONCE):
            numbers = range(first, min(first + AT_ONCE, parts + 1))
            store.write([_seal(number) for number in numbers])


def _seal(number: int) -> Seal:
    begin_ms = BEGIN_UTC_MS + number * EACH_MS
    record = PressingRecord(
        pressing_id=pressing_code(number),
        number=number,
        recipe=RECIPE,
        started_utc_ms=begin_ms,
        ended_utc_ms=begin_ms + EACH_MS // 2,
        started_mono_ms=number * EACH_MS,
        ended_mono_ms=number * EACH_MS + EACH_MS // 2,
        result=Result.COMPLETE,
        phase_at_end=Phase.DEMOULD,
        mean_hold_c=179.8,
        hold_s=241.0,
        equivalent_s=240.1,
        severity_min=912.4,
        energy_kwh=0.0424,
        operator="Ada",
        lot="spent grain, week 14",
        mould="saucer-160",
        simulated=True,
    )
    stamp = Stamp("bench", record.ended_utc_ms, record.ended_mono_ms)
    return Seal(record, number.to_bytes(4, "little"), stamp)
