"""The loop of one mould half: simple-pid on a predicted value. The only file that imports it.

The integral lives in the core's state, not in the controller: each step builds the
controller, presets the integral, calls it once with `dt` and takes the integral back.
Nothing non-finite goes in or out; on doubt the duty is 0.

Model: dT/dt = R x - a (T - Ta), with x the delivered duty behind one lag L. The value
fed to the controller is where the half will drift to when the heat stored in its heater
has arrived: y + L (R x - a (y - Ta)). That replaces a derivative, which would amplify
the sensor's steps of a quarter of a degree.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from simple_pid import PID

from tawny.core.equipment import HalfModel

# From the lag to the effective dead time left over with a predicted value, and from that to
# gain and integral time: the SIMC rule for a lag-dominant process with closed-loop time equal
# to the dead time (Skogestad 2003).
DEAD_TIME_SHARE = 0.35
INTEGRAL_PER_DEAD_TIME = 8.0


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
    dead_time_s = DEAD_TIME_SHARE * model.lag_s + window_s / 2.0 + 0.4
    kp = 1.0 / (model.rise_k_per_s * 2.0 * dead_time_s)
    integral_s = INTEGRAL_PER_DEAD_TIME * dead_time_s
    if model.loss_per_s > 0.0:
        integral_s = min(integral_s, 1.0 / model.loss_per_s)
    hold = model.loss_per_s * max(setpoint_c - ambient_c, 0.0) / model.rise_k_per_s
    return Gains(kp, kp / integral_s, min(max(hold, 0.0), 0.95))


def predicted_c(
    model: HalfModel, process_value_c: float, lagged_duty: float, ambient_c: float
) -> float:
    """Return where the half drifts to when the heat under way has arrived, in °C."""
    slope = model.rise_k_per_s * lagged_duty - model.loss_per_s * (process_value_c - ambient_c)
    return process_value_c + model.lag_s * max(slope, 0.0)


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
    """Return the duty of one half for the next 0.4 s.

    Args:
        lagged_duty: Delivered duty behind the commissioned lag, 0-1.
        integral: The integral term so far, in duty.
        dt_s: Since the last control step, positive.
        duty_most: What the halves may have now: 1, less with the mould open.

    Returns:
        The step; `finite` is False, and duty 0, when anything is not a finite number.
    """
    given = (setpoint_c, process_value_c, lagged_duty, integral, dt_s, duty_most, ambient_c)
    if not all(map(math.isfinite, given)) or not dt_s > 0.0:
        return LoopStep(0.0, 0.0, setpoint_c, finite=False)
    tuning = gains(model, setpoint_c, ambient_c, window_s)
    ahead_c = predicted_c(model, process_value_c, lagged_duty, ambient_c)
    deviation_k = setpoint_c - ahead_c
    unsaturated = tuning.hold_duty + tuning.kp * deviation_k + integral
    # Conditional integration: never push further into a limit, and never integrate while
    # the deviation alone fills the output; simple-pid only clamps the term.
    winding = (unsaturated > duty_most and deviation_k > 0.0) or (
        unsaturated < 0.0 and deviation_k < 0.0
    )
    low, high = -tuning.hold_duty, duty_most - tuning.hold_duty
    if high <= low:
        return LoopStep(0.0, integral, ahead_c, finite=True)
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
    pid.set_auto_mode(True, last_output=min(max(integral, low), high))
    output = pid(ahead_c, dt=dt_s)
    kept = float(pid.components[1])
    if output is None or not math.isfinite(output) or not math.isfinite(kept):
        return LoopStep(0.0, 0.0, ahead_c, finite=False)
    duty = min(max(tuning.hold_duty + float(output), 0.0), duty_most)
    return LoopStep(duty, kept, ahead_c, finite=True)
