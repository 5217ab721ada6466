"""The axes of the trend: which temperatures and which times are written beside it."""

from __future__ import annotations

from dataclasses import dataclass

from tawny.words import numbers

_STEPS_K = (5.0, 10.0, 20.0, 50.0, 100.0)
_STEPS_S = (10, 15, 30, 60, 120, 180, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600)
_ROWS_APART = 2


@dataclass(frozen=True, slots=True)
class Axis:
    """Temperatures over the rows of a plot, each row `down` lines of dots."""

    low_c: float
    high_c: float
    rows: int
    down: int

    def line(self, value_c: float) -> int:
        """Return the line of dots of a temperature, the nearest edge where it is beyond."""
        most = self.rows * self.down - 1
        share = (self.high_c - value_c) / (self.high_c - self.low_c)
        return min(max(round(share * most), 0), most)

    def row(self, value_c: float) -> int:
        """Return the row of a temperature."""
        return self.line(value_c) // self.down

    def labels(self, named_c: tuple[float, ...]) -> dict[int, str]:
        """Return the text of each row that has one: the named temperatures, then round ones."""
        labels: dict[int, str] = {}
        for value_c in named_c:
            if self.low_c <= value_c <= self.high_c:
                labels.setdefault(self.row(value_c), numbers.number(value_c, 0))
        per_row_k = (self.high_c - self.low_c) / self.rows
        step_k = next((s for s in _STEPS_K if s >= _ROWS_APART * per_row_k), _STEPS_K[-1])
        value_c = step_k * (self.low_c // step_k)
        while value_c <= self.high_c:
            row = self.row(value_c)
            apart = all(abs(row - other) >= _ROWS_APART for other in labels)
            if value_c >= self.low_c and apart:
                labels[row] = numbers.number(value_c, 0)
            value_c += step_k
        return labels


def time_labels(
    span_s: float, now_utc_ms: int, *, most: int, relative: bool
) -> list[tuple[float, str]]:
    """Return seconds before now with their label, from the latest to the earliest.

    Args:
        span_s: Time shown.
        now_utc_ms: The time of day at the right edge.
        most: How many labels there is room for.
        relative: "-2:00" before now; otherwise local times of day, such as "14:20".
    """
    step_s = next((s for s in _STEPS_S if s * max(most, 1) >= span_s), _STEPS_S[-1])
    if relative:
        count = int(span_s // step_s)
        return [(n * step_s, numbers.minutes(-n * step_s)) for n in range(1, count + 1)]
    local = numbers.local_time(now_utc_ms)
    into_day_s = local.hour * 3600 + local.minute * 60 + local.second
    offset_s = float(into_day_s % step_s)
    labels = []
    while offset_s <= span_s:
        labels.append((offset_s, numbers.clock(now_utc_ms - offset_s * 1000.0)))
        offset_s += step_s
    return labels


def plot_range(setpoint_c: float, trip_c: float, *, working: bool) -> tuple[float, float]:
    """Return the lower and upper edge of the plot, fixed so that the picture never breathes.

    Args:
        setpoint_c: The recipe's setpoint.
        trip_c: The trip point; the plot reaches a little above it.
        working: The mould is hot and in use; otherwise the plot reaches down to the room's
            temperature, for heating up and cooling down.
    """
    high_c = trip_c + 5.0
    if not working:
        return 0.0, high_c
    return min(setpoint_c - 20.0, high_c - 50.0), high_c
