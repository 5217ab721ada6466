"""The shortest heat-up that physics allows: what a benchmark of the temperature loop compares with.

Each half has full duty until it is switched off once, so late that its peak is the setpoint
and the band of 1 K. A chain of lags between heater and thermocouple cannot be brought there
sooner: more heat later only raises the peak. A half that is there first is held while it waits.

With a supply cap both halves share the supply in one proportion until the first goes off. With
unequal heaters a share that changes on the way can be quicker by a few percent, so that with a
cap this is a good heat-up rather than a bound.
"""

from __future__ import annotations

import math
from typing import Final

import msgspec

from tawny.sim.heat_up import HeatUp, shares_to_try
from tawny.sim.heat_up_run import BAND_K, NEVER, Outcome, Switching
from tawny.sim.mould_rest import Pair, at_rest
from tawny.sim.parameters import MouldModel

_OFF_S: Final = 0.005  # a switch-off is bisected to this
_STABLE_S: Final = 0.1
_ROUNDS: Final = 8
_BRACKET_S: Final = 0.1  # first guess of how far off a known one is
_ROUNDING_K: Final = 0.05


class HeatUpBound(msgspec.Struct, frozen=True, kw_only=True):
    """The shortest heat-up of a closed, empty mould.

    Where one half pulls the other beyond its band for good, nothing is searched: `time_s` is
    infinity, one of `hold_w` is below 0, and the rest says that no heat was given.

    Attributes:
        time_s: First time at which both tips are within 1 K of their setpoints; infinity: full
            duty never gets them there, or one half pulls the other beyond.
        off_s: When each half is switched off for good; infinity: it needs full duty all along.
        peaks_c: Highest of each tip, setpoint + 1 K where its switch-off decides it.
        share: Duty of the upper half while both heat; the lower has what the supply leaves, at
            most 1.
        given_j: By the heaters until `time_s`; until nothing moves any more where that is
            infinity.
        hold_w: What each half needs to stay at its setpoint beside the other; below 0 where the
            other gives it more than it loses.
        hold_duty: The same as a share of its heater's power: above 1 the heater is too weak, and
            above the model's `supply_cap` in sum the supply is.
    """

    time_s: float
    off_s: Pair
    peaks_c: Pair
    share: float
    given_j: float
    hold_w: Pair
    hold_duty: Pair


def heat_up_bound(
    model: MouldModel, setpoints_c: Pair, start_c: float | None = None
) -> HeatUpBound:
    """Return the shortest heat-up to two setpoints.

    Args:
        model: The mould.
        setpoints_c: What the thermocouples' tips shall read, without noise.
        start_c: Of everything at the start; None: the room.
    """
    rests = at_rest(model, setpoints_c)
    hold_w = (rests[0].power_w, rests[1].power_w)
    hold_duty = (hold_w[0] / model.upper.heater_w, hold_w[1] / model.lower.heater_w)
    if not _holdable(model, setpoints_c):
        start = model.ambient_c if start_c is None else start_c
        return HeatUpBound(
            time_s=math.inf,
            off_s=(0.0, 0.0),
            peaks_c=(start, start),
            share=0.0,
            given_j=0.0,
            hold_w=hold_w,
            hold_duty=hold_duty,
        )
    heat_up = HeatUp(model, setpoints_c, start_c)
    tries = [_tight(heat_up, setpoints_c, share) for share in shares_to_try(model, heat_up)]
    switching, outcome = min(tries, key=lambda one: one[1].reached_s)
    stays = all(
        after_c <= setpoint_c + BAND_K + _ROUNDING_K
        for after_c, setpoint_c in zip(outcome.after_c, setpoints_c, strict=True)
    )
    peaks_c = [max(pair) for pair in zip(outcome.peaks_c, outcome.held_c, strict=True)]
    return HeatUpBound(
        time_s=outcome.reached_s if stays else math.inf,
        off_s=switching.off_s,
        peaks_c=(peaks_c[0], peaks_c[1]),
        share=switching.share,
        given_j=outcome.given_j,
        hold_w=hold_w,
        hold_duty=hold_duty,
    )


