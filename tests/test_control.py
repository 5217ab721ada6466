"""The law of one half: simple-pid's traps closed, whatever history it gets."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from simple_pid import PID

from tawny.core.control import LawStep, law_step

HOLD = 0.3
KP, KI = 0.2, 0.0025


def call(**given_values: float) -> LawStep:
    """One good call near setpoint, but for what is given."""
    values = {
        "setpoint_c": 180.0,
        "landing_c": 179.5,
        "hold": HOLD,
        "kp": KP,
        "ki": KI,
        "integral": 0.01,
        "dt_s": 0.4,
        "duty_most": 1.0,
    }
    return law_step(**(values | given_values))


ARGUMENTS = ("setpoint_c", "landing_c", "hold", "kp", "ki", "integral", "dt_s", "duty_most")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", ARGUMENTS)
def test_control_gives_no_duty_for_a_value_that_is_no_number(name: str, value: float) -> None:
    """NaN or infinity anywhere is duty 0, said so, and does not poison the next call.

    simple-pid 2.0.1 itself returns NaN for ever after one NaN.
    """
    before = call()
    step = call(**{name: value})
    assert (step.duty, step.integral, step.finite) == (0.0, 0.0, False)
    after = call(integral=step.integral)
    assert after.finite
    assert after.duty > 0.0
    assert call() == before


@pytest.mark.parametrize(
    ("name", "value"), [("dt_s", 0.0), ("dt_s", -0.4), ("kp", 0.0), ("ki", -1.0)]
)
def test_control_gives_no_duty_without_time_or_gain(name: str, value: float) -> None:
    """simple-pid raises for a time step of zero or less; here it is duty 0, as for no gain."""
    step = call(**{name: value})
    assert (step.duty, step.finite) == (0.0, False)


def test_control_integral_makes_the_round_trip_exactly() -> None:
    """Building simple-pid anew each time gives the integral of one that lives on, bit for bit."""
    lasting = PID(
        KP,
        KI,
        0.0,
        setpoint=180.0,
        sample_time=None,
        output_limits=(-HOLD, 1.0 - HOLD),
        time_fn=lambda: 0.0,
    )
    integral = 0.0
    for count in range(20_000):
        value_c = 180.0 + 0.4 * math.sin(count / 37.0) + 0.25 * (count % 3 - 1)
        dt_s = 0.2 if count % 11 == 0 else 0.4
        step = call(landing_c=value_c, integral=integral, dt_s=dt_s)
        lasting(value_c, dt=dt_s)
        integral = step.integral
        assert integral == lasting.components[1]
    assert integral != 0.0


@pytest.mark.parametrize(("value_c", "duty_most"), [(20.0, 1.0), (20.0, 0.5), (178.5, 0.4)])
def test_control_does_not_wind_up_at_a_limit(value_c: float, duty_most: float) -> None:
    """An hour below setpoint at the most duty leaves the integral where it was."""
    integral = 0.02
    for _ in range(9000):
        step = call(landing_c=value_c, integral=integral, duty_most=duty_most)
        assert step.duty == duty_most
        integral = step.integral
    assert integral == 0.02


def test_control_does_not_wind_down_far_above_setpoint() -> None:
    """An hour too hot at duty 0 leaves the integral where it was."""
    integral = 0.02
    for _ in range(9000):
        step = call(landing_c=195.0, integral=integral)
        assert step.duty == 0.0
        integral = step.integral
    assert integral == 0.02


_ANY = st.floats(allow_nan=True, allow_infinity=True)
_CALLS = st.tuples(
    st.floats(-50.0, 450.0) | _ANY,  # landing
    st.floats(0.0, 1.0) | _ANY,  # hold
    st.floats(0.05, 1.0) | _ANY,  # dt
    st.sampled_from((0.0, 0.37, 0.5, 1.0)),  # most
    st.sampled_from((60.0, 150.0, 200.0)) | _ANY,  # setpoint
)


@given(st.lists(_CALLS, max_size=60), st.floats(-5.0, 5.0))
def test_control_duty_never_leaves_its_limits(
    history: list[tuple[float, float, float, float, float]], offset: float
) -> None:
    """No history of values, numbers or not, from any integral, gives a duty outside 0 to most."""
    integral = offset
    for landing_c, hold, dt_s, most, setpoint_c in history:
        step = call(
            landing_c=landing_c,
            hold=hold,
            dt_s=dt_s,
            duty_most=most,
            setpoint_c=setpoint_c,
            integral=integral,
        )
        assert 0.0 <= step.duty <= most
        assert math.isfinite(step.integral)
        assert step.finite or step.duty == 0.0
        integral = step.integral
