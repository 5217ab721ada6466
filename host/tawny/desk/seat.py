"""Who sits at the desk, and for how long nobody has: pure, with time as an argument."""

from __future__ import annotations

from typing import Final

import msgspec

PRESENT_S: Final = 2.0  # a viewer that draws pings each second


class _Seat(msgspec.Struct, frozen=True):
    holder: str
    seen_s: float  # when somebody was last at the desk
    viewers: int


class Desk:
    """The one seat from which a press is worked.

    One thread changes it; any thread may look, because a look takes one frozen value.

    Args:
        now_s: The time; the desk is empty from now on.
    """

    def __init__(self, now_s: float) -> None:
        self._seat = _Seat("", now_s, 0)

    @property
    def holder(self) -> str:
        """The viewer at the desk, or an empty word."""
        return self._seat.holder

    def empty_s(self, now_s: float) -> float:
        """Return for how long nobody has been at the desk, 0 while somebody is."""
        return _empty_s(self._seat, now_s)

    def look(self, now_s: float) -> tuple[str, float, int]:
        """Return the viewer at the desk, how long it has been empty, and how many watch."""
        seat = self._seat
        return seat.holder, _empty_s(seat, now_s), seat.viewers

    def free(self, now_s: float) -> bool:
        """Say whether one may sit down without taking the desk from anybody present."""
        return self.empty_s(now_s) > 0.0 or not self.holder

    def sit(self, viewer: str, now_s: float) -> None:
        """Put a viewer at the desk, in place of whoever is there."""
        self._seat = _Seat(viewer, now_s, self._seat.viewers)

    def ping(self, viewer: str, now_s: float) -> None:
        """A viewer is alive and drawing."""
        if viewer == self.holder:
            self._seat = _Seat(viewer, now_s, self._seat.viewers)

    def count(self, viewers: int) -> None:
        """So many viewers watch."""
        self._seat = _Seat(self._seat.holder, self._seat.seen_s, viewers)

    def leave(self, viewer: str) -> None:
        """A viewer has gone; the desk is empty since it was last seen there."""
        if viewer == self.holder:
            self._seat = _Seat("", self._seat.seen_s, self._seat.viewers)


def _empty_s(seat: _Seat, now_s: float) -> float:
    silent_s = max(now_s - seat.seen_s, 0.0)
    return 0.0 if seat.holder and silent_s <= PRESENT_S else silent_s
