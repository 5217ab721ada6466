"""What the world needs of a board, whatever it is made of, and who starts one."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

from tawny.core.names import ResetCause
from tawny.sim.commission import Measure

Read = Callable[[int], int]  # half, 0 upper and 1 lower, to its converter's register


class Shown(NamedTuple):
    """What a board shows of itself, in the wire's words."""

    state: str
    first_out: str
    lamp: str
    sound: str
    hot: bool


class AnyBoard(Protocol):
    """One board from its start to its next reset, on time that is given to it.

    Attributes:
        inputs: Its switches as they stand, bits of `tele.in`.
        watch_ms: How much time may pass between two looks at its contactor.
    """

    inputs: int
    watch_ms: int

    @property
    def contactor(self) -> bool:
        """Whether it lets the contactor in."""

    def advance(self, to_ms: int) -> None:
        """Live up to a moment of its own clock."""

    def receive(self, data: bytes, at_ms: int) -> None:
        """Take bytes from the line at a moment of its own clock."""

    def take(self) -> bytes:
        """Return the bytes that it has sent since the last call."""

    def set_input(self, bit: int, *, on: bool) -> None:
        """Set one switch, a bit of `tele.in`, as it stands from now on."""

    def delivered(self, now_ms: int) -> tuple[float, float]:
        """Return the on-time of each heater since the start, in ms, up to a moment."""

    def shown(self) -> Shown:
        """Return what it shows now."""


class Boards(Protocol):
    """Starts boards of one make; keeps what lasts in between."""

    def knows_a_mould(self) -> bool:
        """Return whether anything is stored of any mould."""

    def commission(self, measured: Measure, slot: int) -> None:
        """Store what commissioning measured and use it."""

    def start(
        self, read: Read, cause: ResetCause, *, clock_ms: int, inputs: int, selftest_fails: bool
    ) -> AnyBoard:
        """Start a board, or the same one again.

        Args:
            read: Reads a converter.
            cause: Why it starts.
            clock_ms: What its clock shows then.
            inputs: Switches as they stand then.
            selftest_fails: The self-test finds something.
        """
