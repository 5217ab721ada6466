"""The step test of a careful person: both halves from cold to rest at the setpoint, once."""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

from tawny.core.tuning_rules import Process, two_point
from tawny.sim.mould import STEP_MS, STEP_S, Mould
from tawny.sim.parameters import MouldModel

SAMPLE_STEPS: Final = 10
SETTLED_SAMPLES: Final = 600
SETTLED_SHARE: Final = 0.0005  # of the rise, in these ten minutes; then a thermometer stands still
LONGEST_SAMPLES: Final = 24 * 3600
FIRST_DUTY: Final = 0.1
NEAR_K: Final = 1.0
TRIALS_MOST: Final = 10
# A mean over 0.4 s is 0.2 s late, and so is a duty that then stands for 0.4 s.
CONTROL_DELAY_S: Final = 0.4


class StepResponse(NamedTuple):
    """How both halves rise from the room after a step of both duties; noise-free, at the tip."""

    duty: float
    times_s: tuple[float, ...]
    upper_k: tuple[float, ...]
    lower_k: tuple[float, ...]


def step_response(model: MouldModel, duty: float) -> StepResponse:
    """Return the response of an empty, closed mould up to rest, or for a day at most.

    Args:
        model: The mould.
        duty: Of both halves, from the start on.
    """
    mould = Mould(model)
    upper_j = model.upper.heater_w * duty * STEP_S
    lower_j = model.lower.heater_w * duty * STEP_S
    upper_k, lower_k = [0.0], [0.0]
    while len(upper_k) <= LONGEST_SAMPLES and not (_at_rest(upper_k) and _at_rest(lower_k)):
        for _ in range(SAMPLE_STEPS):
            mould.step(upper_j, lower_j)
        upper_k.append(mould.upper_tip_c - model.ambient_c)
        lower_k.append(mould.lower_tip_c - model.ambient_c)
    times_s = tuple(index * SAMPLE_STEPS * STEP_MS / 1000.0 for index in range(len(upper_k)))
    return StepResponse(duty, times_s, tuple(upper_k), tuple(lower_k))


def response_to_setpoint(model: MouldModel) -> StepResponse:
    """Return the response whose end is the mould's usual setpoint, or that of full duty.

    The duty is found as a person finds it: try, wait, and try again in proportion.
    """
    wanted_k = model.heat_up_c - model.ambient_c
    duty = FIRST_DUTY
    for _ in range(TRIALS_MOST):
        response = step_response(model, duty)
        end_k = (response.upper_k[-1] + response.lower_k[-1]) / 2.0
        done = abs(end_k - wanted_k) <= NEAR_K or (duty == 1.0 and end_k < wanted_k)
        if done or not end_k > 0.0:
            break
        duty = min(duty * wanted_k / end_k, 1.0)
    return response


@lru_cache(maxsize=256)
def processes(model: MouldModel) -> tuple[Process, Process]:
    """Return what the two-point rule makes of each half, with the loop's own delays added.

    Returns:
        Upper and lower half: kelvin per unit of duty, seconds.

    Raises:
        InputError: If a half does not rise at all.
    """
    response = response_to_setpoint(model)
    late_s = model.window_ms / 2000.0 + CONTROL_DELAY_S
    upper, lower = (
        two_point(response.times_s, rises, response.duty)
        for rises in (response.upper_k, response.lower_k)
    )
    return (
        upper._replace(dead_time_s=upper.dead_time_s + late_s),
        lower._replace(dead_time_s=lower.dead_time_s + late_s),
    )


def _at_rest(rises: list[float]) -> bool:
    if len(rises) <= SETTLED_SAMPLES:
        return False
    return rises[-1] - rises[-1 - SETTLED_SAMPLES] <= SETTLED_SHARE * rises[-1]
