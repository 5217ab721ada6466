"""Where both halves go from here if the loop does this now and its usual law after: peak and low.

The same model as the observer's, in steps of two seconds, both halves together, with what a
charge is expected to take. Plain floats and no calls inside the steps: it runs at each decision
near the setpoint.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tawny.core.limits import OPEN_DUTY_MOST
from tawny.core.loop.demand import Rows, row_at
from tawny.core.loop.gains import STEP_S
from tawny.core.loop.law import Aim, landing, short_of
from tawny.core.loop.seen import FADES_S, Seen
from tawny.core.loop.thermal import HalfThermal

LOOK_STEP_S = 2.0
QUIET_K = 0.002  # a half that rises less in a step has had its peak


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


class Course(NamedTuple):
    """Highest and lowest of each half on the way."""

    peaks_c: tuple[float, float]
    lows_c: tuple[float, float]


def course(
    halves: tuple[HalfThermal, HalfThermal],
    seens: tuple[Seen, Seen],
    aims: tuple[Aim, Aim],
    ahead: Ahead,
    first: tuple[float | None, float | None],
    *,
    room_c: float,
    most: float,
    horizon_s: float,
) -> Course:
    """Return peak and low of both halves over the horizon.

    Args:
        halves: Their models.
        seens: What is believed of them now.
        aims: Setpoint and gain of the usual law.
        ahead: What is expected of the mould.
        first: Duty of each half for the next control step; None: the usual law.
        room_c: Of the room.
        most: Most duty of a half while the mould is shut.
        horizon_s: How far to look.
    """
    states = [(one.arriving, one.body_c, one.surface_c, one.pending_s()) for one in seens]
    peaks, lows = [one.surface_c for one in seens], [one.surface_c for one in seens]
    heater_left = [math.exp(-LOOK_STEP_S / half.heater_lag_s) for half in halves]
    spread_left = [math.exp(-LOOK_STEP_S / half.spread_lag_s) for half in halves]
    pipe_left = [
        math.exp(-LOOK_STEP_S / (len(one.pipe) * STEP_S)) if one.pipe else 0.0 for one in seens
    ]
    steps = int(horizon_s / LOOK_STEP_S)
    fade, fading = 1.0, math.exp(-LOOK_STEP_S / FADES_S)
    for step in range(steps):
        at_s = step * LOOK_STEP_S
        shut = ahead.shut or at_s >= ahead.opening_left_s
        limit = most if shut else min(most, OPEN_DUTY_MOST)
        surfaces = states[0][2], states[1][2]
        falling = True
        lands = []
        takes = []
        for index in (0, 1):
            half, one, aim = halves[index], seens[index], aims[index]
            arriving, body_c, surface_c, pending_s = states[index]
            residual = one.taken * fade
            takes.append(ahead.taken(index, at_s) + residual)
            later = ahead.taken(index, at_s + aim.look_s) + residual
            lands.append(
                landing(
                    half,
                    aim,
                    one,
                    arriving=arriving,
                    body_c=body_c,
                    surface_c=surface_c,
                    pending_s=pending_s,
                    flow=half.rise_k_per_s * later,
                    room_c=room_c,
                )
            )
        short = short_of(aims, lands[0], lands[1])
        for index in (0, 1):
            half, one, aim, land = halves[index], seens[index], aims[index], lands[index]
            arriving, body_c, surface_c, pending_s = states[index]
            exchange = half.exchange_per_s * (surface_c - surfaces[1 - index]) if shut else 0.0
            duty = min(max(land.hold + aim.kp * short[index], 0.0), limit)
            given = first[index]
            if step == 0 and given is not None:
                duty += (given - duty) * STEP_S / LOOK_STEP_S
            if one.pipe:
                out_s = pending_s * (1.0 - pipe_left[index])
                pending_s += duty * LOOK_STEP_S - out_s
                duty = out_s / LOOK_STEP_S
            arriving += (duty - arriving) * (1.0 - heater_left[index])
            share = half.surface_share
            metal = 1.0 - share
            rise = half.rise_k_per_s
            into_body = rise * (arriving * (1.0 + one.scale) + one.drift) - half.loss_k_per_s(
                surface_c - room_c
            )
            into_surface = -exchange - rise * takes[index]
            mean_c = metal * body_c + share * surface_c + (into_body + into_surface) * LOOK_STEP_S
            rest_k = (into_body / metal - into_surface / share) * half.spread_lag_s
            apart_k = rest_k + (body_c - surface_c - rest_k) * spread_left[index]
            after_c = mean_c - metal * apart_k
            states[index] = (arriving, mean_c + share * apart_k, after_c, pending_s)
            peaks[index] = max(peaks[index], after_c)
            lows[index] = min(lows[index], after_c)
            if after_c > surface_c + QUIET_K or land.value_c > aim.setpoint_c + 10 * QUIET_K:
                falling = False
        if falling and ahead.shut and not ahead.charged:
            break
        fade *= fading
    return Course((peaks[0], peaks[1]), (lows[0], lows[1]))
