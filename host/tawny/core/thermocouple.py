"""Thermocouple types K, J and T: voltage from temperature and back.

Source:
    Burns et al. 1993, NIST Monograph 175 (NIST SRD 60), ITS-90 reference functions, the
    same as IEC 60584-1. Voltages are against a reference junction at 0 degC.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tawny.errors import N_, InputError

TYPES = ("K", "J", "T")


class _Bump(NamedTuple):
    """The exponential term of type K above 0 degC: height · exp(sharpness · (t - centre)²)."""

    height: float
    sharpness: float
    centre: float


class _Segment(NamedTuple):
    """One polynomial and the temperature from which it holds; coefficients highest first."""

    from_c: float
    coefficients: tuple[float, ...]
    bump: _Bump | None = None


class _Type(NamedTuple):
    segments: tuple[_Segment, ...]
    most_c: float


# Coefficients of t, highest power first, in mV and °C.
_K_BELOW_0 = (
    -1.6322697486e-23, -1.9889266878e-20, -1.0451609365e-17, -3.1088872894e-15,
    -5.7410327428e-13, -6.7509059173e-11, -4.9904828777e-9, -3.2858906784e-7,
    2.3622373598e-5, 0.039450128025, 0.0,
)  # fmt: skip
_K_ABOVE_0 = (
    -1.2104721275e-26, 9.7151147152e-23, -3.2020720003e-19, 5.6075059059e-16,
    -5.6072844889e-13, 3.1840945719e-10, -9.9457592874e-8, 1.8558770032e-5,
    0.038921204975, -0.017600413686,
)  # fmt: skip
_J = (
    1.5631725697e-23, -1.2538395336e-19, 2.0948090697e-16, -1.7052958337e-13,
    1.3228195295e-10, -8.568106572e-8, 3.047583693e-5, 0.050381187815,
    0.0,
)  # fmt: skip
_T_BELOW_0 = (
    7.9795153927e-31, 1.3945027062e-27, 1.079553927e-24, 4.8768662286e-22,
    1.4251594779e-19, 2.8213521925e-17, 3.8493939883e-15, 3.6071154205e-13,
    2.2651156593e-11, 9.0138019559e-10, 2.0032973554e-8, 1.1844323105e-7,
    4.4194434347e-5, 0.038748106364, 0.0,
)  # fmt: skip
_T_ABOVE_0 = (
    -2.7512901673e-20, 4.547913529e-17, -3.0815758772e-14, 1.0996880928e-11,
    -2.1882256846e-9, 2.0618243404e-7, 3.329222788e-5, 0.038748106364,
    0.0,
)  # fmt: skip
_FUNCTIONS = {
    "K": _Type(
        (
            _Segment(-270.0, _K_BELOW_0),
            _Segment(0.0, _K_ABOVE_0, _Bump(0.1185976, -1.183432e-4, 126.9686)),
        ),
        1372.0,
    ),
    # The published function of J goes on to 1200 degC with a second polynomial.
    "J": _Type((_Segment(-210.0, _J),), 760.0),
    "T": _Type((_Segment(-270.0, _T_BELOW_0), _Segment(0.0, _T_ABOVE_0)), 400.0),
}
_CLOSE_ENOUGH_K = 1e-9
_ROUNDING_MV = 1e-12
_MOST_STEPS = 100


def range_c(letter: str) -> tuple[float, float]:
    """Return the lowest and highest temperature of a type, in °C.

    Raises:
        InputError: If the type is not K, J or T.
    """
    function = _function(letter)
    return function.segments[0].from_c, function.most_c


def emf_mv(letter: str, temperature_c: float) -> float:
    """Return the voltage of a thermocouple whose reference junction is at 0 degC.

    Args:
        letter: "K", "J" or "T".
        temperature_c: K -270 to 1372, J -210 to 760, T -270 to 400.

    Raises:
        InputError: If the type is another, or the temperature is out of its range.

    Source:
        See the module; agrees with the published tables to their last digit, 0.001 mV.
    """
    return _emf_and_slope(letter, temperature_c)[0]


def seebeck_mv_per_k(letter: str, temperature_c: float) -> float:
    """Return the slope of `emf_mv` at a temperature.

    Raises:
        InputError: As `emf_mv`.
    """
    return _emf_and_slope(letter, temperature_c)[1]


def temperature_c(letter: str, emf: float) -> float:
    """Return the temperature at which `emf_mv` gives this voltage.

    Inverts the forward function itself, so there is no second fit with its own error.

    Args:
        letter: "K", "J" or "T".
        emf: Voltage in mV against a reference junction at 0 degC.

    Raises:
        InputError: If the type is another, or no temperature in range gives the voltage.
    """
    low_c, high_c = range_c(letter)
    least, most = emf_mv(letter, low_c), emf_mv(letter, high_c)
    # The polynomials are not monotonic in their last digits: a voltage that `emf_mv` itself gives
    # within the range may lie a rounding error outside that of its ends.
    if not least - _ROUNDING_MV <= emf <= most + _ROUNDING_MV:
        raise InputError(
            N_(
                "{emf_mv:.3f} mV is outside type {letter}, {least_mv:.3f} to {most_mv:.3f} mV:"
                " check the type and the polarity"
            ),
            emf_mv=emf,
            letter=letter,
            least_mv=least,
            most_mv=most,
        )
    emf = min(max(emf, least), most)
    guess_c = min(max(emf / 0.04, low_c), high_c)
    for _ in range(_MOST_STEPS):
        value, slope = _emf_and_slope(letter, guess_c)
        if value < emf:
            low_c = guess_c
        else:
            high_c = guess_c
        step_c = (emf - value) / slope if slope > 0.0 else math.inf
        if abs(step_c) < _CLOSE_ENOUGH_K:
            return guess_c
        newton_c = guess_c + step_c
        # Newton outside the bracket is halved instead: the slope nearly dies at -270 degC.
        guess_c = newton_c if low_c < newton_c < high_c else 0.5 * (low_c + high_c)
        if high_c - low_c < _CLOSE_ENOUGH_K:
            break
    return guess_c


def compensate(letter: str, emf: float, cold_junction_c: float) -> float:
    """Return the hot junction's temperature from a voltage measured against a cold junction.

    Adds the voltage of the cold junction; adding its temperature instead is wrong by the
    curvature between the two.

    Args:
        letter: "K", "J" or "T".
        emf: Measured voltage in mV.
        cold_junction_c: Temperature of the terminals the voltage was measured at, in °C.

    Raises:
        InputError: As `emf_mv` and `temperature_c`.
    """
    return temperature_c(letter, emf + emf_mv(letter, cold_junction_c))


def _function(letter: str) -> _Type:
    function = _FUNCTIONS.get(letter)
    if function is None:
        raise InputError(
            N_('thermocouple type "{letter}" is not one of {types}'),
            letter=letter,
            types=", ".join(TYPES),
        )
    return function


def _emf_and_slope(letter: str, temperature: float) -> tuple[float, float]:
    """Return the voltage in mV and its slope in mV/K."""
    function = _function(letter)
    segments = function.segments
    if not segments[0].from_c <= temperature <= function.most_c:
        raise InputError(
            N_("{temperature_c} degC is outside type {letter}, {least_c} to {most_c} degC"),
            temperature_c=temperature,
            letter=letter,
            least_c=segments[0].from_c,
            most_c=function.most_c,
        )
    segment = segments[-1] if temperature >= segments[-1].from_c else segments[0]
    value = slope = 0.0
    for coefficient in segment.coefficients:
        slope = slope * temperature + value
        value = value * temperature + coefficient
    if segment.bump is not None:
        height, sharpness, centre = segment.bump
        away = temperature - centre
        bump = height * math.exp(sharpness * away * away)
        value += bump
        slope += 2.0 * sharpness * away * bump
    return value, slope
