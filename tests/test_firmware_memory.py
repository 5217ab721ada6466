"""The board's lasting memory: what is kept, what doubt reads as, power that goes at any byte."""

from __future__ import annotations

import struct
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from eeprom_image import copies, crc8, image, intel_hex
from hypothesis import given, settings
from hypothesis import strategies as st

from c_core import FIRMWARE, defines
from memory_bench import (
    BOARD_ID,
    BYTES,
    COUNTERS_AT,
    COUNTERS_BYTES,
    ENTRIES,
    ENTRY_BYTES,
    ID_AT,
    ID_BYTES,
    LATCH_AT,
    LATCH_BYTES,
    LOG_AT,
    NOTHING,
    NUMBERS,
    QUEUE,
    SELFTEST,
    SLOT_BYTES,
    SLOTS,
    SLOTS_AT,
    TRIP_AT,
    TRIP_BYTES,
    TRIP_LEAST,
    TRIP_MOST,
    USED_AT,
    USED_BYTES,
    Bench,
    Entry,
    Kept,
    forged,
)
from tawny.core.names import FirstOut
from tawny.sim import limits

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


@pytest.fixture
def bench() -> Bench:
    """A new board."""
    return Bench()


# What is kept.


def test_firmware_memory_limits_are_those_of_the_contract() -> None:
    """Header, simulated board and the list of causes agree."""
    assert (TRIP_LEAST, TRIP_MOST) == (limits.TRIP_LEAST_TENTHS, limits.CEILING_TENTHS)
    assert defines("memory")["MEMORY_TRIP_DEFAULT"] == limits.TRIP_DEFAULT_TENTHS
    assert (len(SLOTS), ENTRIES) == (limits.SLOTS, limits.LOG_ENTRIES)
    assert next(iter(FirstOut)) is FirstOut.NONE
    assert list(FirstOut)[SELFTEST] is FirstOut.SELFTEST
    assert defines("memory")["MEMORY_LATCHES"] == len(FirstOut)


def test_firmware_memory_starts_from_the_factory() -> None:
    """No latch, the default trip point, no mould, no entry, the first start, its identity."""
    assert Bench().kept() == Kept(
        latch=0,
        trip=2150,
        used=0,
        boots=1,
        operations=0,
        board_id=BOARD_ID,
        slots=(None,) * 8,
        log=(),
    )
    assert Bench().entry(0) is None


def test_firmware_memory_factory_crc_has_the_published_check_value() -> None:
    """CRC-8 of polynomial 07, start 0: F4 for "123456789" (catalogue of CRC algorithms)."""
    assert crc8(b"123456789") == 0xF4


def test_firmware_memory_factory_file_reads_back(tmp_path: Path) -> None:
    """Binutils reads the Intel hex as the same bytes; a drawn identity differs each time."""
    path, back = tmp_path / "eeprom.hex", tmp_path / "eeprom.bin"
    path.write_text(intel_hex(image(BOARD_ID)), encoding="ascii")
    subprocess.run(["objcopy", "-I", "ihex", "-O", "binary", path, back], check=True)
    assert back.read_bytes() == image(BOARD_ID)
    seen = set()
    for _ in range(2):
        script = FIRMWARE / "eeprom_image.py"
        subprocess.run([sys.executable, script, path], check=True)
        subprocess.run(["objcopy", "-I", "ihex", "-O", "binary", path, back], check=True)
        seen.add(Bench(back.read_bytes()).kept().board_id)
    assert len(seen) == 2
    assert seen.isdisjoint({0, BOARD_ID})


@pytest.mark.parametrize("board_id", [0, (1 << 64) - 1, 1 << 64, -1])
def test_firmware_memory_factory_refuses_an_identity_that_looks_blank(board_id: int) -> None:
    """All zeros and all ones are what a damaged one reads as."""
    with pytest.raises(ValueError, match=str(board_id)):
        image(board_id)


