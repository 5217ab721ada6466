"""What commissioning measures of a mould: found by heating the model, never assumed."""

from __future__ import annotations

from functools import cache
from typing import Final

import msgspec

from tawny.core.names import Half
from tawny.sim.mould import STEP_S, Mould
from tawny.sim.parameters import MouldModel

_SLOPE_STEPS: Final = 100  # a slope is taken over 10 s
_LONGEST_S: Final = 7200.0
_BELOW_K: Final = 1.0  # heated up: within this of the usual setpoint
_COOLING_S: Final = 300.0
_RISE_UNTIL: Final = 0.5  # the greatest slope lies in the first half of the way up


class HalfMeasure(msgspec.Struct, frozen=True, kw_only=True):
    """One half as commissioned.

    Attributes:
        rise_k_per_s: Greatest rise at full duty (R).
        lag_s: From full duty to half of that rise.
        heat_up_s: From room temperature to the usual setpoint, the supply limit applied.
        loss_per_s: Share of the excess over the room lost each second near the setpoint.
    """

    rise_k_per_s: float
    lag_s: float
    heat_up_s: float
    loss_per_s: float


class Measure(msgspec.Struct, frozen=True):
    """Both halves."""

    upper: HalfMeasure
    lower: HalfMeasure

    def half(self, half: Half) -> HalfMeasure:
        """Return one half's part."""
        return self.upper if half is Half.UPPER else self.lower


@cache
def measure(model: MouldModel) -> Measure:
    """Return what commissioning would find, both halves at full duty, closed and empty.

    Sensors are taken without noise; their lag, dead time and mounting count.
    """
    rises = _rise_and_lag(model)
    heat_up_s, losses = _heat_up_and_loss(model)
    halves = [
        HalfMeasure(
            rise_k_per_s=rise, lag_s=lag_s, heat_up_s=heat_up_s[index], loss_per_s=losses[index]
        )
        for index, (rise, lag_s) in enumerate(rises)
    ]
    return Measure(*halves)


def _tips(mould: Mould) -> tuple[float, float]:
    return mould.upper_tip_c, mould.lower_tip_c


def _rise_and_lag(model: MouldModel) -> list[tuple[float, float]]:
    """Return R in K/s and the lag in s of each half."""
    mould = Mould(model)
    powers = (model.upper.heater_w, model.lower.heater_w)
    until_c = model.ambient_c + _RISE_UNTIL * (model.heat_up_c - model.ambient_c)
    readings = [_tips(mould)]
    while min(readings[-1]) < until_c and len(readings) * STEP_S < _LONGEST_S:
        mould.step(powers[0] * STEP_S, powers[1] * STEP_S)
        readings.append(_tips(mould))
    found = []
    for half in range(2):
        slopes = [
            (later[half] - earlier[half]) / (_SLOPE_STEPS * STEP_S)
            for earlier, later in zip(readings, readings[_SLOPE_STEPS:], strict=False)
        ]
        rise = max(slopes)
        reached = next(index for index, slope in enumerate(slopes) if slope >= rise / 2.0)
        # A slope over 10 s belongs to the middle of its 10 s.
        found.append((rise, (reached + _SLOPE_STEPS / 2.0) * STEP_S))
    return found


def _heat_up_and_loss(model: MouldModel) -> tuple[list[float], list[float]]:
    """Return each half's heat-up time in s, and its loss by cooling from there."""
    mould = Mould(model)
    share = min(1.0, model.supply_cap / 2.0)
    full_j = [half.heater_w * share * STEP_S for half in (model.upper, model.lower)]
    wanted_c = model.heat_up_c - _BELOW_K
    heat_up_s: list[float | None] = [None, None]
    now_s = 0.0
    while None in heat_up_s and now_s < _LONGEST_S:
        tips = _tips(mould)
        for half in range(2):
            if heat_up_s[half] is None and tips[half] >= wanted_c:
                heat_up_s[half] = now_s
        upper_j, lower_j = (
            full if tip < wanted_c else 0.0 for full, tip in zip(full_j, tips, strict=True)
        )
        mould.step(upper_j, lower_j)
        now_s += STEP_S
    losses = _cooling(mould, model)
    return [_LONGEST_S if found is None else found for found in heat_up_s], losses


def _cooling(mould: Mould, model: MouldModel) -> list[float]:
    """Let the mould even out, then cool; return each half's loss in 1/s."""
    for _ in range(round(_COOLING_S / STEP_S)):
        mould.step(0.0, 0.0)
    before = _tips(mould)
    for _ in range(round(_COOLING_S / STEP_S)):
        mould.step(0.0, 0.0)
    after = _tips(mould)
    return [
        (a - b) / _COOLING_S / ((a + b) / 2.0 - model.ambient_c)
        for a, b in zip(before, after, strict=True)
    ]
