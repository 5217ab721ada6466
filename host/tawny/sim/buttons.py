"""ARM/RESET and NEXT/MARK, as the board sees them go down and come up."""

from __future__ import annotations

from tawny.sim.limits import (
    NEXT_APART_MS,
    NEXT_LEAST_MS,
    RESET_LEAST_MS,
    RESET_MOST_MS,
)


class ArmButton:
    """ARM/RESET. A button that is down when the board starts is stuck until it comes up."""

    def __init__(self) -> None:
        self._down_ms: int | None = None
        self._tripped_then = False

    @property
    def held(self) -> bool:
        """Seen to go down, and not yet up."""
        return self._down_ms is not None

    def press(self, now_ms: int, *, tripped: bool) -> None:
        """It goes down."""
        self._down_ms, self._tripped_then = now_ms, tripped

    def release(self, now_ms: int) -> bool:
        """It comes up; return whether this asks for a reset."""
        down_ms, self._down_ms = self._down_ms, None
        if down_ms is None or not self._tripped_then:
            return False
        return RESET_LEAST_MS <= now_ms - down_ms <= RESET_MOST_MS


class NextButton:
    """NEXT/MARK: completed presses, counted."""

    def __init__(self) -> None:
        self.count = 0
        self._down_ms: int | None = None
        self._last_ms: int | None = None

    def press(self, now_ms: int) -> None:
        """It goes down."""
        self._down_ms = now_ms

    def release(self, now_ms: int) -> None:
        """It comes up."""
        down_ms, self._down_ms = self._down_ms, None
        if down_ms is None or now_ms - down_ms < NEXT_LEAST_MS:
            return
        if self._last_ms is None or now_ms - self._last_ms >= NEXT_APART_MS:
            self.count = (self.count + 1) % 256
            self._last_ms = now_ms
