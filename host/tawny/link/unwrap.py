"""The board's clock, which wraps on the wire, made to count on."""

from __future__ import annotations

from typing import Final

_WRAP_MS: Final = 1 << 32
# A step of the board's clock this much longer than the host's own is not a clock that ran
# on: the board started again and its banner was lost. A buffer of the operating system
# holds at most about 6 s of lines, and hands them over at once.
_AHEAD_MOST_MS: Final = 10_000


class BoardClock:
    """The board's milliseconds, unwrapped within one boot, with an eye for a hidden restart."""

    def __init__(self) -> None:
        self._last_ms: int | None = None
        self._at_s = 0.0
        self._unwrapped_ms = 0

    def advance(self, ms: int, now_s: float) -> int | None:
        """Take the next raw time.

        Returns:
            The unwrapped time, or None where the step cannot be the same boot running on;
            the clock then stands as it was.
        """
        if self._last_ms is None:
            self.rebase(ms, now_s)
            return self._unwrapped_ms
        step_ms = (ms - self._last_ms) % _WRAP_MS
        if not step_ms <= 1000.0 * (now_s - self._at_s) + _AHEAD_MOST_MS:
            return None
        self._unwrapped_ms += step_ms
        self._last_ms, self._at_s = ms, now_s
        return self._unwrapped_ms

    def rebase(self, ms: int, now_s: float) -> None:
        """Go on from here: the first line of a boot, or a step that proved to be genuine."""
        self._last_ms, self._at_s = ms, now_s
        self._unwrapped_ms = ms
