"""The trace codec gives back what it was given, small, and refuses what it cannot trust."""

from __future__ import annotations

import json
import struct
import zlib
from itertools import accumulate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import invented
from tawny.core import columns, converter
from tawny.core.columns import Scale
from tawny.core.registers import RegisterFields, join_register, split_register
from tawny.errors import InputError, StoreDamagedError, StoreNewerError

LEAST, MOST = -(1 << 63), (1 << 63) - 1
NUMBERS = st.one_of(
    st.integers(-3, 3),
    st.integers(-40_000, 40_000),
    st.integers(LEAST, MOST),
    st.sampled_from([LEAST, MOST]),
)
VALUES = st.one_of(st.none(), NUMBERS)

# Written by version 1 and never to be written again: {"a": [1, 2, 4, None, -7], "b": [0] * 5}.
KEPT = (
    "54574e4301960000008dcd410ac2301046e1bbfceb1112b59bd97a8c2292268316d3443a694b29bd"
    "bb2bab880b978fb7f816f81cc48351dc94e69dcf71e89282304aaf6d4e604be8f3a4e08af0da5c2f"
    "48ae13301c08436a0b1841ae2710d4bb28606b08f736053082c4e2f6204c6d2837b025a84850706d"
    "c99e098f5e5492974b331751f08130ba386c7d5c69039b37f881fd6319323f2cf36555eb797d0213"
    "070063fc0c0063606000005c6aefae"
)


@st.composite
def tables(draw: st.DrawFn) -> dict[str, list[int | None]]:
    """Columns of one length, with and without absent values."""
    rows = draw(st.integers(0, 40))
    whole = st.lists(NUMBERS, min_size=rows, max_size=rows)
    holed = st.lists(VALUES, min_size=rows, max_size=rows)
    return draw(
        st.dictionaries(st.text(max_size=12), st.one_of(whole, holed), min_size=1, max_size=5)
    )


@given(tables())
def test_columns_give_back_what_they_were_given(table: dict[str, list[int | None]]) -> None:
    """Any whole numbers of 64 bits, present or absent, come back as they were, in their order."""
    decoded = columns.decode(columns.encode(table))
    assert decoded.values == table
    assert list(decoded.values) == list(table)
    assert decoded.rows == len(next(iter(table.values())))


def test_columns_hold_the_widest_differences() -> None:
    """Differences beyond 64 bits wrap, and unwrap."""
    extremes = [LEAST, MOST, LEAST, 0, MOST, MOST, LEAST]
    assert columns.decode(columns.encode({"x": extremes})).values["x"] == extremes


def test_columns_keep_what_a_count_means() -> None:
    """Unit and scale travel with the column; a value is its count divided once."""
    blob = columns.encode({"upper_c": [1805, None], "n": [3, 4]}, {"upper_c": Scale("degC", 10)})
    decoded = columns.decode(blob)
    assert decoded.scales == {"upper_c": Scale("degC", 10), "n": Scale("", 1)}
    assert decoded.scaled("upper_c") == [180.5, None]


def test_columns_decode_only_what_is_asked() -> None:
    """One column can be read without the others."""
    decoded = columns.decode(columns.encode(invented.trace(rows=50)), only={"phase"})
    assert list(decoded.values) == ["phase"]
    assert decoded.values["phase"] == invented.trace(rows=50)["phase"]


def test_columns_pack_a_five_minute_pressing() -> None:
    """1500 rows of every channel, noise included, pack well under 12 kB and come back exactly."""
    table = invented.trace()
    blob = columns.encode(table, invented.SCALES)
    assert len(table["phase"]) == 1500
    assert columns.decode(blob).values == table
    assert len(blob) < 8_000, f"{len(blob)} bytes for {len(table)} columns"


@settings(max_examples=20)
@given(st.integers(1, 1 << 30))
def test_columns_pack_a_steady_clock_into_next_to_nothing(step: int) -> None:
    """A column that only counts costs no more than its place in the header."""
    steady = list(range(5, 5 + 1500 * step, step))
    assert len(columns.encode({"board_ms": steady})) < 250


