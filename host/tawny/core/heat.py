"""Whether the host asks for heat now, and how much: both halves, each second sample."""

from __future__ import annotations

import math
from typing import NamedTuple

from msgspec.structs import replace

from tawny.core import aim
from tawny.core.control import loop_step
from tawny.core.effects import SendDuty
from tawny.core.equipment import HalfModel
from tawny.core.limits import (
    DESK_HEAT_OFF_S,
    OPEN_DUTY_MOST,
    OPEN_HEAT_MOST_S,
    STUCK_STEP_DUTY,
)
from tawny.core.names import BoardState, LinkStatus, Quality
from tawny.core.recipe import Recipe
from tawny.core.state import HalfState, State

CONTROL_LEAST_S = 0.2
CONTROL_LONGEST_S = 1.0


class _Asked(NamedTuple):
    """What one half is to be controlled with; `most` None: no heat."""

    model: HalfModel
    setpoint_c: float | None
    most: float | None
    dt_s: float


def setpoints_c(state: State) -> tuple[float | None, float | None]:
    """Return what each half is wanted at now; None: no heat wanted."""
    return aim.setpoints_c(state)


def setpoints_taken(state: State, recipe: Recipe) -> bool:
    """Say whether the board takes both setpoints of a recipe."""
    return all(one_c <= state.link.setpoint_most_c for one_c in recipe.setpoints_c())


def heat_allowed(state: State) -> bool:
    """Say whether every condition for any duty above 0 holds; doubt says no."""
    tele = state.tele
    return (
        state.cycle.heat_wanted
        and not state.ending
        and state.desk_empty_s < DESK_HEAT_OFF_S
        and tele is not None
        and tele.st == BoardState.ARMED.value
        and state.link.status is LinkStatus.UP
        and setpoints_taken(state, state.recipe_in_use())
        and all(
            half.quality is Quality.GOOD and not half.cut and half.finite
            for half in (state.upper, state.lower)
        )
    )


def duty_most(state: State) -> float:
    """Return the most duty a half may have: 1, half with the mould open, 0 when open too long.

    Less where the aim asks for less.
    """
    most, opened_ms = aim.duty_most(state), state.cycle.opened_ms
    if opened_ms is None:
        return most
    open_ms = state.cycle.clock_ms - opened_ms
    return min(most, OPEN_DUTY_MOST) if open_ms < OPEN_HEAT_MOST_S * 1000 else 0.0


def control(state: State) -> tuple[State, SendDuty]:
    """Decide both duties from the mean of the samples since the last time."""
    since_s = (state.cycle.clock_ms - state.control_ms) / 1000.0
    dt_s = min(max(since_s, CONTROL_LEAST_S), CONTROL_LONGEST_S)
    most = duty_most(state) if heat_allowed(state) else None
    wanted_c = setpoints_c(state)
    halves = (_mean(state.upper), _mean(state.lower))
    asked = [
        _Asked(model, setpoint_c, most, dt_s)
        for model, setpoint_c in zip((state.mould.upper, state.mould.lower), wanted_c, strict=True)
    ]
    done = [_half(state, *one) for one in zip(halves, asked, strict=True)]
    total, cap = done[0].duty + done[1].duty, state.link.supply_cap
    if not total <= cap:
        # Anew with what each may have, so that neither winds up against the supply limit.
        share = cap / total if cap > 0.0 else 0.0
        asked = [
            one._replace(most=half.duty * share) for one, half in zip(asked, done, strict=True)
        ]
        done = [_half(state, *one) for one in zip(halves, asked, strict=True)]
    if not all(half.finite for half in done):
        done = [replace(half, duty=0.0) for half in done]
    upper, lower = done
    send = SendDuty(
        upper=upper.duty,
        upper_setpoint_c=_sent_c(state, wanted_c[0]),
        lower=lower.duty,
        lower_setpoint_c=_sent_c(state, wanted_c[1]),
    )
    return replace(state, upper=upper, lower=lower, control_ms=state.cycle.clock_ms), send


def _sent_c(state: State, setpoint_c: float | None) -> float:
    """Return the setpoint the board hears: 0 without heat, never above what it takes."""
    if setpoint_c is None or not setpoint_c <= state.link.setpoint_most_c:
        return 0.0
    return setpoint_c


def _mean(half: HalfState) -> HalfState:
    """Take the mean of the samples since the last control step; without one, the last mean."""
    mean_c = half.sum_c / half.count if half.count else half.mean_c
    return replace(half, sum_c=0.0, count=0, mean_c=mean_c)


def _half(state: State, half: HalfState, asked: _Asked) -> HalfState:
    mean_c, setpoint_c, most = half.mean_c, asked.setpoint_c, asked.most
    if most is None or setpoint_c is None or mean_c is None:
        # The integral waits: it is dropped where heat ends, not at each doubt.
        return replace(
            half, duty=0.0, still_duty=None, finite=mean_c is None or math.isfinite(mean_c)
        )
    if half.probe_ms > 0:
        return _stepped(half, most)
    step = loop_step(
        model=asked.model,
        setpoint_c=setpoint_c,
        process_value_c=mean_c,
        lagged_duty=half.lagged,
        integral=half.integral,
        dt_s=asked.dt_s,
        duty_most=most,
        ambient_c=state.press.ambient_c,
        window_s=state.link.window_s,
    )
    return replace(
        half,
        duty=step.duty,
        still_duty=None,
        integral=step.integral,
        finite=step.finite,
        cut=half.cut or not step.finite,
    )


def _stepped(half: HalfState, most: float) -> HalfState:
    """Move the duty of a half whose register has not moved, to see whether it answers.

    The loop rests meanwhile: it would see the step come and take it back.
    """
    still = half.duty if half.still_duty is None else half.still_duty
    up = still + STUCK_STEP_DUTY <= most
    duty = still + (STUCK_STEP_DUTY if up else -STUCK_STEP_DUTY)
    return replace(half, duty=min(max(duty, 0.0), most), still_duty=still)
