"""The thermal model of a mould: two halves, each a heater, a body and a cavity surface.

    heater   lag * dx/dt = u(t - dead time) - x                     x: heat that arrives, 0-1
    body     (1 - s) db/dt = R x - loss(t) - K (b - t)
    surface        s dt/dt = K (b - t) - G (t - other) - R q         q: taken by a charge

All per heat capacity of the half: R is in K/s, s the share of the metal that is surface, and K
follows from the time in which body and surface even out. The thermocouple is taken to show the
surface, `dead_time_s` late. The radiation of the outside makes the loss rise faster than the
excess over the room, hence its second term.
"""

from __future__ import annotations

import math

import msgspec

SURFACE_SHARE = 0.3  # of the metal; heating alone does not show it, only charges do
SPREAD_LEAST_S = 2.0
HEATER_LEAST_S = 1.0
LAG_MOST_S = 1000.0  # of each; nothing that is heated in a press is slower
RISE_MOST_K_PER_S = 20.0
RATE_MOST_PER_S = 1.0  # of losses and exchange


class HalfThermal(msgspec.Struct, frozen=True, gc=False, kw_only=True, forbid_unknown_fields=True):
    """One half.

    Attributes:
        rise_k_per_s: R, at full duty without loss.
        heater_lag_s: Of the heaters behind the duty.
        spread_lag_s: In which body and surface even out.
        dead_time_s: Of the thermocouple, its own lag included.
        loss_per_s: Share of the excess over the room lost each second, near the room.
        loss_rise_per_s_k: What that share gains with each kelvin of excess.
        exchange_per_s: Share of the difference to the other half given each second, mould closed.
        surface_share: Share of the metal that is surface.
    """

    rise_k_per_s: float
    heater_lag_s: float
    spread_lag_s: float
    dead_time_s: float
    loss_per_s: float
    loss_rise_per_s_k: float
    exchange_per_s: float
    surface_share: float = SURFACE_SHARE

    def spread_k_per_s(self) -> float:
        """Return K, what crosses from body to surface for each kelvin, in K/s per K."""
        return self.surface_share * (1.0 - self.surface_share) / self.spread_lag_s

    def lag_s(self) -> float:
        """Return by how long the surface runs behind the heat once it rises evenly."""
        return self.heater_lag_s + self.spread_lag_s + self.dead_time_s

    def loss_k_per_s(self, excess_k: float) -> float:
        """Return the loss at an excess over the room, as a fall without heat."""
        return excess_k * (self.loss_per_s + self.loss_rise_per_s_k * excess_k)

    def coast_k(self) -> float:
        """Return by how much the half rises after full duty ends, nothing lost."""
        return self.rise_k_per_s * self.lag_s()

    def sound(self) -> bool:
        """Say whether it can be controlled with: finite, with a rise and lags as metal has them."""
        numbers = (
            self.rise_k_per_s,
            self.heater_lag_s,
            self.spread_lag_s,
            self.dead_time_s,
            self.loss_per_s,
            self.loss_rise_per_s_k,
            self.exchange_per_s,
            self.surface_share,
        )
        return (
            all(map(math.isfinite, numbers))
            and self.rise_k_per_s > 0.0
            and self.heater_lag_s >= HEATER_LEAST_S
            and self.spread_lag_s >= SPREAD_LEAST_S
            and min(numbers) >= 0.0
            and self.rise_k_per_s <= RISE_MOST_K_PER_S
            and max(self.heater_lag_s, self.spread_lag_s, self.dead_time_s) <= LAG_MOST_S
            and max(self.loss_per_s, self.loss_rise_per_s_k, self.exchange_per_s) <= RATE_MOST_PER_S
            and 0.0 < self.surface_share < 1.0
        )


class Thermal(msgspec.Struct, frozen=True, gc=False, kw_only=True, forbid_unknown_fields=True):
    """Both halves, and whether it was fitted to what this mould did.

    Attributes:
        trusted: Fitted and accepted. Else it is a guess from R and lag, and the loop runs safe.
        heat_ups: How many heat-ups have refined it since it was commissioned.
    """

    upper: HalfThermal
    lower: HalfThermal
    trusted: bool = False
    heat_ups: int = 0

    def halves(self) -> tuple[HalfThermal, HalfThermal]:
        """Return upper and lower."""
        return self.upper, self.lower
