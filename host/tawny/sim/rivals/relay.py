"""A rival that finds its own gains: a relay first, then Tyreus-Luyben for good."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from tawny.core.tuning_rules import Tuning, Ultimate, relay_gain, tyreus_luyben_pid
from tawny.sim.rivals.pair import Reading
from tawny.sim.rivals.simple import BareLoop, Filter, tuned

HYSTERESIS_K: Final = 0.25
FILTER_S: Final = 2.0  # else noise of 0.3 K would switch the relay at a slow crossing
CENTRED_CYCLES: Final = 2  # after each of these the relay moves to the duty that holds
SETTLING_CYCLES: Final = 1
MEASURED_CYCLES: Final = 3
BIAS_LEAST: Final = 0.05
SETPOINT_MOVED_K: Final = 0.5
TOO_WEAK_K: Final = 5.0  # so far below setpoint a centred relay is not what holds


class _Swing(NamedTuple):
    """One cycle of the oscillation."""

    period_s: float
    amplitude_k: float
    mean_duty: float


class RelayTuned:
    """One half: a relay about the setpoint, which heats it up too, then a controller it tunes.

    The relay begins between off and full on; after each of the first cycles it moves to the
    mean duty of the cycle, so that it swings to both sides alike, as its theory asks.

    Attributes:
        tuning: What the oscillation came to; None until it is known.
    """

    def __init__(self) -> None:
        self.tuning: Tuning | None = None
        self._loop: BareLoop | None = None
        self._filter = Filter(FILTER_S)
        self._setpoint_c = 0.0
        self._restart()

    def duty(self, reading: Reading) -> float:
        """Return one of the relay's two duties, or what the tuned controller says."""
        if self._loop is None:
            self._relay(reading)
        # Looked at again: the last cycle may just have ended.
        return self._output() if self._loop is None else self._loop.duty(reading)

    def _output(self) -> float:
        return self._bias + (self._step if self._on else -self._step)

    def _restart(self) -> None:
        self._on = True
        self._bias = self._step = 0.5
        self._swings: list[_Swing] = []
        self._begin_cycle(None)

    def _begin_cycle(self, now_ms: int | None) -> None:
        self._began_ms = now_ms
        self._disturbed = False
        self._high_c, self._low_c = -math.inf, math.inf
        self._given_s = 0.0

    def _relay(self, reading: Reading) -> None:
        value_c = self._filter.filtered_c(reading)
        moved = not abs(reading.setpoint_c - self._setpoint_c) <= SETPOINT_MOVED_K
        if moved or (self._swings and value_c < reading.setpoint_c - TOO_WEAK_K):
            self._restart()
            self._setpoint_c = reading.setpoint_c
        self._disturbed = self._disturbed or reading.duty_most < 1.0
        self._high_c = max(self._high_c, value_c)
        self._low_c = min(self._low_c, value_c)
        self._given_s += reading.dt_s * self._output()
        if self._on and value_c >= reading.setpoint_c + HYSTERESIS_K:
            self._on = False
        elif not self._on and value_c <= reading.setpoint_c - HYSTERESIS_K:
            self._on = True
            self._end_cycle(reading.now_ms)

    def _end_cycle(self, now_ms: int) -> None:
        """Take a whole cycle, from one switching on to the next, and begin another."""
        if self._began_ms is not None and not self._disturbed and now_ms > self._began_ms:
            period_s = (now_ms - self._began_ms) / 1000.0
            amplitude_k = (self._high_c - self._low_c) / 2.0
            self._swings.append(_Swing(period_s, amplitude_k, self._given_s / period_s))
            if len(self._swings) <= CENTRED_CYCLES:
                self._bias = min(max(self._swings[-1].mean_duty, BIAS_LEAST), 1.0 - BIAS_LEAST)
                self._step = min(self._bias, 1.0 - self._bias)
            if len(self._swings) == CENTRED_CYCLES + SETTLING_CYCLES + MEASURED_CYCLES:
                self._tune(self._swings[-MEASURED_CYCLES:])
        self._begin_cycle(now_ms)

    def _tune(self, swings: list[_Swing]) -> None:
        count = len(swings)
        amplitude_k = sum(swing.amplitude_k for swing in swings) / count
        period_s = sum(swing.period_s for swing in swings) / count
        start = sum(swing.mean_duty for swing in swings) / count
        self.tuning = tyreus_luyben_pid(Ultimate(relay_gain(self._step, amplitude_k), period_s))
        self._loop = tuned(self.tuning, start=start)
