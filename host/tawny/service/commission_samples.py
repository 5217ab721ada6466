"""The temperatures of a commissioning, and what is read out of them."""

from __future__ import annotations

import math
from statistics import fmean
from typing import Final, NamedTuple

from tawny.core import messages as m
from tawny.core.commission import (
    DELIVERED_LEAST,
    TOO_STRONG_K_PER_S,
    USUAL_PART,
    Plan,
    reading_c,
)
from tawny.core.commission_fit import RISE_LEAST_K, Fit, Sample, fit_half, heat_up_s
from tawny.core.loop.identify import Row
from tawny.core.names import Half
from tawny.core.record import CommissionedHalf
from tawny.core.snapshot import Code
from tawny.link.requests import HEAT_UP_LEAST_S, HEAT_UP_MOST_S

_DRIFT_S: Final = 20.0
_MEAN_S: Final = 5.0
_DRIFT_LINES: Final = 150  # 5 a second, and some
_WRAP_MS: Final = 1 << 16
_BREAK_S: Final = 3.0  # a longer stretch without temperatures is not bridged


class _Both(NamedTuple):
    at_s: float
    upper_c: float
    lower_c: float
    on_s: tuple[float, float]


class _Heating(NamedTuple):
    """One half's time of full heat, on the samples' clock.

    Attributes:
        begin_s, end_s: Of what belongs to it.
        read: Something was read out of it.
        broken: The board started again, or was not heard, before that: nothing can be.
    """

    begin_s: float
    end_s: float = math.inf
    on_s: float = math.nan
    off_s: float = math.nan
    delivered_s: float = 0.0
    read: bool = False
    broken: bool = False


class Samples:
    """Both halves' temperatures since the first telemetry.

    Times are of one clock that only runs forwards, over restarts of the board too.
    """

    def __init__(self) -> None:
        self._all: list[_Both] = []
        self._boot = -1
        self._heatings: dict[Half, _Heating] = {}
        self._delivered_ms: dict[Half, int] = {}
        self._on_s = [0.0, 0.0]

    def take(self, tele: m.Tele, at_ms: int, boot: int) -> None:
        """Keep one line of telemetry.

        Args:
            tele: The line.
            at_ms: Its moment.
            boot: Which start of the board it belongs to.
        """
        if boot != self._boot or self._silent_s(at_ms) > _BREAK_S:
            self._break()
            self._delivered_ms.clear()  # a board that started again counts anew
            self._boot = boot
        upper_c, lower_c = reading_c(tele, Half.UPPER), reading_c(tele, Half.LOWER)
        if tele.l == "none":
            lower_c = upper_c  # one zone: no other half to give heat to
        for index, (half, now_ms) in enumerate(((Half.UPPER, tele.uo), (Half.LOWER, tele.lo))):
            heating = self._heatings.get(half)
            before_ms = self._delivered_ms.get(half, now_ms)
            self._delivered_ms[half] = now_ms
            self._on_s[index] += ((now_ms - before_ms) % _WRAP_MS) / 1000.0
            if heating is not None and not math.isnan(heating.on_s) and math.isnan(heating.off_s):
                given_s = ((now_ms - before_ms) % _WRAP_MS) / 1000.0
                self._heatings[half] = heating._replace(delivered_s=heating.delivered_s + given_s)
        if math.isfinite(upper_c) and math.isfinite(lower_c):
            on_s = (self._on_s[0], self._on_s[1])
            self._all.append(_Both(at_ms / 1000.0, upper_c, lower_c, on_s))

    def _silent_s(self, at_ms: int) -> float:
        return at_ms / 1000.0 - self._all[-1].at_s if self._all else 0.0

    def _break(self) -> None:
        """End what was read out already before this moment; what was not must begin anew."""
        last_s = self._all[-1].at_s if self._all else 0.0
        for half, one in self._heatings.items():
            self._heatings[half] = one._replace(
                end_s=min(one.end_s, last_s), broken=one.broken or not one.read
            )

    @property
    def drift_k(self) -> float:
        """How far the half that moves more did so in the last 20 s; NaN before there are so many.

        Between means of 5 s, for single readings are noisy.
        """
        if not self._all or self._all[-1].at_s - self._all[0].at_s < _DRIFT_S:
            return math.nan
        last_s = self._all[-1].at_s
        recent = [one for one in self._all[-_DRIFT_LINES:] if last_s - one.at_s <= _DRIFT_S]
        early = [one for one in recent if last_s - one.at_s >= _DRIFT_S - _MEAN_S]
        late = [one for one in recent if last_s - one.at_s <= _MEAN_S]
        if not early:
            return math.nan
        return max(
            abs(fmean(one.upper_c for one in late) - fmean(one.upper_c for one in early)),
            abs(fmean(one.lower_c for one in late) - fmean(one.lower_c for one in early)),
        )

    def begin(self, half: Half, at_ms: int) -> None:
        """A half is measured anew; what came before does not belong to it."""
        self._heatings[half] = _Heating(at_ms / 1000.0)

    def heat_on(self, half: Half, at_ms: int) -> None:
        """Its full heat begins."""
        self._heatings[half] = self._heatings[half]._replace(on_s=at_ms / 1000.0, delivered_s=0.0)

    def heat_off(self, half: Half, at_ms: int) -> Code | None:
        """Its full heat ends; return why it cannot be used."""
        heating = self._heatings[half]._replace(off_s=at_ms / 1000.0)
        self._heatings[half] = heating
        if heating.broken:
            return Code("no_fit", {"half": half.value})
        share = heating.delivered_s / max(heating.off_s - heating.on_s, 1e-3)
        if not share >= DELIVERED_LEAST:
            return Code("not_full", {"half": half.value, "percent": round(100.0 * share)})
        own = [one for one in self._own(half) if heating.on_s <= one.at_s]
        if not own or not own[-1].own_c - own[0].own_c >= RISE_LEAST_K:
            return Code("too_little", {"half": half.value, "least_k": RISE_LEAST_K})
        return None

    def fit(self, half: Half, room_c: float) -> Fit | None:
        """Return what was found of a half; None where its samples do not carry a fit."""
        heating = self._heatings[half]
        if heating.broken:
            return None
        self._heatings[half] = heating._replace(read=True)
        full = min(heating.delivered_s / (heating.off_s - heating.on_s), 1.0)
        return fit_half(
            self._own(half), on_s=heating.on_s, off_s=heating.off_s, full=full, room_c=room_c
        )

    def stretches(self) -> tuple[tuple[Row, ...], ...]:
        """Return what is to be fitted: both halves while each was measured, the breaks left out."""
        return tuple(
            tuple(
                Row(one.at_s, (one.upper_c, one.lower_c), one.on_s)
                for one in self._all
                if heating.begin_s <= one.at_s <= heating.end_s
            )
            for heating in self._measured()
        )

    def _measured(self) -> list[_Heating]:
        """Return the heatings, each until the next one begins."""
        found = sorted(self._heatings.values(), key=lambda one: one.begin_s)
        ends_s = [one.begin_s for one in found[1:]] + [math.inf]
        return [
            one._replace(end_s=min(one.end_s, end_s))
            for one, end_s in zip(found, ends_s, strict=True)
            if not one.broken
        ]

    def _own(self, half: Half) -> list[Sample]:
        heating = self._heatings[half]
        upper = half is Half.UPPER
        return [
            Sample(
                one.at_s,
                one.upper_c if upper else one.lower_c,
                one.lower_c if upper else one.upper_c,
            )
            for one in self._all
            if heating.begin_s <= one.at_s <= heating.end_s
        ]


