"""The board's states and what leads from one to another: section 6.1 of `PROTOCOL.md`."""

from __future__ import annotations

from enum import Enum
from typing import Final

from tawny.core.names import BoardState


class Move(Enum):
    """What can change the board's state."""

    STARTED = "started"  # out of reset
    TESTED = "tested"  # self-test passed, no latch stored
    CLEAR = "clear"  # every condition for ready holds
    NOT_CLEAR = "not_clear"  # one of them does not
    ARM = "arm"  # the right answer, then a press of ARM
    DISARM = "disarm"  # asked, silent, nobody present, full duty too long
    TRIP = "trip"
    RESET = "reset"  # by hand at the board


TABLE: Final = {
    (BoardState.BOOT, Move.STARTED): BoardState.SELFTEST,
    (BoardState.SELFTEST, Move.TESTED): BoardState.LOCKED,
    (BoardState.SELFTEST, Move.TRIP): BoardState.TRIPPED,
    (BoardState.LOCKED, Move.CLEAR): BoardState.READY,
    (BoardState.LOCKED, Move.TRIP): BoardState.TRIPPED,
    (BoardState.READY, Move.ARM): BoardState.ARMED,
    (BoardState.READY, Move.NOT_CLEAR): BoardState.LOCKED,
    (BoardState.READY, Move.TRIP): BoardState.TRIPPED,
    (BoardState.ARMED, Move.DISARM): BoardState.READY,
    (BoardState.ARMED, Move.NOT_CLEAR): BoardState.LOCKED,
    (BoardState.ARMED, Move.TRIP): BoardState.TRIPPED,
    (BoardState.TRIPPED, Move.RESET): BoardState.LOCKED,
}


def after(state: BoardState, move: Move) -> BoardState:
    """Return the next state; a pair that is not in the table changes nothing."""
    return TABLE.get((state, move), state)
