"""What is believed of one half: heat on its way, body, surface, and what the model does not know.

An observer: the model runs on the delivered on-time, as late as the thermocouple is, and each
reading pulls it. On the way up the surprise goes to the heater's strength and the loss, by what
each may be wrong; at rest to a slow drift; around a charge to the heat taken from the surface.
"""

from __future__ import annotations

import math
from enum import Enum, auto

import msgspec
from msgspec.structs import replace

from tawny.core.loop.gains import STEP_S, gains
from tawny.core.loop.thermal import HalfThermal

SCALE_MOST = 0.5  # what the heater's strength may be off, either way
DRIFT_MOST = 1.0  # of full duty
DEMAND_MOST = 3.0  # of full duty: a cold charge may take more than the heater gives
FADES_S = 60.0  # what was taken unforeseen is believed to go on for about that long
_SCALE_DOUBT = 0.08  # standard deviations: the heater's strength, and the loss
_LOSS_DOUBT = 0.25
_PIPE_MOST = 100
DIGITS = 6  # more would only lengthen the record


class Situation(Enum):
    """What a surprise most likely comes from."""

    RISING = auto()
    RESTING = auto()
    CHARGED = auto()


class Seen(msgspec.Struct, frozen=True, gc=False):
    """One half.

    Attributes:
        arriving: Heat that arrives in the body, 0-1 of full duty.
        body_c, surface_c: As late as the thermocouple shows them.
        scale: What the heater gives beyond its model, as a share.
        drift: Heat that nobody ordered, in duty.
        taken: Heat taken from the surface beyond what was foreseen, in duty.
        pipe: Delivered shares of the last steps that the thermocouple cannot show yet.
    """

    arriving: float
    body_c: float
    surface_c: float
    scale: float = 0.0
    drift: float = 0.0
    taken: float = 0.0
    pipe: tuple[float, ...] = ()

    def pending_s(self) -> float:
        """Return the heat on its way through the dead time, in seconds of full duty."""
        return sum(self.pipe) * STEP_S


def pipe_steps(half: HalfThermal) -> int:
    """Return how many steps the thermocouple is late."""
    return min(round(half.dead_time_s / STEP_S), _PIPE_MOST)


def first_seen(half: HalfThermal, reading_c: float) -> Seen:
    """Return what is believed at the first reading: nothing on its way, all of it even."""
    return Seen(0.0, reading_c, reading_c, pipe=(0.0,) * pipe_steps(half))


def fitted(seen: Seen, half: HalfThermal) -> Seen:
    """Return what is believed under another model: as many steps late as that one is.

    Strength and drift belonged to the model before.
    """
    steps = pipe_steps(half)
    pipe = (seen.pipe[:1] or (seen.arriving,)) * max(steps - len(seen.pipe), 0) + seen.pipe
    return replace(seen, scale=0.0, drift=0.0, pipe=pipe[len(pipe) - steps :])


def resumed(seen: Seen, half: HalfThermal, reading_c: float, away_s: float) -> Seen:
    """Return what is believed at the first reading after a time without any.

    The board delivers nothing while nobody is heard: what was under way has evened out.
    """
    left = math.exp(-away_s / half.spread_lag_s)
    apart_k = (seen.body_c - seen.surface_c) * left
    return Seen(
        seen.arriving * math.exp(-away_s / half.heater_lag_s),
        reading_c + apart_k,
        reading_c,
        seen.scale,
        seen.drift,
        seen.taken * math.exp(-away_s / FADES_S),
        (0.0,) * pipe_steps(half),
    )


def observe(
    seen: Seen,
    half: HalfThermal,
    *,
    reading_c: float,
    share: float,
    other_c: float,
    foreseen: float,
    room_c: float,
    shut: bool,
    situation: Situation,
    dt_s: float,
) -> Seen:
    """Return what is believed after one step.

    Args:
        seen: Before it.
        half: Its model.
        reading_c: Mean of the samples of the step.
        share: Delivered on-time over the step, 0-1.
        other_c: Surface of the other half, before the step.
        foreseen: What a charge was expected to take, in duty.
        room_c: Of the room.
        shut: The halves touch.
        situation: Where a surprise goes.
        dt_s: Length of the step.
    """
    rise = half.rise_k_per_s
    pipe = (*seen.pipe, share)
    arrived, pipe = pipe[0], pipe[1:]
    arriving = seen.arriving + (arrived - seen.arriving) * (
        1.0 - math.exp(-dt_s / half.heater_lag_s)
    )
    excess_k = seen.surface_c - room_c
    loss = half.loss_k_per_s(excess_k) if excess_k > 0.0 else half.loss_per_s * excess_k
    into_body = rise * (arriving * (1.0 + seen.scale) + seen.drift) - loss
    exchange = half.exchange_per_s * (seen.surface_c - other_c) if shut else 0.0
    into_surface = -exchange - rise * (foreseen + seen.taken)
    body_c, surface_c = spread(half, (seen.body_c, seen.surface_c), (into_body, into_surface), dt_s)
    surprise_k = reading_c - surface_c
    scale, drift, taken = seen.scale, seen.drift, seen.taken
    own = gains(half)
    if situation is Situation.CHARGED:
        gain = own.charged
        taken = min(max(taken + gain.unknown * surprise_k, -DEMAND_MOST), DEMAND_MOST)
    else:
        taken *= math.exp(-dt_s / FADES_S)
        if situation is Situation.RISING:
            gain = own.rising
            of_scale = (_SCALE_DOUBT * arriving) ** 2
            of_loss = (_LOSS_DOUBT * loss / rise) ** 2
            part = of_scale / (of_scale + of_loss) if of_scale > 0.0 else 0.0
            scale += gain.unknown * surprise_k * part
            drift += gain.unknown * surprise_k * (1.0 - part)
        else:
            gain = own.resting
            drift += gain.unknown * surprise_k
        scale = min(max(scale, -SCALE_MOST), SCALE_MOST)
        drift = min(max(drift, -DRIFT_MOST), DRIFT_MOST)
    return Seen(
        round(arriving, DIGITS),
        round(body_c + gain.body * surprise_k, DIGITS),
        round(surface_c + gain.surface * surprise_k, DIGITS),
        round(scale, DIGITS),
        round(drift, DIGITS),
        round(taken, DIGITS),
        pipe,
    )


def spread(
    half: HalfThermal, before_c: tuple[float, float], into: tuple[float, float], dt_s: float
) -> tuple[float, float]:
    """Return body and surface after a step with constant heat into each, exactly.

    Args:
        half: Its model.
        before_c: Body and surface before.
        into: Heat into body and surface, in K/s of the whole half.
        dt_s: Length of the step.
    """
    share = half.surface_share
    metal = 1.0 - share
    mean_c = metal * before_c[0] + share * before_c[1] + (into[0] + into[1]) * dt_s
    rest_k = (into[0] / metal - into[1] / share) * half.spread_lag_s
    apart_k = before_c[0] - before_c[1]
    apart_k = rest_k + (apart_k - rest_k) * math.exp(-dt_s / half.spread_lag_s)
    return mean_c + share * apart_k, mean_c - metal * apart_k
