"""The second look at what is read: does the heat that was delivered arrive, all of it, no more?

The accounts say what is missing or too much; here they are judged: which half, and what it means.
With a guessed model only what is coarse counts.
"""

from __future__ import annotations

import math

from msgspec.structs import replace

from tawny.core.loop.accounts import (
    CHARGED,
    DIGITS,
    FORGETS_S,
    GUESSED,
    LEARNED,
    QUIET,
    SAME_S,
    Limits,
    Step,
    account,
    anew,
    smooth,
)
from tawny.core.loop.full import expected
from tawny.core.loop.gains import AWAY_S, STEP_S
from tawny.core.loop.state import Given, Loop, Place
from tawny.core.loop.suspicion import Doubt, Fault, HalfDoubt, Suspicion
from tawny.core.loop.thermal import HalfThermal

TOGETHER_MOST_S = 0.5  # a step so short is judged together with the next
POWER_SHORT_DUTY = 0.97  # at rest: a half that needs more hardly gets there
QUIET_S = 400.0  # after the last opening a mould is judged finely
DOUBT_S = 10.0  # a doubt stands so long after its last sign
FALLEN_NOISE_K = 1.5  # what a reading may seem to have lost of a sudden
# Of the heat, missing: a dead heater makes it 1, and what a half loses beside is in the model.
PART_SENSOR, PART_NONE = 1.5, 0.5  # less than that is a weak heater
OTHERS_FROM, OTHERS = 4.0, 3.0
SAME_LONGER, SAME_LEARN_S = 4.0, 300.0  # than the longest while all was well
SAME_MOVES_K, SAME_MOVES_S = 2.0, 8.0
REVERSED_K = 1.5
ANSWERED_K = 3.0
COLD_K = 25.0  # over the room: nothing to fall from
# With a guessed model, from cold: after so much heat a half has risen by this share at least. A
# dead half that the other one warms well is left to the board and to the deviation.
COARSE_HEAT, COARSE_PART, COARSE_K = 150.0, 0.12, 3.0
COARSE_FALL_HEAT = 30.0
SWAPPED_PART, SWAPPED_LEAST, SWAPPED_EARLY = 0.5, 1.0, 20.0


