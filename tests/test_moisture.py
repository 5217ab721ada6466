"""Moisture by mass balance, with worked values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tawny.core import moisture
from tawny.errors import InputError

WET = st.floats(0.0, 0.95)


@pytest.mark.parametrize(("wet", "dry"), [(0.10, 0.1111), (0.80, 4.0), (0.20, 0.25), (0.0, 0.0)])
def test_moisture_changes_basis_as_defined(wet: float, dry: float) -> None:
    """ISO 18134 reports water over everything, ASTM D4442 water over dry matter."""
    assert moisture.dry_from_wet(wet) == pytest.approx(dry, abs=5e-5)
    assert moisture.wet_from_dry(moisture.dry_from_wet(wet)) == pytest.approx(wet, abs=1e-12)


@pytest.mark.parametrize(
    ("mass_g", "from_wet", "to_wet", "water_g"),
    [(1000.0, 0.08, 0.12, 45.45), (250.0, 0.06, 0.10, 11.11), (100.0, 0.10, 0.15, 5.88)],
)
def test_moisture_water_to_add_is_the_worked_value(
    mass_g: float, from_wet: float, to_wet: float, water_g: float
) -> None:
    """It is m (b - a) / (1 - b): more than the difference of the percentages."""
    got_g = moisture.water_to_add_g(mass_g, from_wet, to_wet)
    assert got_g == pytest.approx(water_g, abs=0.005)


def test_moisture_drying_leaves_the_worked_mass() -> None:
    """10 kg at 78 % dried to 8 % weighs 2.391 kg."""
    assert moisture.mass_at_g(10_000.0, 0.78, 0.08) == pytest.approx(2391.0, abs=0.5)


@given(charge_g=st.floats(0.1, 5000.0), residue_wet=WET, charge_wet=WET)
def test_moisture_charge_never_loses_mass(
    charge_g: float, residue_wet: float, charge_wet: float
) -> None:
    """Residue and water make the charge; its dry matter is all in the residue."""
    if residue_wet > charge_wet:
        with pytest.raises(InputError, match="already above"):
            moisture.charge_of(charge_g, charge_wet, residue_wet)
        return
    charge = moisture.charge_of(charge_g, charge_wet, residue_wet)
    assert charge.residue_g + charge.water_g == pytest.approx(charge_g, rel=1e-9)
    assert charge.dry_g + charge.all_water_g == pytest.approx(charge_g, rel=1e-9)
    assert charge.residue_g * (1.0 - residue_wet) == pytest.approx(charge.dry_g, rel=1e-9)
    assert charge.water_g >= 0.0


def test_moisture_says_how_far_to_dry_a_residue_that_is_too_wet() -> None:
    """Water cannot be taken out by adding: the sentence gives the mass to dry to."""
    with pytest.raises(
        InputError, match=r"12 % is already above 8 %: dry it until it weighs 956\.5 g"
    ):
        moisture.water_to_add_g(1000.0, 0.12, 0.08)


@pytest.mark.parametrize("bad", [math.nan, -0.01, 0.951, 8.0])
def test_moisture_refuses_a_fraction_out_of_range(bad: float) -> None:
    """8 is a percent where a fraction is wanted."""
    with pytest.raises(InputError, match="wet basis is outside 0 to 95 %"):
        moisture.dry_from_wet(bad)
    with pytest.raises(InputError):
        moisture.water_to_add_g(100.0, 0.05, bad)
    with pytest.raises(InputError):
        moisture.charge_of(30.0, bad, 0.05)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_moisture_refuses_a_mass_that_is_none(bad: float) -> None:
    """Nothing negative and nothing non-finite."""
    with pytest.raises(InputError, match="must be 0 g or more"):
        moisture.water_to_add_g(bad, 0.08, 0.12)
    with pytest.raises(InputError, match="dry basis must be 0 or more"):
        moisture.wet_from_dry(bad)
