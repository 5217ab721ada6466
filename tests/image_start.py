"""Starts of the compiled image: powered up or reset, then asked what it makes of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, NamedTuple

from board_rig import register_of
from elf_rig import FAST_BYTE, commissioned_eeprom, image_of
from image_rig import CYCLES_PER_MS, DRIVES, driven
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import ResetCause
from tawny.sim.build import Build
from tawny.sim.chip import Chip
from tawny.sim.elf import ElfBoard

STARTED_MS: Final = 1700  # by then the self-test has ended
ANSWER_MS: Final = 150
ROOM_C: Final = 25.0
CAUSES: Final = tuple(ResetCause)


class Found(NamedTuple):
    """What a board says of itself after a start.

    Attributes:
        state: As telemetry has it, "" if there was none.
        latch: First-out.
        cause: Of the start.
        trip: The trip point in force, tenths; 0 if it does not say.
        mould: R, lag and heat-up time of both halves of slot 1.
        driven: Heaters or train moved.
    """

    state: str
    latch: str
    cause: str
    trip: int
    mould: tuple[int, ...]
    driven: bool

    @classmethod
    def of(cls, told: Any) -> Found:
        """Return it as it comes out of a copy of the process."""
        state, latch, cause, trip, mould, moved = told
        return cls(state, latch, cause, trip, tuple(mould), moved)


def new_board(eeprom: bytes | None = None, temperature_c: float = ROOM_C) -> ElfBoard:
    """Return a board that is about to be powered up, commissioned where nothing else is given."""
    build = Build()
    board = ElfBoard(image_of(build), build)
    board.chip.eeprom = commissioned_eeprom(build) if eeprom is None else eeprom
    board.chip.call("set_line", FAST_BYTE)
    raw = register_of(temperature_c)
    board.start(lambda _: raw, ResetCause.POWER, inputs=m.IN_MAINS, selftest_fails=False)
    return board


def restart(board: ElfBoard, cause: ResetCause) -> int:
    """Reset a board at room temperature; return how many of heaters and train are high then."""
    raw = register_of(ROOM_C)
    board.start(lambda _: raw, cause, inputs=m.IN_MAINS, selftest_fails=False)
    return sum(bool(board.chip.call("level", pin)) for pin in DRIVES)


def decoded(said: bytes) -> list[m.FromBoard]:
    """Return the good lines of what was said."""
    found = (wire.decode_from_board(line) for line in said.split(b"\n"))
    return [one for one in found if not isinstance(one, wire.Fault)]


def ask(board: ElfBoard, request: m.ToBoard) -> list[m.FromBoard]:
    """Send a request; return all that is said to it."""
    board.receive(wire.encode(request), board.now_ms)
    board.advance(board.now_ms + ANSWER_MS)
    return decoded(board.take())


def look(board: ElfBoard, for_ms: int = STARTED_MS) -> Found:
    """Let a board that was just reset start, then ask it."""
    board.chip.call("set_line", FAST_BYTE)
    before = driven(board.chip)
    board.take()
    board.advance(board.now_ms + for_ms)
    said = decoded(board.take())
    said += ask(board, m.Hello(1, m.PROTOCOL_MAJOR, "7a3c90de"))
    token = next((one.s for one in said if isinstance(one, m.Here)), "0000")
    said += ask(board, m.LimitsAsk(token, 2)) + ask(board, m.MouldAsk(token, 3, 1))
    tele = [one for one in said if isinstance(one, m.Tele)]
    trips = [one.trip for one in said if isinstance(one, m.Limits)]
    moulds = [one for one in said if isinstance(one, m.Mould)]
    return Found(
        state=tele[-1].st if tele else "",
        latch=tele[-1].fo if tele else "",
        cause=next((one.cause for one in said if isinstance(one, m.Boot)), ""),
        trip=trips[0] if trips and isinstance(trips[0], int) else 0,
        mould=tuple(
            value for one in moulds for value in (one.ur, one.ul, one.uh, one.lr, one.ll, one.lh)
        ),
        driven=driven(board.chip) != before,
    )


def run_to(chip: Chip, address: int, within_ms: float) -> bool:
    """Run until an address is reached; return whether it was."""
    return bool(chip.call("run_to", address, chip.cycle + round(within_ms * CYCLES_PER_MS)))


def run_while(chip: Chip, until: Callable[[], bool], within_ms: float, step: int = 1) -> None:
    """Run by single steps of so many cycles until something is so."""
    stop = chip.cycle + round(within_ms * CYCLES_PER_MS)
    while not until():
        assert chip.cycle < stop
        chip.run(chip.cycle + step)
