"""Where a half lands under the duty that will hold it, and the gains that follow from its model.

The landing value answers to a duty at once, since it counts the heat still on its way; so a
proportional-integral law on it may be strong, and needs no derivative.
"""

from __future__ import annotations

import math
from functools import cache
from typing import NamedTuple

from tawny.core.loop.gains import STEP_S
from tawny.core.loop.seen import Seen
from tawny.core.loop.thermal import HalfThermal

# Of what delays the loop once the landing value is used: the observer itself and the model's error
# leave these shares of its lags.
_LAG_PART, _DEAD_PART, _OBSERVER_S = 0.15, 0.35, 1.0
INTEGRAL_PER_DEAD_TIME = 8.0  # Skogestad 2003: integral time of a lag-dominant process, 4 (tc + t)
LOOK_PART = 0.5  # of the lags: by then a duty of now is felt at the surface


class Aim(NamedTuple):
    """What a half is held at, and how hard.

    Attributes:
        kp: Duty for each kelvin of the landing value.
        ki: The same for each kelvin and second.
        look_s: A charge's demand is taken from that much later.
        mix: Share of the other half's landing deviation that ends up here before it is felt.
        exchange: What goes to the other half once both hold, in K/s of the whole half.
    """

    setpoint_c: float
    kp: float
    ki: float
    look_s: float
    mix: float
    exchange: float


class Landing(NamedTuple):
    """Where a half comes to rest under the duty that holds it there, 0-1."""

    value_c: float
    hold: float


def aims(
    halves: tuple[HalfThermal, HalfThermal],
    setpoints_c: tuple[float, float],
    window_s: float,
    *,
    shut: bool,
) -> tuple[Aim, Aim]:
    """Return the aims of both halves; nothing here is for a person to turn.

    SIMC for an integrating process with dead time t and tc = t: kp = 1/(R 2 t), integral time 8 t
    (Skogestad 2003, J. Process Control 13:291). A duty waits half an output window and half a
    control step on average. What one half has too much ends up in the other by their exchange.
    """
    upper, lower = (
        _aim(halves[index], halves[1 - index], setpoints_c[index], setpoints_c[1 - index], window_s)
        for index in (0, 1)
    )
    if shut:
        return upper, lower
    return upper._replace(mix=0.0, exchange=0.0), lower._replace(mix=0.0, exchange=0.0)


@cache
def _aim(
    half: HalfThermal, other: HalfThermal, setpoint_c: float, other_c: float, window_s: float
) -> Aim:
    kp, ki = _tuning(half, window_s)
    look_s = LOOK_PART * (half.heater_lag_s + half.spread_lag_s)
    both = half.exchange_per_s + other.exchange_per_s
    mix = half.exchange_per_s / both * (1.0 - math.exp(-both * look_s)) if both > 0.0 else 0.0
    return Aim(setpoint_c, kp, ki, look_s, mix, half.exchange_per_s * (setpoint_c - other_c))


def _tuning(half: HalfThermal, window_s: float) -> tuple[float, float]:
    dead_s = (
        window_s / 2.0
        + STEP_S / 2.0
        + _OBSERVER_S
        + _LAG_PART * (half.heater_lag_s + half.spread_lag_s)
        + _DEAD_PART * half.dead_time_s
    )
    kp = 1.0 / (half.rise_k_per_s * 2.0 * dead_s)
    return kp, kp / (INTEGRAL_PER_DEAD_TIME * dead_s)


def landing(
    half: HalfThermal,
    to: Aim,
    seen: Seen,
    *,
    arriving: float,
    body_c: float,
    surface_c: float,
    pending_s: float,
    flow: float,
    room_c: float,
) -> Landing:
    """Return where the half lands.

    Args:
        half: Its model.
        to: What it is held at.
        seen: Its scale, drift and pipe.
        arriving, body_c, surface_c, pending_s: Its state, now or some time ahead.
        flow: What a charge takes from the surface, in K/s of the whole half.
        room_c: Of the room.
    """
    rise, share = half.rise_k_per_s, half.surface_share
    excess_k = to.setpoint_c - room_c
    loss = excess_k * (half.loss_per_s + half.loss_rise_per_s_k * excess_k)
    strength = 1.0 + seen.scale
    flow += to.exchange
    hold = ((loss + flow) / rise - seen.drift) / strength
    hold = 0.0 if hold < 0.0 else min(hold, 1.0)
    metal = 1.0 - share
    under_way_s = half.heater_lag_s * (arriving - hold) + pending_s - hold * len(seen.pipe) * STEP_S
    value_c = (
        metal * body_c
        + share * surface_c
        + rise * strength * under_way_s
        - flow * half.spread_lag_s / share
    )
    return Landing(value_c, hold)


def short_of(aims: tuple[Aim, Aim], upper: Landing, lower: Landing) -> tuple[float, float]:
    """Return by how much each half lands below its setpoint, the exchange between them counted."""
    one_k = aims[0].setpoint_c - upper.value_c
    other_k = aims[1].setpoint_c - lower.value_c
    return one_k + aims[0].mix * (other_k - one_k), other_k + aims[1].mix * (one_k - other_k)
