"""The drawing of the trend: a trace and a frame to rows of text with their roles.

Pure: no widget, no clock, no colour. Each column of dots spans the lowest to the highest
reading of its time, so that a peak of one sample is never lost. Dots of several lines merge
in a cell; what is drawn later gives the cell its role: setpoint, trip, lower, upper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from tawny.ui.trend_axis import Axis, time_labels
from tawny.ui.trend_data import Mark, Trace

Role = Literal["blank", "axis", "setpoint", "trip", "lower", "upper", "both", "mark"]
Run = tuple[str, Role]

LEFT = 5  # cells of the temperatures
FOOT = 2  # rows under the plot: what happened, and when
JOIN_S = 2.5  # readings further apart are not joined: the board was silent

_DOT = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))  # [x & 1][y & 3]
_BRAILLE = 0x2800
_PLAIN = {"setpoint": "-", "trip": "=", "lower": "l", "upper": "u", "both": "*"}
_RELATIVE_MOST_S = 900.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Which part of the trace goes into which cells.

    Attributes:
        width: Cells, both margins included.
        height: Rows, the two at the foot included.
        span_s: Time shown, ending at `now_s`.
        now_utc_ms: The time of day at `now_s`.
        low_c: Temperature at the lower edge of the plot.
        high_c: Temperature at its upper edge.
        setpoint_c: The setpoint named in the right margin.
        trip_c: The trip point named in the right margin.
        words: What "setpoint", "trip", "now" and each phase are called.
        dots: Braille dots; False draws one character a cell.
    """

    width: int
    height: int
    span_s: float
    now_s: float
    now_utc_ms: int
    low_c: float
    high_c: float
    setpoint_c: float
    trip_c: float
    words: dict[str, str]
    dots: bool = True

    @property
    def right(self) -> int:
        """Cells of the margin that names setpoint and trip."""
        return max(len(self.words["setpoint"]), len(self.words["trip"])) + 1

    @property
    def plot_width(self) -> int:
        """Cells of the plot."""
        return self.width - LEFT - self.right

    @property
    def plot_height(self) -> int:
        """Rows of the plot."""
        return self.height - FOOT


LEAST_WIDTH = 12
LEAST_HEIGHT = 3


def draw(trace: Trace, frame: Frame) -> list[list[Run]]:
    """Return the rows of the trend, each a list of text and role; [] where there is no room."""
    if frame.plot_width < LEAST_WIDTH or frame.plot_height < LEAST_HEIGHT:
        return []
    if not (math.isfinite(frame.now_s) and frame.high_c > frame.low_c and frame.span_s > 0.0):
        return []
    plot = _Plot(frame)
    plot.draw(trace)
    axis = plot.axis
    left = axis.labels((frame.trip_c, frame.setpoint_c))
    names = {axis.row(frame.setpoint_c): frame.words["setpoint"]}
    names[axis.row(frame.trip_c)] = frame.words["trip"]
    rows: list[list[Run]] = []
    for row in range(frame.plot_height):
        label = left.get(row, "").rjust(LEFT - 1) + " "
        name = (" " + names.get(row, "")).ljust(frame.right)
        rows.append([(label, "axis"), *plot.runs(row), (name, "axis")])
    margin = " " * LEFT
    rows.append([(margin, "blank"), (_happenings(trace, plot), "mark")])
    rows.append([(margin, "blank"), (_times(frame), "axis")])
    return rows