def test_columns_read_by_their_documentation_alone() -> None:
    """A decoder written from the module's head, with json, struct and zlib, reads the same."""
    table = {**invented.trace(rows=300), "holed": [None if n % 3 else n * n for n in range(300)]}
    blob = columns.encode(table)
    assert (blob[:4], blob[4]) == (b"TWNC", 1)
    assert struct.unpack("<I", blob[-4:])[0] == zlib.crc32(blob[:-4])
    at = 9 + struct.unpack("<I", blob[5:9])[0]
    header = json.loads(zlib.decompress(blob[9:at], -15))
    assert (header["codec"], header["version"], header["rows"]) == ("tawny-columns", 1, 300)
    for column in header["columns"]:
        bitmap = blob[at : at + column["presence_bytes"]]
        at += len(bitmap)
        packed = blob[at : at + column["value_bytes"]]
        at += len(packed)
        present = [True] * 300
        if bitmap:
            bits = zlib.decompress(bitmap, -15)
            present = [bool(bits[row // 8] >> row % 8 & 1) for row in range(300)]
        width, seeds = column["width"], column["seeds"]
        planes = zlib.decompress(packed, -15) if packed else b""
        count = sum(present) - len(seeds)
        values = [
            int.from_bytes(planes[row :: count or 1], "little", signed=True) for row in range(count)
        ]
        assert len(planes) == count * width
        for seed in reversed(seeds):
            values = list(accumulate(values, initial=seed))
        given_back = iter(values)
        assert [next(given_back) if there else None for there in present] == table[column["name"]]
    assert at == len(blob) - 4


def test_columns_of_version_1_open_for_ever() -> None:
    """Bytes kept from the first version are read as they were meant."""
    decoded = columns.decode(bytes.fromhex(KEPT))
    assert decoded.values == {"a": [1, 2, 4, None, -7], "b": [0, 0, 0, 0, 0]}
    assert decoded.scales["a"] == Scale("degC", 10)


def test_columns_refuse_a_later_version() -> None:
    """A blob of version 2 is refused in a sentence that names both versions."""
    blob = bytearray(columns.encode({"x": [1]}))
    blob[4] = 2
    with pytest.raises(StoreNewerError, match=r"version 2.*up to 1"):
        columns.decode(bytes(blob))


def test_columns_notice_every_changed_byte() -> None:
    """No single changed byte, and no missing end, goes unseen."""
    blob = columns.encode(invented.trace(rows=20))
    for place in range(len(blob)):
        changed = bytearray(blob)
        changed[place] ^= 0x41
        with pytest.raises((StoreDamagedError, StoreNewerError)):
            columns.decode(bytes(changed))
        with pytest.raises(StoreDamagedError):
            columns.decode(blob[:place])


def test_columns_refuse_a_blob_that_swells() -> None:
    """A forged column that inflates to more than its rows is refused before it fills memory."""
    swollen = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = swollen.compress(bytes(50_000_000)) + swollen.flush()
    column = {"name": "x", "unit": "", "scale": 1, "kind": "plain", "width": 1, "seeds": []}
    column |= {"presence_bytes": 0, "value_bytes": len(packed)}
    header = {"codec": "tawny-columns", "version": 1, "rows": 10, "columns": [column]}
    small = zlib.compressobj(9, zlib.DEFLATED, -15)
    head = small.compress(json.dumps(header).encode()) + small.flush()
    blob = b"TWNC\x01" + struct.pack("<I", len(head)) + head + packed
    with pytest.raises(StoreDamagedError, match="longer or shorter"):
        columns.decode(blob + struct.pack("<I", zlib.crc32(blob)))


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ({"x": [1 << 63]}, "beyond 64 bits"),
        ({"x": [LEAST - 1]}, "beyond 64 bits"),
        ({"x": [1, 2], "y": [1]}, "1 rows, wanted 2"),
    ],
)
def test_columns_refuse_what_they_cannot_keep(table: dict[str, list[int | None]], why: str) -> None:
    """Too wide a number and unequal columns are refused in one sentence."""
    with pytest.raises(InputError, match=why):
        columns.encode(table)


@given(st.integers(0, 0xFFFF_FFFF))
def test_registers_lose_no_bit(raw: int) -> None:
    """Any register of 32 bits comes back from its fields."""
    assert join_register(split_register(raw)) == raw


def test_registers_agree_with_the_converter() -> None:
    """The fields are the converter's own temperatures, in their steps; faults keep their bits."""
    raw = converter.encode(181.25, -3.0625)
    assert split_register(raw) == RegisterFields(725, -49, 0)
    assert split_register(converter.encode(-0.25, 25.0, converter.Fault.OPEN)) == (
        -1,
        400,
        0b010001,
    )
    with pytest.raises(InputError, match="32 bits"):
        split_register(1 << 32)
