"""The board's receiver and writer of lines, its own C, in the terms of the host's codec."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from c_core import core, defines
from tawny.core import messages as m
from tawny.core.wire_fields import (
    FROM_BOARD,
    TEMP_WORDS,
    TO_BOARD,
    FieldType,
    Hex,
    Kind,
    Temperature,
    Value,
    Word,
)

ffi, lib = core("wire", "wire_write", "wire_table")
DEFINES = defines("wire")
KINDS = TO_BOARD + FROM_BOARD  # in the order of `enum wire_kind`
BAD = DEFINES["WIRE_BAD"]


def numbers_of(field: FieldType, value: Any) -> list[int]:
    """The 32-bit numbers that stand for a field's value in C."""
    if isinstance(field, Word):
        return [field.words.index(value)]
    if isinstance(field, Temperature):
        number = BAD + TEMP_WORDS.index(value) if isinstance(value, str) else value
        return [number & 0xFFFF_FFFF]
    if isinstance(field, Hex) and not field.number:
        number = int(value, 16)
        return [number >> 32, number & 0xFFFF_FFFF] if field.digits > 8 else [number]
    return [value]


def value_of(field: FieldType, number: int) -> Value:
    """A request's value from the number that stands for it in C."""
    if isinstance(field, Word):
        return field.words[number]
    if isinstance(field, Temperature):
        signed = number - 2**32 if number >= 2**31 else number
        return TEMP_WORDS[signed - BAD] if signed >= BAD else signed
    if isinstance(field, Hex) and not field.number:
        return f"{number:0{field.digits}x}"
    return number


def line_of(kind: int, numbers: Iterable[int]) -> Any:
    """A `struct wire_line`."""
    return ffi.new("struct wire_line *", {"kind": kind, "value": list(numbers)})


def write_line(line: Any) -> bytes:
    """What the board sends for a line; empty where it refuses to."""
    most = DEFINES["WIRE_FROM_BOARD_MOST"]
    room = ffi.new("uint8_t[]", b"\xaa" * (most + 96))
    length = lib.wire_write(line, room)
    # What a refused line left behind stays within the buffer, too.
    assert ffi.buffer(room)[most:] == b"\xaa" * 96 + b"\0"
    return bytes(ffi.buffer(room)[:length])


def write(message: m.Message) -> bytes:
    """What the board sends for a message of its own."""
    kind: Kind = next(kind for kind in FROM_BOARD if kind.message is type(message))
    values = [getattr(message, name) for name in message.__struct_fields__]
    numbers: list[int] = []
    for (_, field), value in zip(kind.fields, values, strict=True):
        numbers += numbers_of(field, value)
    return write_line(line_of(KINDS.index(kind), numbers))


def fault_of(raw: bytes) -> str:
    """What is wrong with a line without its LF, in the vectors' words."""
    fault = lib.wire_read(raw + b" ", min(len(raw), 255), ffi.new("struct wire_line *"))
    name = ffi.typeof("enum wire_fault").elements[fault]
    return name.removeprefix("WIRE_FAULT_").removeprefix("WIRE_").lower()


class Receiver:
    """A `struct wire_receiver`."""

    def __init__(self, now_ms: int = 0) -> None:
        self._receiver = ffi.new("struct wire_receiver *")
        self._line = ffi.new("struct wire_line *")
        for memory in (self._receiver, self._line):  # as the board finds it
            ffi.buffer(memory)[:] = b"\xff" * ffi.sizeof(memory[0])
        lib.wire_start(self._receiver, now_ms & 0xFFFF_FFFF)

    def hear(self, data: bytes, now_ms: int = 0) -> list[m.Message]:
        """Give it bytes that come at one moment; return the requests that they complete."""
        now_ms &= 0xFFFF_FFFF
        hear, receiver, line = lib.wire_hear, self._receiver, self._line
        return [self._message() for byte in data if hear(receiver, byte, now_ms, line)]

    def idle(self, now_ms: int) -> None:
        """Let time pass."""
        lib.wire_idle(self._receiver, now_ms & 0xFFFF_FFFF)

    @property
    def bad(self) -> int:
        """Dropped lines."""
        return int(self._receiver.bad)

    @property
    def unknown(self) -> int:
        """Good lines of unknown kind."""
        return int(self._receiver.unknown)

    def count_from(self, bad: int, unknown: int) -> None:
        """Set both counters, so that a test reaches their top."""
        self._receiver.bad = bad
        self._receiver.unknown = unknown

    def _message(self) -> m.Message:
        kind = TO_BOARD[self._line.kind]
        numbers = self._line.value
        return kind.message(
            *(value_of(field, numbers[at]) for at, (_, field) in enumerate(kind.fields))
        )
