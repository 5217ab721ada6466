"""Steam: its pressure over water, its volume, and the force it could open a mould with.

Every force here is an upper bound, used to warn. None of them is a permission: the program
does not know the pressure in a cavity, and a low bound says nothing about opening.
"""

from __future__ import annotations

import math

from tawny.errors import N_, InputError

ATMOSPHERE_KPA = 101.325
ZERO_C_IN_K = 273.15
LEAST_C, MOST_C = 0.0, 373.946  # where the saturation line is defined
SHUT_IN_C = 20.0  # coldest air we count on being shut in with a charge
_FREE_LEAST_C, _FREE_MOST_C = 100.0, 300.0

_GAS_CONSTANT_KPA_L = 8.314462618  # kPa L/(mol K)
_WATER_G_PER_MOL = 18.015268

# IAPWS-IF97 region 4, table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def saturation_kpa(temperature_c: float) -> float:
    """Return the absolute pressure of saturated steam over water.

    Args:
        temperature_c: 0 to 373.946.

    Returns:
        kPa absolute; the formula's own agreement with measurement is about 0.03 %.

    Raises:
        InputError: If the temperature is outside.

    Source:
        IAPWS-IF97, region 4, equation 30.
    """
    if not LEAST_C <= temperature_c <= MOST_C:
        raise InputError(
            N_("{given_c} degC is outside {least_c:g} to {most_c:g} degC, where water can boil"),
            given_c=temperature_c,
            least_c=LEAST_C,
            most_c=MOST_C,
        )
    kelvin = temperature_c + ZERO_C_IN_K
    theta = kelvin + _N[8] / (kelvin - _N[9])
    a = (theta + _N[0]) * theta + _N[1]
    b = (_N[2] * theta + _N[3]) * theta + _N[4]
    c = (_N[5] * theta + _N[6]) * theta + _N[7]
    return float(1000.0 * (2.0 * c / (-b + math.sqrt(b * b - 4.0 * a * c))) ** 4)


def free_steam_litres_per_g(temperature_c: float) -> float:
    """Return an upper bound of the volume one gram of water takes as free steam.

    Steam at one atmosphere taken as an ideal gas, which real steam stays below: by 1.6 % at
    100 degC and by less the hotter it is.

    Args:
        temperature_c: 100 to 300; colder, it is not all steam.

    Raises:
        InputError: If the temperature is outside.
    """
    if not _FREE_LEAST_C <= temperature_c <= _FREE_MOST_C:
        raise InputError(
            N_("steam at {given_c} degC: the temperature must be {least_c:g} to {most_c:g} degC"),
            given_c=temperature_c,
            least_c=_FREE_LEAST_C,
            most_c=_FREE_MOST_C,
        )
    moles_per_g = 1.0 / _WATER_G_PER_MOL
    return moles_per_g * _GAS_CONSTANT_KPA_L * (temperature_c + ZERO_C_IN_K) / ATMOSPHERE_KPA


def steam_litres(water_g: float, temperature_c: float = 100.0) -> float:
    """Return an upper bound of the free steam a mass of water becomes, in litres.

    Args:
        water_g: All the water of a charge.
        temperature_c: As for `free_steam_litres_per_g`.

    Raises:
        InputError: If the mass is negative or not finite, or the temperature is outside.
    """
    if not 0.0 <= water_g < math.inf:
        raise InputError(N_("water {given_g} g must be 0 g or more"), given_g=water_g)
    return water_g * free_steam_litres_per_g(temperature_c)


def disc_area_cm2(diameter_mm: float) -> float:
    """Return the area of a round part seen along the ram.

    Raises:
        InputError: If the diameter is not above 0 and finite.
    """
    if not 0.0 < diameter_mm < math.inf:
        raise InputError(N_("diameter {given_mm} mm must be above 0 mm"), given_mm=diameter_mm)
    return math.pi * (diameter_mm / 20.0) ** 2


def opening_force_bound_kn(
    temperature_c: float, area_cm2: float, *, shut_in_c: float | None = None
) -> float:
    """Return an upper bound of the force that trapped steam pushes the halves apart with.

    Saturated steam at the mould's temperature over the whole projected area. Real pressure
    is lower with vents or dry stock, and unknown. **Never a permission:** a small number
    here does not mean that a mould may be opened.

    Args:
        temperature_c: Temperature of the mould.
        area_cm2: Area of all cavities seen along the ram.
        shut_in_c: Also count the air shut in at this temperature and heated at constant
            volume. None counts steam alone, as after breathing.

    Raises:
        InputError: If a temperature is outside the saturation line, or the area is not above
            0 and finite.
    """
    if not 0.0 < area_cm2 < math.inf:
        raise InputError(N_("area {given_cm2} cm^2 must be above 0 cm^2"), given_cm2=area_cm2)
    inside_kpa = saturation_kpa(temperature_c)
    if shut_in_c is not None:
        saturation_kpa(shut_in_c)  # the same range holds
        inside_kpa += ATMOSPHERE_KPA * (temperature_c + ZERO_C_IN_K) / (shut_in_c + ZERO_C_IN_K)
    return max(0.0, inside_kpa - ATMOSPHERE_KPA) * area_cm2 * 1e-4
