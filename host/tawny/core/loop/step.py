"""The loop of both halves: what was read and delivered in, two duties out. Pure.

    rising   full duty until the peak that would follow reaches the setpoint, then the law
    resting  the law: simple-pid on the landing value about the duty that holds
    charged  the mould is open or closed on a charge: the law, and full duty while the half would
             else fall low, as far as the peak allows

The board delivers what it can; the observer hears what it did.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import NamedTuple

import msgspec
from msgspec.structs import replace

from tawny.core.control import law_step
from tawny.core.loop.demand import Demand, Watch, after_opening, after_pressing, watched
from tawny.core.loop.gains import STEP_S
from tawny.core.loop.law import Aim, Landing, aims, landing, short_of
from tawny.core.loop.outlook import Ahead, course
from tawny.core.loop.seen import Seen, Situation, first_seen, observe, pipe_steps, resumed
from tawny.core.loop.thermal import HalfThermal, Thermal

# How high above setpoint a peak full duty may leave behind: less where a long coast has to be
# foreseen, whose prediction is off by a hundredth or two.
PEAK_K, PEAK_PER_COAST = 0.4, 0.009
PEAK_BEFORE_CHARGE_K = 0.75
LOW_K = 0.5  # below setpoint: a charged half that would fall further gets full duty
RISE_FROM_K = 3.0  # below setpoint: from there a half is heated up, not held
LANDED_K = 1.0
# A board with a long output window takes a raised duty only with the next window, but begins one
# at once where the duty rises from 0: such a half is sent 0 once before full duty.
LONG_WINDOW_S = 5.0
FRESH_WINDOW_DUTY = 0.95
AGAIN_K = 0.4  # beyond `LOW_K`: a half that was let off full duty gets it again only then
NEAR_COASTS = 1.6  # full duty needs no look ahead while the half is further away
NEAR_K = 5.0
SETTLE_LAGS = 2.2  # a look ahead ends when what is done now has shown
SETTLE_S = 20.0
RISING_HORIZON_S = 400.0
CLOSES_IN_S = 6.0  # an opening that outlasts the usual: the soonest that a charge is expected
SETPOINT_STEP_K = 0.5  # a setpoint that moves more at once begins a new approach
LOST_K = 10.0  # a reading so far from what is believed: it begins anew from there
AWAY_S = 1.5  # a longer silence: the board has let the duty expire
# A guessed model may be wrong in its lags: where a coast is a large part of the rise, less duty.
GUESS_COAST_PART, GUESS_COAST_ALLOWED, GUESS_DUTY_LEAST = 0.15, 0.10, 0.25
GUESS_RISE_LEAST_K = 60.0  # a working setpoint on a ramp is no short rise


class Place(StrEnum):
    """How the mould stands."""

    SHUT = "shut"  # and empty
    OPEN = "open"
    PRESSED = "pressed"  # closed on a charge; a breath does not change it


class HalfLoop(msgspec.Struct, frozen=True):
    """One half.

    Attributes:
        seen: What is believed of it; None before its first reading.
        integral: Of the law, in duty.
        full: It is heated at full duty as far as its peak allows.
        duty: The last decided.
        landing_c: Where it would come to rest.
    """

    seen: Seen | None = None
    integral: float = 0.0
    full: bool = False
    duty: float = 0.0
    landing_c: float = 0.0


class Loop(msgspec.Struct, frozen=True):
    """Both halves, and what is learned of the charge.

    Attributes:
        place: Of the mould at the last step.
        rising: On the way up, until both halves have landed.
        setpoints_c: At the last step; None: no heat.
        watch: What was unforeseen since the place changed; None: nobody looks.
        finite: Everything decided so far was a number.
    """

    upper: HalfLoop = HalfLoop()
    lower: HalfLoop = HalfLoop()
    place: Place = Place.SHUT
    rising: bool = False
    setpoints_c: tuple[float, float] | None = None
    demand: Demand = Demand()
    watch: Watch | None = None
    finite: bool = True


class Given(NamedTuple):
    """What one control step knows.

    Attributes:
        thermal: The mould's model.
        setpoints_c: Of both halves; None: no heat.
        readings_c: Mean of the samples since the last step; None: no good one.
        shares: Delivered on-time since the last step, 0-1.
        dt_s: Since the last step.
        most: Most duty of a half, 0-1.
        cap: What both may sum to.
        place: How the mould stands.
        charging: Open, and about to be closed on a charge.
        charge: Which charge, for what was learned of it.
        teaches: A pressing that ends now may teach.
        room_c: Of the room.
        window_s: Output window.
    """

    thermal: Thermal
    setpoints_c: tuple[float, float] | None
    readings_c: tuple[float, float]
    shares: tuple[float, float]
    dt_s: float
    most: float
    cap: float
    place: Place
    charging: bool
    charge: str
    teaches: bool
    room_c: float
    window_s: float


Duties = tuple[float, float]
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
        and all(half.sound() for half in halves)
        and (given.setpoints_c is None or all(map(math.isfinite, given.setpoints_c)))
    ):
        return _anew(loop), _OFF
    loop = _placed(replace(loop, finite=True), given)
    seens = _observed(loop, given, halves)
    if loop.watch is not None:
        unforeseen = (seens[0].taken, seens[1].taken)
        loop = replace(
            loop, watch=watched(loop.watch, unforeseen, given.dt_s, charging=given.charging)
        )
    loop = replace(
        loop, upper=replace(loop.upper, seen=seens[0]), lower=replace(loop.lower, seen=seens[1])
    )
    if given.setpoints_c is None or not given.most > 0.0:
        off = replace(loop, upper=_cold(loop.upper), lower=_cold(loop.lower), rising=False)
        return (replace(off, setpoints_c=None) if given.setpoints_c is None else loop), _OFF
    loop = _aimed(loop, given.setpoints_c)
    to = aims(halves, given.setpoints_c, given.window_s, shut=loop.place is not Place.OPEN)
    loop = _full(loop, given, halves, seens, to)
    return _decided(loop, given, halves, seens, to)


def _anew(loop: Loop) -> Loop:
    return Loop(demand=loop.demand, place=loop.place, finite=False)


def _aimed(loop: Loop, setpoints_c: tuple[float, float]) -> Loop:
    """Take the setpoints; a step of one of them ends an approach to the old one."""
    before_c = loop.setpoints_c
    if before_c is not None and any(
        abs(now_c - one_c) > SETPOINT_STEP_K
        for now_c, one_c in zip(setpoints_c, before_c, strict=True)
    ):
        upper, lower = replace(loop.upper, full=False), replace(loop.lower, full=False)
        loop = replace(loop, upper=upper, lower=lower, rising=False)
    return replace(loop, setpoints_c=setpoints_c)


def _cold(half: HalfLoop) -> HalfLoop:
    return HalfLoop(seen=half.seen)


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
    return replace(loop, place=given.place, demand=demand, watch=watch)


def _observed(
    loop: Loop, given: Given, halves: tuple[HalfThermal, HalfThermal]
) -> tuple[Seen, Seen]:
    before = []
    for index, half in enumerate((loop.upper, loop.lower)):
        reading_c, one = given.readings_c[index], half.seen
        if one is None or len(one.pipe) != pipe_steps(halves[index]):
            one = first_seen(halves[index], reading_c)
        elif given.dt_s > AWAY_S or abs(reading_c - one.surface_c) > LOST_K:
            one = resumed(one, halves[index], reading_c, given.dt_s)
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


def _ahead(loop: Loop, given: Given) -> Ahead:
    demand, watch = loop.demand, Watch() if loop.watch is None else loop.watch
    pressed = demand.pressed if demand.charge == given.charge else ((), ())
    usual_s = demand.usual_filling_s()
    left_s = math.inf
    if given.charging and usual_s is not None and pressed[0]:
        left_s = max(usual_s - watch.charging_s, CLOSES_IN_S)
    watched_place = loop.watch is not None
    return Ahead(
        shut=loop.place is not Place.OPEN,
        opening_left_s=left_s,
        now_s=watch.since_s,
        opened=demand.opened if watched_place else ((), ()),
        pressed=pressed if watched_place else ((), ()),
        charged=loop.place is Place.PRESSED,
    )


def _foreseen(loop: Loop, given: Given, index: int, after_s: float) -> float:
    return _ahead(loop, given).taken(index, after_s) if loop.watch is not None else 0.0


def _full(
    loop: Loop,
    given: Given,
    halves: tuple[HalfThermal, HalfThermal],
    seens: tuple[Seen, Seen],
    to: tuple[Aim, Aim],
) -> Loop:
    """Decide which half gets full duty."""
    below_k = [one.setpoint_c - seen.surface_c for one, seen in zip(to, seens, strict=True)]
    ahead = _ahead(loop, given)
    most = _most(given, halves, to)
    if loop.place is Place.SHUT:
        full = [half.full for half in (loop.upper, loop.lower)]
        rising = loop.rising
        if not rising and max(below_k) > RISE_FROM_K:
            full, rising = [k > RISE_FROM_K for k in below_k], True
        near = any(
            full[index] and below_k[index] < NEAR_COASTS * halves[index].coast_k() + NEAR_K
            for index in (0, 1)
        )
        horizon_s = RISING_HORIZON_S
        landed = not any(full) and all(abs(k) < LANDED_K for k in below_k)
        if rising and landed:
            rising = False
        loop = replace(loop, rising=rising)
    else:
        horizon_s = SETTLE_S + SETTLE_LAGS * max(half.lag_s() for half in halves)
        lows_c = course(
            halves,
            seens,
            to,
            ahead,
            (None, None),
            room_c=given.room_c,
            most=given.most,
            horizon_s=horizon_s,
        ).lows_c
        full = [
            low_c
            < one.setpoint_c
            - (LOW_K if half.full or given.window_s < LONG_WINDOW_S else LOW_K + AGAIN_K)
            for low_c, one, half in zip(lows_c, to, (loop.upper, loop.lower), strict=True)
        ]
        near = any(full)
        loop = replace(loop, rising=False)
    if near:
        peaks_c = course(
            halves,
            seens,
            to,
            ahead,
            (most[0] if full[0] else None, most[1] if full[1] else None),
            room_c=given.room_c,
            most=given.most if loop.place is Place.SHUT else 1.0,
            horizon_s=horizon_s,
        ).peaks_c
        full = [
            wanted and not peak_c > one.setpoint_c + _peak_k(half, loop.place)
            for wanted, peak_c, one, half in zip(full, peaks_c, to, halves, strict=True)
        ]
    return replace(
        loop, upper=replace(loop.upper, full=full[0]), lower=replace(loop.lower, full=full[1])
    )


def _peak_k(half: HalfThermal, place: Place) -> float:
    if place is Place.OPEN:
        return PEAK_BEFORE_CHARGE_K
    return max(PEAK_K - PEAK_PER_COAST * half.coast_k(), 0.0)


def _most(
    given: Given, halves: tuple[HalfThermal, HalfThermal], to: tuple[Aim, Aim]
) -> tuple[float, float]:
    """Return the most duty of each half: less than allowed only while the model is a guess."""
    if given.thermal.trusted:
        return given.most, given.most
    limits = []
    for half, one in zip(halves, to, strict=True):
        rise_k, limit = max(one.setpoint_c - given.room_c, GUESS_RISE_LEAST_K), given.most
        if half.coast_k() / rise_k > GUESS_COAST_PART:
            allowed = GUESS_COAST_ALLOWED * rise_k / half.coast_k()
            limit = min(limit, max(allowed, GUESS_DUTY_LEAST))
        limits.append(limit)
    return limits[0], limits[1]


def _decided(
    loop: Loop,
    given: Given,
    halves: tuple[HalfThermal, HalfThermal],
    seens: tuple[Seen, Seen],
    to: tuple[Aim, Aim],
) -> tuple[Loop, Duties]:
    most = _most(given, halves, to)
    ahead = _ahead(loop, given)
    lands = [
        _landing(loop, given, ahead, index, halves[index], seens[index], to[index])
        for index in (0, 1)
    ]
    short = short_of(to, lands[0], lands[1])
    done = []
    for index, half in enumerate((loop.upper, loop.lower)):
        land, own = lands[index], to[index]
        step = law_step(
            setpoint_c=own.setpoint_c,
            landing_c=own.setpoint_c - short[index],
            hold=land.hold,
            kp=own.kp,
            ki=own.ki if loop.place is Place.SHUT and not loop.rising else 0.0,
            integral=half.integral,
            dt_s=min(given.dt_s, 1.0),
            duty_most=given.most,
        )
        if not step.finite:
            return _anew(loop), _OFF
        duty = most[index] if half.full else step.duty
        if given.window_s >= LONG_WINDOW_S and duty >= FRESH_WINDOW_DUTY > half.duty > 0.0:
            duty = 0.0
        done.append(replace(half, duty=duty, integral=step.integral, landing_c=land.value_c))
    total = done[0].duty + done[1].duty
    if not total <= given.cap:
        share = given.cap / total if given.cap > 0.0 else 0.0
        done = [replace(half, duty=half.duty * share) for half in done]
    upper, lower = done
    return replace(loop, upper=upper, lower=lower, finite=True), (upper.duty, lower.duty)


def _landing(
    loop: Loop,
    given: Given,
    ahead: Ahead,
    index: int,
    model: HalfThermal,
    seen: Seen,
    to: Aim,
) -> Landing:
    taken = seen.taken
    if loop.place is not Place.SHUT:
        taken += ahead.taken(index, to.look_s)
    return landing(
        model,
        to,
        seen,
        arriving=seen.arriving,
        body_c=seen.body_c,
        surface_c=seen.surface_c,
        pending_s=seen.pending_s(),
        flow=model.rise_k_per_s * taken,
        room_c=given.room_c,
    )
