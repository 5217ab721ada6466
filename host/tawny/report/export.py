"""Exports of one part: CSV for a spreadsheet, JSON for a program, Parquet for an analyst.

CSV is RFC 4180: one header row, commas, points, CRLF, UTF-8; what it cannot carry stands in a
JSON file beside it. The comma preset writes what spreadsheets of decimal-comma countries
open: semicolons, decimal commas and a byte order mark.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from tawny.core.trace import PartTrace, check_samples
from tawny.errors import N_, InputError
from tawny.report.about import about
from tawny.report.columns import COLUMNS, Cell, filled
from tawny.settings.files import write_whole

FORMATS = ("csv", "json", "parquet")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet would work such a text out
_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"


def export_part(
    trace: PartTrace, folder: Path, form: str, *, comma: bool = False
) -> tuple[Path, ...]:
    """Write one part and return the files written.

    Args:
        trace: The part.
        folder: Where to; made where it is missing.
        form: One of `FORMATS`.
        comma: CSV for a decimal-comma spreadsheet.

    Raises:
        InputError: If the format is unknown, its extra is not installed, or a file cannot be
            written.
    """
    check_samples(trace.samples)
    stem = f"SIMULATED-{trace.part_id}" if trace.record.simulated else trace.part_id
    if form == "csv":
        table, beside = folder / f"{stem}.csv", folder / f"{stem}.about.json"
        write_whole(table, csv_text(trace, comma=comma))
        write_whole(beside, _json(about(trace)))
        return table, beside
    if form == "json":
        path = folder / f"{stem}.json"
        write_whole(path, json_text(trace))
        return (path,)
    if form == "parquet":
        path = folder / f"{stem}.parquet"
        write_whole(path, parquet_bytes(trace))
        return (path,)
    raise InputError(
        N_("format {form} is not known; choose one of {known}"), form=form, known=", ".join(FORMATS)
    )


def json_text(trace: PartTrace) -> str:
    """Return one object: the metadata, and the columns under "samples"."""
    return _json({**about(trace), "samples": filled(trace)})


def csv_text(trace: PartTrace, *, comma: bool = False) -> str:
    """Return one header row and one row for each sample."""
    columns = filled(trace)
    places = {column.name: column.decimals for column in COLUMNS}
    cells = [
        [_cell(value, places[name], comma=comma) for value in values]
        for name, values in columns.items()
    ]
    return _table(list(columns), zip(*cells, strict=True), comma=comma)


def rows_text(rows: Sequence[Mapping[str, Cell]], *, comma: bool = False) -> str:
    """Return rows of named cells as CSV: the list of parts that goes with their traces."""
    header = list(rows[0]) if rows else []
    cells = ([_cell(row[name], None, comma=comma) for name in header] for row in rows)
    return _table(header, cells, comma=comma)


def parquet_bytes(trace: PartTrace) -> bytes:
    """Return the same columns as Parquet, with units in each field's metadata.

    Raises:
        InputError: If pyarrow is not installed.
    """
    try:
        import pyarrow as pa  # noqa: PLC0415 - an extra
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as error:
        raise InputError(
            N_(
                "Parquet needs pyarrow, which is not installed: install tawny with its parquet "
                "extra, or export as csv or json"
            )
        ) from error
    columns: dict[str, Sequence[object]] = dict(filled(trace))
    columns["time_utc"] = [utc_ms * 1000 for utc_ms in trace.samples.utc_ms]
    fields = []
    for column in COLUMNS:
        kind = pa.string() if column.decimals is None else pa.float64()
        if column.name == "time_utc":
            kind = pa.timestamp("us", tz="UTC")
        fields.append(pa.field(column.name, kind, metadata={"unit": column.unit}))
    schema = pa.schema(fields, metadata={"tawny": json.dumps(about(trace), allow_nan=False)})
    table = pa.table([pa.array(columns[field.name], field.type) for field in schema], schema=schema)
    sink = io.BytesIO()
    parquet.write_table(table, sink, compression="zstd")
    return sink.getvalue()


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n"


def _cell(value: object, decimals: int | None, *, comma: bool) -> str:
    """Return one cell; only a text can be mistaken for a formula, a number never."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    text = str(value) if decimals is None else f"{value:.{decimals}f}"
    return text.replace(".", ",") if comma else text


def _table(header: list[str], rows: Iterable[Sequence[str]], *, comma: bool) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if comma else ",")
    writer.writerow(header)
    writer.writerows(rows)
    return (_MARK if comma else "") + text.getvalue()
