"""A made-up part of the Millbrook workshop, for the tests of reports and exports."""

from __future__ import annotations

import math

from tawny.core.names import Half, Phase, Priority, Result
from tawny.core.record import AlarmNote, PressingRecord, RecipeCopy
from tawny.core.trace import PartTrace, Samples

STARTED_UTC_MS = 1_795_561_200_000  # 2026-11-24T23:00:00Z
STEP_S = 0.2


def made_samples(rows: int = 1500) -> Samples:
    """Return five minutes of a pressing at 5 Hz: close, breathe, hold, release, open."""

    def phase(row: int) -> Phase:
        t_s = row * STEP_S
        for until_s, name in ((6, Phase.CLOSE), (60, Phase.BREATHE), (250, Phase.HOLD)):
            if t_s < until_s:
                return name
        return Phase.RELEASE if t_s < 280 else Phase.OPEN

    def value(row: int, base_c: float) -> float:
        return round(base_c - 8.0 * math.exp(-row / 100.0) + 0.3 * math.sin(row / 9.0), 1)

    numbers = range(rows)
    return Samples(
        t_s=tuple(round(row * STEP_S, 3) for row in numbers),
        utc_ms=tuple(STARTED_UTC_MS + round(row * STEP_S * 1000) for row in numbers),
        phase=tuple(map(phase, numbers)),
        upper_c=tuple(None if 500 <= row < 510 else value(row, 180.0) for row in numbers),
        lower_c=tuple(value(row, 179.5) for row in numbers),
        setpoint_c=tuple(180.0 if phase(row) is not Phase.OPEN else None for row in numbers),
        lower_setpoint_c=tuple(180.0 if phase(row) is not Phase.OPEN else None for row in numbers),
        upper_duty=tuple(round(0.3 + 0.1 * math.sin(row / 30.0), 4) for row in numbers),
        lower_duty=tuple(round(0.3 + 0.1 * math.cos(row / 30.0), 4) for row in numbers),
        upper_delivered=tuple(0.5 if row else None for row in numbers),
        lower_delivered=tuple(0.25 if row else None for row in numbers),
        event=tuple("mark" if row == 60 else "" for row in numbers),
    )


def made_part(
    *, simulated: bool = True, operator: str = "Ada", samples: Samples | None = None
) -> PartTrace:
    """Return a part with everything filled in."""
    record = PressingRecord(
        pressing_id="C0142-K",
        number=142,
        recipe=RecipeCopy(name="grain-apple", version=3, sha256="ab" * 32, copy={"version": 3}),
        started_utc_ms=STARTED_UTC_MS,
        ended_utc_ms=STARTED_UTC_MS + 300_000,
        started_mono_ms=0,
        ended_mono_ms=300_000,
        result=Result.COMPLETE,
        phase_at_end=Phase.OPEN,
        peak_c={Half.UPPER: 181.4, Half.LOWER: 180.9},
        mean_hold_c=179.8,
        hold_s=244.0,
        equivalent_s=240.3,
        severity_min=907.0,
        energy_kwh=0.0312,
        alarms=(AlarmNote(alarm="deviation_low", utc_ms=STARTED_UTC_MS, priority=Priority.MEDIUM),),
        operator=operator,
        lot="grain 41",
        mould="saucer-160",
        press="press-1",
        charge_g=38.0,
        water_g=6.0,
        breaths_s=(12.2, 25.4, 45.1),
        software_version="0.1.0",
        board_id="00000000000000a1",
        simulated=simulated,
    )
    return PartTrace(
        part_id="P0142-K",
        cavity=1,
        record=record,
        samples=made_samples() if samples is None else samples,
        workshop="Millbrook workshop",
        trip_c=215.0,
        entry_hash="0f" * 32,
        last_hash="1e" * 32,
    )
