"""Read models: tables for lists and look-ups, each row of them following from the journal alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import apsw

from tawny.core.record import ALARM, PRESSING, SEGMENT, AlarmChange, Pressing, Segment
from tawny.store import journal
from tawny.store.database import rows
from tawny.store.schema import MIGRATIONS

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.store.journal import Entry

_Row = dict[str, int | float | str | bytes | None]

# In an order in which rows can be deleted: a part refers to its pressing.
TABLES = ("part", "pressing", "alarm", "segment")


def project(db: apsw.Connection, entry: Entry) -> None:
    """Write what one entry means for the read models, inside the caller's transaction."""
    projection = _PROJECTIONS.get(entry.kind)
    if projection is not None:
        projection(db, entry)


def rebuild(db: apsw.Connection) -> None:
    """Make every read model anew from the journal, inside the caller's transaction."""
    for table in TABLES:
        db.execute(f"DELETE FROM {table}")  # noqa: S608 - our own table names
    for entry in journal.entries(db, kinds=tuple(_PROJECTIONS)):
        project(db, entry)


def unlike(db: apsw.Connection) -> tuple[str, ...]:
    """Return the read models that differ from what the journal says."""
    fresh = apsw.Connection(":memory:")
    try:
        for migration in MIGRATIONS:
            fresh.execute(migration)
        for entry in journal.entries(db, kinds=tuple(_PROJECTIONS)):
            project(fresh, entry)
        return tuple(
            table
            for table, query in ((table, f"SELECT * FROM {table} ORDER BY 1") for table in TABLES)  # noqa: S608
            if rows(fresh, query) != rows(db, query)
        )
    finally:
        fresh.close()


def _pressing(db: apsw.Connection, entry: Entry) -> None:
    sealed = entry.read(Pressing)
    record = sealed.record
    row: _Row = {
        "number": record.number,
        "seq": entry.seq,
        "trace": bytes.fromhex(sealed.trace),
        "started_utc_ms": record.started_utc_ms,
        "ended_utc_ms": record.ended_utc_ms,
        "result": record.result.value,
        "recipe": record.recipe.name,
        "recipe_version": record.recipe.version,
        "hold_s": record.hold_s,
        "equivalent_s": record.equivalent_s,
        "dose_gap": int(record.dose_gap),
        "peak_c": record.highest_c,
        "mean_hold_c": record.mean_hold_c,
        "severity_min": record.severity_min,
        "energy_kwh": record.energy_kwh,
        "alarms": " ".join(dict.fromkeys(note.alarm for note in record.alarms)),
        "operator": record.operator,
        "lot": record.lot,
        "mould": record.mould,
        "first_off": int(record.first_off),
    }
    _insert(db, "pressing", row)
    for cavity, number in enumerate(sealed.parts, 1):
        _insert(db, "part", {"number": number, "pressing": record.number, "cavity": cavity})


def _alarm(db: apsw.Connection, entry: Entry) -> None:
    change = entry.read(AlarmChange)
    row: _Row = {
        "seq": entry.seq,
        "utc_ms": entry.utc_ms,
        "mono_ms": entry.mono_ms,
        "alarm": change.alarm,
        "state": change.state.value,
        "priority": change.priority.value,
        "pressing_id": change.pressing_id,
    }
    _insert(db, "alarm", row)


def _segment(db: apsw.Connection, entry: Entry) -> None:
    segment = entry.read(Segment)
    row: _Row = {
        "seq": entry.seq,
        "rate": segment.rate,
        "start_utc_ms": segment.start_utc_ms,
        "end_utc_ms": segment.end_utc_ms,
        "trace": bytes.fromhex(segment.trace),
    }
    _insert(db, "segment", row)


def _insert(db: apsw.Connection, table: str, row: _Row) -> None:
    names, places = ", ".join(row), ", ".join(f":{name}" for name in row)
    db.execute(f"INSERT INTO {table}({names}) VALUES({places})", row)


_PROJECTIONS: dict[str, Callable[[apsw.Connection, Entry], None]] = {
    PRESSING: _pressing,
    ALARM: _alarm,
    SEGMENT: _segment,
}
