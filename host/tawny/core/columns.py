"""The trace codec: named columns of whole numbers, packed small and read back exactly.

    "TWNC" · version, 1 byte · header length, 4 bytes · header · columns · CRC-32, 4 bytes

Every number is little-endian. The header is JSON, deflated: codec name, version, rows, and
for each column its name, unit, scale, kind, width, first values and byte counts. A column is
its presence bitmap (only where values are absent), then its present values, each deflated at
level 6. Values are taken plain, as differences, or as differences of differences, whichever
packs smallest; cut to the least of 1, 2, 4 or 8 bytes, two's complement; and laid out as
all the lowest bytes, then all the next ones. Differences wrap at 64 bits.

A version is never changed once a record holds it: a later layout takes the next number.
"""

from __future__ import annotations

import array
import sys
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import accumulate
from operator import sub

import msgspec

from tawny.core.canonical import INT64_LEAST, INT64_MOST
from tawny.errors import N_, InputError, StoreDamagedError, StoreNewerError

MAGIC = b"TWNC"
CODEC = "tawny-columns"
VERSION = 1
ROWS_MOST = 1 << 24  # 38 days at 5 Hz: more than this in one blob is damage, not a trace

_LEVEL = 6
_TYPECODES = {1: "b", 2: "h", 4: "i", 8: "q"}
_PLAIN, _DELTA, _DELTA2 = "plain", "delta", "delta2"
_SEEDS = {_PLAIN: 0, _DELTA: 1, _DELTA2: 2}
_HEAD = len(MAGIC) + 1 + 4
_TAIL = 4


class Scale(msgspec.Struct, frozen=True):
    """What one count of a column means.

    Attributes:
        unit: Of the value, in the spelling of exports: "degC", "ms", "" for a bare number.
        per_unit: Counts in one unit: a column in tenths of a degree has 10.
    """

    unit: str = ""
    per_unit: int = 1


class Columns(msgspec.Struct, frozen=True):
    """Decoded columns, each as long as `rows`."""

    rows: int
    values: dict[str, list[int | None]]
    scales: dict[str, Scale]

    def scaled(self, name: str) -> list[float | None]:
        """Return one column in its unit."""
        per_unit = self.scales[name].per_unit
        return [None if value is None else value / per_unit for value in self.values[name]]


