"""What physics allows in the scenario of the hold: beside it stands what a controller did."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import msgspec

from tawny.core.moisture import dry_from_wet
from tawny.sim.build import build_for
from tawny.sim.charge_cycle import LYING_S, hold_duties
from tawny.sim.heat_up_bound import heat_up_bound
from tawny.sim.mould_rest import at_rest
from tawny.sim.recovery_bound import recovery_bound

if TYPE_CHECKING:
    from tawny.sim.mould_rest import Pair
    from tawny.sim.parameters import MouldModel

THICKNESS_MM: Final = 2.4  # of a part, once pressed
MOISTURE_WET: Final = 0.2  # of the charge, of its whole mass
CUP_C: Final = 25.0
OPEN_S: Final = 40.0
HOLD_S: Final = 240.0
BELOW_K: Final = 1.0


class Weak(msgspec.Struct, frozen=True, kw_only=True):
    """Why a mould does not reach its setpoint.

    Attributes:
        needs_w: What each half takes to stay at its setpoint.
        has_w: What its heater gives at most.
        supply_cap: What both duties may sum to.
    """

    needs_w: tuple[float, float]
    has_w: tuple[float, float]
    supply_cap: float


class Bounds(msgspec.Struct, frozen=True, kw_only=True):
    """Of one mould.

    Attributes:
        heat_up_s: From room to within 1 K of setpoint; None: one half pulls the other beyond.
        given_j: Heat that takes.
        pulse_k: By how much the shortest pulse of the output warms a half; 0: as short as one
            likes. A hold cannot be steadier than a part of it.
        recovery_s: From closing on a charge, into the band for good; None: not within the hold.
        dip_k: Lowest deviation in that course.
    """

    heat_up_s: float | None
    given_j: float | None
    pulse_k: float = 0.0
    recovery_s: float | None = None
    dip_k: float | None = None


def charge_g(model: MouldModel) -> tuple[float, float]:
    """Return dry material and water of a charge, in g: density · area · 2.4 mm, 20 % water."""
    area_m2 = model.charge.area_cm2 * 1e-4
    dry_g = model.charge.density_kg_per_m3 * area_m2 * THICKNESS_MM
    return dry_g, dry_g * dry_from_wet(MOISTURE_WET)


def setpoints_c(model: MouldModel) -> Pair:
    """Return both halves' setpoints: the usual one."""
    return model.heat_up_c, model.heat_up_c


def too_weak(model: MouldModel) -> Weak | None:
    """Return why a mould cannot stay within 1 K of its setpoint, or None where it can."""
    both_c = setpoints_c(model)
    lowest_c = (both_c[0] - BELOW_K, both_c[1] - BELOW_K)
    duties = hold_duties(model, lowest_c)
    if max(duties) < 1.0 and sum(duties) < model.supply_cap:
        return None
    upper, lower = at_rest(model, both_c)
    return Weak(
        needs_w=(upper.power_w, lower.power_w),
        has_w=(model.upper.heater_w, model.lower.heater_w),
        supply_cap=model.supply_cap,
    )


def _pulse_k(model: MouldModel) -> float:
    least_s = build_for(model).least_ms / 1000.0
    return max(
        least_s * half.heater_w / (half.mass_kg * half.specific_j_per_kg_k + half.heater_j_per_k)
        for half in (model.upper, model.lower)
    )


def bounds(model: MouldModel, *, with_recovery: bool) -> Bounds:
    """Return the bounds of a mould that can reach its setpoint."""
    both_c = setpoints_c(model)
    up = heat_up_bound(model, both_c)
    found = Bounds(
        heat_up_s=up.time_s if math.isfinite(up.time_s) else None,
        given_j=up.given_j if math.isfinite(up.time_s) else None,
        pulse_k=_pulse_k(model),
    )
    if not with_recovery:
        return found
    dry_g, water_g = charge_g(model)
    back = recovery_bound(
        model,
        both_c,
        open_s=OPEN_S,
        hold_s=HOLD_S,
        residue_g=dry_g,
        water_g=water_g,
        cup_c=CUP_C,
        lying_s=LYING_S,
    )
    return msgspec.structs.replace(
        found,
        recovery_s=back.time_s if math.isfinite(back.time_s) else None,
        dip_k=back.dip_k,
    )