def test_firmware_memory_keeps_every_latch(bench: Bench) -> None:
    """Each cause comes back after a reset, and so does none."""
    for latch in (*range(SELFTEST + 1), 0):
        bench.set_latch(latch)
        assert bench.memory.latch == latch
        bench.drain()
        bench.start()
        assert bench.memory.latch == latch


def test_firmware_memory_keeps_every_trip_point(bench: Bench) -> None:
    """60.0 to 230.0 degC; what no board may have reads and is kept as the lowest."""
    for tenths in (*range(TRIP_LEAST, TRIP_MOST + 1), 2150):
        bench.set_trip(tenths)
        assert bench.trip() == tenths
        bench.drain()
        bench.start()
        assert (bench.trip(), bench.memory.latch) == (tenths, 0)
    for tenths in (-1, 0, TRIP_LEAST - 1, TRIP_MOST + 1, 32767, -32768):
        bench.set_trip(2150)
        bench.set_trip(tenths)
        assert bench.trip() == TRIP_LEAST
        bench.drain()
        bench.start()
        assert (bench.trip(), bench.memory.latch) == (TRIP_LEAST, 0)


def test_firmware_memory_keeps_every_slot(bench: Bench) -> None:
    """Each half of each slot has its place; one half alone is stored too."""
    for number in SLOTS:
        assert bench.slot(number) is None
        assert bench.store(number, 1, (number, 2, 60))
        assert bench.slot(number) == (NOTHING, (number, 2, 60))
        bench.drain()
        assert bench.store(number, 0, (5000 - number, 3000, 7200))
        bench.drain()
    bench.start()
    for number in SLOTS:
        assert bench.slot(number) == ((5000 - number, 3000, 7200), (number, 2, 60))


def test_firmware_memory_uses_the_slot_that_was_chosen(bench: Bench) -> None:
    """Its values are at hand at once and after a reset; storing to it changes them."""
    assert bench.in_use == (NOTHING, NOTHING)
    bench.store(2, 0, UPPER)
    assert bench.in_use == (NOTHING, NOTHING)
    bench.use(2)
    assert bench.in_use == (UPPER, NOTHING)
    bench.store(2, 1, LOWER)
    assert bench.in_use == (UPPER, LOWER)
    bench.drain()
    bench.start()
    assert (bench.memory.used, bench.in_use) == (2, (UPPER, LOWER))
    bench.use(5)
    assert (bench.memory.used, bench.in_use) == (5, (NOTHING, NOTHING))


@pytest.mark.parametrize("number", [0, 9, 255])
def test_firmware_memory_knows_no_slot_beyond_its_eight(bench: Bench, number: int) -> None:
    """It is neither read, stored nor used."""
    assert bench.slot(number) is None
    assert not bench.store(number, 0, UPPER)
    bench.use(number)
    assert (bench.memory.used, bench.in_use) == (0, (NOTHING, NOTHING))
    bench.drain()
    assert bench.content[SLOTS_AT:] == image(BOARD_ID)[SLOTS_AT:]


def test_firmware_memory_stores_one_slot_at_a_time(bench: Bench) -> None:
    """Another slot waits until the last one is written; the same one takes more at once."""
    assert not bench.store(1, 2, UPPER)
    assert bench.store(1, 0, UPPER)
    assert not bench.store(2, 0, LOWER)
    assert bench.store(1, 1, LOWER)
    assert bench.slot(1) == (UPPER, LOWER)
    assert bench.slot(2) is None
    bench.drain()
    assert bench.store(2, 0, LOWER)
    assert bench.slot(1) == (UPPER, LOWER)


def test_firmware_memory_counts_starts_and_operations(bench: Bench) -> None:
    """Starts modulo 65536; an operation counts at once."""
    for boots in range(2, 300):
        bench.drain()
        bench.start()
        bench.count()
        assert (bench.memory.boots, bench.memory.operations) == (boots, boots - 1)
    bench.drain()
    counters = bytearray(bench.content)
    data = (0xFFFF_FFFF).to_bytes(4, "little") + (0xFFFF).to_bytes(2, "little")
    counters[COUNTERS_AT : COUNTERS_AT + COUNTERS_BYTES] = forged(COUNTERS_AT, data)
    again = Bench(bytes(counters))
    again.count()
    assert (again.memory.boots, again.memory.operations) == (0, 0)


