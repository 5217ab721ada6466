"""What an export says about its trace: schema, columns with units, part and pressing."""

from __future__ import annotations

from typing import Any

import msgspec

from tawny import __version__
from tawny.core.trace import PartTrace
from tawny.report.columns import COLUMNS, EXPORT_SCHEMA, EXPORT_VERSION, local_text, utc_text


def about(trace: PartTrace) -> dict[str, Any]:
    """Return the metadata of an export as plain values."""
    record = trace.record
    return {
        "schema": {"name": EXPORT_SCHEMA, "version": EXPORT_VERSION},
        "program": f"tawny {__version__}",
        "simulated": record.simulated,
        "part_id": trace.part_id,
        "cavity": trace.cavity,
        "workshop": trace.workshop,
        "trip_c": trace.trip_c,
        "started_utc": utc_text(record.started_utc_ms),
        "started_local": local_text(record.started_utc_ms),
        "ended_utc": utc_text(record.ended_utc_ms),
        "entry_hash": trace.entry_hash,
        "last_hash": trace.last_hash,
        "columns": [
            {"name": column.name, "unit": column.unit, "what": column.what} for column in COLUMNS
        ],
        "pressing": msgspec.to_builtins(record),
    }
