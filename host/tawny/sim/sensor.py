"""The thermocouple as its converter's register: noise, then the chip's own sum and steps."""

from __future__ import annotations

import math
import random
from enum import StrEnum
from functools import cache
from typing import Final

from tawny.core import converter, thermocouple

COLD_ABOVE_ROOM_K: Final = 4.0  # a chip in a closed box
COLD_SWING_K: Final = 1.5
COLD_PERIOD_MS: Final = 5_400_000.0
_COLD_EACH_MS: Final = 1000

_LEAST_C: Final = -100
_MOST_C: Final = 700


class SensorFault(StrEnum):
    """What is wrong with a thermocouple."""

    GOOD = "good"
    OPEN = "open"  # a wire is broken: the chip says so
    SHORTED = "shorted"  # shorted at the terminals: reads the cold junction, no bit set
    DETACHED = "detached"  # hangs in the air beside the mould
    STUCK = "stuck"  # the register does not change any more
    REVERSED = "reversed"  # falls while the mould is heated


class Converter:
    """One thermocouple with its converter.

    Args:
        noise_k: Standard deviation of a reading before its rounding.
        room_c: Of the room; the chip sits a little above it and drifts slowly.
        source: Where the noise comes from; the drift's phase too.
    """

    def __init__(self, *, noise_k: float, room_c: float, source: random.Random) -> None:
        self.fault = SensorFault.GOOD
        self._noise_k = noise_k
        self._source = source
        self._middle_c = room_c + COLD_ABOVE_ROOM_K + source.uniform(-0.5, 0.5)
        self._phase = source.uniform(0.0, math.tau)
        self._raw = 0
        self._cold_until_ms = -1
        self._cold_c = self._middle_c
        self._cold_mv = 0.0

    def read(self, tip_c: float, now_ms: int) -> int:
        """Return the register for a true temperature of the tip."""
        if self.fault is SensorFault.STUCK:
            return self._raw
        if now_ms >= self._cold_until_ms:
            self._drift(now_ms)
        across_mv = _emf_mv(tip_c + self._source.gauss(0.0, self._noise_k)) - self._cold_mv
        if self.fault is SensorFault.REVERSED:
            across_mv = -across_mv
        elif self.fault is SensorFault.SHORTED:
            across_mv = 0.0
        self._raw = converter.encode(
            self._cold_c + across_mv / converter.SLOPE_MV_PER_K,
            self._cold_c,
            converter.Fault.OPEN if self.fault is SensorFault.OPEN else converter.Fault.GOOD,
        )
        return self._raw

    def _drift(self, now_ms: int) -> None:
        """Let the chip's own temperature follow its slow swing, once a second."""
        angle = self._phase + math.tau * now_ms / COLD_PERIOD_MS
        self._cold_c = self._middle_c + COLD_SWING_K * math.sin(angle)
        self._cold_mv = _emf_mv(self._cold_c)
        self._cold_until_ms = now_ms + _COLD_EACH_MS


@cache
def _table() -> list[float]:
    return [thermocouple.emf_mv("K", float(t)) for t in range(_LEAST_C, _MOST_C + 1)]


def _emf_mv(temperature_c: float) -> float:
    """Return the type K voltage between whole degrees by a straight line, within 0.0001 K."""
    above = min(max(temperature_c, _LEAST_C), _MOST_C - 1e-9) - _LEAST_C
    index = int(above)
    table = _table()
    low = table[index]
    return low + (table[index + 1] - low) * (above - index)
