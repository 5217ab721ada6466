"""Where both halves go from here if the loop does this now and its usual law after: peak and low.

The same model as the observer's, in steps of two seconds, both halves together, with what a
charge is expected to take. It runs at each decision near the setpoint: what does not change from
step to step is worked out before.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tawny.core.limits import OPEN_DUTY_MOST
from tawny.core.loop.demand import ROW_S, Rows, row_at, rows_from
from tawny.core.loop.gains import STEP_S
from tawny.core.loop.law import Aim
from tawny.core.loop.seen import FADES_S, Seen
from tawny.core.loop.thermal import HalfThermal

LOOK_STEP_S = ROW_S
QUIET_K = 0.002  # a half that rises less in a step has had its peak
_LANDED_K = 0.02
_FADING = math.exp(-LOOK_STEP_S / FADES_S)
_BOTH = (0, 1)


class Ahead(NamedTuple):
    """What is expected of the mould itself.

    Attributes:
        shut: The halves touch now.
        opening_left_s: Until it is expected to be closed on a charge; infinite: not expected.
        now_s: Since it was opened, or closed on the charge.
        opened, pressed: Rows of what is taken, upper and lower, from then on.
        charged: It is closed on a charge now.
    """

    shut: bool
    opening_left_s: float
    now_s: float
    opened: tuple[Rows, Rows]
    pressed: tuple[Rows, Rows]
    charged: bool

    def taken(self, index: int, after_s: float) -> float:
        """Return what is expected to be taken from a half some time from now, in duty."""
        if self.charged:
            return row_at(self.pressed[index], self.now_s + after_s)
        if self.shut:
            return 0.0
        if after_s >= self.opening_left_s:
            return row_at(self.pressed[index], after_s - self.opening_left_s)
        return row_at(self.opened[index], self.now_s + after_s)

    def rows(self, index: int, count: int) -> list[float]:
        """Return what is expected to be taken from a half in each of the next rows, in duty."""
        if self.charged:
            return rows_from(self.pressed[index], self.now_s, count)
        if self.shut:
            return [0.0] * count
        left = count
        if self.opening_left_s < count * ROW_S:
            left = int(self.opening_left_s / ROW_S)
        opened = rows_from(self.opened[index], self.now_s, left)
        return opened + rows_from(self.pressed[index], 0.0, count - left)


class Sight(NamedTuple):
    """What a decision looks at.

    Attributes:
        halves: Models of both halves.
        seens: What is believed of them now.
        aims: Setpoint and gain of the usual law.
        ahead: What is expected of the mould.
        room_c: Of the room.
    """

    halves: tuple[HalfThermal, HalfThermal]
    seens: tuple[Seen, Seen]
    aims: tuple[Aim, Aim]
    ahead: Ahead
    room_c: float


class Course(NamedTuple):
    """Highest and lowest of each half on the way."""

    peaks_c: tuple[float, float]
    lows_c: tuple[float, float]


class _Fixed(NamedTuple):
    """What stays of one half, step by step."""

    rise: float
    strength: float
    drift: float
    loss: float
    loss_rise: float
    exchange: float
    share: float
    metal: float
    spread_s: float
    spread_left: float
    heater_part: float
    pipe_part: float
    arrived_k: float
    pending_k: float
    kp: float
    mix: float
    residual: float


def course(  # noqa: PLR0915 - one loop without calls, for speed
    sight: Sight,
    first: tuple[float | None, float | None],
    *,
    most: float,
    horizon_s: float,
) -> Course:
    """Return peak and low of both halves over the horizon.

    Args:
        sight: Where they stand, and what is expected.
        first: Duty of each half for the next control step; None: the usual law.
        most: Most duty of a half while the mould is shut.
        horizon_s: How far to look.
    """
    steps = int(horizon_s / LOOK_STEP_S)
    seens, ahead, room_c = sight.seens, sight.ahead, sight.room_c
    fixed = [_fixed(*one) for one in zip(sight.halves, seens, sight.aims, strict=True)]
    lands = [_lands(sight, index, steps) for index in _BOTH]
    taken = [ahead.rows(index, steps) for index in _BOTH]
    arriving = [one.arriving for one in seens]
    pending_s = [one.pending_s() for one in seens]
    surface_c = [one.surface_c for one in seens]
    apart_k = [one.body_c - one.surface_c for one in seens]
    mean_c = [
        one.surface_c + own.metal * k for one, own, k in zip(seens, fixed, apart_k, strict=True)
    ]
    peaks_c, lows_c = list(surface_c), list(surface_c)
    short_k, holds = [0.0, 0.0], [0.0, 0.0]
    shut_from = 0 if ahead.shut else ahead.opening_left_s / LOOK_STEP_S
    open_most = min(most, OPEN_DUTY_MOST)
    quiet = ahead.shut and not ahead.charged  # may end with the peak
    fade = 1.0
    for step in range(steps):
        shut = step >= shut_from
        limit = most if shut else open_most
        for index in _BOTH:
            own = fixed[index]
            holds[index], gap_k = lands[index][step]
            short_k[index] = (
                gap_k
                - mean_c[index]
                - own.arrived_k * arriving[index]
                - own.pending_k * pending_s[index]
            )
        across_k = short_k[1] - short_k[0]
        between_k = surface_c[0] - surface_c[1]
        falling = True
        for index in _BOTH:
            (
                rise,
                strength,
                drift,
                loss,
                loss_rise,
                exchange,
                share,
                metal,
                spread_s,
                spread_left,
                heater_part,
                pipe_part,
                _,
                _,
                kp,
                mix,
                residual,
            ) = fixed[index]
            own_short_k = short_k[index] + mix * (-across_k if index else across_k)
            duty = holds[index] + kp * own_short_k
            duty = 0.0 if duty < 0.0 else min(duty, limit)
            if step == 0:
                given = first[index]
                if given is not None:
                    duty += (given - duty) * STEP_S / LOOK_STEP_S
            if pipe_part > 0.0:
                out_s = pending_s[index] * pipe_part
                pending_s[index] += duty * LOOK_STEP_S - out_s
                duty = out_s / LOOK_STEP_S
            heat = arriving[index] = arriving[index] + (duty - arriving[index]) * heater_part
            before_c = surface_c[index]
            excess_k = before_c - room_c
            into_body = rise * (heat * strength + drift) - excess_k * (loss + loss_rise * excess_k)
            into_surface = -rise * (taken[index][step] + residual * fade)
            if shut:
                into_surface -= exchange * (-between_k if index else between_k)
            now_c = mean_c[index] = mean_c[index] + (into_body + into_surface) * LOOK_STEP_S
            rest_k = (into_body / metal - into_surface / share) * spread_s
            gap_k = apart_k[index] = rest_k + (apart_k[index] - rest_k) * spread_left
            now_c -= metal * gap_k
            surface_c[index] = now_c
            peaks_c[index] = max(peaks_c[index], now_c)
            lows_c[index] = min(lows_c[index], now_c)
            if now_c > before_c + QUIET_K or own_short_k < -_LANDED_K:
                falling = False
        if falling and quiet:
            break
        fade *= _FADING
    return Course((peaks_c[0], peaks_c[1]), (lows_c[0], lows_c[1]))


def _fixed(half: HalfThermal, seen: Seen, aim: Aim) -> _Fixed:
    strength = 1.0 + seen.scale
    pipe_s = len(seen.pipe) * STEP_S
    return _Fixed(
        rise=half.rise_k_per_s,
        strength=strength,
        drift=seen.drift,
        loss=half.loss_per_s,
        loss_rise=half.loss_rise_per_s_k,
        exchange=half.exchange_per_s,
        share=half.surface_share,
        metal=1.0 - half.surface_share,
        spread_s=half.spread_lag_s,
        spread_left=math.exp(-LOOK_STEP_S / half.spread_lag_s),
        heater_part=1.0 - math.exp(-LOOK_STEP_S / half.heater_lag_s),
        pipe_part=1.0 - math.exp(-LOOK_STEP_S / pipe_s) if pipe_s > 0.0 else 0.0,
        arrived_k=half.rise_k_per_s * strength * half.heater_lag_s,
        pending_k=half.rise_k_per_s * strength,
        kp=aim.kp,
        mix=aim.mix,
        residual=seen.taken,
    )


def _lands(sight: Sight, index: int, steps: int) -> list[tuple[float, float]]:
    """Return for each step the duty that will hold, and what heat already there must come to.

    That is `law.landing` with what changes by itself: what is taken later on.
    """
    half, seen, aim = sight.halves[index], sight.seens[index], sight.aims[index]
    strength = 1.0 + seen.scale
    rise = half.rise_k_per_s
    later = int(aim.look_s / LOOK_STEP_S + 0.5)
    rows = sight.ahead.rows(index, steps + later)[later:]
    base = half.loss_k_per_s(aim.setpoint_c - sight.room_c) + aim.exchange
    under_way_k = rise * strength * (half.heater_lag_s + len(seen.pipe) * STEP_S)
    per_flow_k = half.spread_lag_s / half.surface_share
    fade = seen.taken
    still = sight.ahead.shut and not sight.ahead.charged and fade == 0.0
    found: list[tuple[float, float]] = []
    for row in rows[:1] if still else rows:
        flow = rise * (row + fade)
        hold = ((base + flow) / rise - seen.drift) / strength
        hold = 0.0 if hold < 0.0 else min(hold, 1.0)
        gap_k = aim.setpoint_c + under_way_k * hold + (flow + aim.exchange) * per_flow_k
        found.append((hold, gap_k))
        fade *= _FADING
    return found * steps if still else found
