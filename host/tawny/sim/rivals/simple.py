"""The two simplest rivals' halves: a thermostat, and simple-pid with gains from anywhere."""

from __future__ import annotations

from typing import Final

from tawny.core.control import BarePid
from tawny.core.tuning_rules import Tuning
from tawny.sim.rivals.pair import Reading

DIFFERENTIAL_K: Final = 2.0  # of a simple capillary or bimetal thermostat: common practice

# What a newcomer copies: the example of simple-pid's own documentation, PID(1, 0.1, 0.05), with
# the output in percent.
EXAMPLE_GAINS: Final = (1.0, 0.1, 0.05)
EXAMPLE_MOST: Final = 100.0

FILTER_PART: Final = 5.0  # of a derivative time; the books give 2 to 20: from memory


class Thermostat:
    """On below its differential about the setpoint, off above it."""

    def __init__(self) -> None:
        self._on = False

    def duty(self, reading: Reading) -> float:
        """Return 0 or 1."""
        if reading.mean_c <= reading.setpoint_c - DIFFERENTIAL_K / 2.0:
            self._on = True
        elif reading.mean_c >= reading.setpoint_c + DIFFERENTIAL_K / 2.0:
            self._on = False
        return 1.0 if self._on else 0.0


class Filter:
    """A first-order lag on the process value.

    Args:
        lag_s: 0 lets it through as it is.
    """

    def __init__(self, lag_s: float) -> None:
        self._lag_s = lag_s
        self._value_c: float | None = None

    def filtered_c(self, reading: Reading) -> float:
        """Return the value behind the lag; the first one as it is."""
        before_c = reading.mean_c if self._value_c is None else self._value_c
        share = reading.dt_s / (self._lag_s + reading.dt_s)
        self._value_c = before_c + share * (reading.mean_c - before_c)
        return self._value_c


class BareLoop:
    """simple-pid on the process value, its clamping the only defence against wind-up.

    It is not told what the press allows at the moment, as a bought controller would not be.

    Args:
        pid: With its gains.
        full: Output that stands for full duty.
        filter_s: Lag of a filter before it, 0 for none: simple-pid has no filter for its
            derivative, which on a sensor's steps would throw the duty from end to end.
    """

    def __init__(self, pid: BarePid, *, full: float = 1.0, filter_s: float = 0.0) -> None:
        self._pid = pid
        self._full = full
        self._filter = Filter(filter_s)

    def duty(self, reading: Reading) -> float:
        """Return what the controller puts out, as a duty."""
        filtered_c = self._filter.filtered_c(reading)
        return self._pid.output(filtered_c, reading.setpoint_c, reading.dt_s) / self._full


def untuned() -> BareLoop:
    """Return the loop of a newcomer."""
    kp, ki, kd = EXAMPLE_GAINS
    return BareLoop(BarePid(kp, ki, kd, most=EXAMPLE_MOST), full=EXAMPLE_MOST)


def tuned(tuning: Tuning, *, start: float = 0.0) -> BareLoop:
    """Return a loop with the gains of a tuning rule.

    Args:
        tuning: The gains; a derivative gets a filter of a fifth of its time.
        start: Duty that the integral begins with.
    """
    pid = BarePid(tuning.kp, tuning.ki, tuning.kd, start=start)
    return BareLoop(pid, filter_s=tuning.derivative_s / FILTER_PART)
