"""What the board's lasting memory reads as where it is in doubt."""

from __future__ import annotations

import pytest
from eeprom_image import copies, crc8
from hypothesis import given, settings
from hypothesis import strategies as st

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
    SELFTEST,
    SLOT_BYTES,
    SLOTS,
    SLOTS_AT,
    TRIP_AT,
    TRIP_BYTES,
    TRIP_LEAST,
    USED_AT,
    USED_BYTES,
    Bench,
    forged,
)
from memory_boards import (
    LOWER,
    OTHER,
    OVERTEMP,
    STUCK,
    UPPER,
    used_board,
)


@pytest.fixture
def bench() -> Bench:
    """A new board."""
    return Bench()


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
