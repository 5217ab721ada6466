"""Made-up pressings of a made-up workshop, for tests of the record."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

from tawny.core import columns
from tawny.core.columns import Scale
from tawny.core.names import AlarmState, Half, Phase, Priority, Result
from tawny.core.record import AlarmChange, AlarmNote, PressingRecord, RecipeCopy
from tawny.core.registers import split_register
from tawny.store.codes import pressing_code
from tawny.store.store import Store

STAMP: dict[str, Any] = {"who": "Ada", "utc_ms": 1_770_000_000_123, "mono_ms": 55_000}
CHANGE = AlarmChange(
    alarm="link_lost",
    state=AlarmState.ACTIVE,
    priority=Priority.HIGH,
    pressing_id=pressing_code(2),
)
RECIPE = RecipeCopy(
    name="saucer 160 spent grain",
    version=3,
    sha256="5e" * 32,
    copy={
        "name": "saucer 160 spent grain",
        "version": 3,
        "made_for": "Millbrook workshop",
        "residue": "spent grain 80, apple pomace 20",
        "setpoint": "180 degC",
        "band": "3 K",
        "dose": "4 min",
        "least_hold": "3 min",
        "most_hold": "6 min",
        "charge": "32 g",
        "water": "7 g",
        "cavities": 1,
        "force": "40 bar",
        "breathe": [{"after": "12 s", "open": "3 s"}, {"after": "30 s", "open": "3 s"}],
        "cool": "2 min",
    },
)

SCALES = {
    "board_ms": Scale("ms"),
    "host_ms": Scale("ms"),
    "upper_c": Scale("degC", 10),
    "lower_c": Scale("degC", 10),
    "upper_thermocouple": Scale("degC", 4),
    "lower_thermocouple": Scale("degC", 4),
    "upper_cold": Scale("degC", 16),
    "lower_cold": Scale("degC", 16),
    "upper_on_ms": Scale("ms"),
    "lower_on_ms": Scale("ms"),
    "upper_duty": Scale("", 1000),
    "lower_duty": Scale("", 1000),
    "upper_setpoint": Scale("degC", 10),
    "lower_setpoint": Scale("degC", 10),
}


def record(number: int, **changes: object) -> PressingRecord:
    """Return the summary of an invented pressing."""
    start = 1_770_000_000_000 + number * 400_000
    fields: dict[str, object] = {
        "pressing_id": pressing_code(number),
        "number": number,
        "recipe": RECIPE,
        "started_utc_ms": start,
        "ended_utc_ms": start + 300_000,
        "started_mono_ms": number * 400_000,
        "ended_mono_ms": number * 400_000 + 300_000,
        "result": Result.COMPLETE,
        "phase_at_end": Phase.COOL,
        "boot_id": "9f31c0de",
        "peak_c": {Half.UPPER: 182.3 + number % 7 / 10, Half.LOWER: 181.9},
        "mean_hold_c": 179.8,
        "hold_s": 236.0,
        "equivalent_s": 240.2,
        "severity_min": 912.4,
        "energy_kwh": 0.0412,
        "alarms": (
            AlarmNote(alarm="deviation_low", utc_ms=start + 9000, fields={"half": "upper"}),
        ),
        "operator": "Ada",
        "lot": "spent grain, week 14",
        "mould": "saucer 160, two halves",
        "press": "Millbrook hand press",
        "charge_g": 32.1,
        "water_g": 7.0,
        "breaths_s": (12.4, 30.9),
        "software_version": "0.1.0",
        "board_id": "7c9e21b40a55",
        "board_build": "2026-02-01.4",
        "protocol_version": 1,
        "simulated": True,
    }
    return PressingRecord(**(fields | changes))  # type: ignore[arg-type]


def trace(seed: int = 1, rows: int = 1500) -> dict[str, list[int | None]]:
    """Return the channels of an invented pressing at 5 Hz, 1500 rows being 5 minutes.

    The noise is that of a real converter: 0.2 K on the thermocouple's steps of 0.25 K, 0.05 K on
    the cold junction's of 0.0625 K, and milliseconds of arrival time at the host.
    """
    chance = random.Random(seed)  # noqa: S311 - invented data, not secrets
    names = (
        "board_ms host_ms upper_c lower_c upper_thermocouple lower_thermocouple upper_cold"
        " lower_cold upper_bits lower_bits upper_on_ms lower_on_ms upper_duty lower_duty"
        " upper_setpoint lower_setpoint inputs phase"
    )
    columns: dict[str, list[int | None]] = {name: [] for name in names.split()}
    duty = {"upper": 0.34, "lower": 0.31}
    on_ms = {"upper": 118_200.0, "lower": 97_040.0}
    cold_c = {"upper": 31.0, "lower": 30.6}
    for row in range(rows):
        t_ms = row * 200
        columns["board_ms"].append(7_200_050 + t_ms)
        columns["host_ms"].append(9_812_345_000 + t_ms + 3 + int(chance.expovariate(0.5)))
        for half in ("upper", "lower"):
            true_c = 180 + 1.5 * math.sin(t_ms / 40_000 + len(half) / 3)
            true_c -= 6.0 * math.exp(-(((t_ms - 20_000) / 12_000) ** 2))
            cold_c[half] += chance.gauss(0, 0.002)
            quarters = round((true_c + chance.gauss(0, 0.2)) * 4)
            sixteenths = round((cold_c[half] + chance.gauss(0, 0.05)) * 16)
            fields = split_register((quarters & 0x3FFF) << 18 | (sixteenths & 0xFFF) << 4)
            columns[f"{half}_thermocouple"].append(fields.thermocouple)
            columns[f"{half}_cold"].append(fields.cold_junction)
            columns[f"{half}_bits"].append(fields.bits)
            columns[f"{half}_c"].append(round(quarters * 2.5 + 14 + sixteenths / 300))
            if row % 2 == 0:
                wanted = 0.34 + 0.05 * (180 - true_c) + chance.gauss(0, 0.01)
                duty[half] = min(1.0, max(0.0, wanted))
            on_ms[half] += max(0.0, min(200.0, duty[half] * 2000 - t_ms % 2000))
            columns[f"{half}_on_ms"].append(int(on_ms[half]))
            columns[f"{half}_duty"].append(round(duty[half] * 1000))
            columns[f"{half}_setpoint"].append(1800)
        columns["inputs"].append(3 if t_ms < 10_000 else 1)
        columns["phase"].append(7 + (t_ms > 8_000) + (t_ms > 36_000) + (t_ms > 272_000))
    return columns


def seal(store: Store, number: int, **changes: object) -> tuple[str, ...]:
    """Seal an invented pressing of a few seconds; return its parts."""
    blob = columns.encode(trace(number, rows=20))
    return store.seal_pressing(record(number, **changes), blob, **STAMP).part_ids


def keep(home: Path) -> str:
    """Begin a record with some of everything in it; return its last hash.

    `tests/kept/record-N.db` is such a file of version N of the tables, N being the count of
    migrations when it was made. A new version adds a file; none is ever made again.
    """
    with Store.open(home, simulated=True) as store:
        seal(store, 1)
        seal(store, 2, cavities=2, result=Result.ABORTED, equivalent_s=None, dose_gap=True)
        store.append("alarm", CHANGE, **STAMP)
        store.append("note", {"text": "jar reading 0.62, é"}, **STAMP)
        store.put_segment("rest", 1_770_000_900_000, 1_770_001_500_000, b"kept", **STAMP)
        store.begin_pressing(pressing_code(3), 3, {"operator": "Ada"})
        store.spool(pressing_code(3), b"chunk")
        return store.last_hash()
