"""The loop of one mould half: simple-pid on a predicted value. The only file that imports it.

The integral lives in the core's state, not in the controller: each step builds the
controller, presets the integral, calls it once with `dt` and takes the integral back.
Nothing non-finite goes in or out; on doubt the duty is 0.

Model: dT/dt = R x - a (T - Ta), with x the delivered duty behind a lag. The value fed to
the controller is where the half will drift to once the heat under way has arrived: the
process value, and for the length of the lag the rise by what x has above the duty that
would hold it there. That replaces a derivative, which would amplify the sensor's steps of
a quarter of a degree; as the duty that holds is corrected by the integral, a wrong model
shifts the approach but not where the half comes to rest.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from simple_pid import PID

from tawny.core.equipment import HalfModel

# What is left of the lag as dead time once the value is predicted.
DEAD_TIME_SHARE = 0.35
# SIMC for a lag-dominant process with closed-loop time equal to the dead time t:
# kp = 1/(R 2 t), integral time = min(1/a, 8 t). Skogestad 2003, J. Process Control 13:291.
INTEGRAL_PER_DEAD_TIME = 8.0
SAMPLE_DELAY_S = 0.2  # a duty acts 0.4 s: on average half of it late
HOLD_MOST = 0.95


def _zero() -> float:
    return 0.0


class Gains(NamedTuple):
    """Tuning of one half, from its commissioned model."""

    kp: float
    ki: float
    hold_duty: float


class LoopStep(NamedTuple):
    """What one control step decided."""

    duty: float
    integral: float
    predicted_c: float
    finite: bool


def gains(model: HalfModel, setpoint_c: float, ambient_c: float, window_s: float) -> Gains:
    """Return the tuning for a setpoint; nothing here is for a person to turn."""
    dead_time_s = DEAD_TIME_SHARE * model.ramp_lag_s() + window_s / 2.0 + SAMPLE_DELAY_S
    kp = 1.0 / (model.rise_k_per_s * 2.0 * dead_time_s)
    integral_s = INTEGRAL_PER_DEAD_TIME * dead_time_s
    if model.loss_per_s > 0.0:
        integral_s = min(integral_s, 1.0 / model.loss_per_s)
    hold = model.loss_per_s * max(setpoint_c - ambient_c, 0.0) / model.rise_k_per_s
    return Gains(kp, kp / integral_s, min(hold, HOLD_MOST))


def predicted_c(
    model: HalfModel, process_value_c: float, lagged_duty: float, steady_duty: float
) -> float:
    """Return where the half drifts to once the heat under way has arrived, in °C.

    `steady_duty` is what would hold it where it is.
    """
    return process_value_c + model.ramp_lag_s() * model.rise_k_per_s * (lagged_duty - steady_duty)


def loop_step(
    *,
    model: HalfModel,
    setpoint_c: float,
    process_value_c: float,
    lagged_duty: float,
    integral: float,
    dt_s: float,
    duty_most: float,
    ambient_c: float,
    window_s: float,
) -> LoopStep:
    """Return the duty of one half until the next control step.

    Takes the delivered duty behind the lag (`lagged_duty`, 0-1), the integral term so far (in
    duty), the time since the last control step (`dt_s`, positive), and the most duty that the
    half may have now (`duty_most`: 1, or less with the mould open or at the supply limit).

    Returns:
        The step; `finite` is False, and duty 0, when anything is not a finite number.
    """
    given = (
        setpoint_c,
        process_value_c,
        lagged_duty,
        integral,
        dt_s,
        duty_most,
        ambient_c,
        window_s,
        model.rise_k_per_s,
        model.lag_s,
        model.loss_per_s,
    )
    sound = all(map(math.isfinite, given)) and min(dt_s, model.rise_k_per_s, model.lag_s) > 0.0
    if not sound:
        return LoopStep(0.0, 0.0, setpoint_c, finite=False)
    tuning = gains(model, setpoint_c, ambient_c, window_s)
    low, high = -tuning.hold_duty, 1.0 - tuning.hold_duty
    integral = min(max(integral, low), high)
    steady = (tuning.hold_duty + integral) * _share(process_value_c, setpoint_c, ambient_c)
    ahead_c = predicted_c(model, process_value_c, lagged_duty, steady)
    deviation_k = setpoint_c - ahead_c
    unsaturated = tuning.hold_duty + tuning.kp * deviation_k + integral
    # Conditional integration: simple-pid only clamps the term, and would fill it on the way up.
    winding = (unsaturated > duty_most and deviation_k > 0.0) or (
        unsaturated < 0.0 and deviation_k < 0.0
    )
    pid = PID(
        tuning.kp,
        0.0 if winding else tuning.ki,
        0.0,
        setpoint=setpoint_c,
        sample_time=None,
        output_limits=(low, high),
        auto_mode=False,
        time_fn=_zero,
    )
    pid.set_auto_mode(True, last_output=integral)
    output = pid(ahead_c, dt=dt_s)
    kept = pid.components[1]
    if output is None or not (math.isfinite(output) and math.isfinite(kept)):
        return LoopStep(0.0, 0.0, ahead_c, finite=False)
    duty = min(max(tuning.hold_duty + output, 0.0), max(duty_most, 0.0))
    return LoopStep(duty, kept, ahead_c, finite=True)


def _share(process_value_c: float, setpoint_c: float, ambient_c: float) -> float:
    """Return how much of the loss at setpoint there is at the present value, 0 to 1."""
    span_k = setpoint_c - ambient_c
    return min(max((process_value_c - ambient_c) / span_k, 0.0), 1.0) if span_k > 0.0 else 1.0


class LawStep(NamedTuple):
    """What one control step decided."""

    duty: float
    integral: float
    finite: bool


_DOUBT = LawStep(0.0, 0.0, finite=False)


def law_step(
    *,
    setpoint_c: float,
    landing_c: float,
    hold: float,
    kp: float,
    ki: float,
    integral: float,
    dt_s: float,
    duty_most: float,
) -> LawStep:
    """Return the duty of one half until the next control step.

    Args:
        setpoint_c: What it is held at.
        landing_c: Where it comes to rest under the duty that holds it there.
        hold: That duty, 0-1; the controller works about it.
        kp: Duty for each kelvin.
        ki: The same for each kelvin and second; 0: the integral rests.
        integral: The integral term so far, in duty.
        dt_s: Since the last control step, above 0.
        duty_most: Most duty that the half may have now: 1, or less with the mould open or at the
            supply limit.

    Returns:
        The step; `finite` is False, and duty 0, when anything is not a finite number.
    """
    given = (setpoint_c, landing_c, hold, kp, ki, integral, dt_s, duty_most)
    if not (all(map(math.isfinite, given)) and dt_s > 0.0 and kp > 0.0 and ki >= 0.0):
        return _DOUBT
    low, high = -hold, 1.0 - hold
    integral = min(max(integral, low), high)
    deviation_k = setpoint_c - landing_c
    unsaturated = hold + kp * deviation_k + integral
    # Conditional integration: simple-pid only clamps the term, and would fill it on the way up.
    winding = (unsaturated > duty_most and deviation_k > 0.0) or (
        unsaturated < 0.0 and deviation_k < 0.0
    )
    pid = PID(
        kp,
        0.0 if winding else ki,
        0.0,
        setpoint=setpoint_c,
        sample_time=None,
        output_limits=(low, high),
        auto_mode=False,
        time_fn=_zero,
    )
    pid.set_auto_mode(True, last_output=integral)
    output = pid(landing_c, dt=dt_s)
    kept = pid.components[1]
    if output is None or not (math.isfinite(output) and math.isfinite(kept)):
        return _DOUBT
    return LawStep(min(max(hold + output, 0.0), max(duty_most, 0.0)), kept, finite=True)


class BarePid:
    """simple-pid as it comes, for comparison only: its own integral and its own clamping.

    Args:
        kp: In output per K.
        ki: In output per K and second.
        kd: In output seconds per K; acts on the process value.
        most: The output's upper limit; the lower is 0.
        start: What the integral begins with.
    """

    def __init__(
        self, kp: float, ki: float, kd: float, *, most: float = 1.0, start: float = 0.0
    ) -> None:
        self._pid = PID(
            kp,
            ki,
            kd,
            sample_time=None,
            output_limits=(0.0, most),
            time_fn=_zero,
            starting_output=start,
        )

    def output(self, process_value_c: float, setpoint_c: float, dt_s: float) -> float:
        """Return the output, 0 to `most`; 0 and nothing kept where a value is not finite."""
        if not (all(map(math.isfinite, (process_value_c, setpoint_c, dt_s))) and dt_s > 0.0):
            return 0.0
        self._pid.setpoint = setpoint_c
        output = self._pid(process_value_c, dt=dt_s)
        return output if output is not None and math.isfinite(output) else 0.0
