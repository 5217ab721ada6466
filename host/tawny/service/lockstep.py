"""The owner on a virtual clock: one thread, a fixed order, no waiting.

Used by the headless demo, the tests and the benchmarks; the objects are those of the live
owner. What stands in for the board and the mould is a `Bench`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from tawny.core.framing import Framer
from tawny.core.limits import TICK_MS
from tawny.core.messages import FROM_BOARD_MOST_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.service.press import Press

PASS_MS = 50
PART_WITHIN_MS = 1000


class Bench(Protocol):
    """A board with its mould, on the same virtual clock."""

    def advance(self, to_ms: int) -> None:
        """Let the board and the mould live up to a moment."""

    def receive(self, data: bytes, at_ms: int) -> None:
        """Hand bytes to the board."""

    def take(self) -> bytes:
        """Return what the board has sent since the last call."""


class Lockstep:
    """Drives a press and its bench together, 50 ms at a time.

    Args:
        press: Built with `wire.write` of a `Wire` joined to the same bench.
        bench: The board's side.
        hand: Called each 250 ms with the clock: the person at the press, if there is one.
    """

    def __init__(
        self, press: Press, bench: Bench, *, hand: Callable[[int], None] | None = None
    ) -> None:
        """Begin at 0 ms with the port just opened."""
        self.now_ms = 0
        self._press, self._bench, self._hand = press, bench, hand
        self._framer = Framer(FROM_BOARD_MOST_BYTES)
        press.opened(0)

    def run(self, until: Callable[[], bool], most_s: float) -> bool:
        """Run until something is true, or the simulated time is up; return whether it is."""
        stop_ms = self.now_ms + int(most_s * 1000)
        while not until():
            if self.now_ms >= stop_ms:
                return False
            self.step()
        return True

    def step(self) -> None:
        """Advance both by one pass."""
        self.now_ms += PASS_MS
        now_ms = self.now_ms
        self._bench.advance(now_ms)
        data = self._bench.take()
        if data:
            for line in self._framer.feed(data):
                self._press.line(line, now_ms)
        else:
            self._press.poll(now_ms)
        if now_ms % TICK_MS == 0:
            self._press.tick(now_ms)
            if self._hand is not None:
                self._hand(now_ms)

    def part(self) -> None:
        """Part from the board, and let it answer."""
        self._press.part(self.now_ms)
        stop_ms = self.now_ms + PART_WITHIN_MS
        while not self._press.parted and self.now_ms < stop_ms:
            self.now_ms += PASS_MS
            self._bench.advance(self.now_ms)
            for line in (*self._framer.feed(self._bench.take()), b""):
                self._press.heard_parting(line, self.now_ms)


class Wire:
    """The write end towards a bench."""

    def __init__(self, bench: Bench) -> None:
        """Join a bench; `clock` is set by whoever drives both."""
        self._bench = bench
        self.clock: Callable[[], int] = lambda: 0

    def write(self, data: bytes) -> None:
        """Hand bytes to the board at the present moment."""
        self._bench.receive(data, self.clock())