class _Column(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: str
    unit: str
    scale: int
    kind: str
    width: int
    seeds: list[int]
    presence_bytes: int  # 0: every value is present
    value_bytes: int


class _Header(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    codec: str
    version: int
    rows: int
    columns: list[_Column]


def encode(
    columns: Mapping[str, Sequence[int | None]], scales: Mapping[str, Scale] | None = None
) -> bytes:
    """Pack columns of equal length; None is an absent value.

    Args:
        columns: Whole numbers of 64 bits, by name, in the order they are to be kept.
        scales: What a count means, by name; a bare number where a name is missing.

    Raises:
        InputError: If the lengths differ or a number does not fit 64 bits.
    """
    rows = len(next(iter(columns.values()), ()))
    header: list[_Column] = []
    body: list[bytes] = []
    for name, values in columns.items():
        if len(values) != rows or rows > ROWS_MOST:
            raise InputError(
                N_("column {name} has {found} rows, wanted {rows}, at most {most}"),
                name=name,
                found=len(values),
                rows=rows,
                most=ROWS_MOST,
            )
        presence, present = _presence(values)
        if present and not INT64_LEAST <= min(present) <= max(present) <= INT64_MOST:
            raise InputError(N_("column {name} has a number beyond 64 bits"), name=name)
        kind, width, seeds, packed = _smallest(present)
        scale = (scales or {}).get(name, Scale())
        body += (presence, packed)
        header.append(
            _Column(
                name=name,
                unit=scale.unit,
                scale=scale.per_unit,
                kind=kind,
                width=width,
                seeds=seeds,
                presence_bytes=len(presence),
                value_bytes=len(packed),
            )
        )
    head = _deflate(
        msgspec.json.encode(_Header(codec=CODEC, version=VERSION, rows=rows, columns=header))
    )
    blob = b"".join((MAGIC, bytes([VERSION]), len(head).to_bytes(4, "little"), head, *body))
    return blob + zlib.crc32(blob).to_bytes(_TAIL, "little")


def decode(blob: bytes, only: Collection[str] | None = None) -> Columns:
    """Unpack what `encode` packed, all columns or `only` some.

    Raises:
        StoreNewerError: If a later version packed it.
        StoreDamagedError: If it is cut short, changed, or was never such a blob.
    """
    if len(blob) < _HEAD + _TAIL or blob[: len(MAGIC)] != MAGIC:
        raise _damaged("no trace header")
    version = blob[len(MAGIC)]
    if version > VERSION:
        raise StoreNewerError(
            N_("this trace has codec version {found}, this program reads up to {known}"),
            found=version,
            known=VERSION,
        )
    if zlib.crc32(blob[:-_TAIL]) != int.from_bytes(blob[-_TAIL:], "little"):
        raise _damaged("its CRC-32 does not match")
    try:
        return _decode_body(blob, only)
    except (ValueError, KeyError, zlib.error, msgspec.MsgspecError) as error:
        raise _damaged(str(error)) from error


def _decode_body(blob: bytes, only: Collection[str] | None) -> Columns:
    at = _HEAD + int.from_bytes(blob[len(MAGIC) + 1 : _HEAD], "little")
    header = msgspec.json.decode(_inflate(blob[_HEAD:at]), type=_Header)
    if header.codec != CODEC or header.version != VERSION or not 0 <= header.rows <= ROWS_MOST:
        raise ValueError("header disagrees with itself")
    values: dict[str, list[int | None]] = {}
    scales: dict[str, Scale] = {}
    for column in header.columns:
        middle, end = at + column.presence_bytes, at + column.presence_bytes + column.value_bytes
        if only is None or column.name in only:
            values[column.name] = _decode_column(
                column, header.rows, blob[at:middle], blob[middle:end]
            )
            scales[column.name] = Scale(column.unit, column.scale)
        at = end
    return Columns(rows=header.rows, values=values, scales=scales)


def _decode_column(column: _Column, rows: int, presence: bytes, packed: bytes) -> list[int | None]:
    if not presence:
        return list(_unpack(column, packed, rows))
    mask = int.from_bytes(_inflate(presence, rows // 8 + 1), "little")
    present = iter(_unpack(column, packed, mask.bit_count()))
    flags = f"{mask:0{rows}b}"
    return [next(present) if flag == "1" else None for flag in reversed(flags)]


def _presence(values: Sequence[int | None]) -> tuple[bytes, list[int]]:
    """Return the deflated bitmap, lowest bit first, or nothing; and the present values."""
    present = [value for value in values if value is not None]
    if len(present) == len(values):
        return b"", present
    flags = "".join("0" if value is None else "1" for value in reversed(values))
    return _deflate(int(flags, 2).to_bytes(len(values) // 8 + 1, "little")), present


def _smallest(values: list[int]) -> tuple[str, int, list[int], bytes]:
    """Return the kind, width, first values and bytes of the smallest packing."""
    first = _differences(values)
    second = _differences(first)
    candidates: tuple[tuple[str, list[int], list[int]], ...] = (
        (_PLAIN, [], values),
        (_DELTA, values[:1], first),
        (_DELTA2, values[:1] + first[:1], second),
    )
    packings = [(kind, *_pack(rest), seeds) for kind, seeds, rest in candidates]
    kind, width, packed, seeds = min(packings, key=lambda packing: len(packing[2]))
    return kind, width, seeds, packed


def _differences(values: list[int]) -> list[int]:
    return _wrapped(map(sub, values[1:], values))


def _wrapped(values: Iterable[int]) -> list[int]:
    """Fold numbers into 64 bits, two's complement."""
    exact = list(values)
    if not exact or INT64_LEAST <= min(exact) <= max(exact) <= INT64_MOST:
        return exact
    return [(value - INT64_LEAST & 0xFFFF_FFFF_FFFF_FFFF) + INT64_LEAST for value in exact]


def _pack(values: list[int]) -> tuple[int, bytes]:
    least, most = (min(values), max(values)) if values else (0, 0)
    width = next(w for w in _TYPECODES if -(1 << 8 * w - 1) <= least and most < 1 << 8 * w - 1)
    numbers = array.array(_TYPECODES[width], values)
    if sys.byteorder == "big":
        numbers.byteswap()
    data = numbers.tobytes()
    return width, _deflate(b"".join(data[place::width] for place in range(width)))


def _unpack(column: _Column, packed: bytes, count: int) -> list[int]:
    seeds = column.seeds
    if len(seeds) != min(count, _SEEDS[column.kind]):
        raise ValueError("first values are missing")
    rest = count - len(seeds)
    planes = _inflate(packed, rest * column.width)
    data = bytearray(rest * column.width)
    if len(planes) != len(data):
        raise ValueError("a column is short")
    for place in range(column.width):
        data[place :: column.width] = planes[place * rest : (place + 1) * rest]
    numbers = array.array(_TYPECODES[column.width], bytes(data))
    if sys.byteorder == "big":
        numbers.byteswap()
    values: list[int] = numbers.tolist()
    for seed in reversed(seeds):
        values = _wrapped(accumulate(values, initial=seed))
    return values


def _deflate(data: bytes) -> bytes:
    """Deflate without a frame; Z_FILTERED suits small numbers of random sign, 10 % smaller."""
    if not data:
        return b""
    stream = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS, 8, zlib.Z_FILTERED)
    return stream.compress(data) + stream.flush()


def _inflate(data: bytes, most: int = 1 << 24) -> bytes:
    """Inflate at most `most` bytes, so that a forged blob cannot fill the memory."""
    if not data:
        return b""
    stream = zlib.decompressobj(-zlib.MAX_WBITS)
    plain = stream.decompress(data, most + 1)
    if len(plain) > most or not stream.eof:
        raise ValueError("a column is longer or shorter than it says")
    return plain


def _damaged(why: str) -> StoreDamagedError:
    return StoreDamagedError(N_("this trace is damaged ({why})"), why=why)