def _holdable(model: MouldModel, setpoints_c: Pair) -> bool:
    """Whether each half loses heat at the top of its band, with the other at the bottom."""
    upper_c, lower_c = setpoints_c
    upper, _ = at_rest(model, (upper_c + BAND_K, lower_c - BAND_K))
    _, lower = at_rest(model, (upper_c - BAND_K, lower_c + BAND_K))
    return upper.power_w >= 0.0 and lower.power_w >= 0.0


def _tight(heat_up: HeatUp, setpoints_c: Pair, share: float) -> tuple[Switching, Outcome]:
    """Return the latest switch-offs whose peaks stay within the band, and what comes of them."""
    most_c = (setpoints_c[0] + BAND_K, setpoints_c[1] + BAND_K)
    switching = _first_guess(heat_up, most_c, share)
    for _ in range(_ROUNDS):
        before = switching
        for half in range(2):
            off_s = _latest_off_s(heat_up, switching, half, most_c[half])
            switching = switching._replace(off_s=_with(switching.off_s, half, off_s))
        outcome = heat_up.run(switching)
        # A half that is held while the other still warms it is held so much lower.
        for half in range(2):
            beyond_k = outcome.held_c[half] - most_c[half]
            held_k = switching.held_k[half] - max(0.0, beyond_k)
            held_k = max(-BAND_K, held_k)
            switching = switching._replace(held_k=_with(switching.held_k, half, held_k))
        if _near(switching.off_s, before.off_s, _STABLE_S) and _near(
            switching.held_k, before.held_k, 0.01
        ):
            break
    return switching, heat_up.run(switching)


def _first_guess(heat_up: HeatUp, most_c: Pair, share: float) -> Switching:
    """Return switch-offs equally long before both would be too hot at full duty."""
    switching = Switching((NEVER, NEVER), share, (BAND_K, BAND_K))
    full = [heat_up.run(switching, peak_of=half) for half in range(2)]
    beyond_s = [
        one.ended_s if one.peaks_c[half] > most_c[half] else NEVER for half, one in enumerate(full)
    ]
    low_s, high_s = 0.0, max((one_s for one_s in beyond_s if one_s < NEVER), default=0.0)
    while high_s - low_s > _STABLE_S:
        early_s = (low_s + high_s) / 2.0
        switching = switching._replace(
            off_s=(max(0.0, beyond_s[0] - early_s), max(0.0, beyond_s[1] - early_s))
        )
        peaks = [heat_up.run(switching, peak_of=half).peaks_c[half] for half in range(2)]
        if any(a > b for a, b in zip(peaks, most_c, strict=True)):
            low_s = early_s
        else:
            high_s = early_s
    return switching


def _latest_off_s(heat_up: HeatUp, switching: Switching, half: int, most_c: float) -> float:
    """Return a half's latest switch-off whose first peak is no higher than that."""

    def peak_c(off_s: float) -> float:
        trial = switching._replace(off_s=_with(switching.off_s, half, off_s))
        return heat_up.run(trial, peak_of=half).peaks_c[half]

    if not peak_c(NEVER) > most_c:
        return NEVER
    high_s, width_s = switching.off_s[half], _BRACKET_S
    if high_s == NEVER:
        high_s = 0.0
    while not peak_c(high_s) > most_c:
        high_s += width_s
        width_s *= 2.0
    low_s, width_s = high_s, _BRACKET_S
    while low_s > 0.0 and peak_c(low_s) > most_c:
        high_s, low_s = low_s, max(0.0, low_s - width_s)
        width_s *= 2.0
    while high_s - low_s > _OFF_S:
        middle_s = (low_s + high_s) / 2.0
        if peak_c(middle_s) > most_c:
            high_s = middle_s
        else:
            low_s = middle_s
    return low_s


def _with(pair: Pair, half: int, value: float) -> Pair:
    return (pair[0], value) if half else (value, pair[1])


def _near(one: Pair, other: Pair, most: float) -> bool:
    return all(a == b or math.fabs(a - b) < most for a, b in zip(one, other, strict=True))
