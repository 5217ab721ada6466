"""The owner's clock: counts suspend, in whole milliseconds, at the pace of a simulated board."""

from __future__ import annotations

import time


class HostClock:
    """Milliseconds on a clock that never steps and goes on while the computer sleeps.

    Args:
        pace: Simulated seconds for each second of the world; 1 for a real press.
    """

    def __init__(self, pace: float = 1.0) -> None:
        """Begin near the boot clock, so that two runs never share a moment."""
        self.pace = pace
        self._start_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
        self._start_utc_ms = time.time_ns() // 1_000_000

    def now_ms(self) -> int:
        """Return the host clock now."""
        passed_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME) - self._start_ns
        return int((self._start_ns + passed_ns * self.pace) // 1_000_000)

    def utc_ms(self, host_ms: int) -> int:
        """Return the wall time that goes with a moment of the host clock.

        Live it is the wall clock itself, which may be stepped; at another pace it runs from
        the start at that pace.
        """
        if self.pace == 1.0:
            return time.time_ns() // 1_000_000 + host_ms - self.now_ms()
        return self._start_utc_ms + host_ms - self._start_ns // 1_000_000
