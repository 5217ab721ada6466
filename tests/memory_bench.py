"""A board's lasting memory on the bench: its C, an array for the EEPROM, and power that goes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

from eeprom_image import crc8, image

import c_core

BOARD_ID = 0x5448_A1B2_C3D4_0917
HOST_MEMORY = c_core.FIRMWARE.parent / "tests" / "host_memory"
LIMITS = c_core.defines("memory")
BYTES = LIMITS["MEMORY_BYTES"]
SELFTEST = LIMITS["MEMORY_LATCH_SELFTEST"]
TRIP_LEAST, TRIP_MOST = LIMITS["MEMORY_TRIP_LEAST"], LIMITS["MEMORY_TRIP_MOST"]
ENTRIES = LIMITS["MEMORY_LOG_ENTRIES"]
QUEUE = LIMITS["MEMORY_QUEUE"]
SLOTS = range(1, LIMITS["MEMORY_SLOTS"] + 1)
NUMBERS = 65535

# Where the copies stand: first byte and bytes of one copy, its CRC among them.
LATCH_AT, LATCH_BYTES = 1, 2
TRIP_AT, TRIP_BYTES = 5, 3
USED_AT, USED_BYTES = 11, 2
COUNTERS_AT, COUNTERS_BYTES = 15, 7
ID_AT, ID_BYTES = 29, 9
SLOTS_AT, SLOT_BYTES = 48, 13
LOG_AT, ENTRY_BYTES = 256, 12

Half = tuple[int, int, int]  # R in mK/s, lag in tenths of a second, heat-up in seconds
NOTHING: Half = (0, 0, 0)


class Entry(NamedTuple):
    """One entry of the log."""

    number: int
    boot: int
    ms: int
    code: int
    tenths: int


@dataclass(frozen=True)
class Kept:
    """Everything that a start finds."""

    latch: int
    trip: int
    used: int
    boots: int
    operations: int
    board_id: int
    slots: tuple[tuple[Half, Half] | None, ...]
    log: tuple[Entry, ...]


@cache
def library() -> tuple[Any, Any]:
    """Build the memory with its bench; return cffi's `ffi` and the library."""
    return c_core.build(
        [c_core.FIRMWARE / "memory.c", c_core.FIRMWARE / "record.c", HOST_MEMORY / "host_memory.c"],
        [HOST_MEMORY / "host_memory.h"],
    )


class Bench:
    """A board's memory; the content is the factory's unless another is given."""

    def __init__(self, content: bytes | None = None) -> None:
        self.ffi, self.lib = library()
        self.host = self.ffi.new("struct host_memory *")
        self.content = content or image(BOARD_ID)
        self.start()

    @property
    def content(self) -> bytes:
        """The bytes of the EEPROM."""
        return bytes(self.ffi.buffer(self.host.eeprom))

    @content.setter
    def content(self, content: bytes) -> None:
        self.ffi.memmove(self.host.eeprom, content, BYTES)

    @property
    def memory(self) -> Any:
        """The C struct."""
        return self.host.memory

    def start(self) -> None:
        """Reset the board."""
        self.lib.host_memory_start(self.host)

    def step(self) -> int | None:
        """Write one byte; return where, None if nothing waits."""
        return self.host.address if self.lib.host_memory_step(self.host) else None

    def drain(self) -> int:
        """Write all that waits; return how many bytes."""
        return int(self.lib.host_memory_cut(self.host, 10_000, -1))

    def cut(self, whole: int, left: int = -1) -> int:
        """Write so many bytes, then cut the power in the next one; return those written whole."""
        return int(self.lib.host_memory_cut(self.host, whole, left))

    def set_latch(self, latch: int) -> None:
        """Latch a cause, or none."""
        self.lib.host_memory_set_latch(self.host, latch)

    def set_trip(self, tenths: int) -> None:
        """Change the trip point."""
        self.lib.host_memory_set_trip(self.host, tenths)

    def trip(self) -> int:
        """Return the trip point in force."""
        return int(self.lib.memory_trip(self.ffi.addressof(self.memory)))

    def use(self, slot: int) -> None:
        """Use a slot."""
        self.lib.host_memory_use(self.host, slot)

    def count(self) -> None:
        """Count an operation of the contactor."""
        self.lib.host_memory_count(self.host)

    def store(self, slot: int, half: int, values: Half) -> bool:
        """Store one half of a slot."""
        given = self.ffi.new("struct memory_half *", values)
        return bool(self.lib.host_memory_store(self.host, slot, half, given))

    def slot(self, number: int) -> tuple[Half, Half] | None:
        """Read a slot."""
        found = self.ffi.new("struct memory_slot *")
        if not self.lib.host_memory_read_slot(self.host, number, found):
            return None
        return _half(found.half[0]), _half(found.half[1])

    @property
    def in_use(self) -> tuple[Half, Half]:
        """What is judged by: R and lag of the slot in use."""
        return _half(self.memory.slot.half[0]), _half(self.memory.slot.half[1])

    def log(self, ms: int, code: int, tenths: int) -> Entry:
        """Add an entry; return it with its number."""
        number = self.lib.host_memory_log(self.host, ms, code, tenths)
        return Entry(number, self.memory.boots, ms, code, tenths)

    def entry(self, number: int) -> Entry | None:
        """Read an entry, the newest for 0."""
        found = self.ffi.new("struct memory_entry *")
        if not self.lib.host_memory_entry(self.host, number, found):
            return None
        return Entry(found.number, found.boot, found.ms, found.code, found.tenths)

    def kept(self) -> Kept:
        """Return all that this start has found, or holds by now."""
        memory = self.memory
        newest = memory.newest
        numbers = [(newest - 1 - back) % NUMBERS + 1 for back in range(ENTRIES)] if newest else []
        entries = [self.entry(number) for number in numbers]
        return Kept(
            latch=memory.latch,
            trip=self.trip(),
            used=memory.used,
            boots=memory.boots,
            operations=memory.operations,
            board_id=memory.board_id[0] << 32 | memory.board_id[1],
            slots=tuple(self.slot(number) for number in SLOTS),
            log=tuple(entry for entry in entries if entry),
        )


def forged(address: int, data: bytes) -> bytes:
    """Return a first copy with a CRC that is right."""
    return bytes([crc8(data, address & 0xFF), *data])


def _half(found: Any) -> Half:
    return found.rise, found.lag, found.up
