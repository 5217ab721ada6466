"""The trend that viewers draw: one point a second, least and most of each, for hours."""

from __future__ import annotations

from bisect import bisect_right
from operator import attrgetter
from typing import TYPE_CHECKING

from tawny.core.heat import setpoints_c
from tawny.core.names import Quality
from tawny.core.snapshot import TrendPoint

if TYPE_CHECKING:
    from tawny.core.state import HalfState, State

KEPT_S = 4 * 3600
SPARE_S = 600

_Span = tuple[float, float] | tuple[None, None]
_NOTHING: _Span = (None, None)


class Trend:
    """Gathers samples into seconds on the host's clock.

    One thread adds; others may read, because a list that only grows can be copied meanwhile.
    """

    def __init__(self) -> None:
        """Begin empty."""
        self._points: list[TrendPoint] = []
        self._second = -1
        self._upper = self._lower = _NOTHING
        self._event = ""

    def add(self, state: State, utc_ms: int, event: str = "") -> None:
        """Take in the state after a frame or a tick."""
        second = state.host_ms // 1000
        if second != self._second:
            self._close(state, utc_ms)
            self._second = second
        self._upper = _widened(self._upper, state.upper)
        self._lower = _widened(self._lower, state.lower)
        if event:
            self._event = event

    def _close(self, state: State, utc_ms: int) -> None:
        if self._second >= 0:
            upper_c, lower_c = setpoints_c(state)
            if len(self._points) >= KEPT_S + SPARE_S:
                self._points = self._points[-KEPT_S:]
            self._points.append(
                TrendPoint(
                    host_s=float(self._second),
                    utc_ms=utc_ms,
                    upper_min_c=self._upper[0],
                    upper_max_c=self._upper[1],
                    lower_min_c=self._lower[0],
                    lower_max_c=self._lower[1],
                    setpoint_c=upper_c,
                    trip_c=state.link.trip_c,
                    phase=state.cycle.phase,
                    event=self._event,
                    lower_setpoint_c=None if lower_c == upper_c else lower_c,
                )
            )
        self._upper = self._lower = _NOTHING
        self._event = ""

    def since(self, host_s: float) -> tuple[TrendPoint, ...]:
        """Return the points after a moment; all of them for a negative one."""
        points = self._points[:]
        return tuple(points[bisect_right(points, host_s, key=attrgetter("host_s")) :])


def _widened(span: _Span, half: HalfState) -> _Span:
    value_c = half.value_c
    if value_c is None or half.quality is not Quality.GOOD:
        return span
    least_c, most_c = span
    if least_c is None or most_c is None:
        return value_c, value_c
    if least_c <= value_c <= most_c:
        return span
    return min(least_c, value_c), max(most_c, value_c)
