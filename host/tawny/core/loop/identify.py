"""The thermal model of a mould from what it did: heated, left to coast, and delivered on-time.

With both temperatures measured, the model is linear in R, losses and exchange once the three
times are given: each is a known course of temperature, made by the same lags from on-time and
from what was measured. So least squares searches three times only, and finds the rest in one
linear solution each time (variable projection, Golub and Pereyra 1973).

A ramp alone cannot tell a lag from a late start: a stretch must hold the coast after the heat.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

from tawny.core.loop.thermal import (
    HEATER_LEAST_S,
    SPREAD_LEAST_S,
    SURFACE_SHARE,
    HalfThermal,
    Thermal,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    _Array = NDArray[np.float64]

EACH_S: Final = 1.0  # everything is brought to that step
_STRETCH_LEAST_S: Final = 60.0
_RISE_LEAST_K: Final = 15.0  # less says too little
_READING_K: Final = 0.12  # noise of a mean over a second, rounding included
_ALIKE: Final = 5.0  # so many times larger is what counts: errors in a row are alike
# Log-normal beliefs about the three times before anything was seen: median, and spread as a
# standard deviation of the logarithm.
_TIMES_S: Final = (20.0, 20.0, 2.0)
_TIMES_SPREAD: Final = 1.3
# Radiation: by how much the loss coefficient grows over 100 K of excess. Computed for outsides of
# emissivity 0.3 to 0.8 with 9 W/m2K of convection: 0.06 to 0.19.
_LOSS_RISE_PART: Final = 0.12e-2
_LOSS_RISE_SPREAD: Final = 0.06e-2
_USUAL_LOSS_PER_S: Final = 4e-4
# How far a later heat-up may pull a fitted model: standard deviations, the first three of logs.
_LATER_TIMES_SPREAD: Final = 0.15
_LATER_RISE_SPREAD: Final = 0.05
_LATER_LOSS_SPREAD: Final = 0.2
_LATER_EXCHANGE_SPREAD: Final = 0.1
_EXCHANGE_MOST_PER_S: Final = 0.02  # believed of a half whose other was never heated apart
_MOST_S: Final = 300.0
# A coast: after the time in which most was given, over 20 s each, clearly less is given.
_HEAT_OVER_S: Final = 20.0
_HEAT_LEAST: Final = 0.1
_COAST_PART: Final = 0.75


class Row(NamedTuple):
    """Both halves at one moment.

    Attributes:
        at_s: On one clock.
        temps_c: Upper and lower.
        on_s: On-time delivered since the first row, upper and lower.
    """

    at_s: float
    temps_c: tuple[float, float]
    on_s: tuple[float, float]


class HalfFit(NamedTuple):
    """What was found of one half.

    Attributes:
        half: Its model.
        residual_k: Standard deviation of measured less modelled.
        rise_k: The largest rise in the stretches.
        coast_s: Time with clearly less heat after the most, in the longest stretch.
    """

    half: HalfThermal
    residual_k: float
    rise_k: float
    coast_s: float


def fit_half(
    stretches: Sequence[Sequence[Row]], index: int, room_c: float, before: HalfThermal | None = None
) -> HalfFit | None:
    """Return the model of one half.

    Args:
        stretches: Each in order of time, from rest on; together they should hold a rise of 15 K
            or more and the coast after it.
        index: 0 the upper half, 1 the lower.
        room_c: Of the room.
        before: What an earlier fit found; the new one stays near it.

    Returns:
        None where they carry no fit: too short, no rise, or nothing sensible found.
    """
    import numpy as np  # noqa: PLC0415 - heavy, and only here
    from scipy.optimize import least_squares  # noqa: PLC0415

    series = [one for one in (_series(rows, index, room_c) for rows in stretches) if one]
    rise_k = max((float(one.own.max() - one.own[0]) for one in series), default=0.0)
    if not rise_k >= _RISE_LEAST_K:
        return None
    count = sum(len(one.own) for one in series)
    times_s, spread = (_TIMES_S, _TIMES_SPREAD)
    if before is not None:
        times_s = (before.heater_lag_s, before.spread_lag_s, max(before.dead_time_s, EACH_S / 2.0))
        spread = _LATER_TIMES_SPREAD
    middle = np.log(np.array(times_s))
    scale = _READING_K * _ALIKE

    def surprises(logs: _Array) -> _Array:
        _, left = _linear(series, np.exp(logs), before)
        return np.concatenate([left / scale, (logs - middle) / spread])

    bounds = (np.log([HEATER_LEAST_S, SPREAD_LEAST_S, 0.05]), np.full(3, math.log(_MOST_S)))
    start = np.clip(middle, bounds[0] + 1e-6, bounds[1] - 1e-6)
    found = least_squares(
        surprises, start, bounds=bounds, diff_step=1e-3, max_nfev=40, ftol=1e-5, xtol=1e-5
    )
    times = np.exp(found.x)
    linear, left = _linear(series, times, before)
    half = HalfThermal(
        rise_k_per_s=_short(linear[0]),
        heater_lag_s=_short(times[0]),
        spread_lag_s=_short(times[1]),
        dead_time_s=_short(times[2]),
        loss_per_s=_short(linear[1]),
        loss_rise_per_s_k=_short(linear[2]),
        exchange_per_s=_short(linear[3]),
    )
    if not half.sound():
        return None
    residual_k = float(np.sqrt(np.mean(left[:count] ** 2)))
    return HalfFit(half, residual_k, rise_k, max(one.coast_s() for one in series))


def _short(value: float) -> float:
    """Return a value to five digits: more than it is known to, and short in the record."""
    return float(f"{value:.5g}")


def fit_mould(
    stretches: Sequence[Sequence[Row]], room_c: float, before: Thermal | None = None
) -> tuple[HalfFit, HalfFit] | None:
    """Return what was found of both halves; None where one of them carries no fit."""
    upper = fit_half(stretches, 0, room_c, None if before is None else before.upper)
    lower = fit_half(stretches, 1, room_c, None if before is None else before.lower)
    return None if upper is None or lower is None else (upper, lower)


class _Series(NamedTuple):
    """One stretch at even steps: excess of both halves over the room, and on-time so far in s."""

    own: _Array
    other: _Array
    on_s: _Array

    def coast_s(self) -> float:
        """Return for how long there was less heat, after the most there was."""
        import numpy as np  # noqa: PLC0415

        width = round(_HEAT_OVER_S / EACH_S)
        heats = (self.on_s[width:] - self.on_s[:-width]) / _HEAT_OVER_S
        if not len(heats) or not heats.max() > _HEAT_LEAST:
            return 0.0
        heated = np.nonzero(heats > _COAST_PART * heats.max())[0]
        return float(len(heats) - 1 - heated[-1]) * EACH_S


def _series(rows: Sequence[Row], index: int, room_c: float) -> _Series | None:
    import numpy as np  # noqa: PLC0415

    if len(rows) < 2 or rows[-1].at_s - rows[0].at_s < _STRETCH_LEAST_S:  # noqa: PLR2004
        return None
    at_s = np.array([row.at_s for row in rows])
    bins = ((at_s - at_s[0]) / EACH_S).astype(int)
    counts = np.bincount(bins)
    middles_s = at_s[0] + (np.arange(len(counts)) + 0.5) * EACH_S
    full = counts > 0

    def means(values: list[float]) -> _Array:
        sums = np.bincount(bins, weights=np.array(values))
        found: _Array = np.interp(middles_s, middles_s[full], sums[full] / counts[full])
        return found

    on_s = np.interp(middles_s, at_s, [row.on_s[index] for row in rows])
    return _Series(
        means([row.temps_c[index] for row in rows]) - room_c,
        means([row.temps_c[1 - index] for row in rows]) - room_c,
        on_s - on_s[0],
    )


def _linear(
    series: list[_Series], times_s: _Array, before: HalfThermal | None
) -> tuple[_Array, _Array]:
    """Return R, both losses and the exchange for given times, and what is left unexplained."""
    import numpy as np  # noqa: PLC0415
    from scipy.optimize import nnls  # noqa: PLC0415

    lefts, rights = [], []
    for number, one in enumerate(series):
        columns = _columns(one, times_s)
        # Body and surface need not be even where a stretch begins; either way, so two columns.
        uneven = np.zeros((len(one.own), 2 * len(series)))
        fading = np.exp(-np.arange(len(one.own)) * EACH_S / times_s[1])
        uneven[:, 2 * number], uneven[:, 2 * number + 1] = fading, -fading
        both = np.concatenate([columns, uneven], axis=1)
        lefts.append(both - both.mean(axis=0))
        rights.append(one.own - one.own.mean())
    believed, value = _beliefs(before, lefts[0].shape[1])
    left, right = np.concatenate([*lefts, believed]), np.concatenate([*rights, value])
    found, _ = nnls(left, right)
    solved: _Array = np.asarray(found, dtype=np.float64)
    measured = len(right) - len(value)
    return solved[:4], (left @ solved - right)[:measured]


def _beliefs(before: HalfThermal | None, width: int) -> tuple[_Array, _Array]:
    """Return rows that say what is believed of the linear parts, in the data's own weight."""
    import numpy as np  # noqa: PLC0415

    noise_k = _READING_K * _ALIKE
    rows = np.zeros((4, width))
    values = np.zeros(4)
    rows[0, 1] = -_LOSS_RISE_PART
    rows[0, 2] = 1.0
    rows[0] *= noise_k / (_LOSS_RISE_SPREAD * _USUAL_LOSS_PER_S)
    if before is None:
        rows[1, 3] = noise_k / _EXCHANGE_MOST_PER_S
        return rows, values
    beliefs = (
        (0, before.rise_k_per_s, _LATER_RISE_SPREAD),
        (1, before.loss_per_s, _LATER_LOSS_SPREAD),
        (3, before.exchange_per_s, _LATER_EXCHANGE_SPREAD),
    )
    for row, (column, value, spread) in enumerate(beliefs, start=1):
        weight = noise_k / max(spread * value, 1e-7)
        rows[row, column] = weight
        values[row] = weight * value
    return rows, values


