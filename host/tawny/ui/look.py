"""What a screen knows beside the snapshot: its size, its shapes, and how old its figures are."""

from __future__ import annotations

from dataclasses import dataclass

from tawny.core.names import LinkStatus, Phase
from tawny.core.snapshot import AlarmView, Snapshot
from tawny.ui.digits import Size
from tawny.ui.marks import UNICODE, Marks

SILENT_AFTER_S = 1.5  # without a snapshot for longer, the screen itself says so

# Phases in which the mould is hot and in use.
WORKING = frozenset(
    {
        Phase.SOAK,
        Phase.READY,
        Phase.CLEAN,
        Phase.OIL,
        Phase.FILL,
        Phase.CLOSE,
        Phase.BREATHE,
        Phase.HOLD,
        Phase.RELEASE,
        Phase.OPEN,
        Phase.DEMOULD,
        Phase.PAUSED,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a snapshot is shown.

    Attributes:
        columns: Cells of the screen.
        rows: Rows of the screen.
        marks: The shapes of this terminal.
        silent_s: Time since the last snapshot when it is too long, else None.
        viewer: This viewer's own name at the owner.
        big: Only the sentence and the figure.
    """

    columns: int = 80
    rows: int = 24
    marks: Marks = UNICODE
    silent_s: float | None = None
    viewer: str = ""
    big: bool = False

    @property
    def wide(self) -> bool:
        """Room for the shift beside the pressing."""
        return self.columns >= 110 and self.rows >= 36  # noqa: PLR2004 - 120x40 with some give

    @property
    def narrow(self) -> bool:
        """No room for the whole line of a half beside the figure, but under it."""
        return self.columns < 78 and self.rows >= 19  # noqa: PLR2004 - figure 34, half 42; 4 rows

    @property
    def digits(self) -> Size:
        """The cut of the big figure."""
        if not self.marks.dots:
            return "hash"
        return "large" if self.wide else "small"

    def at_desk(self, snapshot: Snapshot) -> bool:
        """Return whether this viewer sits at the desk."""
        return snapshot.desk_viewer in {"", self.viewer}

    def old(self, snapshot: Snapshot) -> bool:
        """Return whether the figures are no longer fresh."""
        return self.silent_s is not None or snapshot.link.status is not LinkStatus.UP


def deviation_alarm(snapshot: Snapshot, half: str) -> AlarmView | None:
    """Return the alarm that says a half is out of band, if one stands."""
    for alarm in snapshot.alarms:
        if alarm.alarm.startswith("deviation") and alarm.fields.get("half") == half:
            return alarm
    return None
