"""What the look-out for faults keeps between two control steps, and what it says."""

from __future__ import annotations

import math
from enum import StrEnum

import msgspec


class Fault(StrEnum):
    """What may be wrong; each is an alarm of the same name."""

    SENSOR_LOOSE = "sensor_loose"  # it fell faster than metal cools
    SENSOR_REVERSED = "sensor_reversed"  # it falls while the half is heated
    SENSOR_STUCK = "sensor_stuck"  # it does not move while the half must
    NO_RISE = "no_rise"  # the heat does not arrive: heater open, or sensor not in its place
    HEATS_UNASKED = "heats_unasked"  # more heat than was delivered
    SWAPPED = "halves_swapped"  # each half answers to the other's heat


class Doubt(msgspec.Struct, frozen=True, gc=False):
    """A fault that is suspected.

    Attributes:
        fault: Which.
        half: "upper", "lower" or "both".
        amount_k: What was measured: a fall, a rise that did not come, a rise that nobody ordered.
        span_s: In how long.
    """

    fault: Fault
    half: str
    amount_k: float
    span_s: float


class HalfDoubt(msgspec.Struct, frozen=True, gc=False):
    """The accounts of one half; heat in seconds of full duty.

    Attributes:
        last_c: The reading before; None: there was none.
        register: The sensor's register then; -1: not known.
        late, arriving: Delivered heat behind dead time and heater.
        spread, spread_across: Of the reading, in K/s: behind the metal, its own and the exchange.
        fallen, fallen_from_c, fallen_s: Missing beyond what a dead heater would explain.
        missing, missing_s: Not arrived, beyond what is allowed for.
        coupled: The same, with what the other half gives counted in.
        missing_part, missing_of: The whole of it since it began, and what was delivered then.
        extra, extra_s: Arrived without having been delivered, beyond what is allowed for.
        owed: Missing before, and may still come back out of the metal.
        same_s, same_most_s, same_heat: How long the register has not moved at all, the longest that
            was while all was well, and the rise there should have been.
        cold_c: Reading when the half was last without heat.
        full, full_short: Delivered at much heat, and what of it did not arrive.
        weak: Share of the heat that does not arrive; 0: all does, or not known.
        error: What arrived beyond what was expected, in duty, smoothed.
        across: Sum of its products with how much more heat the other half got.
    """

    last_c: float | None = None
    register: int = -1
    late: float = 0.0
    arriving: float = 0.0
    spread: float = 0.0
    spread_across: float = 0.0
    fallen: float = 0.0
    fallen_from_c: float = 0.0
    fallen_s: float = 0.0
    missing: float = 0.0
    coupled: float = 0.0
    missing_s: float = 0.0
    missing_part: float = 0.0
    missing_of: float = 0.0
    extra: float = 0.0
    extra_s: float = 0.0
    owed: float = 0.0
    same_s: float = 0.0
    same_most_s: float = 0.0
    same_heat: float = 0.0
    cold_c: float = 0.0
    full: float = 0.0
    full_short: float = 0.0
    weak: float = 0.0
    error: float = 0.0
    across: float = 0.0

    def sound(self) -> bool:
        """Say whether every account is a number."""
        total = self.spread + self.spread_across + self.fallen + self.missing + self.coupled
        total += self.missing_part + self.extra + self.owed + self.same_heat + self.full_short
        return math.isfinite(total + self.error + self.across + (self.last_c or 0.0))


class Suspicion(msgspec.Struct, frozen=True, gc=False):
    """Of both halves.

    Attributes:
        upper, lower: The accounts.
        quiet_s: For how long the mould has been shut and empty without a gap.
        watched_s: For how long readings have been looked at.
        apart, apart_square: Upper's heat less the lower's, smoothed, and the sum of its squares.
        doubt: What is suspected now; None: nothing.
        doubt_s: For how long.
        needs: Duty that the setpoints take at rest, upper and lower; 0: none wanted.
        waiting_s, waiting: A step that is judged together with the next, and what was delivered in
            it, in seconds of full duty.
        moved: The registers of that step were not those before it.
    """

    upper: HalfDoubt = HalfDoubt()
    lower: HalfDoubt = HalfDoubt()
    quiet_s: float = 0.0
    watched_s: float = 0.0
    apart: float = 0.0
    apart_square: float = 0.0
    doubt: Doubt | None = None
    doubt_s: float = 0.0
    needs: tuple[float, float] = (0.0, 0.0)
    waiting_s: float = 0.0
    waiting: tuple[float, float] = (0.0, 0.0)
    moved: tuple[bool, bool] = (False, False)

    def halves(self) -> tuple[HalfDoubt, HalfDoubt]:
        """Return upper and lower."""
        return self.upper, self.lower
