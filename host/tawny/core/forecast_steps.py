"""Both halves some time ahead, in steps as long as accuracy allows; cheap enough to show.

The model of `loop.thermal` with what the observer believes of it. The law is told by what it
does: the heat that brings a half to rest at its setpoint, as far as the duty allows.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tawny.core.loop.gains import STEP_S
from tawny.core.loop.seen import Seen
from tawny.core.loop.thermal import HalfThermal

_BOTH = (0, 1)
_Pair = tuple[float, float]
_LEAST_RATE = 1e-9


class _Half(NamedTuple):
    """What stays of a half."""

    rise: float  # K/s at full duty, as believed now
    drift: float  # K/s
    drift_excess_k: float | None  # where it was believed; None: it stays
    loss: float
    loss_rise: float
    exchange: float
    share: float
    spread_s: float
    heater_s: float
    pipe_s: float


class Walk:
    """Two halves on their way.

    Attributes:
        surface_c, mean_c: What the thermocouples will show, and the mean of the metal.
        passed_s: Since the beginning.
    """

    def __init__(
        self,
        halves: tuple[HalfThermal, HalfThermal],
        seens: tuple[Seen, Seen],
        *,
        room_c: float,
        shut: bool = True,
        cooling: bool = False,
    ) -> None:
        """Begin at what is believed now.

        Args:
            halves: Their models.
            seens: What is believed of them.
            room_c: Of the room.
            shut: The halves touch.
            cooling: No heat: what nobody ordered is an error of the loss, and fades with it.
        """
        self._fixed = [
            _fixed(half, seen, room_c, cooling=cooling)
            for half, seen in zip(halves, seens, strict=True)
        ]
        self._room_c, self._shut = room_c, shut
        self._arriving = [seen.arriving for seen in seens]
        self._pipe = [
            seen.pending_s() / own.pipe_s if own.pipe_s else 0.0
            for own, seen in zip(self._fixed, seens, strict=True)
        ]
        self._apart_k = [seen.body_c - seen.surface_c for seen in seens]
        self.surface_c = [seen.surface_c for seen in seens]
        self.mean_c = [
            seen.surface_c + (1.0 - own.share) * apart_k
            for own, seen, apart_k in zip(self._fixed, seens, self._apart_k, strict=True)
        ]
        self.passed_s = 0.0
        self._drawn = sum(
            (1.0 - own.share) * own.exchange * own.spread_s / own.share for own in self._fixed
        )
        self.lag_s = max(own.heater_s + own.pipe_s + own.spread_s for own in self._fixed)
        self.fastest_k_per_s = max(own.rise for own in self._fixed)

    def duties_for(self, to_c: _Pair, span_s: float) -> list[float]:
        """Return the duty over a span by which each half peaks at its setpoint.

        Without heat a half rises by what is under way, less what it loses up to its peak: with
        one lag and an even loss that is lag * ln(heat / loss) later.
        """
        wanted = []
        for index in _BOTH:
            own = self._fixed[index]
            lost = self._lost(index)
            hold = lost / own.rise
            under_way_s = own.heater_s * self._arriving[index] + own.pipe_s * self._pipe[index]
            lag_s = own.heater_s + own.pipe_s
            peak_c = self.mean_c[index] + own.rise * (under_way_s - hold * lag_s)
            if 0.0 < hold < self._arriving[index]:
                later_s = (lag_s + own.spread_s) * math.log(self._arriving[index] / hold)
                peak_c -= lost * later_s
            wanted.append(hold + (to_c[index] - peak_c) / (own.rise * max(span_s, STEP_S)))
        return wanted

    def below_k(self, to_c: _Pair) -> float:
        """Return how far the half that is further behind will still land below its setpoint."""
        return max(
            to_c[index]
            - self.mean_c[index]
            - own.rise * (own.heater_s * self._arriving[index] + own.pipe_s * self._pipe[index])
            for index, own in enumerate(self._fixed)
        )

    def go(self, span_s: float, duties: _Pair | list[float]) -> None:
        """Let time pass with a duty of each half."""
        bodies, parts_s = [], []
        for index in _BOTH:
            own = self._fixed[index]
            heat = duties[index]
            if own.pipe_s > 0.0:
                heat, self._pipe[index] = _lagged(heat, self._pipe[index], span_s, own.pipe_s)
            heat, self._arriving[index] = _lagged(heat, self._arriving[index], span_s, own.heater_s)
            excess_k = self.surface_c[index] - self._room_c
            loss_rise = own.loss_rise * abs(excess_k)
            drift = own.drift
            if own.drift_excess_k is not None:
                drift *= excess_k / own.drift_excess_k
            bodies.append(own.rise * heat + drift - excess_k * (own.loss + loss_rise))
            # Within the span the loss changes with the half.
            parts_s.append(_part_s(own.loss + 2.0 * loss_rise, span_s))
        across_k, across_s = self._across(span_s, bodies) if self._shut else (0.0, 0.0)
        for index in _BOTH:
            own = self._fixed[index]
            into_body = bodies[index]
            into_surface = own.exchange * (across_k if index else -across_k)
            self.mean_c[index] += into_body * parts_s[index] + into_surface * across_s
            metal = 1.0 - own.share
            rest_k = (into_body / metal - into_surface / own.share) * own.spread_s
            left = math.exp(-span_s / own.spread_s)
            self._apart_k[index] = rest_k + (self._apart_k[index] - rest_k) * left
            self.surface_c[index] = self.mean_c[index] - metal * self._apart_k[index]
        self.passed_s += span_s

    def _across(self, span_s: float, bodies: list[float]) -> _Pair:
        """Return by how much the surfaces differ over a span, and how long that counts.

        What crosses draws the surfaces together at once and the bodies later. In a span that is
        long beside that, the surfaces differ by what the bodies keep up.
        """
        upper, lower = self._fixed
        now_k = self.surface_c[0] - self.surface_c[1]
        held_k = self.mean_c[0] - self.mean_c[1]
        held_k += bodies[1] * lower.spread_s - bodies[0] * upper.spread_s
        held_k /= 1.0 + self._drawn
        settles_s = min(upper.spread_s, lower.spread_s) / (1.0 + self._drawn)
        now_part = _part_s(1.0 / settles_s, span_s) / span_s
        return (
            held_k + (now_k - held_k) * now_part,
            _part_s((upper.exchange + lower.exchange) / (1.0 + self._drawn), span_s),
        )

    def seens(self) -> tuple[Seen, Seen]:
        """Return what will be believed then, from which another walk may begin."""
        upper, lower = (
            Seen(
                self._arriving[index],
                self.surface_c[index] + self._apart_k[index],
                self.surface_c[index],
            )
            for index in _BOTH
        )
        return upper, lower

    def _lost(self, index: int) -> float:
        own = self._fixed[index]
        excess_k = self.surface_c[index] - self._room_c
        lost = excess_k * (own.loss + own.loss_rise * abs(excess_k)) - own.drift
        if self._shut:
            lost += own.exchange * (self.surface_c[index] - self.surface_c[1 - index])
        return lost


def holding(half: HalfThermal, seen: Seen, to_c: float, other_c: float, room_c: float) -> float:
    """Return the duty that holds a half at a temperature, beyond 1 where it cannot be held."""
    lost = half.loss_k_per_s(to_c - room_c) + half.exchange_per_s * (to_c - other_c)
    return (lost / half.rise_k_per_s - seen.drift) / (1.0 + seen.scale)


def _fixed(half: HalfThermal, seen: Seen, room_c: float, *, cooling: bool) -> _Half:
    drift = half.rise_k_per_s * seen.drift
    excess_k: float | None = None
    if cooling:
        excess_k = max(seen.surface_c - room_c, 1.0)
        # An error of more than half of the loss is none of the loss.
        most = 0.5 * half.loss_k_per_s(excess_k)
        drift = min(max(drift, -most), most)
    return _Half(
        rise=half.rise_k_per_s * (1.0 + seen.scale),
        drift=drift,
        drift_excess_k=excess_k,
        loss=half.loss_per_s,
        loss_rise=half.loss_rise_per_s_k,
        exchange=half.exchange_per_s,
        share=half.surface_share,
        spread_s=half.spread_lag_s,
        heater_s=half.heater_lag_s,
        pipe_s=len(seen.pipe) * STEP_S,
    )


def _part_s(pull_per_s: float, span_s: float) -> float:
    """Return how long a flow counts that its own effect lessens at a rate."""
    if pull_per_s < _LEAST_RATE:
        return span_s
    return -math.expm1(-pull_per_s * span_s) / pull_per_s


def _lagged(given: float, before: float, span_s: float, lag_s: float) -> tuple[float, float]:
    """Return the mean over a span behind a lag, and the value at its end."""
    left = math.exp(-span_s / lag_s)
    mean = given + (before - given) * (1.0 - left) * lag_s / span_s
    return mean, given + (before - given) * left
