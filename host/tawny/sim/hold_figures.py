"""What is read out of a lane's rows: heat-up, overshoot, hold, recovery, spread."""

from __future__ import annotations

import math
from statistics import fmean, pstdev
from typing import TYPE_CHECKING, Final

import msgspec

from tawny.core.dose import equivalent_rate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tawny.sim.lane import Row
    from tawny.sim.mould_rest import Pair

BAND_K: Final = 1.0
# Of browning of plant residues: published values run from 10 to 184 kJ/mol, and a recipe has this
# where it says nothing else.
ACTIVATION_J_PER_MOL: Final = 90_000.0


class Holding(msgspec.Struct, frozen=True, kw_only=True):
    """A hold, in K; of two halves the worse.

    Attributes:
        std_k: Standard deviation of a tip's true temperature about its own mean.
        worst_k: Largest distance of a true temperature from setpoint.
        shown_std_k, shown_worst_k: The same of what the board tells, noise and rounding included.
        apart_k: Largest difference of both halves' true deviations.
    """

    std_k: float
    worst_k: float
    shown_std_k: float
    shown_worst_k: float
    apart_k: float


class Recovery(msgspec.Struct, frozen=True):
    """After one charge.

    Attributes:
        time_s: From closing until both tips are within 1 K and stay so to the hold's end; None:
            they are not.
        dip_k: Lowest deviation of a tip from opening to the hold's end, 0 or below.
    """

    time_s: float | None
    dip_k: float


def heat_up_s(rows: Sequence[Row], setpoints_c: Pair, from_s: float = 0.0) -> float | None:
    """Return the time from which no tip is more than 1 K below setpoint any more, or None."""
    upper_c, lower_c = (one_c - BAND_K for one_c in setpoints_c)
    found = None
    for row in reversed(rows):
        if row.tips_c[0] < upper_c or row.tips_c[1] < lower_c:
            break
        found = row.at_s - from_s
    return found


def overshoot_k(rows: Sequence[Row], setpoints_c: Pair) -> float:
    """Return how far a tip is above its setpoint at most; 0 where it never is."""
    return max(0.0, *(max(_deviations(row.tips_c, setpoints_c)) for row in rows))


def holding(rows: Sequence[Row], setpoints_c: Pair) -> Holding:
    """Return the figures of a hold."""
    true = [_deviations(row.tips_c, setpoints_c) for row in rows]
    shown = [_deviations(row.shown_c, setpoints_c) for row in rows]
    return Holding(
        std_k=_std(true),
        worst_k=_worst(true),
        shown_std_k=_std(shown),
        shown_worst_k=_worst(shown),
        apart_k=max(abs(upper_k - lower_k) for upper_k, lower_k in true),
    )


def recovery(rows: Sequence[Row], setpoints_c: Pair, closed_s: float) -> Recovery:
    """Return the figures of one charge.

    Args:
        rows: From opening to the hold's end.
        setpoints_c: Of both halves.
        closed_s: When it was closed.
    """
    deviations = [_deviations(row.tips_c, setpoints_c) for row in rows]
    dip_k = min(0.0, *(min(pair) for pair in deviations))
    time_s = None
    for row, pair in zip(reversed(rows), reversed(deviations), strict=True):
        if row.at_s < closed_s or max(map(abs, pair)) > BAND_K:
            break
        time_s = row.at_s - closed_s
    return Recovery(time_s, dip_k)


def variation(values: Sequence[float]) -> float | None:
    """Return the coefficient of variation of a sample, 0-1; None of fewer than two."""
    if len(values) < 2:  # noqa: PLR2004 - a spread takes two
        return None
    mean = fmean(values)
    squares = math.fsum((value - mean) ** 2 for value in values)
    return math.sqrt(squares / (len(values) - 1)) / mean


def dose_rate(temperatures_c: Pair, setpoints_c: Pair) -> float:
    """Return equivalent seconds for each second, the mean of both faces, as the core counts."""
    return sum(
        equivalent_rate(one_c, setpoint_c, ACTIVATION_J_PER_MOL) / 2.0
        for one_c, setpoint_c in zip(temperatures_c, setpoints_c, strict=True)
    )


def _deviations(temperatures_c: Pair, setpoints_c: Pair) -> Pair:
    return temperatures_c[0] - setpoints_c[0], temperatures_c[1] - setpoints_c[1]


def _std(pairs: Sequence[Pair]) -> float:
    return max(pstdev([pair[half] for pair in pairs]) for half in (0, 1))


def _worst(pairs: Sequence[Pair]) -> float:
    return max(max(map(abs, pair)) for pair in pairs)
