"""Whether the host asks for heat now, and how much: both halves, each second sample."""

from __future__ import annotations

import math

from msgspec.structs import replace

from tawny.core import aim
from tawny.core.effects import SendDuty
from tawny.core.limits import (
    DESK_HEAT_OFF_S,
    OPEN_DUTY_MOST,
    OPEN_HEAT_MOST_S,
    STUCK_STEP_DUTY,
)
from tawny.core.loop.faults import suspected
from tawny.core.loop.guess import thermal_of
from tawny.core.loop.state import Given, Place
from tawny.core.loop.step import loop_step
from tawny.core.names import BoardState, LinkStatus, Phase, Quality, Result
from tawny.core.recipe import Recipe
from tawny.core.state import HalfState, State
from tawny.core.teaching import in_hand_may_teach

CONTROL_LEAST_S = 0.2
CHARGING = frozenset({Phase.FILL, Phase.CLOSE})
PRESSED = frozenset({Phase.BREATHE, Phase.HOLD, Phase.RELEASE})


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
    upper, lower = _mean(state.upper), _mean(state.lower)
    wanted_c = setpoints_c(state)
    state = replace(state, upper=upper, lower=lower)
    given = _given(state, wanted_c)
    if given is None:
        # The loop waits; what it believes is brought up to date by the next good readings.
        duties, finite = (0.0, 0.0), _finite(upper) and _finite(lower)
    else:
        loop, duties = loop_step(state.loop, given)
        loop = replace(loop, suspicion=suspected(state.loop.suspicion, loop, given))
        state = replace(state, loop=loop, loop_ms=state.cycle.clock_ms)
        finite = loop.finite
    most = 0.0 if given is None or given.setpoints_c is None else given.most
    upper = _sent(upper, duties[0], most, finite=finite)
    lower = _sent(lower, duties[1], most, finite=finite)
    send = SendDuty(
        upper=upper.duty,
        upper_setpoint_c=_sent_c(state, wanted_c[0]),
        lower=lower.duty,
        lower_setpoint_c=_sent_c(state, wanted_c[1]),
    )
    return replace(state, upper=upper, lower=lower, control_ms=state.cycle.clock_ms), send


def _given(state: State, wanted_c: tuple[float | None, float | None]) -> Given | None:
    """Return what the loop is to know, or None while a half has no good reading."""
    readings = []
    for half in (state.upper, state.lower):
        if half.quality is not Quality.GOOD or half.mean_c is None:
            return None
        readings.append(half.mean_c)
    span_s = max((state.cycle.clock_ms - state.control_ms) / 1000.0, CONTROL_LEAST_S)
    away_s = (state.cycle.clock_ms - state.loop_ms) / 1000.0
    upper_c, lower_c = wanted_c
    heated = upper_c is not None and lower_c is not None and heat_allowed(state)
    recipe = state.recipe_in_use()
    pressing = state.cycle.pressing
    place = _place(state)
    return Given(
        thermal=thermal_of(state.mould),
        setpoints_c=(upper_c, lower_c) if heated and upper_c and lower_c else None,
        readings_c=(readings[0], readings[1]),
        shares=(
            min(state.upper.given_ms / (span_s * 1000.0), 1.0),
            min(state.lower.given_ms / (span_s * 1000.0), 1.0),
        ),
        dt_s=max(away_s, CONTROL_LEAST_S),
        most=duty_most(state),
        cap=state.link.supply_cap,
        place=place,
        charging=place is Place.OPEN and state.cycle.phase in CHARGING,
        charge=f"{recipe.name} {recipe.charge_g():g}",
        teaches=pressing is not None and in_hand_may_teach(pressing, Result.COMPLETE),
        room_c=state.press.ambient_c,
        window_s=state.link.window_s,
        registers=(state.upper.raw, state.lower.raw),
    )


def _place(state: State) -> Place:
    """Return how the mould stands; a breath leaves it pressed."""
    pressing, phase = state.cycle.pressing, state.cycle.phase
    if pressing is not None and pressing.closed_ms is not None and phase in PRESSED:
        return Place.PRESSED
    return Place.SHUT if state.cycle.opened_ms is None else Place.OPEN


def _sent(half: HalfState, duty: float, most: float, *, finite: bool) -> HalfState:
    """Return the half with the duty that goes out; a still register overrules the loop."""
    half = replace(half, given_ms=0, finite=finite, cut=half.cut or not finite)
    if half.probe_ms > 0 and most > 0.0:
        return _stepped(half, most)
    return replace(half, duty=duty, still_duty=None)


def _finite(half: HalfState) -> bool:
    return half.mean_c is None or math.isfinite(half.mean_c)


def _sent_c(state: State, setpoint_c: float | None) -> float:
    """Return the setpoint the board hears: 0 without heat, never above what it takes."""
    if setpoint_c is None or not setpoint_c <= state.link.setpoint_most_c:
        return 0.0
    return setpoint_c


def _mean(half: HalfState) -> HalfState:
    """Take the mean of the samples since the last control step; without one, the last mean."""
    mean_c = half.sum_c / half.count if half.count else half.mean_c
    return replace(half, sum_c=0.0, count=0, mean_c=mean_c)


def _stepped(half: HalfState, most: float) -> HalfState:
    """Move the duty of a half whose register has not moved, to see whether it answers.

    The loop rests meanwhile: it would see the step come and take it back.
    """
    still = half.duty if half.still_duty is None else half.still_duty
    up = still + STUCK_STEP_DUTY <= most
    duty = still + (STUCK_STEP_DUTY if up else -STUCK_STEP_DUTY)
    return replace(half, duty=min(max(duty, 0.0), most), still_duty=still)
