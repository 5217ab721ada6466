"""The columns of an exported trace: one table for CSV, JSON, Parquet and their schema."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple

from tawny.core.trace import PartTrace
from tawny.errors import N_
from tawny.words.numbers import local_time

EXPORT_SCHEMA = "tawny-part-trace"
EXPORT_VERSION = 1
Cell = float | int | str | None


class Column(NamedTuple):
    """One column.

    Attributes:
        unit: "" for text and for a fraction 0-1, which `what` says.
        decimals: Of a number in CSV; None: text.
    """

    name: str
    unit: str
    decimals: int | None
    what: str


COLUMNS = (
    Column("t_s", "s", 3, N_("since the pressing began, on the board's clock")),
    Column("time_utc", "", None, N_("date and time, UTC")),
    Column("time_local", "", None, N_("date and time on the clock of the host")),
    Column("phase", "", None, N_("phase of the pressing")),
    Column("upper_c", "degC", 2, N_("temperature of the upper half")),
    Column("lower_c", "degC", 2, N_("temperature of the lower half")),
    Column("setpoint_c", "degC", 2, N_("setpoint of the upper half; empty: no heat wanted")),
    Column("lower_setpoint_c", "degC", 2, N_("setpoint of the lower half; empty: no heat wanted")),
    Column("upper_duty", "", 4, N_("heat commanded for the upper half, 0 to 1")),
    Column("lower_duty", "", 4, N_("heat commanded for the lower half, 0 to 1")),
    Column("upper_delivered", "", 4, N_("heat delivered to the upper half, 0 to 1")),
    Column("lower_delivered", "", 4, N_("heat delivered to the lower half, 0 to 1")),
    Column("event", "", None, N_("codes of what happened at this sample")),
    Column("part_id", "", None, N_("the part")),
    Column("source", "", None, N_("RECORDED from a press, or SIMULATED")),
)


def source(trace: PartTrace) -> str:
    """Return the word every row carries: whether the press was real."""
    return "SIMULATED" if trace.record.simulated else "RECORDED"


def utc_text(utc_ms: int) -> str:
    """Return a moment as "2026-11-24T23:18:03.200Z"."""
    moment = datetime.fromtimestamp(utc_ms / 1000.0, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local_text(utc_ms: int) -> str:
    """Return a moment as "2026-11-24 23:18:03", which spreadsheets take for a time."""
    return local_time(utc_ms).strftime("%Y-%m-%d %H:%M:%S")


def filled(trace: PartTrace) -> dict[str, tuple[Cell, ...]]:
    """Return every column of an export by name, in the order of `COLUMNS`."""
    samples = trace.samples
    rows = len(samples.t_s)
    made: dict[str, tuple[Cell, ...]] = {
        "time_utc": tuple(map(utc_text, samples.utc_ms)),
        "time_local": tuple(map(local_text, samples.utc_ms)),
        "phase": tuple(phase.value for phase in samples.phase),
        "part_id": (trace.part_id,) * rows,
        "source": (source(trace),) * rows,
    }
    return {
        column.name: made[column.name] if column.name in made else getattr(samples, column.name)
        for column in COLUMNS
    }
