"""Thermal dose against published constants, worked values and the ramp's closed form."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from tawny.core import dose
from tawny.errors import InputError

# Worked from R0 = t · exp((T - 100) / 14.75), t in minutes (Overend and Chornet 1987):
# degC, minutes, R0, log10 R0.
SEVERITY = [
    (200, 60, 52786.2, 4.7225), (180, 3, 680.17, 2.8326), (180, 5, 1133.61, 3.0545),
    (190, 3, 1339.84, 3.1271), (170, 5, 575.48, 2.7600), (150, 10, 296.61, 2.4722),
    (220, 1, 3413.84, 3.5332),
]  # fmt: skip
# Arrhenius about 180 degC: kJ/mol, factor on time 5 K cool, 10 K cool, 5 K hot.
FACTORS = [
    (40, 1.126, 1.271, 0.891), (60, 1.194, 1.432, 0.840), (80, 1.267, 1.615, 0.793),
    (100, 1.345, 1.820, 0.749), (120, 1.427, 2.052, 0.706), (140, 1.514, 2.313, 0.667),
    (160, 1.606, 2.607, 0.629),
]  # fmt: skip


def ramp(from_c: float, to_c: float, over_s: float, step_s: float) -> list[tuple[float, float]]:
    """Return a linear ramp sampled at each step."""
    count = round(over_s / step_s)
    return [(i * step_s, from_c + (to_c - from_c) * i / count) for i in range(count + 1)]


def ramp_severity_min(from_c: float, to_c: float, over_min: float) -> float:
    """Return the severity of a linear ramp in closed form."""
    k_per_min = (to_c - from_c) / over_min
    return (14.75 / k_per_min) * (
        math.exp((to_c - 100.0) / 14.75) - math.exp((from_c - 100.0) / 14.75)
    )


@pytest.mark.parametrize(("temperature_c", "minutes", "severity", "log10"), SEVERITY)
def test_dose_severity_of_a_hold_is_the_worked_value(
    temperature_c: float, minutes: float, severity: float, log10: float
) -> None:
    """A hold at one temperature, to the figures given."""
    got = dose.severity_min([(0.0, temperature_c), (minutes * 60.0, temperature_c)])
    assert got == pytest.approx(severity, rel=1e-5)
    assert math.log10(got) == pytest.approx(log10, abs=5e-5)


@pytest.mark.parametrize(
    ("from_c", "over_min", "severity"), [(100.0, 10.0, 416.177), (20.0, 1.0, 20.9006)]
)
def test_dose_severity_of_a_ramp_is_its_closed_form(
    from_c: float, over_min: float, severity: float
) -> None:
    """However coarse the samples of a straight ramp, the closed form comes out; a worked value."""
    closed = ramp_severity_min(from_c, 180.0, over_min)
    assert closed == pytest.approx(severity, rel=1e-5)
    for step_s in (1.0, 15.0, over_min * 60.0):
        got = dose.severity_min(ramp(from_c, 180.0, over_min * 60.0, step_s))
        assert got == pytest.approx(closed, rel=1e-6)


@pytest.mark.parametrize("step_s", [1.0, 5.0, 15.0, 60.0])
def test_dose_of_a_ramp_and_hold_does_not_depend_on_the_sampling(step_s: float) -> None:
    """20 to 180 degC in a minute and 3 min hold: R0 701.0695 at any sampling."""
    trace = [*ramp(20.0, 180.0, 60.0, step_s), (240.0, 180.0)]
    assert dose.severity_min(trace) == pytest.approx(701.0695, rel=1e-6)
    assert dose.equivalent_s(trace, 180.0, 100e3) == pytest.approx(185.968, abs=1e-3)


def test_dose_equivalent_time_of_a_ramp_and_hold_is_the_worked_value() -> None:
    """100 kJ/mol about 180 degC: the minute's ramp counts 5.968 s, with 3 min hold 185.968 s."""
    trace = ramp(20.0, 180.0, 60.0, 0.25)
    assert dose.equivalent_s(trace, 180.0, 100e3) == pytest.approx(5.968, abs=1e-3)
    held = [*trace, (240.0, 180.0)]
    assert dose.equivalent_s(held, 180.0, 100e3) == pytest.approx(185.968, abs=1e-3)


