"""The second look at what is read: does the heat that was delivered arrive, all of it, no more?

The loop's observer follows the readings, so it follows a faulty one too. This account does not:
it takes each change of a reading, less what the model makes of the delivered on-time, the loss
and the exchange, and adds up what is left, in seconds of full duty:

    fallen   more missing than a dead heater would make: the sensor has left its place
    missing  heat delivered that does not arrive: heater open, or sensor not where it belongs
    extra    heat that nobody ordered, beyond what was missing before: the output stays on

An allowance is taken off each second, larger while a charge takes heat: what is left is no error
of the model. With a guessed model only what is coarse counts.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from msgspec.structs import replace

from tawny.core.loop.full import expected
from tawny.core.loop.state import Given, Loop, Place
from tawny.core.loop.suspicion import Doubt, Fault, HalfDoubt, Suspicion
from tawny.core.loop.thermal import HalfThermal

POWER_SHORT_DUTY = 0.97  # at rest: a half that needs more hardly gets there
QUIET_S = 400.0  # after the last opening a mould is judged finely
AWAY_S = 1.5  # a longer step says nothing
JUMP_K = 10.0  # nor does a reading that jumps so far between two steps
DOUBT_S = 10.0  # a doubt stands so long after its last sign


class _Limits(NamedTuple):
    """When an account is a doubt; heat in s of full duty, allowances in each second."""

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


# Allowances: over quiet stretches the fitted model errs by 0.07 of full duty, and by 0.10 of the
# heat with the mains 8 % off; a supply or a heater that is weak is told as such, not as none.
_QUIET = _Limits(8.0, 0.3, 20.0, 0.05, 0.35, 25.0, 0.08, 0.15, 50.0, fine=True)
_CHARGED = _Limits(80.0, 2.0, 120.0, 0.35, 0.35, 25.0, 0.15, 0.15, 150.0)
_LEARNED = _Limits(80.0, 2.0, 60.0, 0.1, 0.3, 25.0, 0.15, 0.15, 80.0)
_GUESSED = _Limits(60.0, 0.6, 120.0, 0.25, 0.5, 50.0, 0.1, 0.5, math.inf)
# A reading carries noise: what it may seem to have lost of a sudden.
FALLEN_NOISE_K = 1.5
OWED_FADES_S = 900.0
# Of the heat, missing: a dead heater makes it 1, and what a half loses beside is in the model.
PART_SENSOR = 1.5
PART_NONE = 0.5  # less is a weak heater
OTHERS_FROM, OTHERS = 4.0, 3.0
# Heat from the other half hides a dead heater: counted in, where the other half is beyond doubt.
COUPLED_PER_HEAT = 0.5

SAME_S, SAME_LONGER, SAME_LEARN_S = 20.0, 4.0, 300.0
SAME_MOVES_K, SAME_MOVES_S = 2.0, 8.0
REVERSED_K = 1.5
COLD_K = 25.0  # over the room: nothing to fall from
NO_HEAT = 0.02
# With a guessed model, from cold: after so much heat a half has risen by this share at least.
COARSE_HEAT, COARSE_PART, COARSE_K = 150.0, 0.12, 3.0
COARSE_FALL_HEAT = 30.0

SMOOTH_S, FORGETS_S = 10.0, 300.0
SWAPPED_PART, SWAPPED_LEAST, SWAPPED_EARLY = 0.5, 1.0, 20.0

WEAK_FROM, WEAK_MOST, WEAK_HEAT, WEAK_MUCH, WEAK_FORGETS = 0.15, 0.9, 120.0, 0.5, 240.0


def suspected(before: Suspicion, loop: Loop, given: Given) -> Suspicion:
    """Return what is suspected after one control step.

    Args:
        before: Before it.
        loop: After the step, for what is expected of a charge.
        given: What the step knew.
    """
    if not loop.finite:
        return Suspicion()
    shut = given.place is Place.SHUT
    halves = given.thermal.halves()
    quiet_s = before.quiet_s + given.dt_s
    if not (shut and given.dt_s <= AWAY_S):
        quiet_s = 0.0
    elif before.upper.last_c is None and max(given.readings_c) < given.room_c + COLD_K:
        quiet_s = QUIET_S  # nothing that was done before can still show
    ahead = expected(loop, given) if loop.watch is not None else None
    learned = loop.demand.charge == given.charge and loop.demand.pressings > 0
    limits = _limits(given, quiet=quiet_s > QUIET_S, learned=learned)
    whole = before.halves()
    apart = _smooth(before.apart, whole[0].arriving - whole[1].arriving, given.dt_s)
    now = []
    for index in (0, 1):
        half = halves[index]
        foreseen = 0.0 if ahead is None else ahead.taken(index, -half.dead_time_s)
        other_c = whole[1 - index].last_c
        now.append(
            _account(
                whole[index],
                half,
                _Step(
                    given.readings_c[index],
                    given.readings_c[1 - index] if other_c is None else other_c,
                    given.shares[index],
                    foreseen,
                    -apart if index == 0 else apart,
                    -1 if given.registers is None else given.registers[index],
                ),
                given,
                limits,
                quiet=quiet_s > QUIET_S,
            )
        )
    keeps = math.exp(-given.dt_s / FORGETS_S)
    suspicion = Suspicion(
        upper=now[0],
        lower=now[1],
        quiet_s=quiet_s,
        watched_s=before.watched_s + given.dt_s,
        apart=apart,
        apart_square=keeps * before.apart_square + apart * apart * given.dt_s,
        doubt=before.doubt,
        doubt_s=before.doubt_s + given.dt_s,
        needs=_needs(given, (now[0].weak, now[1].weak)),
    )
    return _doubted(suspicion, given, limits)


class _Step(NamedTuple):
    """What one step says of one half."""

    reading_c: float
    other_c: float
    share: float
    foreseen: float
    with_other: float
    register: int


def _limits(given: Given, *, quiet: bool, learned: bool) -> _Limits:
    if not given.thermal.trusted:
        return _GUESSED if quiet else _GUESSED._replace(fallen=math.inf, missing=math.inf)
    if quiet:
        return _QUIET
    return _LEARNED if learned else _CHARGED


def _smooth(value: float, to: float, dt_s: float) -> float:
    return value + (to - value) * (1.0 - math.exp(-dt_s / SMOOTH_S))


def _account(
    own: HalfDoubt, half: HalfThermal, at: _Step, given: Given, limits: _Limits, *, quiet: bool
) -> HalfDoubt:
    """Return the accounts of a half after one step."""
    dt_s, reading_c = given.dt_s, at.reading_c
    own, rise_k, across_k = _model(own, half, at, given)
    arriving = own.arriving
    last_c = own.last_c
    if last_c is None or dt_s > AWAY_S or abs(reading_c - last_c) > JUMP_K:
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
    own = _still(own, rise_k, dt_s, same=at.register == own.register >= 0)
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
    error = _smooth(own.error, surprise / dt_s, dt_s)
    counts = missing > 0.0
    own = replace(
        own,
        last_c=reading_c,
        register=at.register,
        cold_c=cold_c,
        fallen=fallen,
        fallen_from_c=last_c if begins else own.fallen_from_c,
        fallen_s=0.0 if begins else own.fallen_s + dt_s,
        missing=missing,
        coupled=max(coupled, 0.0),
        missing_s=own.missing_s + dt_s if counts else 0.0,
        missing_part=own.missing_part + short if counts else 0.0,
        missing_of=own.missing_of + arriving * dt_s if counts else 0.0,
        extra=extra,
        extra_s=own.extra_s + dt_s if extra > 0.0 else 0.0,
        owed=owed,
        error=error,
        across=math.exp(-dt_s / FORGETS_S) * own.across + error * at.with_other * dt_s,
    )
    if not given.thermal.trusted:
        heated = arriving >= NO_HEAT and quiet
        return replace(own, full=own.full + arriving * dt_s if heated else 0.0)
    return _strength(own, -surprise, dt_s) if quiet else own


def _model(
    own: HalfDoubt, half: HalfThermal, at: _Step, given: Given
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
    own = replace(own, late=late, arriving=arriving, spread=spread, spread_across=across)
    return own, (spread + at_once * taken) * dt_s, (across + at_once * exchange) * dt_s


def _still(own: HalfDoubt, rise_k: float, dt_s: float, *, same: bool) -> HalfDoubt:
    """Follow a reading that does not move."""
    if same:
        return replace(own, same_s=own.same_s + dt_s, same_heat=own.same_heat + rise_k)
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
        weak = min(part, WEAK_MOST) if part > WEAK_FROM else 0.0
    return replace(own, full=full, full_short=lost, weak=weak)


def _needs(given: Given, weak: tuple[float, float]) -> tuple[float, float]:
    """Return the duty that holds each setpoint at rest, as the heaters are and the supply allows.

    Above 1: that many times what there is.
    """
    if given.setpoints_c is None:
        return 0.0, 0.0
    upper, lower = (
        half.loss_k_per_s(max(setpoint_c - given.room_c, 0.0)) / (half.rise_k_per_s * (1.0 - short))
        for half, setpoint_c, short in zip(
            given.thermal.halves(), given.setpoints_c, weak, strict=True
        )
    )
    both = (upper + lower) / given.cap if given.cap > 0.0 else 0.0
    return max(upper, both), max(lower, both)


def _doubted(now: Suspicion, given: Given, limits: _Limits) -> Suspicion:
    """Judge the accounts; a doubt begins them anew."""
    doubt = _swapped(now, early=True) if given.thermal.trusted else None
    for index in (0, 1):
        if doubt is None:
            doubt = _of_half(now, index, limits, given)
    if doubt is not None:
        upper, lower = (_anew(own) for own in now.halves())
        return replace(now, upper=upper, lower=lower, apart_square=0.0, doubt=doubt, doubt_s=0.0)
    if now.doubt is not None and now.doubt_s > DOUBT_S:
        return replace(now, doubt=None)
    return now


def _anew(own: HalfDoubt) -> HalfDoubt:
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


def _of_half(
    now: Suspicion,
    index: int,
    limits: _Limits,
    given: Given,
) -> Doubt | None:
    own, other = now.halves()[index], now.halves()[1 - index]
    name, rate = ("upper", "lower")[index], given.thermal.halves()[index].rise_k_per_s
    last_c = own.last_c or 0.0
    moved = own.same_s >= SAME_MOVES_S and abs(own.same_heat) > SAME_MOVES_K
    longest_s = max(SAME_S, SAME_LONGER * own.same_most_s)
    still = own.same_s > longest_s and now.watched_s > SAME_LEARN_S
    if given.thermal.trusted and (moved or still):
        return Doubt(Fault.SENSOR_STUCK, name, abs(own.same_heat), own.same_s)
    cold, below_k = own.cold_c < given.room_c + COLD_K, own.cold_c - last_c
    if not given.thermal.trusted and cold:
        if below_k > COARSE_K and own.full > COARSE_FALL_HEAT:
            return Doubt(Fault.SENSOR_REVERSED, name, below_k, own.missing_s)
        due_k = max(COARSE_PART * rate * own.full, COARSE_K)
        if own.full > COARSE_HEAT and -below_k < due_k:
            return Doubt(Fault.NO_RISE, name, rate * own.full + below_k, own.missing_s)
    short = own.missing > limits.missing
    # A wrong reading of the other half makes this one seem wrong too, by what they exchange.
    others = OTHERS if other.missing > OTHERS_FROM else 1.0
    extra = own.extra > limits.extra * others
    if (short or extra) and given.thermal.trusted and (swapped := _swapped(now, early=False)):
        return swapped
    more = short and limits.fine and own.missing_part > PART_SENSOR * own.missing_of
    if more or own.fallen > limits.fallen + FALLEN_NOISE_K / rate:
        if not (cold and below_k > 0.0):
            return Doubt(Fault.SENSOR_LOOSE, name, own.fallen_from_c - last_c, own.fallen_s)
        short = True
    if short and cold and below_k > REVERSED_K:
        return Doubt(Fault.SENSOR_REVERSED, name, below_k, own.missing_s)
    if short and own.missing_part > PART_NONE * own.missing_of:
        return Doubt(Fault.NO_RISE, name, own.missing_part * rate, own.missing_s)
    clear = max(other.missing, other.coupled, other.extra) < OTHERS_FROM
    clear = clear and (other.last_c or 0.0) > other.cold_c - REVERSED_K / 3.0
    if own.coupled > limits.coupled and clear:
        return Doubt(Fault.NO_RISE, name, own.coupled * rate, own.missing_s)
    if extra:
        return Doubt(Fault.HEATS_UNASKED, name, own.extra * rate, own.extra_s)
    return None


def _swapped(now: Suspicion, *, early: bool) -> Doubt | None:
    """Say whether each half answers to the other's heat.

    The surprise of each is held against how much more heat the other half got: 1 is all of it.
    """
    if now.apart_square < (SWAPPED_EARLY if early else SWAPPED_LEAST):
        return None
    parts = [own.across / now.apart_square for own in now.halves()]
    if min(parts) > SWAPPED_PART:
        return Doubt(Fault.SWAPPED, "both", 0.0, now.watched_s)
    return None
