"""Reading a temperature trace a person brings: CSV with the columns t_s and temperature_c."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

from tawny.core.units import parse_number
from tawny.errors import N_, InputError, QuantityError

COLUMNS = ("t_s", "temperature_c")
_LARGEST_BYTES = 64_000_000  # ten years of one sample a minute


def read_trace(path: Path) -> list[tuple[float, float]]:
    """Return (t_s, temperature_c) of each row.

    Lines that begin with # and empty lines are passed over, other columns are ignored.

    Raises:
        InputError: If the file cannot be read, a column is missing, or a field is not a
            number with a point; the sentence names the line. A time that does not rise is
            named here too, because a dose could no longer say where it stands.
    """
    rows = _rows(path)
    header = next(rows, None)
    if header is None:
        raise InputError(N_("{path} has no rows: the first must name its columns"), path=path)
    places = _places(path, header[1])
    trace: list[tuple[float, float]] = []
    for line, fields in rows:
        if len(fields) != len(header[1]):
            raise InputError(
                N_(
                    "{path} line {line} has {count} fields where the header has {wanted}:"
                    " write decimals with a point"
                ),
                path=path,
                line=line,
                count=len(fields),
                wanted=len(header[1]),
            )
        t_s, temperature_c = (_number(path, line, fields[place]) for place in places)
        if trace and not t_s > trace[-1][0]:
            raise InputError(
                N_("{path} line {line}: time {t_s} s does not come after {before_s} s"),
                path=path,
                line=line,
                t_s=t_s,
                before_s=trace[-1][0],
            )
        trace.append((t_s, temperature_c))
    if not trace:
        raise InputError(N_("{path} has a header and no samples"), path=path)
    return trace


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the number of its line."""
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise InputError(
                N_("{path} is larger than {most_mb:g} MB: give a shorter trace"),
                path=path,
                most_mb=_LARGEST_BYTES / 1e6,
            )
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(N_("{path} is not text in UTF-8"), path=path) from error
    except OSError as error:
        raise InputError(
            N_("{path} cannot be read: {reason}"), path=path, reason=error.strerror or error
        ) from error
    for line, content in enumerate(io.StringIO(text), start=1):
        if not content.strip() or content.lstrip().startswith("#"):
            continue
        try:
            fields = next(csv.reader([content], strict=True, skipinitialspace=True))
        except csv.Error as error:
            raise InputError(
                N_("{path} line {line} is not CSV: {reason}"), path=path, line=line, reason=error
            ) from error
        yield line, fields


def _places(path: Path, header: list[str]) -> tuple[int, int]:
    """Return where the two columns stand."""
    names = [name.strip() for name in header]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        separators = ";" in header[0] or "\t" in header[0]
        template = (
            N_("{path} has no column {missing}: separate columns with a comma")
            if separators
            else N_("{path} has no column {missing}: the header must name {wanted}")
        )
        raise InputError(template, path=path, missing=", ".join(missing), wanted=", ".join(COLUMNS))
    twice = [name for name in COLUMNS if names.count(name) > 1]
    if twice:
        raise InputError(N_("{path} has the column {name} twice"), path=path, name=twice[0])
    return names.index(COLUMNS[0]), names.index(COLUMNS[1])


def _number(path: Path, line: int, field: str) -> float:
    try:
        return parse_number(field)
    except QuantityError as error:
        # The inner sentence stays a part of the outer one: name the line, keep the reason.
        raise QuantityError(
            N_("{path} line {line}: {reason}"), path=path, line=line, reason=error
        ) from error
