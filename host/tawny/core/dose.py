"""Thermal dose: what a temperature history has done, as one number.

Two measures. Severity compares with a published index at 100 degC; it was made for wood in
water and steam, so in a dry mould it is a consistent index and not a law of colour.
Equivalent time is the time at the recipe's own temperature that would have done the same,
by Arrhenius with the activation energy of the material. The incremental forms are the
`_rate` functions: what one second (or minute) at a temperature counts for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from tawny.errors import N_, InputError

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018, exact
ZERO_C_IN_K = 273.15
SEVERITY_SCALE_K = 14.75  # Overend and Chornet 1987
SEVERITY_REFERENCE_C = 100.0
ACTIVATION_LEAST, ACTIVATION_MOST = 1e3, 5e5  # J/mol; published browning: 10 to 184 kJ/mol
PANEL_K = 2.0  # of Simpson's rule; an error of 1e-7 where the rate doubles in 10 K
LEAST_C, MOST_C = -100.0, 500.0  # beyond, it is no reading of a mould

Trace = Sequence[tuple[float, float]]


def severity_rate(temperature_c: float) -> float:
    """Return the minutes of severity one minute at a temperature counts for.

    Raises:
        InputError: If the temperature is not finite or no reading of a mould.

    Source:
        Overend and Chornet 1987, Phil. Trans. R. Soc. A 321:523-536.
    """
    _check_temperature(temperature_c)
    return math.exp((temperature_c - SEVERITY_REFERENCE_C) / SEVERITY_SCALE_K)


def equivalent_rate(temperature_c: float, reference_c: float, activation_j_per_mol: float) -> float:
    """Return the seconds at the reference one second at a temperature counts for.

    Args:
        temperature_c: Temperature of the mould.
        reference_c: The recipe's own temperature, where the rate is 1.
        activation_j_per_mol: Activation energy of the material.

    Raises:
        InputError: If one of them is not finite or out of its range.
    """
    _check_temperature(temperature_c)
    _check_temperature(reference_c)
    if not ACTIVATION_LEAST <= activation_j_per_mol <= ACTIVATION_MOST:
        raise InputError(
            N_("activation energy {given} kJ/mol is outside {least:g} to {most:g} kJ/mol"),
            given=activation_j_per_mol / 1e3,
            least=ACTIVATION_LEAST / 1e3,
            most=ACTIVATION_MOST / 1e3,
        )
    difference_per_k = 1.0 / (reference_c + ZERO_C_IN_K) - 1.0 / (temperature_c + ZERO_C_IN_K)
    return math.exp(activation_j_per_mol / GAS_CONSTANT * difference_per_k)


def severity_min(trace: Trace) -> float:
    """Return the severity of a trace, in minutes.

    Args:
        trace: (t_s, temperature_c) of each sample, times rising. The temperature is taken as
            straight between samples, and its rate integrated to better than 1 in a million.

    Raises:
        InputError: If it has fewer than two samples, or times do not rise.
    """
    return _integral_s(trace, severity_rate) / 60.0


def equivalent_s(trace: Trace, reference_c: float, activation_j_per_mol: float) -> float:
    """Return the time at the reference temperature that counts the same, in seconds.

    Args:
        trace: As for `severity_min`.
        reference_c: As for `equivalent_rate`.
        activation_j_per_mol: As for `equivalent_rate`.

    Raises:
        InputError: As `severity_min` and `equivalent_rate`.
    """
    return _integral_s(
        trace, lambda value_c: equivalent_rate(value_c, reference_c, activation_j_per_mol)
    )


def _integral_s(trace: Trace, rate: Callable[[float], float]) -> float:
    """Return the integral of a rate over a trace that is straight between its samples."""
    if not len(trace) > 1:
        raise InputError(N_("a dose needs at least 2 samples, got {count}"), count=len(trace))
    total_s = 0.0
    for (before_s, from_c), (after_s, to_c) in pairwise(trace):
        if not before_s < after_s < math.inf:
            raise InputError(
                N_("time {after_s} s follows {before_s} s: times must be finite and rise"),
                after_s=after_s,
                before_s=before_s,
            )
        _check_temperature(from_c)
        _check_temperature(to_c)
        total_s += (after_s - before_s) * _mean_rate(rate, from_c, to_c)
    return total_s


def _mean_rate(rate: Callable[[float], float], from_c: float, to_c: float) -> float:
    """Return the mean of a rate over a straight change of temperature, by Simpson's rule."""
    panels = max(1, math.ceil(abs(to_c - from_c) / PANEL_K))
    width_k = (to_c - from_c) / panels
    ends = [rate(from_c + index * width_k) for index in range(panels)] + [rate(to_c)]
    middles = math.fsum(rate(from_c + (index + 0.5) * width_k) for index in range(panels))
    inner = math.fsum(ends[1:-1])
    return (ends[0] + ends[-1] + 2.0 * inner + 4.0 * middles) / (6.0 * panels)


def _check_temperature(value_c: float) -> None:
    if not LEAST_C <= value_c <= MOST_C:
        raise InputError(
            N_("{value_c} degC is outside {least_c:g} to {most_c:g} degC: no mould reads that"),
            value_c=value_c,
            least_c=LEAST_C,
            most_c=MOST_C,
        )