# What doubt reads as.


@pytest.mark.parametrize("byte", range(256))
def test_firmware_memory_blank_starts_tripped(byte: int) -> None:
    """Whatever all bytes hold alike: latched, the lowest trip point, no mould."""
    bench = Bench(bytes([byte]) * BYTES)
    kept = bench.kept()
    assert (kept.latch, kept.trip, kept.used) == (SELFTEST, TRIP_LEAST, 0)
    assert bench.in_use == (NOTHING, NOTHING)
    if byte in {0x00, 0xFF}:  # another may be right by chance in a slot or in the log
        assert kept.slots == (None,) * 8
        assert (kept.log, kept.boots, kept.operations, kept.board_id) == ((), 1, 0, 0)
    bench.drain()
    bench.start()
    assert (bench.memory.latch, bench.trip()) == (SELFTEST, TRIP_LEAST)
    assert bench.memory.boots == kept.boots + 1


def test_firmware_memory_any_byte_spoilt_never_heats_more() -> None:
    """Each byte with each other value: latched stays latched, no higher trip, no other R or lag."""
    whole = used_board()
    whole.start()
    stored, content = whole.kept(), whole.content
    bench = Bench()
    for address in range(BYTES):
        for flip in (0x01, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40, 0x80, 0xFF, content[address], 0x81):
            if flip == 0:
                continue
            spoilt = bytearray(content)
            spoilt[address] ^= flip
            bench.content = bytes(spoilt)
            bench.start()
            assert bench.memory.latch == OVERTEMP
            assert bench.trip() == stored.trip
            assert bench.in_use in {(UPPER, LOWER), (NOTHING, NOTHING)}
            if flip in {0xFF, 0x01}:
                kept = bench.kept()
                assert all(
                    found in {None, wanted}
                    for found, wanted in zip(kept.slots, stored.slots, strict=True)
                )
                assert set(kept.log) <= set(stored.log)
                assert len(kept.log) >= ENTRIES - 1
                assert kept.board_id == BOARD_ID
                assert kept.operations == stored.operations
                assert kept.boots == stored.boots


