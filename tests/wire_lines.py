"""The vectors and every message of the wire, for whoever tests an implementation of it."""

from __future__ import annotations

import csv
from pathlib import Path
from zlib import crc32

from hypothesis import strategies as st

from tawny.core import messages as m
from tawny.core.wire_fields import FROM_BOARD, TO_BOARD, Decimal, Hex, Kind, Temperature, Word

KINDS = {"to_board": TO_BOARD, "from_board": FROM_BOARD}

with (Path(__file__).parent / "wire_vectors.csv").open(encoding="ascii", newline="") as file:
    VECTORS = list(csv.DictReader(file))


def raw_of(vector: dict[str, str]) -> bytes:
    """The bytes of a vector's line, without its LF."""
    return bytes.fromhex(vector["hex"]) if vector["hex"] else vector["line"].encode("ascii")


def values_of(field: object) -> st.SearchStrategy[int | str]:
    """Every value that a field can carry, with its ends often."""
    if isinstance(field, Decimal):
        return st.sampled_from([0, field.most]) | st.integers(0, field.most)
    if isinstance(field, Temperature):
        return st.sampled_from(["bad", "none", -4000, 9999, 0]) | st.integers(-4000, 9999)
    if isinstance(field, Hex):
        number = st.integers(0, 16**field.digits - 1)
        return number if field.number else number.map(lambda n: f"{n:0{field.digits}x}")
    assert isinstance(field, Word)
    words = st.sampled_from(field.words)
    return words | st.from_regex(field.pattern, fullmatch=True) if field.open else words


def message_of(kind: Kind) -> st.SearchStrategy[m.Message]:
    """Every message of a kind."""
    return st.tuples(*(values_of(field) for _, field in kind.fields)).map(
        lambda values: kind.message(*values)
    )


MESSAGES = {
    direction: st.one_of(*(message_of(kind) for kind in kinds))
    for direction, kinds in KINDS.items()
}


def sealed(body: bytes) -> bytes:
    """A body with its right CRC, without an LF."""
    return b"%b crc=%08x" % (body, crc32(body))
