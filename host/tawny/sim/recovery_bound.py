"""The shortest recovery from a charge: what a benchmark of the temperature loop compares with.

A linear programme chooses both duties of every 2 s, within their limits, knowing all that will
come. It stands on the linearised mould, taken as differences from a course of the mould itself
with its charge; that course is then run anew with the duties found, until both agree.
"""

from __future__ import annotations

import math
from typing import Final

import msgspec

from tawny.sim.charge_cycle import LYING_S, Cycle, duty_steps, hold_duties, simulate
from tawny.sim.mould import STEP_S
from tawny.sim.mould_rest import Pair
from tawny.sim.parameters import MouldModel
from tawny.sim.recovery_programme import Programme, Solution

BAND_K: Final = 1.0
_ROUNDS: Final = 15  # most agree after two to four; halves that exchange much take longer
_AGREED_K: Final = 0.02
_FEASIBLE_K: Final = 0.001  # what the solver's own tolerance may leave


class RecoveryBound(msgspec.Struct, frozen=True, kw_only=True):
    """The shortest recovery from one opening and its charge.

    Attributes:
        time_s: From closing until both tips are within 1 K of setpoint and stay so until the end
            of the hold; infinity: not within the hold.
        dip_k: Lowest deviation of a tip in that course, 0 or below.
        end_k: Larger deviation of both tips at the end of the hold, without its sign; where
            `time_s` is infinity, the least that can be had.
        highest_k: Highest deviation of a tip in that course.
        starts_s: When each stretch of constant duties begins, from closing on.
        duties: Of both halves in each.
        agreed_k: By how much linear and physical mould still differ in that course.
    """

    time_s: float
    dip_k: float
    end_k: float
    highest_k: float
    starts_s: tuple[float, ...]
    duties: tuple[Pair, ...]
    agreed_k: float


def recovery_bound(
    model: MouldModel,
    setpoints_c: Pair,
    *,
    open_s: float,
    hold_s: float,
    residue_g: float,
    water_g: float,
    cup_c: float,
    lying_s: float = LYING_S,
) -> RecoveryBound:
    """Return the shortest recovery after closing on a charge.

    From opening on no tip is ever more than 1 K above setpoint, so that nothing can be gained
    by overheating beforehand.

    Args:
        model: The mould, at rest at its setpoints when it is opened.
        setpoints_c: Of the tips, without noise.
        open_s: From opening to closing.
        hold_s: From closing to the end.
        residue_g: Dry material of the charge; 0: no charge.
        water_g: All water in it.
        cup_c: Temperature of the charge before.
        lying_s: How long before closing the charge is put on the lower surface.
    """
    cycle = Cycle(setpoints_c, open_s, hold_s, residue_g, water_g, cup_c, lying_s)
    programme = Programme(model, cycle, BAND_K)
    upper, lower = hold_duties(model, setpoints_c)
    duties = [
        (min(max(upper, 0.0), stretch.most), min(max(lower, 0.0), stretch.most))
        for stretch in duty_steps(cycle)
    ]
    course = simulate(model, cycle, duties)
    guess, agreed_k = None, math.inf
    for _ in range(_ROUNDS):
        programme.about(duties, course)
        guess, solution = _shortest(programme, guess)
        duties = solution.duties
        course = simulate(model, cycle, duties)
        agreed_k = programme.differs_k(solution, course)
        if agreed_k < _AGREED_K:
            break
    return RecoveryBound(
        time_s=math.inf if guess is None else programme.times_s[guess],
        dip_k=min(0.0, *map(min, course)),
        end_k=max(map(abs, course[-1])),
        highest_k=max(max(pair) for pair in course),
        starts_s=tuple(stretch.start * STEP_S for stretch in duty_steps(cycle)),
        duties=tuple(duties),
        agreed_k=agreed_k,
    )


def _shortest(programme: Programme, guess: int | None) -> tuple[int | None, Solution]:
    """Return the first moment from which both tips can stay in the band, and a course for it.

    Args:
        programme: What is possible.
        guess: Where that moment was before.
    """
    last = len(programme.times_s) - 1
    low, high = -1, last + 1  # impossible, possible: neither tried
    trial, width = (last // 2, last) if guess is None else (guess, 2)
    while high - low > 1:
        if programme.least_excess_k(trial) <= _FEASIBLE_K:
            high, further = trial, trial - width
        else:
            low, further = trial, trial + width
        width *= 2
        trial = further if low < further < high else (low + high) // 2
    if high > last:
        return None, programme.least_dip(last)
    return high, programme.least_dip(high)
