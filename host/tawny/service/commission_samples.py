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
from tawny.core.names import Half
from tawny.core.record import CommissionedHalf
from tawny.core.snapshot import Code
from tawny.link.requests import HEAT_UP_LEAST_S, HEAT_UP_MOST_S

_DRIFT_S: Final = 20.0
_MEAN_S: Final = 5.0
_DRIFT_LINES: Final = 150  # 5 a second, and some
_WRAP_MS: Final = 1 << 16


class _Both(NamedTuple):
    at_s: float
    upper_c: float
    lower_c: float


class _Heating(NamedTuple):
    """One half's time of full heat, on the board's clock."""

    begin_s: float  # of what belongs to it
    on_s: float = math.nan
    off_s: float = math.nan
    delivered_s: float = 0.0


class Samples:
    """Both halves' temperatures since the first measurement began."""

    def __init__(self) -> None:
        self._all: list[_Both] = []
        self._heatings: dict[Half, _Heating] = {}
        self._delivered_ms: dict[Half, int] = {}

    def take(self, tele: m.Tele, board_ms: int) -> None:
        """Keep one line of telemetry."""
        upper_c, lower_c = reading_c(tele, Half.UPPER), reading_c(tele, Half.LOWER)
        if tele.l == "none":
            lower_c = upper_c  # one zone: no other half to give heat to
        if math.isfinite(upper_c) and math.isfinite(lower_c):
            self._all.append(_Both(board_ms / 1000.0, upper_c, lower_c))
        for half, now_ms in ((Half.UPPER, tele.uo), (Half.LOWER, tele.lo)):
            heating = self._heatings.get(half)
            before_ms = self._delivered_ms.get(half, now_ms)
            self._delivered_ms[half] = now_ms
            if heating is not None and not math.isnan(heating.on_s) and math.isnan(heating.off_s):
                given_s = ((now_ms - before_ms) % _WRAP_MS) / 1000.0
                self._heatings[half] = heating._replace(delivered_s=heating.delivered_s + given_s)

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

    def begin(self, half: Half, board_ms: int) -> None:
        """A half is measured anew; what came before does not belong to it."""
        self._heatings[half] = _Heating(board_ms / 1000.0)

    def heat_on(self, half: Half, board_ms: int) -> None:
        """Its full heat begins."""
        self._heatings[half] = self._heatings[half]._replace(
            on_s=board_ms / 1000.0, delivered_s=0.0
        )

    def heat_off(self, half: Half, board_ms: int) -> Code | None:
        """Its full heat ends; return why it cannot be used."""
        heating = self._heatings[half]._replace(off_s=board_ms / 1000.0)
        self._heatings[half] = heating
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
        full = min(heating.delivered_s / (heating.off_s - heating.on_s), 1.0)
        return fit_half(
            self._own(half), on_s=heating.on_s, off_s=heating.off_s, full=full, room_c=room_c
        )

    def _own(self, half: Half) -> list[Sample]:
        begin_s = self._heatings[half].begin_s
        upper = half is Half.UPPER
        return [
            Sample(
                one.at_s,
                one.upper_c if upper else one.lower_c,
                one.lower_c if upper else one.upper_c,
            )
            for one in self._all
            if one.at_s >= begin_s
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
