"""What R, lag and loss alone allow to think of a mould: the model of a loop that still learns."""

from __future__ import annotations

from functools import cache

from tawny.core.equipment import HalfModel, Mould
from tawny.core.loop.thermal import HEATER_LEAST_S, SPREAD_LEAST_S, HalfThermal, Thermal

# How a lag that was only measured as one number is split: between the moulds that were modelled.
_HEATER_PART, _SPREAD_PART, _DEAD_PART = 0.5, 0.35, 0.15


def thermal_of(mould: Mould) -> Thermal:
    """Return the model to control a mould with: the one fitted to it, or a guess."""
    return guessed(mould.upper, mould.lower) if mould.thermal is None else mould.thermal


@cache
def guessed(upper: HalfModel, lower: HalfModel) -> Thermal:
    """Return the guess for two halves; not trusted."""
    return Thermal(upper=_guessed_half(upper), lower=_guessed_half(lower))


def _guessed_half(model: HalfModel) -> HalfThermal:
    lag_s = model.ramp_lag_s()
    return HalfThermal(
        rise_k_per_s=model.rise_k_per_s,
        heater_lag_s=max(_HEATER_PART * lag_s, HEATER_LEAST_S),
        spread_lag_s=max(_SPREAD_PART * lag_s, SPREAD_LEAST_S),
        dead_time_s=_DEAD_PART * lag_s,
        loss_per_s=model.loss_per_s,
        loss_rise_per_s_k=0.0,
        exchange_per_s=0.0,
    )
