"""What must hold before the board is ready, may be reset, or may be heated by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut
from tawny.sim.limits import MIRROR_STEPS, RESET_BELOW_TRIP_TENTHS

if TYPE_CHECKING:
    from tawny.sim.board import Board

TESTING: Final = (BoardState.BOOT, BoardState.SELFTEST)


def why(board: Board) -> str:
    """Return the first reason why the board is not ready, a word of `stat`."""
    inputs = board.inputs
    if board.memory.contents.latch is not FirstOut.NONE:
        return "latched"
    if board.state in TESTING:
        return "selftest"
    if not board.session.token:
        return "session"
    if board.now_ms >= board.good_until_ms:
        return "sensor"
    if inputs & (m.IN_MAINS | m.IN_BUTTON | m.IN_THERMOSTAT) != m.IN_MAINS:
        return _chain_reason(inputs)
    # Just released, the contact still has its 200 ms.
    if inputs & m.IN_CONTACTOR and not board.contactor and not board.mirror:
        return "mirror"
    return "none" if board.mould_is_known else "mould"


def _chain_reason(inputs: int) -> str:
    if not inputs & m.IN_MAINS:
        return "mains"
    return "button" if inputs & m.IN_BUTTON else "thermostat"


def mirror_after(steps: int, *, as_commanded: bool) -> int:
    """Return the steps left to the mirror contact after a pass; 0: settled, or run out.

    A pass that is not as commanded costs twice what one that is brings, so that a contact that
    chatters runs out as well.
    """
    if as_commanded:
        return steps + 1 if steps < 2 * MIRROR_STEPS else 0
    return max(steps - 2, 0)


def may_commission(board: Board) -> bool:
    """Return whether the state allows commissioning heat, and nothing holds heat at 0."""
    return not board.holds.held and (
        board.state is BoardState.READY
        or (board.state is BoardState.LOCKED and why(board) == "mould")
    )


def may_reset(board: Board) -> bool:
    """Return whether a trip's cause is gone and everything is cool and off."""
    contents = board.memory.contents
    cause = contents.latch
    return (
        not board.selftest_fails
        and board.now_ms < board.good_until_ms
        and board.hottest() <= contents.trip_tenths - RESET_BELOW_TRIP_TENTHS
        and board.output.taken == (0, 0)
        and not (cause is FirstOut.CHAIN and board.inputs & m.IN_THERMOSTAT)
        and not (cause is FirstOut.MIRROR and board.inputs & m.IN_CONTACTOR)
    )
