"""What all rivals have in common: one controller per half, and limits that none can leave."""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol

from tawny.sim.heard import Heard


class Rival(Protocol):
    """A controller of both halves."""

    def decide(self, heard: Heard) -> tuple[float, float]:
        """Return the duties of upper and lower half, each 0 to `heard.duty_most`."""
        ...


class Reading(NamedTuple):
    """What the controller of one half sees of a step; all finite."""

    now_ms: int
    mean_c: float
    setpoint_c: float
    duty_most: float
    dt_s: float


class HalfRival(Protocol):
    """A controller of one half."""

    def duty(self, reading: Reading) -> float:
        """Return the duty it would like; what is more than allowed is cut off behind it."""
        ...


class Pair:
    """Two controllers that know nothing of each other.

    Args:
        upper: Of the upper half.
        lower: Of the lower half.
    """

    def __init__(self, upper: HalfRival, lower: HalfRival) -> None:
        self._halves = (upper, lower)

    def decide(self, heard: Heard) -> tuple[float, float]:
        """Return both duties; 0 for a half of which anything is not finite."""
        return self._one(0, heard), self._one(1, heard)

    def _one(self, half: int, heard: Heard) -> float:
        reading = Reading(
            heard.now_ms,
            heard.means_c[half],
            heard.setpoints_c[half],
            heard.duty_most,
            heard.dt_s,
        )
        if not (all(map(math.isfinite, reading)) and reading.dt_s > 0.0):
            return 0.0
        duty = self._halves[half].duty(reading)
        return min(max(duty, 0.0), max(reading.duty_most, 0.0)) if math.isfinite(duty) else 0.0
