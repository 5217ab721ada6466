"""Thermocouple functions against the published tables and an independent package."""

from __future__ import annotations

import math

import pytest
import thermocouple_its90
from hypothesis import example, given
from hypothesis import strategies as st

from tawny.core import thermocouple
from tawny.errors import InputError

# NIST SRD 60 / IEC 60584-1, reference junction at 0 degC: degC, mV to the table's last digit.
PUBLISHED = {
    "K": [
        (-200, -5.891), (-100, -3.554), (-50, -1.889), (-20, -0.778), (0, 0.000), (25, 1.000),
        (100, 4.096), (150, 6.138), (180, 7.340), (200, 8.138), (220, 8.940), (250, 10.153),
        (350, 14.293), (500, 20.644),
    ],
    "J": [
        (-200, -7.890), (-100, -4.633), (-50, -2.431), (-20, -0.995), (0, 0.000), (25, 1.277),
        (100, 5.269), (150, 8.010), (180, 9.669), (200, 10.779), (250, 13.555), (350, 19.090),
        (500, 27.393), (760, 42.919),
    ],
    "T": [
        (-200, -5.603), (-100, -3.379), (-50, -1.819), (-20, -0.757), (0, 0.000), (25, 0.992),
        (100, 4.279), (150, 6.704), (180, 8.237), (200, 9.288), (250, 12.013), (300, 14.862),
        (350, 17.819), (400, 20.872),
    ],
}  # fmt: skip
HALF_A_DIGIT_MV = 0.0005 + 1e-4  # the last digit, and the constants' own rounding
ROWS = [(letter, *row) for letter, rows in PUBLISHED.items() for row in rows]

# Seebeck coefficients from the same functions, uV/K to three decimals.
SEEBECK = [
    ("K", 25, 40.518), ("K", 100, 41.369), ("K", 180, 39.917), ("K", 200, 39.965),
    ("K", 250, 40.710), ("J", 180, 55.423), ("T", 180, 51.991),
]  # fmt: skip


@pytest.mark.parametrize(("letter", "temperature_c", "emf_mv"), ROWS)
def test_thermocouple_agrees_with_the_published_table(
    letter: str, temperature_c: float, emf_mv: float
) -> None:
    """NIST SRD 60: every tabulated point is reproduced to the table's last digit."""
    assert thermocouple.emf_mv(letter, temperature_c) == pytest.approx(emf_mv, abs=HALF_A_DIGIT_MV)


@pytest.mark.parametrize("letter", thermocouple.TYPES)
def test_thermocouple_agrees_with_an_independent_package(letter: str) -> None:
    """thermocouple-its90, whose constants were read from the NIST files: both directions."""
    other = thermocouple_its90.get(letter)
    low_c, high_c = thermocouple.range_c(letter)
    for temperature_c in range(math.ceil(low_c), math.floor(high_c) + 1):
        ours_mv = thermocouple.emf_mv(letter, temperature_c)
        assert ours_mv == pytest.approx(other.emf(temperature_c), abs=1e-6)
        if temperature_c > -200:
            ours_c = thermocouple.temperature_c(letter, ours_mv)
            assert ours_c == pytest.approx(other.temperature(ours_mv), abs=1e-3)


@pytest.mark.parametrize(("letter", "temperature_c", "slope_uv"), SEEBECK)
def test_thermocouple_slope_is_the_seebeck_coefficient(
    letter: str, temperature_c: float, slope_uv: float
) -> None:
    """The slope used for inversion is the published coefficient to its last digit."""
    slope_mv = thermocouple.seebeck_mv_per_k(letter, temperature_c)
    assert slope_mv * 1000.0 == pytest.approx(slope_uv, abs=0.0006)


@given(letter=st.sampled_from(thermocouple.TYPES), share=st.floats(0.0, 1.0))
@example("K", 2e-16)
def test_thermocouple_inversion_never_misses(letter: str, share: float) -> None:
    """From anywhere in range the voltage leads back to a temperature of that same voltage."""
    low_c, high_c = thermocouple.range_c(letter)
    temperature_c = low_c + share * (high_c - low_c)
    emf_mv = thermocouple.emf_mv(letter, temperature_c)
    found_c = thermocouple.temperature_c(letter, emf_mv)
    assert low_c <= found_c <= high_c
    assert thermocouple.emf_mv(letter, found_c) == pytest.approx(emf_mv, abs=1e-8)
    if temperature_c > -200.0:
        assert found_c == pytest.approx(temperature_c, abs=1e-6)


def test_thermocouple_adds_the_cold_junctions_voltage() -> None:
    """Worked example: 6.000 mV against a 25 degC junction is 171.492 degC, type K."""
    assert thermocouple.compensate("K", 6.000, 25.0) == pytest.approx(171.492, abs=0.0005)
    assert thermocouple.compensate("K", 6.33978, 25.0) == pytest.approx(180.000, abs=0.0005)
    assert thermocouple.temperature_c("K", 6.33978) == pytest.approx(155.007, abs=0.0005)


@pytest.mark.parametrize(
    ("letter", "temperature_c"),
    [("K", 1372.1), ("K", -270.1), ("J", 760.1), ("T", 401.0), ("K", math.nan), ("K", math.inf)],
)
def test_thermocouple_refuses_a_temperature_out_of_range(letter: str, temperature_c: float) -> None:
    """No voltage is given where no function is defined."""
    with pytest.raises(InputError, match=f"outside type {letter}"):
        thermocouple.emf_mv(letter, temperature_c)


@pytest.mark.parametrize("emf_mv", [55.0, -6.5, math.nan, -math.inf])
def test_thermocouple_refuses_a_voltage_out_of_range(emf_mv: float) -> None:
    """A voltage no temperature gives is refused, naming the range."""
    with pytest.raises(InputError, match=r"outside type K, -6\.458 to 54\.886 mV"):
        thermocouple.temperature_c("K", emf_mv)


def test_thermocouple_refuses_another_type() -> None:
    """A type without constants here is named, with those there are."""
    with pytest.raises(InputError, match='"N" is not one of K, J, T'):
        thermocouple.emf_mv("N", 100.0)
