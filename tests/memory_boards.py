"""A board whose lasting memory has been in use, for the tests of memory.c."""

from __future__ import annotations

from memory_bench import (
    ENTRIES,
    Bench,
)

UPPER = (412, 183, 1140)
LOWER = (398, 201, 1185)
OTHER = (5000, 3000, 7200)
OVERTEMP, STUCK = 1, 8
TRIP_EVENT, RESET_EVENT = 5, 6
# A power cut in the middle of a write may leave anything in the cell.
LEFT = (0x00, 0xFF, 0x5A, 0x01)
ENDURANCE = 100_000  # writes of one byte, data sheet "8-bit AVR Microcontroller", features


def used_board(latch: int = OVERTEMP) -> Bench:
    """Return a board that has been at work: two moulds, a latch, a full log, all written."""
    bench = Bench()
    for half, values in enumerate((UPPER, LOWER)):
        assert bench.store(3, half, values)
        assert bench.store(3, half, values)
    bench.drain()
    bench.store(1, 0, OTHER)
    bench.drain()
    bench.use(3)
    bench.set_trip(1800)
    bench.count()
    for number in range(ENTRIES + 9):
        bench.log(number * 1000, number % 18, -number)
        bench.drain()
    bench.set_latch(latch)
    bench.drain()
    return bench
