"""Cells of RAM that do not keep what is written, and bits of flash that turn over."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import pytest

from image_code import symbol
from image_rig import DRIVES, HEATERS, quiet, shared_heating, split
from image_start import Found, look, new_board
from tawny.core import messages as m
from tawny.errors import LinkError
from tawny.sim.chip import CYCLES_PER_MS, Chip, ResetFlag

PASS_MS: Final = 50
MARCH_MS: Final = 60
# What a board may say of itself that cannot be armed; `boot` and `selftest` where its last good
# line was said before its test had ended.
UNFIT: Final = ("tripped", "dead", "boot", "selftest", "simulator died")
_DIED: Final = "the copy died"


def stuck_at(address: int, bit: int, value: int) -> Callable[[Chip], None]:
    """Return what holds one bit of a cell; to be called after each instruction."""

    def hold(chip: Chip) -> None:
        now = chip.call("peek", address)
        chip.call("poke", address, now & ~(1 << bit) | value << bit)

    return hold


def shared(address: int, other: int) -> Callable[[Chip], None]:
    """Return what makes two addresses one cell."""
    before = -1

    def hold(chip: Chip) -> None:
        nonlocal before
        first, second = chip.call("peek", address), chip.call("peek", other)
        now = second if first == before else first
        chip.call("poke", address, now)
        chip.call("poke", other, now)
        before = now

    return hold


def march(hold: Callable[[Chip], None]) -> Found:
    """Reset a board whose RAM has a fault until its march over the RAM has ended."""
    board = new_board()
    board.advance(600)
    chip = board.chip
    end = symbol(chip.image, "march_end")
    chip.call("reset", ResetFlag.EXTERNAL)
    stop = chip.cycle + MARCH_MS * CYCLES_PER_MS
    while chip.call("counter") != end:
        assert chip.cycle < stop
        chip.run(chip.cycle + 1)
        hold(chip)
    return look(board)


def slice_over(address: int, bit: int, value: int) -> list[object]:
    """Let the running test come to a cell that has just stuck; return state and pins after it."""
    host = shared_heating()
    chip = host.chip
    at = symbol(chip.image, "ram_at")
    host.live(PASS_MS - chip.peek("board_ms", 4) % PASS_MS - 1, step_ms=1)
    chip.call("poke", at, address & 0xFF)
    chip.call("poke", at + 1, address >> 8)
    hold = stuck_at(address, bit, value)
    stop = chip.cycle + 5 * CYCLES_PER_MS
    while chip.cycle < stop:
        hold(chip)
        chip.run(chip.cycle + 1)
    host.strict = False
    host.live(500)
    tele = host.last(m.Tele)
    return [tele.st, tele.fo, sum(host.level(pin) for pin in DRIVES)]


def pointer(chip: Chip, name: str) -> int:
    """Return two bytes of a variable."""
    at = symbol(chip.image, name)
    return chip.call("peek", at) | chip.call("peek", at + 1) << 8


def walk(for_ms: int) -> set[int]:
    """Return the addresses of RAM that the running test comes to in a time."""
    board = new_board()
    board.advance(2000)
    seen = set()
    for _ in range(for_ms // PASS_MS):
        board.advance(board.now_ms + PASS_MS)
        seen.add(pointer(board.chip, "ram_at"))
    return seen


def heater_cycles(chip: Chip) -> list[int]:
    """Return for how many cycles each heater has been on."""
    return [chip.call("on_cycles", pin) for pin in HEATERS]


def flipped_start(address: int, bits: int) -> list[object]:
    """Start a board with bits of its flash turned over.

    Returns:
        What came of it: `tripped`, `dead`, or what state it believes in; and whether any heater was
        on while the contactor's enable circuit let it in.
    """
    quiet()
    board = new_board()
    chip = board.chip
    chip.call("flip_flash", address, bits)
    before = heater_cycles(chip)
    try:
        found = look(board)
    except LinkError:
        found = None
    heats = heater_cycles(chip) != before and bool(chip.call("enable_changed"))
    if found is None:
        return ["dead", heats]
    if found.state == "tripped" and found.latch == "selftest":
        return ["tripped", heats]
    return [found.state or "dead", heats]


def try_bit(address: int, bit: int) -> tuple[str, bool]:
    """Return what came of a bit: of some that lead nowhere the simulator itself dies."""
    try:
        state, heats = split(lambda: flipped_start(address, 1 << bit))
    except pytest.fail.Exception as lost:
        if _DIED not in str(lost):
            raise
        return "simulator died", False
    return str(state), bool(heats)


def flipped_while_running(address: int, within_ms: int) -> float:
    """Turn a bit of flash over right after it was tested; return when the board trips, in ms."""
    board = new_board()
    board.advance(2000)
    chip = board.chip
    before, now = address, pointer(chip, "flash_at")
    while not (before <= address < now or now < before <= address):
        board.advance(board.now_ms + PASS_MS)
        before, now = now, pointer(chip, "flash_at")
        assert board.now_ms < within_ms
    chip.call("flip_flash", address, 0x10)
    began = board.now_ms
    board.take()
    while board.now_ms < began + within_ms:
        board.advance(board.now_ms + 1000)
        if board.shown().state == "tripped":
            assert board.shown().first_out == "selftest"
            return board.now_ms - began
    return float("inf")
