"""When the mould will be ready, or touchable, and what fits in before an outage. It only tells.

Steps the thermal model of the mould ahead from what the loop believes now, under the limits of
duty in force. Nothing here starts, stops or changes heat.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from msgspec.structs import replace

from tawny.core import aim
from tawny.core.forecast_steps import Walk, holding
from tawny.core.limits import HOT_C
from tawny.core.loop.full import duties_most
from tawny.core.loop.guess import thermal_of
from tawny.core.loop.law import aims
from tawny.core.loop.outlook import Ahead, Sight
from tawny.core.loop.seen import Seen, first_seen
from tawny.core.loop.state import Given, Place
from tawny.core.loop.thermal import HalfThermal, Thermal
from tawny.core.names import Phase, Quality
from tawny.core.progress import soak_left_s
from tawny.core.snapshot import Code
from tawny.core.state import HalfState, State

HORIZON_S = 12 * 3600.0
COOLING_MOST_S = 24 * 3600.0
_FAR_PART = 0.15  # of the way that is left at full duty: a step while that is far
_NEAR_PART = 0.1  # of the lags: a step near the setpoint
_NEAR_LEAST_S, _STEP_MOST_S = 1.0, 60.0
_RAMP_STEP_K = 1.0
_COOL_PART = 0.03  # of the excess: a step of cooling
_COOL_STEP_MOST_S = 300.0
_NOTHING = Ahead(
    shut=True,
    opening_left_s=math.inf,
    now_s=0.0,
    opened=((), ()),
    pressed=((), ()),
    charged=False,
)

_Pair = tuple[float, float]


class Foreseen(NamedTuple):
    """How long something takes from now, or why nobody can say."""

    after_s: float | None = None
    why: Code | None = None


class Leg(NamedTuple):
    """A part of the way up: a stage of a dry-out, or the recipe itself.

    Attributes:
        goal_c: Of both halves.
        ramp_k_per_min: The working setpoints rise no faster; None: at once.
        together: Both halves arrive together.
        most: Most duty of a half.
        hold_s: To be held there; None: the last leg, which ends in band.
        held_s: Held already.
        working_c: Working setpoints now; None: they begin where the halves are.
    """

    goal_c: _Pair
    ramp_k_per_min: float | None
    together: bool
    most: float
    hold_s: float | None = None
    held_s: float = 0.0
    working_c: _Pair | None = None


def ready(state: State) -> Foreseen:
    """Return when both halves will have soaked; nothing where it does not heat up now."""
    phase = state.cycle.phase
    if phase is Phase.SOAK:
        return Foreseen(soak_left_s(state))
    if phase is not Phase.PREHEAT:
        return Foreseen()
    if aim.dry_stalled(state):
        return Foreseen(why=Code("dry_out_stalled"))
    if state.cycle.opened_ms is not None:
        return Foreseen(why=Code("never_open"))
    if not all(_known(half) for half in (state.upper, state.lower)):
        return Foreseen(why=Code("no_readings"))
    return _up(state, believed(state), _legs(state))


def lead(state: State, seens: tuple[Seen, Seen]) -> Foreseen:
    """Return how long it takes from switching on, or going back to pressing heat, to ready."""
    rests = state.cycle.heat_wanted
    dry = None if rests or not state.aim.dry_asked else aim.begun(state).dry
    begun = replace(state, aim=replace(aim.begun(state), dry=dry))
    return _up(begun, seens, _legs(begun))


def touchable(state: State) -> Foreseen:
    """Return when both halves will be below the touching limit without heat.

    An open mould cools faster than it is told here: the model is that of a closed one.
    """
    if not all(_known(half) for half in (state.upper, state.lower)):
        return Foreseen(why=Code("no_readings"))
    room_c = state.press.ambient_c
    if not room_c < HOT_C:
        return Foreseen(why=Code("room_too_warm", {"room_c": room_c}))
    walk = Walk(
        thermal_of(state.mould).halves(),
        believed(state),
        room_c=room_c,
        shut=state.cycle.opened_ms is None,
        cooling=True,
    )
    while walk.passed_s < COOLING_MOST_S:
        hottest_c, before_s = max(walk.surface_c), walk.passed_s
        if hottest_c < HOT_C:
            return Foreseen(before_s)
        walk.go(_cool_step_s(walk, thermal_of(state.mould), room_c), (0.0, 0.0))
        now_c = max(walk.surface_c)
        if now_c < HOT_C:
            part = (hottest_c - HOT_C) / (hottest_c - now_c)
            return Foreseen(before_s + part * (walk.passed_s - before_s))
    return Foreseen(why=Code("not_foreseen"))


def cooled(state: State, after_s: float) -> tuple[Seen, Seen]:
    """Return what will be believed of both halves after so long without heat."""
    thermal, room_c = thermal_of(state.mould), state.press.ambient_c
    walk = Walk(thermal.halves(), believed(state), room_c=room_c, cooling=True)
    while walk.passed_s < after_s:
        step_s = _cool_step_s(walk, thermal, room_c)
        walk.go(min(step_s, after_s - walk.passed_s), (0.0, 0.0))
    upper, lower = (
        replace(one, scale=before.scale, pipe=(0.0,) * len(before.pipe))
        for one, before in zip(walk.seens(), believed(state), strict=True)
    )
    return upper, lower


def believed(state: State) -> tuple[Seen, Seen]:
    """Return what is believed of both halves; where nothing is, their reading, or the room."""
    halves = thermal_of(state.mould).halves()
    sides = ((state.upper, state.loop.upper.seen), (state.lower, state.loop.lower.seen))
    found = [
        _first(half, side, state.press.ambient_c) if seen is None else seen
        for half, (side, seen) in zip(halves, sides, strict=True)
    ]
    return found[0], found[1]


def _first(half: HalfThermal, side: HalfState, room_c: float) -> Seen:
    value_c = side.value_c if _known(side) else None
    return first_seen(half, room_c if value_c is None else value_c)


def _known(half: HalfState) -> bool:
    return half.quality is Quality.GOOD and half.value_c is not None


def _cool_step_s(walk: Walk, thermal: Thermal, room_c: float) -> float:
    """Return a step in which the excess does not change much."""
    excess_k = max(max(walk.surface_c) - room_c, 1.0)
    fastest = max(half.loss_per_s + half.loss_rise_per_s_k * excess_k for half in thermal.halves())
    return min(_COOL_PART / max(fastest, 1e-9), _COOL_STEP_MOST_S)


def _legs(state: State) -> list[Leg]:
    """Return what is still ahead on the way up."""
    recipe, now_c = state.recipe_in_use(), (state.aim.upper_c, state.aim.lower_c)
    setpoints_c = recipe.setpoints_c()
    working_c = None if now_c[0] is None or now_c[1] is None else (now_c[0], now_c[1])
    legs: list[Leg] = []
    ramp = recipe.ramp_k_per_min
    dry = state.aim.dry
    if dry is not None:
        slow = aim.DRY_RAMP_K_PER_MIN if ramp is None else min(ramp, aim.DRY_RAMP_K_PER_MIN)
        for stage_c, hold_s in aim.dry_stages(state)[dry.stage :]:
            goal_c = (min(setpoints_c[0], stage_c), min(setpoints_c[1], stage_c))
            legs.append(Leg(goal_c, slow, together=True, most=state.press.dry_duty, hold_s=hold_s))
        legs[0] = legs[0]._replace(held_s=dry.held_ms / 1000.0)
    elif ramp is None and state.aim.easing:
        ramp = aim.EASE_K_PER_MIN
    legs.append(Leg(setpoints_c, ramp, together=recipe.ramp_together, most=1.0))
    legs[0] = legs[0]._replace(working_c=working_c)
    return legs


def _up(state: State, seens: tuple[Seen, Seen], legs: list[Leg]) -> Foreseen:
    thermal, room_c = thermal_of(state.mould), state.press.ambient_c
    why = _never(state, thermal, seens)
    if why is not None:
        return Foreseen(why=why)
    walk = Walk(thermal.halves(), seens, room_c=room_c)
    working_c = legs[0].working_c
    for leg in legs:
        mosts = _mosts(state, thermal, seens, leg)
        working_c = _climbed(walk, leg, working_c, mosts, state)
        if working_c is None:
            return Foreseen(why=Code("not_foreseen"))
    return Foreseen(walk.passed_s + state.mould.soak_s())


def _climbed(
    walk: Walk, leg: Leg, working_c: _Pair | None, mosts: _Pair, state: State
) -> _Pair | None:
    """Walk to the end of a leg; return the working setpoints there, or None at the horizon."""
    band_k, cap, held_s = state.recipe_in_use().band_k, state.link.supply_cap, leg.held_s
    if leg.ramp_k_per_min is None:
        working_c = leg.goal_c
    elif working_c is None:
        working_c = (
            min(max(walk.surface_c[0], aim.WORKING_LEAST_C), leg.goal_c[0]),
            min(max(walk.surface_c[1], aim.WORKING_LEAST_C), leg.goal_c[1]),
        )
    over_k = _over_k(walk, leg.goal_c, band_k)
    while walk.passed_s < HORIZON_S:
        arrived = working_c == leg.goal_c
        if leg.hold_s is None and arrived and over_k <= 0.0:
            return working_c
        if leg.hold_s is not None and held_s >= leg.hold_s:
            return working_c
        step_s = _step_s(walk, leg, working_c)
        if leg.ramp_k_per_min is not None and not arrived:
            working_c = _ramped(walk, leg, working_c, leg.ramp_k_per_min * step_s / 60.0)
        warm = all(
            now_c >= to_c - aim.DRY_WARM_K
            for now_c, to_c in zip(walk.surface_c, leg.goal_c, strict=True)
        )
        if leg.hold_s is not None and warm:
            step_s = min(step_s, max(leg.hold_s - held_s, _NEAR_LEAST_S))
            held_s += step_s
        wanted = walk.duties_for(working_c, step_s)
        duties = [min(max(one, 0.0), most) for one, most in zip(wanted, mosts, strict=True)]
        total = duties[0] + duties[1]
        if total > cap:
            duties = [duty * cap / total for duty in duties]
        walk.go(step_s, duties)
        before_k, over_k = over_k, _over_k(walk, leg.goal_c, band_k)
        if leg.hold_s is None and over_k <= 0.0 < before_k and working_c == leg.goal_c:
            walk.passed_s -= step_s * -over_k / (before_k - over_k)
    return None


def _over_k(walk: Walk, goal_c: _Pair, band_k: float) -> float:
    """Return by how much the halves are still out of band, or unlike each other."""
    off_k = (walk.surface_c[0] - goal_c[0], walk.surface_c[1] - goal_c[1])
    return max(abs(off_k[0]), abs(off_k[1]), abs(off_k[0] - off_k[1])) - band_k


def _step_s(walk: Walk, leg: Leg, working_c: _Pair) -> float:
    near_s = max(_NEAR_PART * walk.lag_s, _NEAR_LEAST_S)
    if leg.ramp_k_per_min is not None and working_c != leg.goal_c:
        return min(max(60.0 * _RAMP_STEP_K / leg.ramp_k_per_min, near_s), _STEP_MOST_S)
    if leg.hold_s is not None:
        return _STEP_MOST_S
    far_s = _FAR_PART * walk.below_k(working_c) / walk.fastest_k_per_s
    return min(max(far_s, min(near_s, _STEP_MOST_S)), _STEP_MOST_S)


def _ramped(walk: Walk, leg: Leg, working_c: _Pair, step_k: float) -> _Pair:
    """Move the working setpoints on as `core.aim` does: they wait for a half that is behind."""
    room_k = aim.BEHIND_MOST_K - aim.BEHIND_FREE_K
    steps = [
        step_k * min(max((aim.BEHIND_MOST_K - (to_c - now_c)) / room_k, 0.0), 1.0)
        for to_c, now_c in zip(working_c, walk.surface_c, strict=True)
    ]
    if leg.together:
        left_k = [
            max(goal_c - to_c, 0.0) for goal_c, to_c in zip(leg.goal_c, working_c, strict=True)
        ]
        most_k = max(*left_k, 1e-9)
        steps = [min(steps) * one / most_k for one in left_k]
    return (
        min(working_c[0] + steps[0], leg.goal_c[0]),
        min(working_c[1] + steps[1], leg.goal_c[1]),
    )


def _mosts(state: State, thermal: Thermal, seens: tuple[Seen, Seen], leg: Leg) -> _Pair:
    """Return the most duty of each half on a leg; less while the model is a guess."""
    halves = thermal.halves()
    given = Given(
        thermal=thermal,
        setpoints_c=leg.goal_c,
        readings_c=(seens[0].surface_c, seens[1].surface_c),
        shares=(0.0, 0.0),
        dt_s=1.0,
        most=leg.most,
        cap=state.link.supply_cap,
        place=Place.SHUT,
        charging=False,
        charge="",
        teaches=False,
        room_c=state.press.ambient_c,
        window_s=state.link.window_s,
    )
    to = aims(halves, leg.goal_c, state.link.window_s, shut=True)
    return duties_most(given, Sight(halves, seens, to, _NOTHING, given.room_c))


def _never(state: State, thermal: Thermal, seens: tuple[Seen, Seen]) -> Code | None:
    """Return why the mould cannot be held in band at all, or None."""
    recipe, room_c = state.recipe_in_use(), state.press.ambient_c
    setpoints_c, cap = recipe.setpoints_c(), state.link.supply_cap
    needs: list[float] = []
    watts = (state.mould.upper.heater_w, state.mould.lower.heater_w)
    for index, half in enumerate(thermal.halves()):
        least_c = setpoints_c[index] - recipe.band_k
        other_c = setpoints_c[1 - index] - recipe.band_k
        needs.append(_needed(half, seens[index], least_c, other_c, room_c))
        if not needs[index] < 1.0:
            name = ("upper", "lower")[index]
            return Code(
                "never_ready",
                {
                    "half": name,
                    "goal_c": setpoints_c[index],
                    "needs_w": needs[index] * watts[index],
                    "has_w": watts[index],
                },
            )
    if not sum(needs) < cap:
        needs_w = needs[0] * watts[0] + needs[1] * watts[1]
        fields = {"goal_c": max(setpoints_c), "needs_w": needs_w}
        return Code("never_ready_supply", {**fields, "has_w": needs_w * cap / sum(needs)})
    return None


def _needed(half: HalfThermal, seen: Seen, least_c: float, other_c: float, room_c: float) -> float:
    return max(holding(half, seen, least_c, other_c, room_c), 0.0)
