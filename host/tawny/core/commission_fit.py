"""R, lag and loss of a mould half from a commissioning's temperatures: what the board stores.

A half that is heated alone gives heat to the other one and to the room, so its slope says less
than its heater can. Both ways are fitted beside the rise:

    change of T = R * on-time - G * sum of (T - other half) - k * sum of (T - room)

over the heating once its lag is past, the rest after it, and what came before. Every other row of
the sum is a measured temperature, so this is one linear least squares.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Final, NamedTuple

from tawny.core.equipment import RAMP_PER_HALF_RISE

EACH_S: Final = 1.0  # samples are means over that
SLOPE_S: Final = 10.0  # a slope is taken over that, and belongs to its middle
STEEPEST_S: Final = 20.0
SETTLED_LAGS: Final = 3.5  # from the switching of the heat to an even slope
RISE_LEAST_K: Final = 15.0  # less says too little
STRETCH_LEAST: Final = 20  # samples of a stretch that is worth fitting
_ALIKE: Final = 1e-6  # columns that differ by less are one
_ROUNDS: Final = 4  # R needs the lag, and the lag needs R
_BELOW_SETPOINT_K: Final = 1.0  # heated up: within this of the setpoint


class Sample(NamedTuple):
    """Both halves at one moment of the board's clock."""

    at_s: float
    own_c: float
    other_c: float


class Fit(NamedTuple):
    """What was found of one half.

    Attributes:
        rise_k_per_s: Rise at full duty near room temperature (R).
        lag_s: From full duty to half of that rise.
        loss_per_s: Share of the excess over the room lost each second.
        exchange_per_s: Share of the difference between the halves given to the other each second.
    """

    rise_k_per_s: float
    lag_s: float
    loss_per_s: float
    exchange_per_s: float


def thin(samples: list[Sample]) -> list[Sample]:
    """Return means over `EACH_S`, in order; a stretch without samples leaves none."""
    found: list[Sample] = []
    group: list[Sample] = []
    for sample in samples:
        if group and sample.at_s - group[0].at_s >= EACH_S:
            found.append(_mean(group))
            group = []
        group.append(sample)
    if group:
        found.append(_mean(group))
    return found


def slope(samples: list[Sample]) -> float:
    """Return the least-squares slope of the half's own temperature, in K/s."""
    middle = _mean(samples)
    spread = sum((one.at_s - middle.at_s) ** 2 for one in samples)
    rise = sum((one.at_s - middle.at_s) * (one.own_c - middle.own_c) for one in samples)
    return rise / spread if spread > 0.0 else math.nan


def fit_half(
    samples: list[Sample], *, on_s: float, off_s: float, full: float, room_c: float
) -> Fit | None:
    """Return what one half's heating shows.

    Args:
        samples: Of the whole commissioning, in order, the half's own temperature first.
        on_s: When its heat began, on the samples' clock.
        off_s: When it ended.
        full: Share of full duty that was delivered in between, 0-1.
        room_c: Of the room.

    Returns:
        None where the samples do not carry a fit: too short, or no rise.
    """
    thinned = thin(samples)
    heating = [one for one in thinned if on_s <= one.at_s <= off_s]
    slopes = _slopes(heating, STEEPEST_S)
    if not slopes or not heating[-1].own_c - heating[0].own_c >= RISE_LEAST_K:
        return None
    steepest = max(value for _, value in slopes)
    found = Fit(steepest, _lag_s(thinned, on_s, Fit(steepest, 0.0, 0.0, 0.0), room_c), 0.0, 0.0)
    for _ in range(_ROUNDS):
        settle_s = min(SETTLED_LAGS * found.lag_s, (off_s - on_s) / 2.0)
        stretches = (
            [one for one in thinned if one.at_s <= on_s],
            [one for one in thinned if on_s + settle_s <= one.at_s <= off_s],
            [one for one in thinned if one.at_s >= off_s + settle_s],
        )
        rise, exchange, loss = _least_squares(stretches, on_s, off_s, room_c)
        found = Fit(max(rise, steepest), 0.0, loss, exchange)  # at least what was seen
        found = found._replace(lag_s=_lag_s(thinned, on_s, found, room_c))
    if not all(map(math.isfinite, found)):
        return None
    return found._replace(rise_k_per_s=found.rise_k_per_s / full)