def test_dose_equivalent_time_agrees_with_adaptive_quadrature() -> None:
    """An adaptive rule (scipy) integrates the same Arrhenius rate over the ramp."""

    def rate(t_s: float) -> float:
        kelvin = 293.15 + 160.0 * t_s / 60.0
        return math.exp(-100e3 / 8.314462618 * (1.0 / kelvin - 1.0 / 453.15))

    expected_s, _ = quad(rate, 0.0, 60.0)
    for step_s in (0.1, 60.0):
        got_s = dose.equivalent_s(ramp(20.0, 180.0, 60.0, step_s), 180.0, 100e3)
        assert got_s == pytest.approx(expected_s, rel=1e-6)


@pytest.mark.parametrize(("activation_kj", "cool5", "cool10", "hot5"), FACTORS)
def test_dose_equivalent_rate_gives_the_factor_on_time(
    activation_kj: float, cool5: float, cool10: float, hot5: float
) -> None:
    """A cooler mould needs longer by the reciprocal of its rate."""
    for temperature_c, factor in ((175.0, cool5), (170.0, cool10), (185.0, hot5)):
        rate = dose.equivalent_rate(temperature_c, 180.0, activation_kj * 1e3)
        assert 1.0 / rate == pytest.approx(factor, abs=5.1e-4)


@given(
    temperature_c=st.floats(-100.0, 500.0),
    reference_c=st.floats(-100.0, 500.0),
    activation=st.floats(1e3, 5e5),
)
def test_dose_rates_are_never_negative_or_infinite(
    temperature_c: float, reference_c: float, activation: float
) -> None:
    """Whatever a mould reads, a second counts for a finite time."""
    assert 0.0 < dose.severity_rate(temperature_c) < math.inf
    rate = dose.equivalent_rate(temperature_c, reference_c, activation)
    assert 0.0 < rate < math.inf
    assert (rate >= 1.0) == (temperature_c >= reference_c) or rate == 1.0


@given(st.lists(st.floats(20.0, 220.0), min_size=2, max_size=50), st.integers(1, 48))
def test_dose_of_two_halves_is_never_other_than_of_the_whole(
    temperatures: list[float], cut: int
) -> None:
    """The dose can be summed step by step, as the press does."""
    trace = [(float(i), value_c) for i, value_c in enumerate(temperatures)]
    cut = min(cut, len(trace) - 1)
    whole_s = dose.equivalent_s(trace, 180.0, 90e3)
    steps_s = [dose.equivalent_s(trace[i : i + 2], 180.0, 90e3) for i in range(len(trace) - 1)]
    assert whole_s == pytest.approx(math.fsum(steps_s), rel=1e-12)


@pytest.mark.parametrize("bad_c", [math.nan, math.inf, -math.inf, 1800.0, -274.0])
def test_dose_refuses_what_no_mould_reads(bad_c: float) -> None:
    """Nothing non-finite and no slipped digit goes into a dose."""
    with pytest.raises(InputError, match="no mould reads that"):
        dose.severity_rate(bad_c)
    with pytest.raises(InputError):
        dose.equivalent_s([(0.0, 180.0), (1.0, bad_c)], 180.0, 100e3)
    with pytest.raises(InputError):
        dose.equivalent_rate(180.0, bad_c, 100e3)


@pytest.mark.parametrize("activation", [100.0, 0.0, -1e5, 1e9, math.nan])
def test_dose_refuses_an_activation_energy_out_of_range(activation: float) -> None:
    """100 J/mol is a slipped unit, not a material."""
    with pytest.raises(InputError, match="outside 1 to 500 kJ/mol"):
        dose.equivalent_rate(180.0, 180.0, activation)


@pytest.mark.parametrize(
    "times", [(0.0, 0.0), (1.0, 0.0), (0.0, math.nan), (math.nan, 1.0), (0.0, math.inf)]
)
def test_dose_refuses_times_that_do_not_rise(times: tuple[float, float]) -> None:
    """A clock that stands or runs back would count a stretch twice."""
    with pytest.raises(InputError, match="times must be finite and rise"):
        dose.severity_min([(t_s, 180.0) for t_s in times])


@pytest.mark.parametrize("trace", [[], [(0.0, 180.0)]])
def test_dose_refuses_a_trace_without_a_stretch(trace: list[tuple[float, float]]) -> None:
    """One sample has no duration."""
    with pytest.raises(InputError, match="at least 2 samples"):
        dose.severity_min(trace)
