"""The law of one mould half: simple-pid on the landing value. The only file that imports it.

The integral lives in the core's state, not in the controller: each step builds the
controller, presets the integral, calls it once with `dt` and takes the integral back.
Nothing non-finite goes in or out; on doubt the duty is 0.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from simple_pid import PID


def _zero() -> float:
    return 0.0


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