def heat_up_s(fit: Fit, *, share: float, room_c: float, setpoint_c: float) -> float:
    """Return how long heating up takes with a share of full duty; infinite if it never gets there.

    From R and loss, one lag late: an estimate beyond what commissioning heat reaches.
    """
    wanted_k = setpoint_c - _BELOW_SETPOINT_K - room_c
    rise = fit.rise_k_per_s * share
    late_s = RAMP_PER_HALF_RISE * fit.lag_s
    if not fit.loss_per_s * wanted_k < rise:
        return math.inf
    if fit.loss_per_s * wanted_k < 1e-6 * rise:
        return late_s + wanted_k / rise
    return late_s - math.log(1.0 - fit.loss_per_s * wanted_k / rise) / fit.loss_per_s


def _mean(group: list[Sample]) -> Sample:
    count = len(group)
    return Sample(
        sum(one.at_s for one in group) / count,
        sum(one.own_c for one in group) / count,
        sum(one.other_c for one in group) / count,
    )


def _slopes(samples: list[Sample], span_s: float) -> list[tuple[float, float]]:
    """Return the slope over each stretch of a length, with the moment of its middle."""
    times = [one.at_s for one in samples]
    found = []
    for first, start_s in enumerate(times):
        last = bisect_left(times, start_s + span_s)
        if last >= len(times):
            break
        found.append(((start_s + times[last]) / 2.0, slope(samples[first : last + 1])))
    return found


def _lag_s(thinned: list[Sample], on_s: float, fit: Fit, room_c: float) -> float:
    """Return the time to half the rise, what goes to the other half and the room added back."""
    later = [one for one in thinned if one.at_s >= on_s - SLOPE_S / 2.0]
    times = [one.at_s for one in later]
    for middle_s, value in _slopes(later, SLOPE_S):
        here = later[bisect_left(times, middle_s)]
        gone = fit.exchange_per_s * (here.own_c - here.other_c)
        gone += fit.loss_per_s * (here.own_c - room_c)
        if value + gone >= fit.rise_k_per_s / 2.0:
            return max(middle_s - on_s, EACH_S)
    return math.nan


def _least_squares(
    stretches: tuple[list[Sample], ...], on_s: float, off_s: float, room_c: float
) -> tuple[float, float, float]:
    """Return R, G and k, each stretch with a level of its own."""
    import numpy as np  # noqa: PLC0415 - heavy, and only here

    rows, values = [], []
    for stretch in stretches:
        if len(stretch) < STRETCH_LEAST:
            continue
        at = np.array([one.at_s for one in stretch])
        own = np.array([one.own_c for one in stretch])
        other = np.array([one.other_c for one in stretch])
        steps = np.diff(at, prepend=at[0])
        row = np.stack(
            [
                np.clip(at, on_s, off_s),
                -np.cumsum((own - other) * steps),
                -np.cumsum((own - room_c) * steps),
            ],
            axis=1,
        )
        rows.append(row - row.mean(axis=0))
        values.append(own - own.mean())
    left, right = np.concatenate(rows), np.concatenate(values)
    kept = [0, 1, 2]
    while True:
        solved = np.linalg.lstsq(left[:, kept], right, rcond=_ALIKE)[0]
        found = dict(zip(kept, map(float, solved), strict=True))
        # Halves and room can be told apart only by their difference: a share that comes out below
        # nothing belongs to the other one.
        least = min((1, 2), key=lambda column: found.get(column, 0.0))
        if not found.get(least, 0.0) < 0.0:
            return found[0], found.get(1, 0.0), found.get(2, 0.0)
        kept.remove(least)
