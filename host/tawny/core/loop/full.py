"""Which half gets full duty, and how much that is: where a peak would end decides.

On the way up a half has full duty until the peak that would follow reaches just above setpoint.
Open, or closed on a charge, it has full duty while it would else fall low, as far as the peak
allows.
"""

from __future__ import annotations

import math

from msgspec.structs import replace

from tawny.core.loop.demand import Watch
from tawny.core.loop.gains import STEP_S
from tawny.core.loop.outlook import Ahead, Course, Sight, course
from tawny.core.loop.state import Given, Loop, Place
from tawny.core.loop.thermal import HalfThermal

# How high above setpoint a peak full duty may leave behind. A coast is foreseen to a hundredth or
# two, and what it gains in time is small; a guessed model may be off by a tenth.
PEAK_RISING_K = 0.17
PEAK_GUESSED_K, PEAK_GUESSED_PER_COAST, PEAK_LEAST_K = 0.4, 0.03, -0.5
PEAK_BEFORE_CHARGE_K = 0.85
PEAK_PRESSED_K, PEAK_PRESSED_LONG_WINDOW_K = 0.3, 0.0
REST_K = 0.45  # above setpoint: a half that the law would bring higher gets no heat for now
LOW_K = 0.5  # below setpoint: a charged half that would fall further gets full duty
# Where no half comes so low, or a step of full duty brings a peak no nearer than this many of its
# own rises, it is looked again only some steps later.
CALM_K, CALM_STEPS = 0.3, 5
CALM_MARGIN, CALM_FULL_STEPS = 2.0, 12
RISE_FROM_K = 3.0  # below setpoint: from there a half is heated up, not held
LANDED_K = 1.0
AGAIN_K = 0.4  # beyond `LOW_K`: a half that was let off full duty gets it again only then
NEAR_COASTS = 1.6  # full duty needs no look ahead while the half is further away
NEAR_K = 5.0
SETTLE_LAGS = 2.2  # a look ahead ends when what is done now has shown
SETTLE_S = 20.0
RISING_HORIZON_S = 400.0
CLOSES_IN_S = 6.0  # an opening that outlasts the usual: the soonest that a charge is expected
# A guessed model may be wrong in its lags: where a coast is a large part of the rise, less duty.
GUESS_COAST_PART, GUESS_COAST_ALLOWED, GUESS_DUTY_LEAST = 0.15, 0.10, 0.25
GUESS_RISE_LEAST_K = 60.0  # a working setpoint on a ramp is no short rise
LONG_WINDOW_S = 5.0  # of the output: a duty waits for the next one


def expected(loop: Loop, given: Given) -> Ahead:
    """Return what is expected of the mould."""
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


def full_duty(loop: Loop, given: Given, sight: Sight) -> Loop:
    """Decide which half gets full duty, and which none."""
    if loop.calm > 0:
        return replace(loop, calm=loop.calm - 1)
    rests = [False, False]
    if loop.place is Place.SHUT:
        loop, full, near = _on_the_way(loop, sight)
        horizon_s, most = RISING_HORIZON_S, given.most
    else:
        horizon_s = SETTLE_S + SETTLE_LAGS * max(half.lag_s() for half in sight.halves)
        full, rests, calm = _by_the_law(loop, given, sight, horizon_s)
        loop = replace(loop, rising=False, calm=CALM_STEPS if calm else 0)
        near, most = any(full), 1.0
    if near:
        limits = duties_most(given, sight)
        first = (limits[0] if full[0] else None, limits[1] if full[1] else None)
        peaks_c = course(sight, first, most=most, horizon_s=horizon_s).peaks_c
        room_k = [
            aim.setpoint_c + _peak_k(half, loop, given) - peak_c
            for peak_c, aim, half in zip(peaks_c, sight.aims, sight.halves, strict=True)
        ]
        full = [wanted and not k < 0.0 for wanted, k in zip(full, room_k, strict=True)]
        loop = replace(loop, calm=_calm_steps(full, room_k, sight))
    upper = replace(loop.upper, full=full[0], rests=rests[0])
    lower = replace(loop.lower, full=full[1], rests=rests[1])
    return replace(loop, upper=upper, lower=lower)


