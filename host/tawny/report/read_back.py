"""Reading an exported part again: older versions for ever, newer ones refused."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from tawny.core.trace import PartTrace, Samples, check_samples
from tawny.errors import N_, InputError
from tawny.report.columns import EXPORT_SCHEMA, EXPORT_VERSION


def read_export(path: Path) -> PartTrace:
    """Return the part in a JSON export.

    Raises:
        InputError: If it cannot be read, is no such export, or a later version wrote it.
    """
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            N_("{file} cannot be read: {reason}"), file=path, reason=error.strerror or str(error)
        ) from error
    except ValueError as error:
        raise InputError(
            N_("{file} is not JSON: {reason}"), file=path, reason=str(error)
        ) from error
    _check_version(path, said)
    try:
        part = _part(said)
    except (KeyError, TypeError, ValueError, msgspec.ValidationError) as error:
        raise InputError(
            N_("{file} is not a whole export: {reason}"), file=path, reason=repr(error)
        ) from error
    check_samples(part.samples)
    return part


def _check_version(path: Path, said: Any) -> None:
    schema = said.get("schema") if isinstance(said, dict) else None
    version = schema.get("version") if isinstance(schema, dict) else None
    if not (isinstance(schema, dict) and schema.get("name") == EXPORT_SCHEMA) or not isinstance(
        version, int
    ):
        raise InputError(
            N_("{file} is not an export of a part: its schema is not {wanted}"),
            file=path,
            wanted=EXPORT_SCHEMA,
        )
    if version > EXPORT_VERSION:
        raise InputError(
            N_("{file} has version {found}, this program reads up to {known}; update the program"),
            file=path,
            found=version,
            known=EXPORT_VERSION,
        )


def _part(said: dict[str, Any]) -> PartTrace:
    columns = said["samples"]
    moments = [datetime.fromisoformat(text) for text in columns["time_utc"]]
    values = {name: columns.get(name) for name in Samples.__struct_fields__}
    values["utc_ms"] = [round(moment.timestamp() * 1000.0) for moment in moments]
    return msgspec.convert(
        {
            "part_id": said["part_id"],
            "cavity": said["cavity"],
            "record": said["pressing"],
            "samples": values,
            "workshop": said["workshop"],
            "trip_c": said["trip_c"],
            "entry_hash": said["entry_hash"],
            "last_hash": said["last_hash"],
        },
        PartTrace,
    )