def test_firmware_memory_any_byte_spoilt_makes_no_mould_of_erased_bytes() -> None:
    """A board that was never given the factory's content: one byte more, and still no slot."""
    bench = Bench()
    for address in range(SLOTS_AT, LOG_AT):
        for value in range(256):
            content = bytearray(b"\xff" * BYTES)
            content[address] = value
            bench.content = bytes(content)
            bench.start()
            assert bench.slot((address - SLOTS_AT) // (2 * SLOT_BYTES) + 1) is None


@pytest.mark.parametrize("address", range(LATCH_AT, LATCH_AT + 2 * LATCH_BYTES))
def test_firmware_memory_spoilt_latch_of_none_is_a_latch(address: int) -> None:
    """One copy says none, the other is spoilt: latched as a failed self-test, from then on."""
    content = used_board(latch=0).content
    for value in range(256):
        spoilt = bytearray(content)
        spoilt[address] = value
        bench = Bench(bytes(spoilt))
        same = value == content[address]
        assert bench.memory.latch == (0 if same else SELFTEST)
        bench.drain()
        bench.start()
        assert bench.memory.latch == (0 if same else SELFTEST)
        assert bench.trip() == 1800


@pytest.mark.parametrize("latch", range(256))
@pytest.mark.parametrize("copy", [0, 1])
def test_firmware_memory_either_copy_latches(latch: int, copy: int) -> None:
    """A good copy that says latched counts, whatever the other says; no such cause: self-test."""
    content = bytearray(used_board(latch=0).content)
    address = LATCH_AT + copy * LATCH_BYTES
    flip = 0xFF * copy
    content[address : address + LATCH_BYTES] = bytes(
        byte ^ flip for byte in forged(address, bytes([latch]))
    )
    assert Bench(bytes(content)).memory.latch == min(latch, SELFTEST)


def test_firmware_memory_first_cause_stands_before_the_other_copys() -> None:
    """Two good copies with two causes: the first copy's, and both become equal."""
    content = bytearray(used_board(latch=STUCK).content)
    content[LATCH_AT : LATCH_AT + LATCH_BYTES] = forged(LATCH_AT, bytes([OVERTEMP]))
    bench = Bench(bytes(content))
    assert bench.memory.latch == OVERTEMP
    bench.drain()
    content = bytearray(bench.content)
    content[LATCH_AT] ^= 0x10
    assert Bench(bytes(content)).memory.latch == OVERTEMP


@pytest.mark.parametrize(
    ("first", "second", "trip", "latch"),
    [
        (2150, 2150, 2150, 0),
        (1800, 2150, 1800, 0),
        (2150, 1800, 1800, 0),
        (600, 2300, 600, 0),
        (2300, 2300, 2300, 0),
        (599, 599, 600, SELFTEST),
        (2301, 2301, 600, SELFTEST),
        (2301, 2150, 600, SELFTEST),
        (2150, 2301, 600, SELFTEST),
        (0, 2150, 600, SELFTEST),
        (2150, -1, 600, SELFTEST),
        (None, 2150, 2150, 0),
        (2150, None, 2150, 0),
        (None, 2301, 600, SELFTEST),
        (None, None, 600, SELFTEST),
    ],
)
def test_firmware_memory_lowest_trip_point_counts(
    first: int | None, second: int | None, trip: int, latch: int
) -> None:
    """Of two good copies the lower; none, or one that nobody can have stored: 60.0 and latched."""
    content = bytearray(used_board(latch=0).content)
    for copy, tenths in enumerate((first, second)):
        address = TRIP_AT + copy * TRIP_BYTES
        data = (2000 if tenths is None else tenths).to_bytes(2, "little", signed=True)
        right = bytearray(forged(address, data))
        right[0] ^= 0x20 if tenths is None else 0
        flip = 0xFF * copy
        content[address : address + TRIP_BYTES] = bytes(byte ^ flip for byte in right)
    bench = Bench(bytes(content))
    assert (bench.trip(), bench.memory.latch) == (trip, latch)
    bench.drain()
    for copy in (0, 1):  # both have become the same, so that either may be spoilt
        content = bytearray(bench.content)
        content[TRIP_AT + copy * TRIP_BYTES] ^= 0x10
        again = Bench(bytes(content))
        assert (again.trip(), again.memory.latch) == (trip, latch)


def test_firmware_memory_keeps_a_cause_where_the_trip_point_is_lost() -> None:
    """The self-test's latch does not replace the first-out."""
    content = bytearray(used_board(latch=STUCK).content)
    content[TRIP_AT : TRIP_AT + 2 * TRIP_BYTES] = bytes(2 * TRIP_BYTES)
    bench = Bench(bytes(content))
    assert (bench.memory.latch, bench.trip()) == (STUCK, TRIP_LEAST)


def test_firmware_memory_takes_the_cores_word_at_each_pass(bench: Bench) -> None:
    """A bit that flips here in RAM, written or not, is put right by what the core tells it."""
    for waiting in (False, True):
        for bit in range(15):
            bench.set_trip(2150)
            bench.set_latch(0)
            bench.drain()
            bench.set_trip(2000)
            bench.set_latch(STUCK)
            if not waiting:
                bench.drain()
            bench.memory.trip ^= 1 << bit
            bench.memory.latch ^= 1 << bit % 8
            bench.set_trip(2000)
            bench.set_latch(STUCK)
            bench.drain()
            bench.start()
            assert (bench.trip(), bench.memory.latch) == (2000, STUCK)


def test_firmware_memory_copies_that_differ_are_no_mould() -> None:
    """Two good copies with other values: nothing stored; the slot in use must agree too."""
    content = used_board().content
    address = SLOTS_AT + 2 * 2 * SLOT_BYTES
    data = bytearray(content[address + 1 : address + SLOT_BYTES])
    data[2] ^= 1
    spoilt = bytearray(content)
    spoilt[address : address + SLOT_BYTES] = forged(address, bytes(data))
    bench = Bench(bytes(spoilt))
    assert bench.slot(3) is None
    assert (bench.memory.used, bench.in_use) == (3, (NOTHING, NOTHING))
    for used in (0, 1, 9):
        spoilt = bytearray(content)
        spoilt[USED_AT : USED_AT + USED_BYTES] = forged(USED_AT, bytes([used]))
        bench = Bench(bytes(spoilt))
        assert (bench.memory.used, bench.in_use) == (0, (NOTHING, NOTHING))
        bench.drain()
        assert bench.content[USED_AT : USED_AT + 2 * USED_BYTES] == copies(USED_AT, bytes(1))
    spoilt = bytearray(content)
    spoilt[USED_AT] ^= 1
    assert Bench(bytes(spoilt)).memory.used == 0


def test_firmware_memory_reads_a_written_slot_from_its_cells(bench: Bench) -> None:
    """What the cells do not hold is not stored, whatever was meant to be written."""
    bench.store(4, 0, UPPER)
    bench.drain()
    content = bytearray(bench.content)
    address = SLOTS_AT + 3 * 2 * SLOT_BYTES
    content[address : address + 2 * SLOT_BYTES] = bytes([0x33]) * (2 * SLOT_BYTES)
    bench.content = bytes(content)
    assert bench.slot(4) is None


def test_firmware_memory_lost_slot_leaves_nothing_of_another() -> None:
    """Used or stored to, it has no values of the slot that was at hand before."""
    content = bytearray(used_board().content)
    address = SLOTS_AT + 4 * 2 * SLOT_BYTES
    content[address : address + 2 * SLOT_BYTES] = bytes([0x33]) * (2 * SLOT_BYTES)
    bench = Bench(bytes(content))
    assert bench.in_use == (UPPER, LOWER)
    bench.use(5)
    assert bench.in_use == (NOTHING, NOTHING)
    assert bench.store(3, 1, OTHER)
    bench.drain()
    assert bench.store(5, 0, UPPER)
    assert bench.slot(5) == bench.in_use == (UPPER, NOTHING)
    bench.drain()
    bench.start()
    assert bench.slot(5) == bench.in_use == (UPPER, NOTHING)


def test_firmware_memory_slot_in_use_beyond_the_eight_is_none() -> None:
    """Even where both copies say so."""
    content = bytearray(used_board().content)
    first = forged(USED_AT, bytes([9]))
    second = forged(USED_AT + USED_BYTES, bytes([9]))
    content[USED_AT : USED_AT + 2 * USED_BYTES] = first + bytes(byte ^ 0xFF for byte in second)
    bench = Bench(bytes(content))
    assert (bench.memory.used, bench.in_use) == (0, (NOTHING, NOTHING))


COPIES = [
    *[(LATCH_AT + copy * LATCH_BYTES, LATCH_BYTES) for copy in (0, 1)],
    *[(TRIP_AT + copy * TRIP_BYTES, TRIP_BYTES) for copy in (0, 1)],
    *[(USED_AT + copy * USED_BYTES, USED_BYTES) for copy in (0, 1)],
    *[(COUNTERS_AT + copy * COUNTERS_BYTES, COUNTERS_BYTES) for copy in (0, 1)],
    *[(ID_AT + copy * ID_BYTES, ID_BYTES) for copy in (0, 1)],
    *[(SLOTS_AT + copy * SLOT_BYTES, SLOT_BYTES) for copy in range(16)],
]
USED_BOARD = used_board()


@settings(max_examples=300)
@given(copy=st.sampled_from(COPIES), data=st.data(), right=st.booleans(), second=st.booleans())
def test_firmware_memory_one_spoilt_copy_never_heats_more(
    copy: tuple[int, int], data: st.DataObject, *, right: bool, second: bool
) -> None:
    """Any bytes in one copy of a record, with a right CRC or not."""
    address, count = copy
    content = bytearray(USED_BOARD.content)
    spoilt = data.draw(st.binary(min_size=count - 1, max_size=count - 1))
    crc = crc8(spoilt, address & 0xFF) if right else data.draw(st.integers(0, 255))
    flip = 0xFF * second
    content[address : address + count] = bytes(byte ^ flip for byte in (crc, *spoilt))
    bench = Bench(bytes(content))
    assert bench.memory.latch != 0
    assert bench.trip() <= 1800
    assert bench.in_use in {(UPPER, LOWER), (NOTHING, NOTHING)}
    assert bench.slot(1) in {None, (OTHER, NOTHING)}
    assert all(bench.slot(number) is None for number in SLOTS if number not in {1, 3})


def test_firmware_memory_no_copy_is_right_at_the_place_of_another() -> None:
    """A whole first copy that is found where another slot's or entry's belongs is not believed."""
    content = used_board().content
    for number in SLOTS:
        moved = bytearray(content)
        moved[SLOTS_AT:LOG_AT] = bytes([0xFF]) * (LOG_AT - SLOTS_AT)
        address = SLOTS_AT + 2 * SLOT_BYTES * (number - 1)
        moved[address : address + SLOT_BYTES] = content[SLOTS_AT + 52 : SLOTS_AT + 65]
        assert (Bench(bytes(moved)).slot(number) is not None) == (number == 3)
    for place in range(ENTRIES):
        moved = bytearray(content)
        moved[LOG_AT:] = bytes([0xFF]) * (BYTES - LOG_AT)
        address = LOG_AT + ENTRY_BYTES * place
        moved[address : address + ENTRY_BYTES] = content[LOG_AT : LOG_AT + ENTRY_BYTES]
        assert len(Bench(bytes(moved)).kept().log) == (place == 0)


def test_firmware_memory_goes_on_from_the_log_where_the_counters_are_lost() -> None:
    """The number of starts does not fall back to what tokens were made of before."""
    bench = Bench()
    for _ in range(20):
        bench.log(0, 0, 0)
        bench.drain()
        bench.start()
    content = bytearray(bench.content)
    content[COUNTERS_AT : COUNTERS_AT + 2 * COUNTERS_BYTES] = bytes(2 * COUNTERS_BYTES)
    bench = Bench(bytes(content))
    assert (bench.memory.boots, bench.memory.operations) == (21, 0)


# Writing, one byte at a time.


def test_firmware_memory_writes_no_byte_that_holds_its_value(bench: Bench) -> None:
    """Equal values cost nothing; of a change only the bytes that differ are written."""
    bench.drain()
    assert bench.step() is None
    bench.set_trip(2150)
    bench.set_latch(0)
    assert bench.step() is None
    bench.use(0)
    assert bench.step() is None
    before = bench.content
    bench.set_trip(2151)
    places = [bench.step() for _ in range(4)]
    assert bench.step() is None
    assert places == [TRIP_AT, TRIP_AT + 1, TRIP_AT + TRIP_BYTES, TRIP_AT + TRIP_BYTES + 1]
    changed = [at for at, (a, b) in enumerate(zip(before, bench.content, strict=True)) if a != b]
    assert changed == places


def test_firmware_memory_writes_a_latch_before_all_else(bench: Bench) -> None:
    """After at most the byte that is being written the next four are the latch's."""
    for steps in range(60):
        bench = Bench()
        bench.drain()
        bench.set_trip(1999)
        bench.use(1)
        bench.store(1, 0, UPPER)
        bench.count()
        bench.log(1, 2, 3)
        if bench.cut(steps) < steps:
            break
        bench.set_latch(STUCK)
        assert [bench.step() for _ in range(4)] == [LATCH_AT + at for at in range(4)]
        bench.drain()
        bench.start()
        kept = bench.kept()
        assert (kept.latch, kept.trip, kept.used, kept.operations) == (STUCK, 1999, 1, 1)
        assert kept.slots[0] == (UPPER, NOTHING)
        assert kept.log[0] == Entry(1, 1, 1, 2, 3)
    assert steps > 30


def test_firmware_memory_writes_in_the_order_of_what_it_is_for(bench: Bench) -> None:
    """Latch, trip point, slot in use, slot, counters, log."""
    bench.log(1, 2, 3)
    bench.count()
    bench.store(1, 0, UPPER)
    bench.use(1)
    bench.set_trip(1999)
    bench.set_latch(STUCK)
    places = []
    while (place := bench.step()) is not None:
        places.append(place)
    kinds = [
        next(
            kind
            for kind, (first, count) in enumerate(
                [
                    (LATCH_AT, 2 * LATCH_BYTES),
                    (TRIP_AT, 2 * TRIP_BYTES),
                    (USED_AT, 2 * USED_BYTES),
                    (SLOTS_AT, 16 * SLOT_BYTES),
                    (COUNTERS_AT, 2 * COUNTERS_BYTES),
                    (LOG_AT, ENTRIES * ENTRY_BYTES),
                ]
            )
            if first <= place < first + count
        )
        for place in places
    ]
    assert kinds == sorted(kinds)
    assert set(kinds) == set(range(6))


def test_firmware_memory_never_writes_a_cell_that_fails_over_and_over(bench: Bench) -> None:
    """A worn byte is tried once for each change, and the rest is written all the same."""
    bench.drain()
    bench.set_trip(1111)
    places = []
    for _ in range(50):
        places.append(bench.step())
        bench.set_latch(0)
        bench.set_trip(1111)
        worn = bytearray(bench.content)
        worn[TRIP_AT + 1] = 0xAA
        bench.content = bytes(worn)
    assert places[-1] is None
    assert places.count(TRIP_AT + 1) == 1
    bench.start()
    assert (bench.trip(), bench.memory.latch) == (1111, 0)


def _set_latch(bench: Bench) -> None:
    bench.set_latch(STUCK)


def _clear_latch(bench: Bench) -> None:
    bench.set_latch(0)


def _lower_trip(bench: Bench) -> None:
    bench.set_trip(1234)


def _raise_trip(bench: Bench) -> None:
    bench.set_trip(2300)


def _use(bench: Bench) -> None:
    bench.use(1)


def _store(bench: Bench) -> None:
    assert bench.store(3, 0, (411, 260, 61))
    assert bench.store(3, 1, OTHER)


def _store_new(bench: Bench) -> None:
    assert bench.store(7, 1, LOWER)


def _count(bench: Bench) -> None:
    bench.count()


def _log(bench: Bench) -> None:
    for number in range(3):
        bench.log(0x1234_5678 + number, 17, -100)


def _start(bench: Bench) -> None:
    bench.start()


def _all(bench: Bench) -> None:
    for deed in (_log, _count, _store, _use, _lower_trip, _clear_latch):
        deed(bench)


DEEDS = (
    _set_latch, _clear_latch, _lower_trip, _raise_trip, _use, _store, _store_new, _count, _log,
    _start, _all,
)  # fmt: skip


LATCH = slice(LATCH_AT, LATCH_AT + 2 * LATCH_BYTES)


def check_cut(before: Kept, after: Kept, found: Kept) -> None:
    """Check what a start finds that comes between two states: nothing heats more than either."""
    if before.latch and after.latch:
        assert found.latch in {before.latch, after.latch, SELFTEST}
    elif before.latch:  # being cleared: latched until the last byte
        assert found.latch in {before.latch, SELFTEST}
    elif not after.latch:
        assert found.latch == 0
    assert found.trip <= max(before.trip, after.trip)
    assert found.used in {before.used, after.used, 0}
    for slot_before, slot_after, slot in zip(before.slots, after.slots, found.slots, strict=True):
        assert slot in {slot_before, slot_after, None}
    assert set(found.log) <= set(before.log) | set(after.log)
    assert set(before.log) & set(after.log) <= set(found.log)
    assert found.board_id == before.board_id
    assert found.boots in {before.boots + 1, after.boots + 1}
    assert found.operations in {before.operations, after.operations}


@pytest.mark.parametrize("deed", DEEDS, ids=lambda deed: deed.__name__[1:])
@pytest.mark.parametrize("latch", [0, OVERTEMP])
def test_firmware_memory_power_may_go_at_any_byte(
    deed: Callable[[Bench], None], latch: int
) -> None:
    """Each operation cut before each byte, and within each byte, which then holds anything."""
    whole = used_board(latch)
    content = whole.content
    before = whole.kept()
    deed(whole)
    after = whole.kept()
    writes = whole.drain()
    bench = Bench()
    for written in range(writes):
        for left in (-1, *LEFT):
            bench.content = content
            bench.start()
            bench.memory.boots -= 1
            bench.memory.dirty = 0
            deed(bench)
            assert bench.cut(written, left) == written
            latch_is_whole = bench.content[LATCH] == whole.content[LATCH]
            bench.start()
            found = bench.kept()
            check_cut(
                replace(before, latch=after.latch) if latch_is_whole else before, after, found
            )
            if after.latch and written:
                assert found.latch
            settled = found.latch, found.trip, found.used, found.slots, found.log
            bench.drain()
            bench.start()
            again = bench.kept()
            assert settled == (again.latch, again.trip, again.used, again.slots, again.log)
    whole.start()
    found = whole.kept()
    assert (found.latch, found.trip, found.used) == (after.latch, after.trip, after.used)
    assert (found.slots, found.log) == (after.slots, after.log)


@pytest.mark.parametrize("left", range(256))
def test_firmware_memory_latch_holds_from_its_first_byte_on(left: int) -> None:
    """Whatever a cut leaves in any byte of it, only the untouched one says none."""
    for written in range(4):
        bench = used_board(latch=0)
        before = bench.content
        bench.set_latch(OVERTEMP)
        bench.cut(written, left)
        untouched = bench.content == before
        bench.start()
        assert (bench.memory.latch == 0) == untouched


# The log.


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


# Everything at once.


@settings(max_examples=150, deadline=None)
@given(
    deeds=st.lists(
        st.tuples(st.sampled_from(DEEDS), st.integers(0, 40), st.sampled_from([-1, *LEFT])),
        max_size=12,
    )
)
def test_firmware_memory_any_deeds_with_any_cuts_never_heat_more(
    deeds: list[tuple[Callable[[Bench], None], int, int]],
) -> None:
    """Whatever was done when the power went: no latch lost, no trip point above any asked for."""
    bench = used_board()
    for deed, written, left in deeds:
        before = bench.kept()
        deed(bench)
        after = bench.kept()
        done = bench.cut(written, left)
        bench.start()
        found = bench.kept()
        assert found.trip <= max(before.trip, after.trip)
        assert found.latch or not before.latch or (not after.latch and done)
        for slot_before, slot_after, slot in zip(
            before.slots, after.slots, found.slots, strict=True
        ):
            assert slot in {slot_before, slot_after, None}
        assert set(found.log) <= set(before.log) | set(after.log)
        bench.drain()


def test_firmware_memory_wears_no_byte_out_in_10_000_trips() -> None:
    """A trip and its reset each: the latch's bytes are written twice a time, the log's seldom."""
    bench = Bench()
    bench.drain()
    for at in range(BYTES):
        bench.host.writes[at] = 0
    for trip in range(10_000):
        for latch, code in ((1 + trip % SELFTEST, TRIP_EVENT), (0, RESET_EVENT)):
            bench.set_latch(latch)
            bench.log(trip, code, 2150)
            bench.drain()
    writes = list(bench.host.writes)
    assert max(writes[LATCH_AT : LATCH_AT + 2 * LATCH_BYTES]) == 20_000
    assert max(writes) == 20_000 < ENDURANCE
    assert max(writes[LOG_AT:]) <= 2 * (20_000 // ENTRIES + 1)
    assert not any(writes[TRIP_AT:LOG_AT])