def _columns(one: _Series, times_s: _Array) -> _Array:
    """Return what R, loss, its rise and the exchange do to the reading, each for 1."""
    import numpy as np  # noqa: PLC0415

    heater_s, spread_s, dead_s = (float(value) for value in times_s)
    heat = _lagged(_lagged(_late(one.on_s, dead_s), heater_s), spread_s)
    loss = _lagged(_summed(one.own), spread_s)
    loss_rise = _lagged(_summed(one.own * one.own), spread_s)
    across = _summed(one.own - one.other)
    exchange = across / SURFACE_SHARE + (1.0 - 1.0 / SURFACE_SHARE) * _lagged(across, spread_s)
    return np.stack([heat, -loss, -loss_rise, -exchange], axis=1)


def _summed(values: _Array) -> _Array:
    import numpy as np  # noqa: PLC0415

    return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2.0)]) * EACH_S


def _lagged(values: _Array, lag_s: float) -> _Array:
    import numpy as np  # noqa: PLC0415
    from scipy.signal import lfilter  # noqa: PLC0415

    left = math.exp(-EACH_S / lag_s)
    filtered: _Array = np.asarray(lfilter([1.0 - left], [1.0, -left], values), dtype=np.float64)
    return filtered


def _late(values: _Array, by_s: float) -> _Array:
    import numpy as np  # noqa: PLC0415

    at_s = np.arange(len(values)) * EACH_S
    late: _Array = np.interp(at_s - by_s, at_s, values)
    return late
