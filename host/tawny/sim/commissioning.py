"""Commissioning heat: one half, a hand on the button, section 6.8 of `PROTOCOL.md`."""

from __future__ import annotations

from tawny.sim.limits import (
    COMMISSIONING_MOST_TENTHS,
    COMMISSIONING_MS,
    COMMISSIONING_RISE_MS,
    COMMISSIONING_RISE_TENTHS,
    PASS_MS,
)


class Commissioning:
    """Which half is heated by hand, since when, and how it answers.

    Attributes:
        half: 0 upper, 1 lower, None while no commissioning heat runs.
    """

    def __init__(self) -> None:
        self.half: int | None = None
        self._expires_ms = 0
        self._press_ms: int | None = None  # the first heat of this press of ARM
        self._heated_ms: dict[int, int] = {}  # of each half heated in this press, in steps of 120 s
        self._since_tenths: dict[int, int] = {}

    def is_used_up(self, now_ms: int) -> bool:
        """Return whether this press of ARM has had its 10 min."""
        return self._press_ms is not None and now_ms - self._press_ms >= COMMISSIONING_MS

    def take(self, now_ms: int, half: int, tenths: int, expires_ms: int) -> bool:
        """Heat a half, or go on heating it; return whether it is its first in this press."""
        begins = half not in self._heated_ms
        if begins:
            self._heated_ms[half], self._since_tenths[half] = 0, tenths
        self.half = half
        self._expires_ms = expires_ms
        if self._press_ms is None:
            self._press_ms = now_ms
        return begins

    def end(self, *, released: bool = False) -> None:
        """Stop; `released`: the button came up, so that a new press counts anew."""
        self.half = None
        if released:
            self._press_ms = None
            self._heated_ms.clear()

    def is_over(self, now_ms: int, tenths: int | None) -> bool:
        """Return whether the heat that runs must end now."""
        return (
            now_ms >= self._expires_ms
            or self.is_used_up(now_ms)
            or tenths is None
            or tenths >= COMMISSIONING_MOST_TENTHS
        )

    def does_not_rise(self, half: int, tenths: int) -> bool:
        """Count a pass of heat; return whether 120 s of it have brought a half less than 2 K.

        Pauses of the heat and that of the other half change nothing: a line that comes late
        must not put the question off for ever.
        """
        self._heated_ms[half] += PASS_MS
        if self._heated_ms[half] < COMMISSIONING_RISE_MS:
            return False
        risen = tenths - self._since_tenths[half]
        self._heated_ms[half], self._since_tenths[half] = 0, tenths
        return risen < COMMISSIONING_RISE_TENTHS
