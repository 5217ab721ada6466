"""The accounts of one half: heat delivered against heat that arrives, in seconds of full duty.

The loop's observer follows the readings, so it follows a faulty one too. These do not: each change
of a reading, less what the model makes of the delivered on-time, the loss and the exchange, is
added up:

    fallen   more missing than a dead heater would make: the sensor has left its place
    missing  heat delivered that does not arrive: heater open, or sensor not where it belongs
    extra    heat that nobody ordered, beyond what was missing before: the output stays on

An allowance is taken off each second, larger while a charge takes heat: what is left is no error
of the model.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from msgspec.structs import replace

from tawny.core.loop.gains import AWAY_S
from tawny.core.loop.state import Given, Place
from tawny.core.loop.suspicion import HalfDoubt
from tawny.core.loop.thermal import HalfThermal

DIGITS = 5  # more would only lengthen the record
JUMP_K = 10.0  # nor does a reading that jumps so far, as long as the model is a guess
JUMP_UP_K = 3.0  # nor one that jumps up: no heater does that, and the board trips on a fast rise
SAME_S = 20.0
NO_HEAT = 0.02
SMOOTH_S, FORGETS_S = 10.0, 300.0
OWED_FADES_S = 900.0  # as long may the metal give back what a charge took
# Heat from the other half hides a dead heater: here it is counted in, and more allowed for.
COUPLED_PER_HEAT = 0.5
# How much of the heat arrives is judged at much heat, over the last few minutes of it, less what
# the model may be off by beside: so many seconds of heat.
WEAK_SURE = 6.0
WEAK_FROM, WEAK_MOST, WEAK_HEAT, WEAK_MUCH, WEAK_FORGETS = 0.15, 0.9, 120.0, 0.5, 240.0


class Limits(NamedTuple):
    """When an account is a doubt; heat in s of full duty, allowances in each second.

    Attributes:
        fine: Nothing but heaters and loss can move a half now.
    """

    fallen: float
    fallen_allowed: float
    missing: float
    missing_allowed: float
    missing_per_heat: float
    extra: float
    extra_allowed: float
    extra_per_heat: float
    coupled: float
    fine: bool = False


# Of ordinary days on seven moulds and copies of them the accounts reached less than half of
# these. Allowances: over quiet stretches the fitted model errs by 0.07 of full duty, and by 0.10
# of the heat with the mains 8 % off; a supply or a heater that is weak is told as such, not as
# none.
QUIET = Limits(8.0, 0.3, 20.0, 0.05, 0.35, 25.0, 0.08, 0.15, 50.0, fine=True)
CHARGED = Limits(80.0, 2.0, 120.0, 0.35, 0.35, 25.0, 0.15, 0.15, 150.0)
LEARNED = Limits(80.0, 2.0, 60.0, 0.1, 0.3, 25.0, 0.15, 0.15, 130.0)
GUESSED = Limits(60.0, 0.6, 120.0, 0.25, 0.5, 50.0, 0.1, 0.5, math.inf)


class Step(NamedTuple):
    """What one step says of one half.

    Attributes:
        reading_c, other_c: Its own, and the other half's before the step.
        share: Delivered on-time, 0-1.
        foreseen: What a charge is expected to take, in duty.
        with_other: How much more heat the other half got, smoothed.
        register: Of its sensor; -1: not known.
        moved: It was another one in between.
    """

    reading_c: float
    other_c: float
    share: float
    foreseen: float
    with_other: float
    register: int
    moved: bool = False


def smooth(value: float, to: float, dt_s: float) -> float:
    """Return a value that follows another within about 10 s."""
    return value + (to - value) * (1.0 - math.exp(-dt_s / SMOOTH_S))


def account(
    own: HalfDoubt, half: HalfThermal, at: Step, given: Given, limits: Limits, *, quiet: bool
) -> HalfDoubt:
    """Return the accounts of a half after one step."""
    dt_s, reading_c = given.dt_s, at.reading_c
    own, rise_k, across_k = _model(own, half, at, given)
    arriving = own.arriving
    last_c = own.last_c
    if last_c is None or dt_s > AWAY_S or _jumped(reading_c - last_c, given):
        return replace(
            own,
            last_c=reading_c,
            register=at.register,
            cold_c=reading_c,
            same_s=0.0,
            same_heat=0.0,
        )
    rate = half.rise_k_per_s
    # What a half gains from the other counts for what it has too much, what it loses for what it
    # has too little: a wrong reading of one half then never accuses the other.
    short = (rise_k + min(across_k, 0.0) - (reading_c - last_c)) / rate
    over = (reading_c - last_c - rise_k - max(across_k, 0.0)) / rate
    if not given.thermal.trusted:
        # What a guess makes of the loss is no heat: the half must rise, beyond what it was given.
        over = (reading_c - last_c) / rate - arriving * dt_s
    same = at.register == own.register >= 0 and not at.moved
    own = _still(own, rise_k, dt_s, same=same)
    cold_c = own.cold_c
    if arriving < NO_HEAT:
        cold_c = reading_c
    # Sensor: what is missing beyond all that the heater gives.
    fallen = max(own.fallen + short - (arriving + limits.fallen_allowed) * dt_s, 0.0)
    begins = own.fallen == 0.0
    missing = own.missing + short
    missing -= (limits.missing_allowed + limits.missing_per_heat * arriving) * dt_s
    missing = max(missing, 0.0)
    surprise = (reading_c - last_c - rise_k - across_k) / rate
    coupled = own.coupled - surprise
    coupled -= (limits.missing_allowed + COUPLED_PER_HEAT * arriving) * dt_s
    owed = own.owed * math.exp(-dt_s / OWED_FADES_S) - over
    extra = own.extra - (limits.extra_allowed + limits.extra_per_heat * arriving) * dt_s
    if owed < 0.0:
        extra -= owed
        owed = 0.0
    extra = max(extra, 0.0)
    error = smooth(own.error, surprise / dt_s, dt_s)
    counts = missing > 0.0
    own = replace(
        own,
        last_c=reading_c,
        register=at.register,
        cold_c=cold_c,
        fallen=round(fallen, DIGITS),
        fallen_from_c=last_c if begins else own.fallen_from_c,
        fallen_s=0.0 if begins else round(own.fallen_s + dt_s, DIGITS),
        missing=round(missing, DIGITS),
        coupled=round(max(coupled, 0.0), DIGITS),
        missing_s=round(own.missing_s + dt_s, DIGITS) if counts else 0.0,
        missing_part=round(own.missing_part + short, DIGITS) if counts else 0.0,
        missing_of=round(own.missing_of + arriving * dt_s, DIGITS) if counts else 0.0,
        extra=round(extra, DIGITS),
        extra_s=round(own.extra_s + dt_s, DIGITS) if extra > 0.0 else 0.0,
        owed=round(owed, DIGITS),
        error=round(error, DIGITS),
        across=round(
            math.exp(-dt_s / FORGETS_S) * own.across + error * at.with_other * dt_s, DIGITS
        ),
    )
    if not given.thermal.trusted:
        heated = arriving >= NO_HEAT and quiet
        return replace(own, full=round(own.full + arriving * dt_s, DIGITS) if heated else 0.0)
    return _strength(own, -surprise, dt_s) if quiet else own


def _jumped(by_k: float, given: Given) -> bool:
    return by_k > JUMP_UP_K if given.thermal.trusted else abs(by_k) > JUMP_K


def _model(
    own: HalfDoubt, half: HalfThermal, at: Step, given: Given
) -> tuple[HalfDoubt, float, float]:
    """Return the lags after the step, and how the reading follows: alone, and by the other half."""
    dt_s = given.dt_s
    late = own.late + (at.share - own.late) * (1.0 - math.exp(-dt_s / max(half.dead_time_s, 0.01)))
    arriving = own.arriving + (late - own.arriving) * (1.0 - math.exp(-dt_s / half.heater_lag_s))
    own_c = at.reading_c if own.last_c is None else own.last_c
    excess_k = own_c - given.room_c
    loss = half.loss_k_per_s(excess_k) if excess_k > 0.0 else half.loss_per_s * excess_k
    taken = -half.rise_k_per_s * at.foreseen
    exchange = 0.0
    if given.place is not Place.OPEN:
        exchange = -half.exchange_per_s * (own_c - at.other_c)
    # Heat into the surface shows at once, and then evens out with the body.
    at_once = 1.0 / half.surface_share
    part = 1.0 - math.exp(-dt_s / half.spread_lag_s)
    to = half.rise_k_per_s * arriving - loss + (1.0 - at_once) * taken
    spread = own.spread + (to - own.spread) * part
    across = own.spread_across + ((1.0 - at_once) * exchange - own.spread_across) * part
    own = replace(
        own,
        late=round(late, DIGITS),
        arriving=round(arriving, DIGITS),
        spread=round(spread, DIGITS),
        spread_across=round(across, DIGITS),
    )
    return own, (spread + at_once * taken) * dt_s, (across + at_once * exchange) * dt_s


def _still(own: HalfDoubt, rise_k: float, dt_s: float, *, same: bool) -> HalfDoubt:
    """Follow a reading that does not move."""
    if same:
        return replace(
            own,
            same_s=round(own.same_s + dt_s, DIGITS),
            same_heat=round(own.same_heat + rise_k, DIGITS),
        )
    most_s = max(own.same_most_s, own.same_s) if own.same_s < SAME_S else own.same_most_s
    return replace(own, same_s=0.0, same_heat=0.0, same_most_s=most_s)


def _strength(own: HalfDoubt, short: float, dt_s: float) -> HalfDoubt:
    """Follow how much of the heat arrives while there is much of it."""
    if own.arriving < WEAK_MUCH:
        return replace(own, full=0.0, full_short=0.0) if own.full else own
    keeps = math.exp(-own.arriving * dt_s / WEAK_FORGETS)
    full, lost = keeps * own.full + own.arriving * dt_s, keeps * own.full_short + short
    weak = own.weak
    if full >= WEAK_HEAT:
        part = lost / full
        weak = min(part, WEAK_MOST) if part - WEAK_SURE / full > WEAK_FROM else 0.0
    return replace(
        own,
        full=round(full, DIGITS),
        full_short=round(lost, DIGITS),
        weak=round(weak, DIGITS),
    )


def anew(own: HalfDoubt) -> HalfDoubt:
    """Return the accounts begun again, after a doubt."""
    return replace(
        own,
        fallen=0.0,
        missing=0.0,
        coupled=0.0,
        missing_part=0.0,
        missing_of=0.0,
        missing_s=0.0,
        extra=0.0,
        extra_s=0.0,
        same_s=0.0,
        same_heat=0.0,
        full=0.0,
        full_short=0.0,
        weak=0.0,
        across=0.0,
    )
