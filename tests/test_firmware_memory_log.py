"""The log of events in the board's lasting memory."""

from __future__ import annotations

import struct

import pytest
from eeprom_image import image

from memory_bench import (
    BOARD_ID,
    ENTRIES,
    ENTRY_BYTES,
    LOG_AT,
    NUMBERS,
    QUEUE,
    Bench,
    Entry,
    forged,
)
from memory_boards import (
    LEFT,
)


@pytest.fixture
def bench() -> Bench:
    """A new board."""
    return Bench()


def test_firmware_memory_log_keeps_the_last_64(bench: Bench) -> None:
    """Read at once, after writing and after a reset; what went before is gone."""
    entries = []
    for number in range(1, 201):
        entry = bench.log(number * 777, number % 18, 2300 - 30 * number)
        assert entry.number == number
        assert bench.entry(0) == bench.entry(number) == entry
        entries.append(entry)
        if number % 3 == 0:
            bench.drain()
        if number % 30 == 0:
            bench.start()
        assert bench.entry(number + 1) is None
        assert bench.kept().log == tuple(entries[-64:][::-1])
    assert bench.entry(200 - 64) is None
    assert bench.entry(200 - 63) is not None


@pytest.mark.parametrize("first", [1, 2, 63, 64, 65, 65000, 65471, 65472, 65535])
def test_firmware_memory_log_numbers_go_on_from_65535_to_1(first: int) -> None:
    """Through the wrap nothing is lost, at whatever place of the ring it falls, reset or not."""
    bench = Bench()
    bench.drain()
    bench.memory.newest = first - 1
    bench.memory.newest_place = 7 * first % ENTRIES
    entries = []
    for number in range(150):
        entries.append(bench.log(number, 3, number))
        assert entries[-1].number == (first + number - 1) % NUMBERS + 1
        bench.drain()
        bench.start()
        entries[-1] = entries[-1]._replace(boot=bench.memory.boots - 1)
        assert bench.kept().log == tuple(entries[-64:][::-1])


@pytest.mark.parametrize("count", [0, 1, 5, 63, 64, 70])
def test_firmware_memory_log_finds_its_end_where_an_entry_was_torn(count: int) -> None:
    """At every cut it is none; those around it stay, and its number comes again."""
    whole = Bench()
    whole.drain()
    entries = []
    for number in range(count):
        entries.append(whole.log(number, 1, number))
        whole.drain()
    content = whole.content
    torn = whole.log(0x1234_5678, 2, -300)
    writes = whole.drain()
    assert writes >= 10
    for written in range(writes):
        for left in LEFT:
            bench = Bench(content)
            bench.memory.boots, bench.memory.dirty = 1, 0
            assert bench.log(0x1234_5678, 2, -300) == torn
            bench.cut(written, left)
            complete = bench.content == whole.content
            bench.start()
            found = set(bench.kept().log)
            assert set(entries[-63:]) <= found <= {*entries, torn}
            assert (torn in found) == complete
            assert bench.log(9, 9, 9).number == count + 1 + complete


@pytest.mark.parametrize(
    ("number", "code", "is_one"), [(40_001, 3, True), (40_001, 255, False), (0, 3, False)]
)
def test_firmware_memory_log_knows_what_is_no_entry(
    number: int, code: int, *, is_one: bool
) -> None:
    """No number 0, nor code 255, which marks an entry that is being written, whatever its CRC."""
    content = bytearray(image(BOARD_ID))
    entries = Entry(40_000, 1, 9, 9, 9), Entry(number, 2, 1000, code, -5)
    for place, entry in enumerate(entries):
        data = struct.pack("<IHHhB", entry.ms, entry.number, entry.boot, entry.tenths, entry.code)
        address = LOG_AT + place * ENTRY_BYTES
        content[address : address + ENTRY_BYTES] = forged(address, data)
    assert Bench(bytes(content)).kept().log == (entries[::-1] if is_one else entries[:1])


def test_firmware_memory_log_marks_an_entry_while_it_is_written(bench: Bench) -> None:
    """Its code says that it is none from the first byte to the last: chance plays no part."""
    for number in range(70):
        bench.log(number, 1, number)
        bench.drain()
    for content in range(3000):
        place = LOG_AT + ENTRY_BYTES * ((bench.memory.newest_place + 1) % ENTRIES)
        code = place + ENTRY_BYTES - 1
        bench.log(content * 1_234_567, content % 18, content - 1500)
        assert bench.step() == code
        while bench.step() != code:
            assert bench.content[code] == 0xFF
        assert bench.content[code] == content % 18
        assert bench.drain() == 0


def test_firmware_memory_log_loses_the_oldest_where_too_many_wait(bench: Bench) -> None:
    """Numbers go on; the newest are kept, and what was lost is not read as another."""
    before = []
    for number in range(ENTRIES):
        before.append(bench.log(number, 3, number))
        bench.drain()
    entries = [bench.log(number, 4, number) for number in range(QUEUE + 5)]
    for _ in range(2):
        for entry in entries[:5]:
            assert bench.entry(entry.number) is None
        assert bench.kept().log == (*entries[:4:-1], *before[: QUEUE + 4 : -1])
        bench.drain()
        bench.start()
    assert bench.log(1, 1, 1).number == ENTRIES + QUEUE + 6


@pytest.mark.parametrize("first", range(NUMBERS - QUEUE, NUMBERS + 1))
def test_firmware_memory_log_wraps_while_entries_wait(bench: Bench, first: int) -> None:
    """Those that wait on both sides of 65535 have their own numbers."""
    bench.drain()
    bench.memory.newest = first - 1
    entries = [bench.log(number, 4, number) for number in range(QUEUE)]
    for _ in range(2):
        assert bench.kept().log == tuple(entries[::-1])
        bench.drain()
        bench.start()


def test_firmware_memory_log_loses_a_waiting_entry_whole_in_the_middle_of_it(bench: Bench) -> None:
    """The one that is dropped may be half written already."""
    bench.drain()
    entries = [bench.log(number, 4, number) for number in range(QUEUE)]
    bench.cut(6)
    entries.append(bench.log(99, 5, 99))
    bench.drain()
    bench.start()
    assert bench.kept().log == tuple(entries[1:][::-1])
