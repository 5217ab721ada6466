"""Whether a recipe fits a mould and a press: refused before anything is heated or pumped."""

from __future__ import annotations

from tawny.core.equipment import Mould, Press
from tawny.core.limits import TRIP_DEFAULT_C, setpoint_most_c
from tawny.core.recipe import Recipe
from tawny.core.units import format_quantity, parse
from tawny.errors import N_, SettingsError

_KN_PER_BAR_CM2 = 0.01  # 1 bar is 10 N on each square centimetre


def force_kn(reading: float, unit: str, press: Press) -> float:
    """Return the ram's force at a reading of the press gauge.

    Args:
        reading: What the gauge shows.
        unit: What it is marked in: kN, or a pressure that acts on the ram.
        press: Whose ram it is.
    """
    if unit == "kN":
        return reading
    return parse(format_quantity(reading, unit), "bar") * press.ram_area_cm2 * _KN_PER_BAR_CM2


def check_fit(recipe: Recipe, mould: Mould, press: Press, trip_c: float = TRIP_DEFAULT_C) -> None:
    """Refuse a recipe that asks more than the mould, the press or the trip point allow.

    Raises:
        SettingsError: For the first limit that does not hold.
    """
    _check_setpoints(recipe, mould, trip_c)
    if recipe.force_unit != press.gauge_unit:
        raise SettingsError(
            N_(
                "recipe {name}: force is in {unit}, but the gauge of press {press} is marked in "
                "{limit}; write what that gauge shall show"
            ),
            name=recipe.name,
            unit=recipe.force_unit,
            press=press.name,
            limit=press.gauge_unit,
        )
    if not recipe.force <= press.gauge_most:
        raise SettingsError(
            N_(
                "recipe {name}: force {value:g} {unit} is above {limit:g} {unit}, the most that "
                "press {press} may be pumped to; correct the recipe"
            ),
            name=recipe.name,
            value=recipe.force,
            unit=recipe.force_unit,
            limit=press.gauge_most,
            press=press.name,
        )
    reached_kn = force_kn(recipe.force, recipe.force_unit, press)
    for what, limit_kn in (
        (N_("mould"), mould.rated_kn),
        (N_("jack"), press.jack_kn),
        (N_("frame"), press.frame_kn),
    ):
        if not reached_kn <= limit_kn:
            raise SettingsError(
                N_(
                    "recipe {name}: force {value:g} {unit} is {reached_kn:.1f} kN, above the "
                    "{limit_kn:g} kN that the {what} may bear; correct the recipe"
                ),
                name=recipe.name,
                value=recipe.force,
                unit=recipe.force_unit,
                reached_kn=reached_kn,
                limit_kn=limit_kn,
                what=what,
            )


def _check_setpoints(recipe: Recipe, mould: Mould, trip_c: float) -> None:
    for half_c in recipe.setpoints_c():
        if not half_c <= mould.rated_c:
            raise SettingsError(
                N_(
                    "recipe {name}: setpoint {value_c:g} degC is above the {limit_c:g} degC that "
                    "mould {mould} is rated for; correct the recipe"
                ),
                name=recipe.name,
                value_c=half_c,
                limit_c=mould.rated_c,
                mould=mould.name,
            )
        if not half_c <= setpoint_most_c(trip_c):
            raise SettingsError(
                N_(
                    "recipe {name}: setpoint {value_c:g} degC is above {limit_c:g} degC, the most "
                    "under a trip point of {trip_c:g} degC; correct the recipe"
                ),
                name=recipe.name,
                value_c=half_c,
                limit_c=setpoint_most_c(trip_c),
                trip_c=trip_c,
            )
