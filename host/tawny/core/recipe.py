"""What a pressing should be: the recipe, frozen into each pressing with its hash."""

from __future__ import annotations

import hashlib
import math

import msgspec

from tawny.core.limits import RAMP_LEAST_K_PER_MIN, RAMP_MOST_K_PER_MIN, SETPOINT_MOST_C
from tawny.errors import N_, SettingsError

RECIPE_SCHEMA = 1
SETPOINT_LEAST_C = 60.0
BREATH_LEAST_S, BREATH_MOST_S = 0.5, 30.0


_LATER: dict[str, object] = {"ramp_k_per_min": None, "ramp_together": False}


class Breath(msgspec.Struct, frozen=True, kw_only=True):
    """One letting-out of steam; times are common practice of the workshop, never a permission.

    Attributes:
        at_s: Seconds after closing.
        open_s: How long the pressure is let off, in seconds.
    """

    at_s: float
    open_s: float


class Recipe(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that decides how one pressing is pressed.

    A field's last word is its unit: `_c` a temperature, `_k` a difference, `_s` seconds,
    `_g` grams. Hold times and equivalent time count from closing.

    Attributes:
        setpoint_c: Of both halves, unless `lower_setpoint_c` differs.
        band_k: Half width of "in band".
        residue_g, water_g: One cavity's charge.
        force, force_unit: What the press gauge shall read, in the gauge's own unit.
        top_up_below: Top up the pressure when the gauge falls to this; None: no top-up.
        fill_most_s: From opening the hot mould to closing it.
        equivalent_s: Wanted time at `setpoint_c` that the real trace is to equal.
        least_s: The hold never ends before; it belongs to the steam.
        most_s: The hold never lasts longer.
        activation_j_per_mol: Activation energy of the equivalent time.
        clean_every, oil_every: In pressings; 0: never asked for.
        ramp_k_per_min: The setpoint rises no faster; None: as fast as the heaters can.
        ramp_together: Both halves arrive together: the faster one waits for the slower.
    """

    name: str
    version: int
    mould: str
    setpoint_c: float
    lower_setpoint_c: float | None = None
    band_k: float = 2.0
    residue_g: float
    water_g: float
    force: float
    force_unit: str
    top_up_below: float | None = None
    fill_most_s: float = 60.0
    breaths: tuple[Breath, ...] = ()
    equivalent_s: float
    least_s: float
    most_s: float
    activation_j_per_mol: float = 90_000.0
    clean_every: int = 0
    oil_every: int = 1
    note: str = ""
    ramp_k_per_min: float | None = None
    ramp_together: bool = False

    def setpoints_c(self) -> tuple[float, float]:
        """Return the setpoints of the upper and the lower half."""
        lower = self.setpoint_c if self.lower_setpoint_c is None else self.lower_setpoint_c
        return self.setpoint_c, lower

    def charge_g(self) -> float:
        """Return the mass of one cavity's charge."""
        return self.residue_g + self.water_g

    def digest(self) -> str:
        """Return the SHA-256 of the recipe's canonical JSON, in hexadecimal.

        Fields that came later count only where they say something, so that a recipe keeps
        the hash under which older parts were pressed.
        """
        said: dict[str, object] = msgspec.to_builtins(self)
        for name, default in _LATER.items():
            if said[name] == default:
                del said[name]
        return hashlib.sha256(msgspec.json.encode(said, order="sorted")).hexdigest()


def _ramp_range(recipe: Recipe) -> tuple[tuple[str, float, float, float, str], ...]:
    if recipe.ramp_k_per_min is None:
        return ()
    limits = (RAMP_LEAST_K_PER_MIN, RAMP_MOST_K_PER_MIN)
    return (("ramp", recipe.ramp_k_per_min, *limits, "K/min"),)


def check_recipe(recipe: Recipe) -> None:
    """Refuse a recipe that no press could follow.

    Raises:
        SettingsError: For the first rule that does not hold; a NaN holds none.
    """
    name = recipe.name
    for half_c in recipe.setpoints_c():
        if not SETPOINT_LEAST_C <= half_c <= SETPOINT_MOST_C:
            raise SettingsError(
                N_(
                    "recipe {name}: setpoint {value_c:g} degC is not between {least_c:g} degC and "
                    "{limit_c:g} degC; correct the recipe"
                ),
                name=name,
                value_c=half_c,
                least_c=SETPOINT_LEAST_C,
                limit_c=SETPOINT_MOST_C,
            )
    ranges: tuple[tuple[str, float, float, float, str], ...] = (
        ("band", recipe.band_k, 0.5, 10.0, "K"),
        ("residue", recipe.residue_g, 0.1, 5000.0, "g"),
        ("water", recipe.water_g, 0.0, 2000.0, "g"),
        ("force", recipe.force, 0.0, 1e6, recipe.force_unit),
        ("fill_most", recipe.fill_most_s, 5.0, 600.0, "s"),
        ("equivalent", recipe.equivalent_s, 1.0, 3600.0, "s"),
        ("least", recipe.least_s, 1.0, 3600.0, "s"),
        ("most", recipe.most_s, 1.0, 3600.0, "s"),
        ("activation_energy", recipe.activation_j_per_mol / 1000.0, 10.0, 250.0, "kJ/mol"),
        *_ramp_range(recipe),
    )
    for field, value, least, most, unit in ranges:
        if not (math.isfinite(value) and least <= value <= most):
            raise SettingsError(
                N_(
                    "recipe {name}: {field} {value:g} {unit} is not between {least:g} and "
                    "{most:g} {unit}; correct the recipe"
                ),
                name=name,
                field=field,
                value=value,
                least=least,
                most=most,
                unit=unit,
            )
    if not recipe.least_s <= recipe.most_s:
        raise SettingsError(
            N_(
                "recipe {name}: least hold {least_s:g} s is longer than the most {most_s:g} s; "
                "correct the recipe"
            ),
            name=name,
            least_s=recipe.least_s,
            most_s=recipe.most_s,
        )
    last_s = 0.0
    for breath in recipe.breaths:
        if not (last_s < breath.at_s and breath.at_s + breath.open_s < recipe.least_s):
            raise SettingsError(
                N_(
                    "recipe {name}: breath at {at_s:g} s must come after the one before and end "
                    "before the least hold of {least_s:g} s; correct the recipe"
                ),
                name=name,
                at_s=breath.at_s,
                least_s=recipe.least_s,
            )
        if not BREATH_LEAST_S <= breath.open_s <= BREATH_MOST_S:
            raise SettingsError(
                N_(
                    "recipe {name}: a breath of {open_s:g} s is not between {least_s:g} s and "
                    "{most_s:g} s; correct the recipe"
                ),
                name=name,
                open_s=breath.open_s,
                least_s=BREATH_LEAST_S,
                most_s=BREATH_MOST_S,
            )
        last_s = breath.at_s
