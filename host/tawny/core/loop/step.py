"""The loop of both halves: what was read and delivered in, two duties out. Pure.

    rising   full duty until the peak that would follow reaches the setpoint, then the law
    resting  the law: simple-pid on the landing value about the duty that holds
    charged  the mould is open or closed on a charge: the law, and full duty while the half would
             else fall low, as far as the peak allows

The board delivers what it can; the observer hears what it did.
"""

from __future__ import annotations

import math

from msgspec.structs import replace

from tawny.core.control import law_step
from tawny.core.loop.demand import Watch, after_opening, after_pressing, watched
from tawny.core.loop.full import LONG_WINDOW_S, RISE_FROM_K, duties_most, expected, full_duty
from tawny.core.loop.gains import AWAY_S, STEP_S
from tawny.core.loop.law import Aim, Landing, aims, landing, short_of
from tawny.core.loop.outlook import Sight
from tawny.core.loop.seen import (
    DIGITS,
    Seen,
    Situation,
    first_seen,
    fitted,
    observe,
    pipe_steps,
    resumed,
)
from tawny.core.loop.state import Duties, Given, HalfLoop, Loop, Place
from tawny.core.loop.thermal import HalfThermal

# A board with a long output window takes a raised duty only with the next window, but begins one
# at once where the duty rises from 0: such a half is sent 0 once before full duty.
FRESH_WINDOW_DUTY = 0.95
SETPOINT_STEP_K = 0.5  # a setpoint that moves more at once begins a new approach
LOST_K = 10.0  # a reading so far from what is believed: it begins anew from there

_OFF: Duties = (0.0, 0.0)


def loop_step(loop: Loop, given: Given) -> tuple[Loop, Duties]:
    """Return the loop after one control step, and both duties until the next.

    Nothing that is not a finite number is kept or returned: then `finite` is False, both duties
    are 0, and what is believed begins anew with the next good readings.
    """
    halves = given.thermal.halves()
    numbers = (*given.readings_c, *given.shares, given.dt_s, given.most, given.cap, given.room_c)
    if not (
        all(map(math.isfinite, numbers))
        and given.dt_s > 0.0
        and given.window_s >= 0.0
        and (given.thermal is loop.thermal or all(half.sound() for half in halves))
        and (given.setpoints_c is None or all(map(math.isfinite, given.setpoints_c)))
    ):
        return _anew(loop), _OFF
    loop = _placed(replace(loop, finite=True), given)
    seens = _observed(loop, given, halves)
    loop = replace(loop, thermal=given.thermal)
    if loop.watch is not None:
        unforeseen = (seens[0].taken, seens[1].taken)
        loop = replace(
            loop, watch=watched(loop.watch, unforeseen, given.dt_s, charging=given.charging)
        )
    loop = replace(
        loop, upper=replace(loop.upper, seen=seens[0]), lower=replace(loop.lower, seen=seens[1])
    )
    if given.setpoints_c is None or not given.most > 0.0:
        # With the mould open for too long the approach goes on once it is closed.
        ended = given.setpoints_c is None
        upper, lower = _off(loop.upper, ended=ended), _off(loop.lower, ended=ended)
        loop = replace(loop, upper=upper, lower=lower, rising=loop.rising and not ended)
        return replace(loop, setpoints_c=None if ended else loop.setpoints_c), _OFF
    loop = _aimed(loop, given.setpoints_c)
    sight = Sight(
        halves,
        seens,
        aims(halves, given.setpoints_c, given.window_s, shut=loop.place is not Place.OPEN),
        expected(loop, given),
        given.room_c,
    )
    return _decided(full_duty(loop, given, sight), given, sight)


def _anew(loop: Loop) -> Loop:
    return Loop(demand=loop.demand, place=loop.place, finite=False)


def _aimed(loop: Loop, setpoints_c: tuple[float, float]) -> Loop:
    """Take the setpoints; a step of one of them ends an approach to the old one."""
    before_c = loop.setpoints_c
    if before_c is not None and any(
        abs(now_c - one_c) > SETPOINT_STEP_K
        for now_c, one_c in zip(setpoints_c, before_c, strict=True)
    ):
        upper = replace(loop.upper, full=False, rests=False)
        lower = replace(loop.lower, full=False, rests=False)
        loop = replace(loop, upper=upper, lower=lower, rising=False, calm=0)
    return replace(loop, setpoints_c=setpoints_c)


def _off(half: HalfLoop, *, ended: bool) -> HalfLoop:
    return HalfLoop(seen=half.seen) if ended else replace(half, duty=0.0)