def _calm_steps(full: list[bool], room_k: list[float], sight: Sight) -> int:
    """Return for how many steps full duty cannot bring a peak to its limit."""
    steps = [
        int(k / (CALM_MARGIN * half.rise_k_per_s * STEP_S))
        for wanted, k, half in zip(full, room_k, sight.halves, strict=True)
        if wanted
    ]
    return max(min([*steps, CALM_FULL_STEPS]) - 1, 0) if steps else 0


def _on_the_way(loop: Loop, sight: Sight) -> tuple[Loop, list[bool], bool]:
    """Return which half is heated up, and whether one of them is near its setpoint."""
    below_k = [
        aim.setpoint_c - seen.surface_c for aim, seen in zip(sight.aims, sight.seens, strict=True)
    ]
    full, rising = [loop.upper.full, loop.lower.full], loop.rising
    if not rising and max(below_k) > RISE_FROM_K:
        full, rising = [k > RISE_FROM_K for k in below_k], True
    elif not any(full) and all(abs(k) < LANDED_K for k in below_k):
        rising = False
    near = any(
        wanted and k < NEAR_COASTS * half.coast_k() + NEAR_K
        for wanted, k, half in zip(full, below_k, sight.halves, strict=True)
    )
    return replace(loop, rising=rising), full, near


def _by_the_law(
    loop: Loop, given: Given, sight: Sight, horizon_s: float
) -> tuple[list[bool], list[bool], bool]:
    """Return which half would fall low by the usual law alone, which rise high, and whether none.

    Where both are low now there is nothing to ask.
    """
    now_c = (sight.seens[0].surface_c, sight.seens[1].surface_c)
    ahead = Course(now_c, now_c)
    if not all(
        one_c < aim.setpoint_c - LOW_K - AGAIN_K
        for one_c, aim in zip(now_c, sight.aims, strict=True)
    ):
        ahead = course(sight, (None, None), most=given.most, horizon_s=horizon_s)
    falls, rests, calm = [], [], True
    for index, half in enumerate((loop.upper, loop.lower)):
        low_c, setpoint_c = ahead.lows_c[index], sight.aims[index].setpoint_c
        again = given.window_s >= LONG_WINDOW_S and not half.full
        falls.append(low_c < setpoint_c - LOW_K - (AGAIN_K if again else 0.0))
        rests.append(ahead.peaks_c[index] > setpoint_c + REST_K and not falls[index])
        calm = calm and low_c > setpoint_c - CALM_K and not (half.full or rests[index])
    return falls, rests, calm


def _peak_k(half: HalfThermal, loop: Loop, given: Given) -> float:
    if loop.place is Place.OPEN:
        return PEAK_BEFORE_CHARGE_K
    if loop.place is Place.PRESSED:
        long = given.window_s >= LONG_WINDOW_S
        return PEAK_PRESSED_LONG_WINDOW_K if long else PEAK_PRESSED_K
    if given.thermal.trusted:
        return PEAK_RISING_K
    return max(PEAK_GUESSED_K - PEAK_GUESSED_PER_COAST * half.coast_k(), PEAK_LEAST_K)


def duties_most(given: Given, sight: Sight) -> tuple[float, float]:
    """Return the most duty of each half: less than allowed only while the model is a guess."""
    if given.thermal.trusted:
        return given.most, given.most
    limits = []
    for half, one in zip(sight.halves, sight.aims, strict=True):
        rise_k, limit = max(one.setpoint_c - given.room_c, GUESS_RISE_LEAST_K), given.most
        if half.coast_k() / rise_k > GUESS_COAST_PART:
            allowed = GUESS_COAST_ALLOWED * rise_k / half.coast_k()
            limit = min(limit, max(allowed, GUESS_DUTY_LEAST))
        limits.append(limit)
    return limits[0], limits[1]