class _Plot:
    """The dots of a plot, and which line owns each cell."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.across, self.down = (2, 4) if frame.dots else (1, 1)
        self.columns = frame.plot_width * self.across
        self.axis = Axis(frame.low_c, frame.high_c, frame.plot_height, self.down)
        # Columns stand at whole multiples of their time, so that a dot keeps its readings
        # while the picture moves on.
        self.column_s = frame.span_s / self.columns
        self.last = math.floor(frame.now_s / self.column_s)
        self.bits = [bytearray(frame.plot_width) for _row in range(frame.plot_height)]
        self.owners: list[list[Role]] = [
            ["blank"] * frame.plot_width for _row in range(frame.plot_height)
        ]

    def column_of(self, host_s: float) -> int:
        """Return the column of dots of a time; negative or too large when not shown."""
        return math.floor(host_s / self.column_s) - self.last + self.columns - 1

    def draw(self, trace: Trace) -> None:
        """Draw every line of a trace."""
        first = self.last - self.columns + 1
        start = trace.find(first * self.column_s)
        spans: list[tuple[int, int, int]] = []
        for column in range(self.columns):
            stop = trace.find((first + column + 1) * self.column_s, start)
            if stop > start:
                spans.append((column, start, stop))
            start = stop
        for column, _start, stop in spans:
            self._guide(column, first, trace.setpoint_c[stop - 1], "setpoint", 3)
            self._guide(column, first, trace.lower_setpoint_c[stop - 1], "setpoint", 3)
            self._guide(column, first, trace.trip_c[stop - 1], "trip", 4)
        lower, upper = _Pen("lower", first, dashed=True), _Pen("upper", first, dashed=False)
        for column, at, stop in spans:
            seen = trace.extremes(at, stop)
            since_s, until_s = trace.host_s[at], trace.host_s[stop - 1]
            self._span(lower, column, (seen.lower_low_c, seen.lower_high_c), (since_s, until_s))
            self._span(upper, column, (seen.upper_low_c, seen.upper_high_c), (since_s, until_s))

    def _guide(self, column: int, first: int, value_c: float, role: Role, every: int) -> None:
        if math.isfinite(value_c) and (first + column) % every == 0:
            self._dot(column, self.axis.line(value_c), role)

    def _span(
        self,
        pen: _Pen,
        column: int,
        readings_c: tuple[float, float],
        times_s: tuple[float, float],
    ) -> None:
        low_c, high_c = readings_c
        if low_c > high_c:  # no good reading in this column
            return
        top, bottom = self.axis.line(high_c), self.axis.line(low_c)
        joined = times_s[0] - pen.until_s <= JOIN_S
        start = column
        if joined:
            # Meet the last column's span halfway: no gap in a steep line.
            top, bottom = min(top, pen.bottom + 1), max(bottom, pen.top - 1)
            start = pen.column + 1  # columns narrower than a second carry the line on
        still = joined and (top, bottom) == (pen.top, pen.bottom) and top == bottom
        for x in range(start, column + 1):
            if pen.dashed and still and self.frame.dots and ((pen.first + x) >> 1) & 1:
                continue
            for y in range(top, bottom + 1):
                self._dot(x, y, pen.role)
        pen.column, pen.top, pen.bottom = column, self.axis.line(high_c), self.axis.line(low_c)
        pen.until_s = times_s[1]

    def _dot(self, x: int, y: int, role: Role) -> None:
        row, cell = y // self.down, x // self.across
        self.bits[row][cell] |= _DOT[x % self.across][y % self.down]
        owner = self.owners[row][cell]
        both = role == "upper" and owner in {"lower", "both"}
        self.owners[row][cell] = "both" if both else role

    def runs(self, row: int) -> list[Run]:
        """Return one row of the plot as text with its roles."""
        runs: list[Run] = []
        text: list[str] = []
        role: Role = self.owners[row][0]
        for bits, owner in zip(self.bits[row], self.owners[row], strict=True):
            if owner != role:
                runs.append(("".join(text), role))
                text, role = [], owner
            if not bits:
                text.append(" ")
            else:
                text.append(chr(_BRAILLE | bits) if self.frame.dots else _PLAIN[owner])
        runs.append(("".join(text), role))
        return runs


@dataclass(slots=True)
class _Pen:
    """Where a line was drawn last."""

    role: Role
    first: int
    dashed: bool
    column: int = -1
    top: int = 0
    bottom: int = 0
    until_s: float = -math.inf


def _happenings(trace: Trace, plot: _Plot) -> str:
    """Return the row of phases begun and events, under the times they happened."""
    frame = plot.frame
    tick, breath, alarm = ("╵", "·", "▲") if frame.dots else ("'", ".", "!")
    cells = [" "] * frame.plot_width
    shown = [mark for mark in trace.marks if 0 <= plot.column_of(mark.host_s) < plot.columns]
    free_from = 0
    for mark in shown:
        if mark.phase is None:
            continue
        cell = plot.column_of(mark.host_s) // plot.across
        name = tick + frame.words[mark.phase.value]
        room = _room(shown, mark, plot) - cell
        if cell >= free_from and room >= len(name):
            cells[cell : cell + len(name)] = name
            free_from = cell + len(name) + 1
        else:
            cells[cell] = tick
    for mark in shown:
        if mark.phase is None:
            event = alarm if mark.event.startswith("alarm") else breath
            cells[_beside_name(cells, plot.column_of(mark.host_s) // plot.across, tick)] = event
    return "".join(cells[: frame.plot_width])


def _beside_name(cells: list[str], cell: int, tick: str) -> int:
    """Return the cell of an event: after the name that stands there, if its phase has room."""
    free = cell
    while free < len(cells) and cells[free] != " " and (cells[free] != tick or free == cell):
        free += 1
    return free if free < len(cells) and cells[free] == " " else cell


def _room(shown: list[Mark], mark: Mark, plot: _Plot) -> int:
    """Return the first cell at which the next phase's tick stands."""
    later = (plot.column_of(m.host_s) for m in shown if m.phase and m.host_s > mark.host_s)
    return min((column // plot.across for column in later), default=plot.frame.plot_width)


def _times(frame: Frame) -> str:
    """Return the row of times: minutes before now, or times of day where the span is long."""
    cells = [" "] * (frame.width - LEFT)
    now = frame.words["now"]
    end = frame.plot_width - 1
    taken_from = end - len(now) // 2
    for offset_s, label in time_labels(
        frame.span_s,
        frame.now_utc_ms,
        most=frame.plot_width // 9,
        relative=frame.span_s <= _RELATIVE_MOST_S,
    ):
        centre = end - round(offset_s / frame.span_s * (frame.plot_width - 1))
        at = centre - len(label) // 2
        if at >= 0 and at + len(label) < taken_from:
            cells[at : at + len(label)] = label
    cells[taken_from : taken_from + len(now)] = now
    return "".join(cells)
