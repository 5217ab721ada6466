"""The press screen: the same parts in the same places in every phase."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Static

from tawny.core.snapshot import Snapshot
from tawny.ui import banner, figure, keys, lines, rescue, shift, side
from tawny.ui.look import Look
from tawny.ui.marks import Marks
from tawny.ui.text import Part, content, wrap
from tawny.ui.trend import SHIFT_S, Trend
from tawny.ui.trend_data import Trace

if TYPE_CHECKING:
    from textual.app import ComposeResult


class Lines(Static):
    """A few rows of words that are drawn anew only when they change."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 - the framework's name
        super().__init__(id=id, markup=False)
        self.shown: list[list[Part]] | None = None

    def show(self, shown: list[list[Part]], marks: Marks) -> None:
        """Show the rows."""
        if shown != self.shown:
            self.shown = shown
            self.update(content(shown, marks), layout=False)


class Face(Screen[None]):
    """Everything there is to see of one press."""

    def __init__(self, trace: Trace) -> None:
        super().__init__()
        self._trace = trace

    def compose(self) -> ComposeResult:
        """Put every part in its place, for good."""
        yield Lines(id="title")
        with Vertical(id="head"):
            yield Lines(id="status")
            yield Lines(id="banner")
        yield Lines(id="sentence")
        with Horizontal(id="middle"):
            yield Lines(id="figure")
            yield Lines(id="side")
        with Horizontal(id="work"):
            yield Trend(self._trace, id="trend")
            yield Lines(id="rescue")
            with Vertical(id="shift"):
                yield Trend(self._trace, span_s=SHIFT_S, id="shift-trend")
                yield Lines(id="parts")
        yield Lines(id="notice")
        yield Lines(id="actions")

    def _put(self, id_: str, rows: list[list[Part]], look: Look) -> None:
        self.query_one(f"#{id_}", Lines).show(rows, look.marks)

    def show_waiting(self, words: str, look: Look, notice: list[Part]) -> None:
        """Show that there is no owner yet, or no longer."""
        self._put("sentence", [[(line, "strong")] for line in wrap(words, look.columns - 4)], look)
        self._put("notice", [notice] if notice else [], look)
        self._put("actions", keys.rows(keys.waiting(), look), look)

    def show(self, snapshot: Snapshot, look: Look, notice: list[Part]) -> None:
        """Show a snapshot; parts that did not change are left alone."""
        alarm_rows = banner.banner(snapshot, look)
        self._set_classes(snapshot, look, alarmed=bool(alarm_rows))
        self._put("title", [lines.title(snapshot, look)], look)
        self._put("status", [lines.status(snapshot, look), lines.hint(snapshot, look)], look)
        self._put("banner", alarm_rows, look)
        self._put("sentence", lines.sentence(snapshot, look), look)
        self._put("figure", figure.figure(snapshot, look), look)
        beside = self.query_one("#side").size.width or look.columns // 2
        if look.narrow:  # before the layout has followed, too
            beside = look.columns - 4
        self._put("side", side.side(snapshot, look, beside), look)
        below = [notice] if notice else lines.missing(snapshot, look, 2 if look.wide else 1)
        self._put("notice", below, look)
        self._put("actions", keys.rows(keys.shown(snapshot, look), look), look)
        if snapshot.rescue is not None:
            room = self.query_one("#work").size
            cells = room.width - 2 - (self.query_one("#shift").size.width if look.wide else 0)
            card = rescue.rescue(snapshot.rescue, look, cells, room.height)
            self._put("rescue", card, look)
        elif not look.big:
            self.query_one("#trend", Trend).show(snapshot, look)
        if look.wide and not look.big:
            self.query_one("#shift-trend", Trend).show(snapshot, look)
            width = self.query_one("#parts").size.width or 40
            self._put("parts", shift.last_parts(snapshot, look, width), look)

    def _set_classes(self, snapshot: Snapshot, look: Look, *, alarmed: bool) -> None:
        self.set_class(alarmed, "-banner")
        self.set_class(look.wide, "-wide")
        self.set_class(look.narrow, "-narrow")
        self.set_class(look.digits == "hash", "-hash")
        self.set_class(look.big and snapshot.rescue is None, "-big")
        self.set_class(snapshot.rescue is not None, "-rescue")
        self.set_class(look.old(snapshot), "-old")

    def next_window(self) -> None:
        """Show a longer time in the trend, or the shortest again."""
        self.query_one("#trend", Trend).next_span()
