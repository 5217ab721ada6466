"""What holds a closed, empty mould at rest: every node's temperature, and the power."""

from __future__ import annotations

from typing import Final, NamedTuple

from tawny.sim.parameters import HalfModel, MouldModel

KELVIN: Final = 273.15
STEFAN_BOLTZMANN: Final = 5.670374419e-8  # W/m²K⁴, CODATA 2018
M2_PER_CM2: Final = 1e-4

Pair = tuple[float, float]  # of the upper and of the lower half


class HalfRest(NamedTuple):
    """One half at rest.

    Attributes:
        power_w: What keeps it so; below 0 where the other half gives it more than it loses.
    """

    heater_c: float
    body_c: float
    surface_c: float
    power_w: float


def surface_at(half: HalfModel, room_c: float, tip_c: float) -> float:
    """Return what the surface has when the thermocouple's tip has come to rest."""
    return room_c + (tip_c - room_c) / (1.0 - half.sensor_low)


def body_loss_w(mould: MouldModel, half: HalfModel, body_c: float) -> float:
    """Return what the body gives to room and platen."""
    room_c, outer_m2 = mould.ambient_c, half.outer_cm2 * M2_PER_CM2
    linear_w_per_k = outer_m2 * mould.convection_w_per_m2_k + half.platen_w_per_k
    fourth_k4 = (body_c + KELVIN) ** 4 - (room_c + KELVIN) ** 4
    radiated_w = outer_m2 * mould.emissivity * STEFAN_BOLTZMANN * fourth_k4
    return linear_w_per_k * (body_c - room_c) + radiated_w


def half_at_rest(
    mould: MouldModel, half: HalfModel, surface_c: float, other_surface_c: float
) -> HalfRest:
    """Return a half whose surface stays what it is, beside the other's."""
    across_w = mould.coupling_w_per_k * (surface_c - other_surface_c)
    body_c = surface_c + across_w / half.body_w_per_k
    power_w = across_w + body_loss_w(mould, half, body_c)
    return HalfRest(body_c + power_w / half.heater_w_per_k, body_c, surface_c, power_w)


def at_rest(mould: MouldModel, tips_c: Pair) -> tuple[HalfRest, HalfRest]:
    """Return both halves with their thermocouples' tips at rest at these temperatures."""
    upper_c = surface_at(mould.upper, mould.ambient_c, tips_c[0])
    lower_c = surface_at(mould.lower, mould.ambient_c, tips_c[1])
    return (
        half_at_rest(mould, mould.upper, upper_c, lower_c),
        half_at_rest(mould, mould.lower, lower_c, upper_c),
    )
