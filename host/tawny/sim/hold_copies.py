"""Moulds like a given one, but not it: what a workshop next door might have built."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from tawny.core.limits import SETPOINT_MOST_C

if TYPE_CHECKING:
    from tawny.sim.parameters import HalfModel, MouldModel

_FACTORS: Final = (0.75, 1.3)
_MASS_APART: Final = (0.9, 1.1)  # of the halves
_POWER_APART: Final = (0.93, 1.07)
_NOISE_K: Final = (0.1, 0.3)
_SETPOINT_LEAST_C: Final = 120.0
_SETPOINT_ABOVE_K: Final = 10.0


def perturbed(model: MouldModel, number: int) -> MouldModel:
    """Return a copy of a mould; the same number, the same copy.

    Mass, power, the heaters' capacity and conductance, the way to the surface, outside, platen,
    sensor lag, exchange and convection each have their own factor between 0.75 and 1.3, alike for
    both halves; the halves differ by up to 10 % in mass and 7 % in power, each its own way. Noise
    is 0.1 to 0.3 K, the setpoint 120 degC to 10 K above the usual one, at most 200 degC.

    Args:
        model: The mould.
        number: 0 is the mould itself.
    """
    if number == 0:
        return model
    source = random.Random(number)  # noqa: S311 - chance, not secrets
    mass, power, capacity, conductance, way, outside, platen, sensor, coupling, convection = (
        source.uniform(*_FACTORS) for _ in range(10)
    )
    noise_k = source.uniform(*_NOISE_K)

    def half(one: HalfModel) -> HalfModel:
        return replace(
            one,
            mass_kg=one.mass_kg * mass * source.uniform(*_MASS_APART),
            heater_w=one.heater_w * power * source.uniform(*_POWER_APART),
            heater_j_per_k=one.heater_j_per_k * capacity,
            heater_w_per_k=one.heater_w_per_k * conductance,
            body_w_per_k=one.body_w_per_k * way,
            outer_cm2=one.outer_cm2 * outside,
            platen_w_per_k=one.platen_w_per_k * platen,
            sensor_lag_s=one.sensor_lag_s * sensor,
            sensor_noise_k=noise_k,
        )

    most_c = min(model.heat_up_c + _SETPOINT_ABOVE_K, SETPOINT_MOST_C)
    return replace(
        model,
        upper=half(model.upper),
        lower=half(model.lower),
        coupling_w_per_k=model.coupling_w_per_k * coupling,
        convection_w_per_m2_k=model.convection_w_per_m2_k * convection,
        heat_up_c=source.uniform(min(_SETPOINT_LEAST_C, most_c), most_c),
    )
