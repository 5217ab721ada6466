"""Steam against the published saturation line, and bounds that must stay bounds."""

from __future__ import annotations

import math

import iapws
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tawny.core import steam
from tawny.errors import InputError

# IAPWS-IF97, table 35: K, MPa.
IF97_CHECK = [(300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)]
# Bound of the steam alone, kN, by diameter in mm: at 120, 150, 180, 200, 220 degC, from the
# same line and one atmosphere outside.
FORCES = [
    (100.0, (0.8, 2.9, 7.1, 11.4, 17.4)),
    (150.0, (1.7, 6.6, 15.9, 25.7, 39.2)),
    (180.0, (2.5, 9.5, 22.9, 37.0, 56.4)),
    (200.0, (3.1, 11.8, 28.3, 45.7, 69.7)),
    (250.0, (4.8, 18.4, 44.2, 71.3, 108.9)),
]


@pytest.mark.parametrize(("kelvin", "mpa"), IF97_CHECK)
def test_steam_saturation_agrees_with_the_published_check_values(kelvin: float, mpa: float) -> None:
    """IAPWS-IF97 table 35, to its nine figures."""
    assert steam.saturation_kpa(kelvin - 273.15) == pytest.approx(mpa * 1000.0, rel=1e-8)


def test_steam_saturation_agrees_with_an_independent_package() -> None:
    """The iapws package over all a mould can be, each degree from 100 to 230."""
    for temperature_c in range(100, 231):
        expected_kpa = iapws.IAPWS97(T=temperature_c + 273.15, x=1.0).P * 1000.0
        assert steam.saturation_kpa(temperature_c) == pytest.approx(expected_kpa, rel=1e-9)


def test_steam_volume_is_never_below_the_real_one() -> None:
    """The bound lies above superheated steam of the iapws package, by at most 2 %."""
    for temperature_c in range(101, 231):
        real = iapws.IAPWS97(T=temperature_c + 273.15, P=0.101325).v  # m³/kg is L/g
        bound = steam.free_steam_litres_per_g(temperature_c)
        assert real < bound < real * 1.02


def test_steam_of_ten_grams_is_a_bucketful() -> None:
    """10 g of water: 16.7 L at 100 degC and 20.5 L at 180 degC, bounded from above."""
    assert 16.7 <= steam.steam_litres(10.0) <= 16.7 * 1.02
    assert 20.5 <= steam.steam_litres(10.0, 180.0) <= 20.5 * 1.02


@pytest.mark.parametrize(("diameter_mm", "forces_kn"), FORCES)
def test_steam_force_is_the_worked_bound(diameter_mm: float, forces_kn: tuple[float, ...]) -> None:
    """Saturation pressure less one atmosphere on the projected area."""
    area_cm2 = steam.disc_area_cm2(diameter_mm)
    for temperature_c, force_kn in zip((120, 150, 180, 200, 220), forces_kn, strict=True):
        got_kn = steam.opening_force_bound_kn(temperature_c, area_cm2)
        assert got_kn == pytest.approx(force_kn, abs=0.051)


def test_steam_force_counts_the_air_shut_in() -> None:
    """Air of 20 degC heated to 180 degC at constant volume adds 157 kPa (ideal gas law)."""
    area_cm2 = 1e4 / 10.0  # 0.1 m²: 1 kPa is 0.1 kN
    steam_kn = steam.opening_force_bound_kn(180.0, area_cm2)
    both_kn = steam.opening_force_bound_kn(180.0, area_cm2, shut_in_c=20.0)
    assert both_kn - steam_kn == pytest.approx(0.1 * 101.325 * 453.15 / 293.15, rel=1e-9)


@given(
    temperature_c=st.floats(0.0, 373.0),
    hotter_k=st.floats(0.0, 50.0),
    area_cm2=st.floats(1.0, 5000.0),
)
def test_steam_force_never_falls_with_temperature_and_is_never_negative(
    temperature_c: float, hotter_k: float, area_cm2: float
) -> None:
    """A hotter mould is never the smaller danger."""
    hotter_c = min(temperature_c + hotter_k, 373.0)
    cold_kn = steam.opening_force_bound_kn(temperature_c, area_cm2)
    hot_kn = steam.opening_force_bound_kn(hotter_c, area_cm2)
    assert 0.0 <= cold_kn <= hot_kn * (1.0 + 1e-12)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 374.0])
def test_steam_refuses_a_temperature_off_the_line(bad: float) -> None:
    """No pressure is given where none is defined."""
    with pytest.raises(InputError, match="where water can boil"):
        steam.saturation_kpa(bad)
    with pytest.raises(InputError):
        steam.opening_force_bound_kn(180.0, 200.0, shut_in_c=bad)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_steam_refuses_a_mass_or_size_that_is_none(bad: float) -> None:
    """Nothing negative and nothing non-finite."""
    with pytest.raises(InputError, match="must be 0 g or more"):
        steam.steam_litres(bad)
    with pytest.raises(InputError, match="must be above 0 mm"):
        steam.disc_area_cm2(bad)
    with pytest.raises(InputError, match="must be above 0 cm"):
        steam.opening_force_bound_kn(180.0, bad)


def test_steam_refuses_free_steam_below_boiling() -> None:
    """At 90 degC water is not all steam, so its volume would be no bound."""
    with pytest.raises(InputError, match="must be 100 to 300 degC"):
        steam.steam_litres(10.0, 90.0)
