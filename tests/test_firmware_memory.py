"""What the board's lasting memory keeps."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from eeprom_image import crc8, image, intel_hex

from c_core import FIRMWARE, defines
from memory_bench import (
    BOARD_ID,
    COUNTERS_AT,
    COUNTERS_BYTES,
    ENTRIES,
    NOTHING,
    SELFTEST,
    SLOTS,
    SLOTS_AT,
    TRIP_LEAST,
    TRIP_MOST,
    Bench,
    Kept,
    forged,
)
from memory_boards import (
    LOWER,
    UPPER,
)
from tawny.core.names import FirstOut
from tawny.sim import limits


@pytest.fixture
def bench() -> Bench:
    """A new board."""
    return Bench()


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
