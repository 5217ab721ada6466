"""How one stage of commissioning stands: what its judges have seen, for how long, how lately."""

from __future__ import annotations

from typing import Final

from tawny.core import messages as m
from tawny.core.commission import Sight, Stage
from tawny.core.commission_steps import TRIPPED
from tawny.core.snapshot import Code, Field

SILENT_MOST_S: Final = 3.0  # of telemetry; by then the board has disarmed, and said nothing good
START_MOST_S: Final = 15.0  # a board that starts again, its boot loader, and the greeting


class Watch:
    """One stage, from its beginning.

    What is seen counts by the moments at which telemetry came: time that passes without a line
    shows nothing.

    Args:
        stage: The stage.
        now_ms: When it began.
        before: The line with which it began; None takes the first that comes.
    """

    def __init__(self, stage: Stage, now_ms: int, before: m.Tele | None) -> None:
        self.stage, self.before = stage, before
        self._begin_ms = now_ms
        self._steady_ms: int | None = None
        self._wrong_ms: dict[int, int] = {}

    def stage_s(self, now_ms: int) -> float:
        """Return how long it has lasted."""
        return (now_ms - self._begin_ms) / 1000.0

    def silent(self, heard_ms: int, now_ms: int) -> Code | None:
        """Take it that no fresh line is there; return what that fails.

        Args:
            heard_ms: When the last line of telemetry came.
            now_ms: The time.
        """
        self._steady_ms = None
        self._wrong_ms = {}
        silent_s = (now_ms - max(heard_ms, self._begin_ms)) / 1000.0
        if self.stage.unplugged:
            late = self.stage_s(now_ms) >= self.stage.within_s
        else:
            late = silent_s >= (START_MOST_S if self.stage.restarts else SILENT_MOST_S)
        return Code("no_link") if late else None

    def look(self, sight: Sight, heard_ms: int) -> Code | bool:
        """Judge what a fresh line shows.

        Args:
            sight: What can be seen.
            heard_ms: When its line of telemetry came.

        Returns:
            Why the stage failed, or whether it has passed.
        """
        if self.stage.until is None:
            tripped = sight.tripped and not self.stage.trips
            return Code("tripped", {"first_out": sight.tele.fo}) if tripped else False
        if self.stage.until(sight):
            self._steady_ms = heard_ms if self._steady_ms is None else self._steady_ms
            return heard_ms - self._steady_ms >= 1000.0 * self.stage.steady_s
        self._steady_ms = None
        return self._wrong(sight, heard_ms) or self._late(sight) or False

    def _wrong(self, sight: Sight, heard_ms: int) -> Code | None:
        judges = (*self.stage.wrong, *(() if self.stage.trips else (TRIPPED,)))
        for number, wrong in enumerate(judges):
            if not wrong.judge(sight):
                self._wrong_ms.pop(number, None)
                continue
            since_ms = self._wrong_ms.setdefault(number, heard_ms)
            if heard_ms - since_ms >= 1000.0 * wrong.after_s:
                fields: dict[str, Field] = {"differs": sight.differs or "", "why": sight.refused}
                return Code(wrong.code, fields | {"first_out": sight.tele.fo})
        return None

    def _late(self, sight: Sight) -> Code | None:
        return Code(self.stage.late) if sight.stage_s >= self.stage.within_s else None
