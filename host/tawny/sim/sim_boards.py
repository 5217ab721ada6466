"""Simulated boards, one after each reset, with the memory that outlasts them."""

from __future__ import annotations

from typing import Final

from tawny.core.names import ResetCause
from tawny.sim.board import Board
from tawny.sim.boards import Read, Shown
from tawny.sim.build import Build
from tawny.sim.commission import Measure
from tawny.sim.memory import Memory

WATCH_MS: Final = 1000  # its contactor moves with a pass or a request only


class SimBoard(Board):
    """A simulated board as the world sees it."""

    watch_ms = WATCH_MS

    def delivered(self, now_ms: int) -> tuple[float, float]:
        """Return the on-time of each heater since the start, in ms, up to a moment."""
        self.output.account(now_ms)
        return self.output.delivered_ms

    def shown(self) -> Shown:
        """Return what it shows now."""
        latch = self.memory.contents.latch
        return Shown(self.state.value, latch.value, self.lamp, self.voice.sound, self.voice.hot)


class SimBoards:
    """Simulated boards with one memory.

    Args:
        build: What is compiled in and fitted.
        memory: What lasts through resets.
    """

    def __init__(self, build: Build, memory: Memory) -> None:
        self._build = build
        self._memory = memory

    def knows_a_mould(self) -> bool:
        """Return whether anything is stored of any mould."""
        return bool(self._memory.contents.slots)

    def commission(self, measured: Measure, slot: int) -> None:
        """Store what commissioning measured and use it."""
        self._memory.commission(measured, slot)

    def start(
        self, read: Read, cause: ResetCause, *, clock_ms: int, inputs: int, selftest_fails: bool
    ) -> SimBoard:
        """Start a new board."""
        return SimBoard(
            self._build,
            self._memory,
            read,
            cause=cause,
            clock_ms=clock_ms,
            inputs=inputs,
            selftest_fails=selftest_fails,
        )