def _placed(loop: Loop, given: Given) -> Loop:
    """Follow the mould, and learn when an opening or a pressing ends."""
    if given.place is loop.place:
        return loop
    demand = loop.demand
    if loop.watch is not None:
        dead_s = (given.thermal.upper.dead_time_s, given.thermal.lower.dead_time_s)
        if loop.place is Place.OPEN:
            demand = after_opening(demand, loop.watch, dead_s, pressed=given.place is Place.PRESSED)
        elif loop.place is Place.PRESSED and given.teaches:
            demand = after_pressing(demand, loop.watch, dead_s, given.charge)
    watch = None if given.place is Place.SHUT or given.setpoints_c is None else Watch()
    return replace(loop, place=given.place, demand=demand, watch=watch, calm=0)


def _observed(
    loop: Loop, given: Given, halves: tuple[HalfThermal, HalfThermal]
) -> tuple[Seen, Seen]:
    before = []
    for index, half in enumerate((loop.upper, loop.lower)):
        reading_c, one = given.readings_c[index], half.seen
        if one is None:
            one = first_seen(halves[index], reading_c)
        elif given.dt_s > AWAY_S or abs(reading_c - one.surface_c) > LOST_K:
            one = resumed(one, halves[index], reading_c, given.dt_s)
        elif loop.thermal is not given.thermal and loop.thermal != given.thermal:
            one = fitted(one, halves[index])
        before.append(one)
    situation = Situation.RESTING
    if loop.place is not Place.SHUT:
        situation = Situation.CHARGED
    elif loop.rising:
        situation = Situation.RISING
    now = [
        observe(
            before[index],
            halves[index],
            reading_c=given.readings_c[index],
            share=given.shares[index],
            other_c=before[1 - index].surface_c,
            foreseen=_foreseen(loop, given, index, -pipe_steps(halves[index]) * STEP_S),
            room_c=given.room_c,
            shut=loop.place is not Place.OPEN,
            situation=situation,
            dt_s=min(given.dt_s, AWAY_S),
        )
        for index in (0, 1)
    ]
    return now[0], now[1]


def _foreseen(loop: Loop, given: Given, index: int, after_s: float) -> float:
    return expected(loop, given).taken(index, after_s) if loop.watch is not None else 0.0


def _decided(loop: Loop, given: Given, sight: Sight) -> tuple[Loop, Duties]:
    limits = duties_most(given, sight)
    lands = [_landing(loop, sight, index) for index in (0, 1)]
    short_k = short_of(sight.aims, lands[0], lands[1])
    done = []
    for index, half in enumerate((loop.upper, loop.lower)):
        to = sight.aims[index]
        if half.full and half.duty == limits[index] and math.isfinite(half.integral):
            done.append(half)  # the law has nothing to say
            continue
        step = law_step(
            setpoint_c=to.setpoint_c,
            landing_c=to.setpoint_c - short_k[index],
            hold=lands[index].hold,
            kp=to.kp,
            ki=to.ki if _integrates(loop, half, to) else 0.0,
            integral=half.integral,
            dt_s=min(given.dt_s, AWAY_S),
            duty_most=given.most,
        )
        if not step.finite:
            return _anew(loop), _OFF
        duty = limits[index] if half.full else 0.0 if half.rests else step.duty
        if given.window_s >= LONG_WINDOW_S and duty >= FRESH_WINDOW_DUTY > half.duty > 0.0:
            duty = 0.0
        done.append(replace(half, duty=round(duty, DIGITS), integral=round(step.integral, DIGITS)))
    total = done[0].duty + done[1].duty
    if not total <= given.cap:
        share = given.cap / total if given.cap > 0.0 else 0.0
        done = [replace(half, duty=half.duty * share) for half in done]
    upper, lower = done
    return replace(loop, upper=upper, lower=lower), (upper.duty, lower.duty)


def _integrates(loop: Loop, half: HalfLoop, to: Aim) -> bool:
    """Say whether the integral may move: at rest, or near while the other one still rises."""
    if loop.place is not Place.SHUT or half.full or half.seen is None:
        return False
    return not loop.rising or abs(to.setpoint_c - half.seen.surface_c) < RISE_FROM_K


def _landing(loop: Loop, sight: Sight, index: int) -> Landing:
    model, seen, to = sight.halves[index], sight.seens[index], sight.aims[index]
    taken = seen.taken
    if loop.place is not Place.SHUT:
        taken += sight.ahead.taken(index, to.look_s)
    return landing(
        model,
        to,
        seen,
        arriving=seen.arriving,
        body_c=seen.body_c,
        surface_c=seen.surface_c,
        pending_s=seen.pending_s(),
        flow=model.rise_k_per_s * taken,
        room_c=sight.room_c,
    )
