"""The press and the mould as settings: ratings, and what commissioning measured."""

from __future__ import annotations

import msgspec

from tawny.core.loop.thermal import Thermal

# A heater behind a lag reaches half of its rise rate after 0.69 of that lag, and its whole
# rise runs one lag late; a pure dead time has both alike. Between the two: 1.3 for the six
# moulds that were modelled.
RAMP_PER_HALF_RISE = 1.3


class HalfModel(msgspec.Struct, frozen=True, kw_only=True):
    """What commissioning measured of one mould half with its heater.

    Attributes:
        rise_k_per_s: Rise at full duty near room temperature (the wire's `r`).
        lag_s: From full duty to half of that rise rate (the wire's `lag`).
        heat_up_s: Commissioned heat-up time to the usual setpoint.
        loss_per_s: Fraction of the excess over the room lost each second.
        heater_w: Rated power of the half's heaters.
        mass_kg: Metal that has to soak.
    """

    rise_k_per_s: float
    lag_s: float
    heat_up_s: float
    loss_per_s: float
    heater_w: float
    mass_kg: float

    def ramp_lag_s(self) -> float:
        """Return by how long the temperature runs behind the heat once it rises evenly."""
        return RAMP_PER_HALF_RISE * self.lag_s


class Mould(msgspec.Struct, frozen=True, kw_only=True):
    """The mould's passport.

    Attributes:
        slot: Where the board keeps its R and lag, 1 to 8.
        area_cm2: Projected area of one cavity.
        rated_kn, rated_c: What the mould may bear, its weakest part.
        thermal: Its thermal model as fitted; None: none was accepted yet.
    """

    name: str
    slot: int
    metal: str
    cavities: int
    area_cm2: float
    upper: HalfModel
    lower: HalfModel
    stops: bool
    vents: int
    rated_kn: float
    rated_c: float
    note: str = ""
    thermal: Thermal | None = None

    def soak_s(self) -> float:
        """Return how long both halves must stay in band before they count as soaked.

        15 s for each kilogram of the heavier half, 30 s to 10 min (common practice: heat
        needs time to spread, more in a thicker half).
        """
        return min(max(15.0 * max(self.upper.mass_kg, self.lower.mass_kg), 30.0), 600.0)


class Press(msgspec.Struct, frozen=True, kw_only=True):
    """The press profile.

    Attributes:
        ram_area_cm2: To turn a gauge reading in bar into a force.
        gauge_unit: What the press gauge is marked in.
        gauge_most: The highest reading anybody may pump to.
        jack_kn, frame_kn: Ratings from the makers' plates.
        supply_w: What both heaters may draw together.
        output: "ssr" or "relay".
        standby_drop_k: How far standby lies below the recipe's setpoints.
        standby_offer_s: Ready and nothing pressed for so long: standby is offered.
        dry_c, dry_hold_s, dry_duty: The last stage of a dry-out, how long it is held, and the
            most duty meanwhile, 0-1.
        first_off: So many pressings of each heat-up are first-off, 0 to 5.
    """

    name: str
    workshop: str
    ram_area_cm2: float
    gauge_unit: str
    gauge_most: float
    jack_kn: float
    frame_kn: float
    supply_w: float
    breaker_a: float
    output: str
    window_s: float
    ambient_c: float = 22.0
    standby_drop_k: float = 40.0
    standby_offer_s: float = 900.0
    dry_c: float = 110.0
    dry_hold_s: float = 3600.0
    dry_duty: float = 0.4
    first_off: int = 1
