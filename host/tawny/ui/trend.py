"""The trend as a widget: strips drawn when the data or the frame change, then kept."""

from __future__ import annotations

from typing import ClassVar

from rich.segment import Segment
from textual.strip import Strip
from textual.widget import Widget

from tawny.core.names import Half, Phase
from tawny.core.snapshot import Snapshot
from tawny.ui.look import WORKING, Look
from tawny.ui.trend_axis import plot_range
from tawny.ui.trend_data import Trace
from tawny.ui.trend_draw import Frame, Run, draw
from tawny.words import _, numbers, sentences

SPANS_S = (300.0, 900.0, 3600.0)
SHIFT_S = 4 * 3600.0
_LATEST_S = 10.0  # a long trend is drawn anew at least this often
_ROLE_CLASS = {
    "blank": "trend--axis",
    "axis": "trend--axis",
    "mark": "trend--axis",
    "setpoint": "trend--setpoint",
    "trip": "trend--trip",
    "upper": "trend--upper",
    "both": "trend--upper",
    "lower": "trend--lower",
}


class Trend(Widget, can_focus=False):
    """Both halves, setpoint and trip point over the last minutes or hours."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(_ROLE_CLASS.values())

    def __init__(self, trace: Trace, *, span_s: float | None = None, id: str) -> None:  # noqa: A002
        super().__init__(id=id)
        self.trace = trace
        self.chosen_s = span_s  # None: what suits the phase
        self._shown: tuple[object, ...] = ()
        self._rows: list[list[Run]] = []
        self._strips: list[Strip] = []
        self._snapshot: Snapshot | None = None
        self._look = Look()

    def show(self, snapshot: Snapshot, look: Look) -> None:
        """Draw anew if a dot would move, and only then."""
        self._snapshot, self._look = snapshot, look
        old = look.old(snapshot)
        column_s = self.span_s / max(self.size.width * 2, 1)
        shown = (
            self._now_s() // min(column_s, _LATEST_S),
            self.span_s,
            old,
            snapshot.phase in WORKING,
            snapshot.setpoint_c,
            _lowest_c(snapshot),
            snapshot.board.trip_c,
        )
        if shown != self._shown:
            self._shown = shown
            self._forget()

    @property
    def span_s(self) -> float:
        """The time shown: a pressing's minutes, or a heat-up's quarter of an hour."""
        if self.chosen_s is not None:
            return self.chosen_s
        working = self._snapshot is None or self._snapshot.phase in WORKING
        return SPANS_S[0] if working else SPANS_S[1]

    def next_span(self) -> None:
        """Show a longer time, or the shortest again."""
        longer = [span_s for span_s in SPANS_S if span_s > self.span_s]
        self.chosen_s = longer[0] if longer else SPANS_S[0]

    def _forget(self) -> None:
        self._strips = []
        self.refresh()

    def on_resize(self) -> None:
        """Draw anew in the new size."""
        self._forget()

    def notify_style_update(self) -> None:
        """Draw anew in the new colours."""
        self._strips = []
        super().notify_style_update()

    def _now_s(self) -> float:
        return self.trace.host_s[-1] if len(self.trace) else 0.0

    def render_line(self, y: int) -> Strip:
        """Return one row, drawing them all when none is kept."""
        if not self._strips:
            self._strips = self._draw()
        if y < len(self._strips):
            return self._strips[y]
        return Strip.blank(self.size.width, self.rich_style)

    def _draw(self) -> list[Strip]:
        width, height = self.size
        snapshot = self._snapshot
        if snapshot is None or not len(self.trace):
            return [Strip.blank(width, self.rich_style)]
        low_c, high_c = plot_range(
            _lowest_c(snapshot), snapshot.board.trip_c, working=snapshot.phase in WORKING
        )
        frame = Frame(
            width=width,
            height=height - 1,
            span_s=self.span_s,
            now_s=self._now_s(),
            now_utc_ms=snapshot.utc_ms,
            low_c=low_c,
            high_c=high_c,
            setpoint_c=snapshot.setpoint_c,
            trip_c=snapshot.board.trip_c,
            words=self._words(snapshot),
            dots=self._look.marks.dots,
        )
        rows = draw(self.trace, frame)
        if not rows:
            return [Strip.blank(width, self.rich_style)]
        return [self._strip(row) for row in (self._legend(width), *rows)]

    def _words(self, snapshot: Snapshot) -> dict[str, str]:
        now = numbers.clock(snapshot.utc_ms) if self._look.old(snapshot) else _("now")
        words = {"setpoint": _("setpoint"), "trip": _("trip"), "now": now}
        for phase in Phase:
            words[phase.value] = sentences.phase_name(phase)
        return words

    def _legend(self, width: int) -> list[Run]:
        upper, lower = ("──", "╌╌") if self._look.marks.dots else ("uu", "ll")
        first, second = sentences.half_name(Half.UPPER), sentences.half_name(Half.LOWER)
        unit = "  °C" if self._look.marks.dots else "   C"
        gap = width - len(unit) - len(first) - len(second) - 9
        return [
            (unit + " " * max(gap, 1), "axis"),
            (f"{upper} ", "upper"),
            (f"{first}  ", "axis"),
            (f"{lower} ", "lower"),
            (second, "axis"),
        ]

    def _strip(self, row: list[Run]) -> Strip:
        segments = [
            Segment(text, self.get_component_rich_style(_ROLE_CLASS[role])) for text, role in row
        ]
        return Strip(segments).adjust_cell_length(self.size.width, self.rich_style)


def _lowest_c(snapshot: Snapshot) -> float:
    """Return the lowest setpoint that the plot has to reach down to."""
    setpoints_c = [snapshot.setpoint_c]
    if snapshot.lower_setpoint_c is not None:
        setpoints_c.append(snapshot.lower_setpoint_c)
    if snapshot.aim is not None:
        setpoints_c += [snapshot.aim.upper_goal_c, snapshot.aim.lower_goal_c]
    return min(setpoints_c)
