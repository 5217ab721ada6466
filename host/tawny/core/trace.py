"""One part's trace in the units of people: what reports and exports are made from.

It knows nothing of how a record keeps it; `None` is an absent value, never a stand-in.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import msgspec

from tawny.core.names import Phase
from tawny.core.record import PressingRecord
from tawny.errors import N_, InputError


class Samples(msgspec.Struct, frozen=True, kw_only=True):
    """Columns of one pressing, all of one length, in the order of time.

    Attributes:
        t_s: Since the pressing began, on the board's clock.
        utc_ms: The host's label of the same moment.
        setpoint_c, lower_setpoint_c: Of the upper and the lower half; None: no heat wanted.
        upper_duty, lower_duty: Commanded, 0-1.
        upper_delivered, lower_delivered: Measured on-time since the sample before, 0-1.
        event: Codes of what happened at this sample, separated by spaces; mostly "".
    """

    t_s: tuple[float, ...]
    utc_ms: tuple[int, ...]
    phase: tuple[Phase, ...]
    upper_c: tuple[float | None, ...]
    lower_c: tuple[float | None, ...]
    setpoint_c: tuple[float | None, ...]
    lower_setpoint_c: tuple[float | None, ...]
    upper_duty: tuple[float | None, ...]
    lower_duty: tuple[float | None, ...]
    upper_delivered: tuple[float | None, ...]
    lower_delivered: tuple[float | None, ...]
    event: tuple[str, ...]


class Stretch(NamedTuple):
    """A run of samples in one phase; it lasts until the next one begins."""

    phase: Phase
    start_s: float
    end_s: float


class PartTrace(msgspec.Struct, frozen=True, kw_only=True):
    """One part, the pressing it came from, and that pressing's trace.

    Attributes:
        record: The pressing, as sealed.
        workshop: Whose press it was.
        trip_c: The trip point in force; None where it is not known.
        entry_hash: Of the journal entry that sealed the pressing, 64 hex digits.
        last_hash: Of the record's last entry when this was made; who prints it can later tell
            a record that was made anew.
    """

    part_id: str
    cavity: int
    record: PressingRecord
    samples: Samples
    workshop: str = ""
    trip_c: float | None = None
    entry_hash: str = ""
    last_hash: str = ""


_NUMBERS = (
    "upper_c",
    "lower_c",
    "setpoint_c",
    "lower_setpoint_c",
    "upper_duty",
    "lower_duty",
    "upper_delivered",
    "lower_delivered",
)


def check_samples(samples: Samples) -> None:
    """Refuse columns that no export may carry.

    Raises:
        InputError: If their lengths differ, time does not rise, or a number is not finite.
    """
    rows = len(samples.t_s)
    for name in Samples.__struct_fields__:
        found = len(getattr(samples, name))
        if found != rows:
            raise InputError(
                N_("column {name} has {found} rows, wanted {rows}"),
                name=name,
                found=found,
                rows=rows,
            )
    last_s = -math.inf
    for t_s in samples.t_s:
        if not last_s < t_s < math.inf:
            raise InputError(
                N_("time {t_s} s does not come after {before_s} s"), t_s=t_s, before_s=last_s
            )
        last_s = t_s
    for name in _NUMBERS:
        for value in getattr(samples, name):
            if value is not None and not math.isfinite(value):
                raise InputError(N_("column {name} holds {value}"), name=name, value=value)


def stretches(samples: Samples) -> Iterator[Stretch]:
    """Yield the phases of a trace with their times."""
    start = 0
    rows = len(samples.phase)
    for row in range(1, rows + 1):
        if row == rows or samples.phase[row] != samples.phase[start]:
            end_s = samples.t_s[min(row, rows - 1)]
            yield Stretch(samples.phase[start], samples.t_s[start], end_s)
            start = row
