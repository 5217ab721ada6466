"""The seconds of the trend as columns, fast to cut and to find the extremes of."""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple

from tawny.core.names import Phase
from tawny.core.snapshot import TrendPoint

MOST_POINTS = 36_000  # ten hours of seconds


class Extremes(NamedTuple):
    """Lowest and highest reading of each half between two times; low > high: no reading."""

    upper_low_c: float
    upper_high_c: float
    lower_low_c: float
    lower_high_c: float


class Mark(NamedTuple):
    """Something that happened at a time: a change of phase, or an event's code."""

    host_s: float
    phase: Phase | None
    event: str


class Trace:
    """Points in the order of time.

    An absent reading is +inf in the minima and -inf in the maxima, so that the extremes of
    any stretch are one `min` and one `max` in C.
    """

    def __init__(self, points: Iterable[TrendPoint] = ()) -> None:
        self.host_s = array("d")
        self.setpoint_c = array("d")  # NaN: no heat wanted
        self.lower_setpoint_c = array("d")  # NaN: that of the upper half
        self.trip_c = array("d")
        self.marks: list[Mark] = []
        self._upper_low = array("d")
        self._upper_high = array("d")
        self._lower_low = array("d")
        self._lower_high = array("d")
        self._phase: Phase | None = None
        self.extend(points)

    def replace(self, points: Iterable[TrendPoint]) -> None:
        """Begin anew with the history of an owner: its clock may have started again."""
        Trace.__init__(self, points)

    def __len__(self) -> int:
        return len(self.host_s)

    def extend(self, points: Iterable[TrendPoint]) -> None:
        """Add points; one that is not later than the last is left out."""
        for point in points:
            if not self.host_s or point.host_s > self.host_s[-1]:
                self._append(point)
        if len(self.host_s) > MOST_POINTS:
            self._forget(len(self.host_s) - MOST_POINTS * 9 // 10)

    def _append(self, point: TrendPoint) -> None:
        self.host_s.append(point.host_s)
        self.setpoint_c.append(_number(point.setpoint_c, math.nan))
        self.lower_setpoint_c.append(_number(point.lower_setpoint_c, math.nan))
        self.trip_c.append(point.trip_c)
        self._upper_low.append(_number(point.upper_min_c, math.inf))
        self._upper_high.append(_number(point.upper_max_c, -math.inf))
        self._lower_low.append(_number(point.lower_min_c, math.inf))
        self._lower_high.append(_number(point.lower_max_c, -math.inf))
        changed = self._phase is not None and point.phase is not self._phase
        if changed or point.event:
            phase = point.phase if changed else None
            self.marks.append(Mark(point.host_s, phase, point.event))
        self._phase = point.phase

    def _forget(self, count: int) -> None:
        for column in (
            self.host_s,
            self.setpoint_c,
            self.lower_setpoint_c,
            self.trip_c,
            self._upper_low,
            self._upper_high,
            self._lower_low,
            self._lower_high,
        ):
            del column[:count]
        first_s = self.host_s[0]
        self.marks = [mark for mark in self.marks if mark.host_s >= first_s]

    def find(self, host_s: float, start: int = 0) -> int:
        """Return the index of the first point at or after a time."""
        return bisect_left(self.host_s, host_s, start)

    def extremes(self, start: int, stop: int) -> Extremes:
        """Return the extremes of the points from `start` up to, not including, `stop`."""
        if stop - start == 1:
            return Extremes(
                self._upper_low[start],
                self._upper_high[start],
                self._lower_low[start],
                self._lower_high[start],
            )
        return Extremes(
            min(self._upper_low[start:stop], default=math.inf),
            max(self._upper_high[start:stop], default=-math.inf),
            min(self._lower_low[start:stop], default=math.inf),
            max(self._lower_high[start:stop], default=-math.inf),
        )


def _number(value: float | None, absent: float) -> float:
    return value if value is not None and math.isfinite(value) else absent