def judge_fit(
    half: Half, fit: Fit | None, plan: Plan, *, share: float, room_c: float
) -> CommissionedHalf | Code:
    """Return what is stored of a half, or why it cannot be.

    Args:
        half: Which.
        fit: What was found.
        plan: What the settings say of the mould.
        share: Of full duty that it gets when both halves heat up.
        room_c: Of the room.
    """
    if fit is None:
        return Code("no_fit", {"half": half.value})
    if not fit.rise_k_per_s <= TOO_STRONG_K_PER_S:
        return Code(
            "too_strong",
            {
                "half": half.value,
                "rise_mk": _mk(fit.rise_k_per_s),
                "most_mk": _mk(TOO_STRONG_K_PER_S),
            },
        )
    expected = plan.unlimited_k_per_s.get(half)
    if expected is not None:
        part = fit.rise_k_per_s / expected
        if not USUAL_PART[0] <= part <= USUAL_PART[1]:
            return Code(
                "unlike_its_mass",
                {
                    "half": half.value,
                    "rise_mk": _mk(fit.rise_k_per_s),
                    "expected_mk": _mk(expected),
                },
            )
    up_s = heat_up_s(fit, share=share, room_c=room_c, setpoint_c=plan.setpoint_c)
    if not up_s <= HEAT_UP_MOST_S:
        return Code("never_heats_up", {"half": half.value, "setpoint_c": plan.setpoint_c})
    return CommissionedHalf(
        rise_k_per_s=round(fit.rise_k_per_s, 3),
        lag_s=round(fit.lag_s, 1),
        heat_up_s=float(max(round(up_s), HEAT_UP_LEAST_S)),
        loss_per_s=fit.loss_per_s,
    )


def _mk(rise_k_per_s: float) -> int:
    """Return a rise in whole mK/s, as the wire and the form have it."""
    return round(1000.0 * rise_k_per_s)
