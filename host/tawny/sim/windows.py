"""The charge window, and what takes heat away from an armed board without disarming it."""

from __future__ import annotations

from tawny.sim.limits import CHARGE_APART_MS, CHARGE_MS, OPEN_MS


class ChargeWindow:
    """Opened by an announcement, for 60 s, at most once a minute.

    Attributes:
        is_open: As of the last `update`.
    """

    def __init__(self) -> None:
        self.is_open = False
        self._announced_ms: int | None = None

    def announce(self, now_ms: int) -> None:
        """Open it."""
        self._announced_ms = now_ms
        self.is_open = True

    def is_too_soon(self, now_ms: int) -> bool:
        """Return whether another announcement comes within a minute of the last."""
        return self._announced_ms is not None and now_ms - self._announced_ms < CHARGE_APART_MS

    def left_ms(self, now_ms: int) -> int:
        """Return the time to its end, 0 where none is open."""
        if self._announced_ms is None or not self.is_open:
            return 0
        return self._announced_ms + CHARGE_MS - now_ms

    def update(self, now_ms: int) -> None:
        """Close it when its time is over."""
        if self.is_open and self.left_ms(now_ms) <= 0:
            self.is_open = False


class Holds:
    """Why both duties are taken as 0: a fall, or a mould that stands open too long.

    Attributes:
        fallen: Until the next charge or arming.
        open_too_long: Until the mould closes.
    """

    def __init__(self) -> None:
        self.fallen = False
        self.open_too_long = False
        self._open_ms: int | None = None

    @property
    def held(self) -> bool:
        """Either of them holds."""
        return self.fallen or self.open_too_long

    def set_open(self, now_ms: int, *, opened: bool) -> None:
        """The mould switch moved."""
        self._open_ms = now_ms if opened else None
        self.open_too_long = False

    def becomes_too_long(self, now_ms: int) -> bool:
        """Return whether the open mould has just used its 3 min up."""
        if self._open_ms is None or self.open_too_long or now_ms - self._open_ms < OPEN_MS:
            return False
        self.open_too_long = True
        return True