def suspected(before: Suspicion, loop: Loop, given: Given) -> Suspicion:
    """Return what is suspected after one control step.

    Args:
        before: Before it.
        loop: After the step, for what is expected of a charge.
        given: What the step knew.
    """
    if not (loop.finite and all(one.sound() for one in before.halves())):
        return Suspicion(doubt=before.doubt, doubt_s=before.doubt_s + STEP_S)
    if before.waiting_s == 0.0 and given.dt_s <= TOGETHER_MOST_S:
        return replace(
            before,
            waiting_s=given.dt_s,
            waiting=_delivered(before, given),
            moved=_moved(before, given),
        )
    span_s = before.waiting_s + given.dt_s
    upper_s, lower_s = _delivered(before, given)
    given = given._replace(dt_s=span_s, shares=(upper_s / span_s, lower_s / span_s))
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
    apart = smooth(before.apart, whole[0].arriving - whole[1].arriving, given.dt_s)
    now = []
    for index in (0, 1):
        half = halves[index]
        foreseen = 0.0 if ahead is None else ahead.taken(index, -half.dead_time_s)
        other_c = whole[1 - index].last_c
        now.append(
            account(
                whole[index],
                half,
                Step(
                    given.readings_c[index],
                    given.readings_c[1 - index] if other_c is None else other_c,
                    given.shares[index],
                    foreseen,
                    -apart if index == 0 else apart,
                    -1 if given.registers is None else given.registers[index],
                    moved=before.moved[index],
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
        quiet_s=round(quiet_s, DIGITS),
        watched_s=round(before.watched_s + given.dt_s, DIGITS),
        apart=round(apart, DIGITS),
        apart_square=round(keeps * before.apart_square + apart * apart * given.dt_s, DIGITS),
        doubt=before.doubt,
        doubt_s=round(before.doubt_s + given.dt_s, DIGITS),
        needs=_needs(given, (now[0].weak, now[1].weak)),
    )
    return _doubted(suspicion, given, limits)


def _moved(before: Suspicion, given: Given) -> tuple[bool, bool]:
    if given.registers is None:
        return False, False
    upper, lower = given.registers
    return upper != before.upper.register, lower != before.lower.register


def _delivered(before: Suspicion, given: Given) -> tuple[float, float]:
    upper_s, lower_s = before.waiting
    return upper_s + given.shares[0] * given.dt_s, lower_s + given.shares[1] * given.dt_s


def _limits(given: Given, *, quiet: bool, learned: bool) -> Limits:
    if not given.thermal.trusted:
        return GUESSED if quiet else GUESSED._replace(fallen=math.inf, missing=math.inf)
    if quiet:
        return QUIET
    return LEARNED if learned else CHARGED


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
    return round(max(upper, both), DIGITS), round(max(lower, both), DIGITS)


def _doubted(now: Suspicion, given: Given, limits: Limits) -> Suspicion:
    """Judge the accounts; a doubt begins them anew."""
    doubt = _swapped(now, early=True) if given.thermal.trusted else None
    for index in (0, 1):
        if doubt is None:
            doubt = _of_half(now, index, limits, given)
    if doubt is not None:
        upper, lower = (anew(own) for own in now.halves())
        return replace(now, upper=upper, lower=lower, apart_square=0.0, doubt=doubt, doubt_s=0.0)
    if now.doubt is not None and now.doubt_s > DOUBT_S:
        return replace(now, doubt=None)
    return now


def _of_half(now: Suspicion, index: int, limits: Limits, given: Given) -> Doubt | None:
    own, half = now.halves()[index], given.thermal.halves()[index]
    name = ("upper", "lower")[index]
    trusted = given.thermal.trusted
    doubt = _still(now, own, name) if trusted else _coarse(own, half, name, given)
    if doubt is not None:
        return doubt
    other = now.halves()[1 - index]
    short = own.missing > limits.missing
    # A wrong reading of the other half makes this one seem wrong too, by what they exchange.
    others = OTHERS if other.missing > OTHERS_FROM else 1.0
    extra = own.extra > limits.extra * others
    if (short or extra) and trusted and (swapped := _swapped(now, early=False)):
        return swapped
    if (doubt := _short(own, half, name, limits, given)) is not None:
        return doubt
    if own.coupled > limits.coupled and _beyond_doubt(other):
        return Doubt(Fault.NO_RISE, name, own.coupled * half.rise_k_per_s, own.missing_s)
    if extra:
        return Doubt(Fault.HEATS_UNASKED, name, own.extra * half.rise_k_per_s, own.extra_s)
    return None


def _still(now: Suspicion, own: HalfDoubt, name: str) -> Doubt | None:
    """Judge a register that does not move: where the half must have, or for longer than it does."""
    moved = own.same_s >= SAME_MOVES_S and abs(own.same_heat) > SAME_MOVES_K
    longest_s = max(SAME_S, SAME_LONGER * own.same_most_s)
    if moved or (own.same_s > longest_s and now.watched_s > SAME_LEARN_S):
        return Doubt(Fault.SENSOR_STUCK, name, abs(own.same_heat), own.same_s)
    return None


def _coarse(own: HalfDoubt, half: HalfThermal, name: str, given: Given) -> Doubt | None:
    """Judge a heat-up from cold by what holds for any mould."""
    rise_k = (own.last_c or 0.0) - own.cold_c
    if own.cold_c >= given.room_c + COLD_K:
        return None
    if rise_k < -COARSE_K and own.full > COARSE_FALL_HEAT:
        return Doubt(Fault.SENSOR_REVERSED, name, -rise_k, own.missing_s)
    delivered_k = half.rise_k_per_s * own.full
    if own.full > COARSE_HEAT and rise_k < max(COARSE_PART * delivered_k, COARSE_K):
        return Doubt(Fault.NO_RISE, name, delivered_k - rise_k, own.missing_s)
    return None


def _short(
    own: HalfDoubt, half: HalfThermal, name: str, limits: Limits, given: Given
) -> Doubt | None:
    """Judge heat that is missing: by how much of it, and from where the half began."""
    last_c = own.last_c or 0.0
    short = own.missing > limits.missing
    more = short and limits.fine and own.missing_part > PART_SENSOR * own.missing_of
    fallen = own.fallen > limits.fallen + FALLEN_NOISE_K / half.rise_k_per_s
    below_k = own.cold_c - last_c
    if below_k > 0.0 and own.cold_c < given.room_c + COLD_K:
        # A sensor in the room's air, or beside a dead heater, does not fall below the room.
        if (short or fallen) and below_k > REVERSED_K:
            return Doubt(Fault.SENSOR_REVERSED, name, below_k, own.missing_s)
    elif more or fallen:
        return Doubt(Fault.SENSOR_LOOSE, name, own.fallen_from_c - last_c, own.fallen_s)
    if short and own.missing_part > PART_NONE * own.missing_of:
        return Doubt(Fault.NO_RISE, name, own.missing_part * half.rise_k_per_s, own.missing_s)
    return None


def _beyond_doubt(other: HalfDoubt) -> bool:
    """Say whether the other half's reading can be built on: it has answered to its heat."""
    even = max(other.missing, other.coupled, other.extra) < OTHERS_FROM
    return even and (other.last_c or 0.0) > other.cold_c + ANSWERED_K


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
