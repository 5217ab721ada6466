"""How the board's lasting memory is written, byte by byte, and what a cut leaves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from memory_bench import (
    BYTES,
    COUNTERS_AT,
    COUNTERS_BYTES,
    ENTRIES,
    ENTRY_BYTES,
    LATCH_AT,
    LATCH_BYTES,
    LOG_AT,
    NOTHING,
    SELFTEST,
    SLOT_BYTES,
    SLOTS_AT,
    TRIP_AT,
    TRIP_BYTES,
    USED_AT,
    USED_BYTES,
    Bench,
    Entry,
    Kept,
)
from memory_boards import (
    ENDURANCE,
    LEFT,
    LOWER,
    OTHER,
    OVERTEMP,
    RESET_EVENT,
    STUCK,
    TRIP_EVENT,
    UPPER,
    used_board,
)


@pytest.fixture
def bench() -> Bench:
    """A new board."""
    return Bench()


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
