"""The codec: what it takes, what it drops, and that nothing broken is ever taken."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tawny.core import messages as m
from tawny.core.framing import Framer
from tawny.core.wire import Fault, crc_of, decode_from_board, decode_to_board, encode
from tawny.core.wire_fields import FROM_BOARD, TO_BOARD
from wire_lines import KINDS, MESSAGES, VECTORS, raw_of, sealed

DECODE = {"to_board": decode_to_board, "from_board": decode_from_board}
UNHURRIED = settings(deadline=None)


def bitwise_crc(data: bytes) -> int:
    """CRC-32 by its definition, one bit at a time."""
    crc = 0xFFFF_FFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB8_8320 if crc & 1 else 0)
    return crc ^ 0xFFFF_FFFF


def test_crc_has_the_published_check_value() -> None:
    """CRC-32/ISO-HDLC: the check value of "123456789" is CBF43926 (catalogue of CRC algorithms)."""
    assert crc_of(b"123456789") == 0xCBF43926


def test_crc_agrees_with_its_definition_over_the_good_vectors() -> None:
    """The polynomial EDB88320 taken bit by bit gives the CRC of every good line."""
    assert bitwise_crc(b"123456789") == 0xCBF43926
    for vector in VECTORS:
        if vector["expected"] == "ok":
            body, _, digits = vector["line"].rpartition(" crc=")
            assert f"{bitwise_crc(body.encode('ascii')):08x}" == digits


@pytest.mark.parametrize(
    "vector", VECTORS, ids=lambda v: f"{v['expected']}:{v['line'] or v['hex']}"
)
def test_wire_judges_each_vector_as_the_file_says(vector: dict[str, str]) -> None:
    """Good lines give these fields and write back to the same bytes, broken ones this fault."""
    line = raw_of(vector)
    message = DECODE[vector["direction"]](line)
    if isinstance(message, Fault):
        assert message.value == vector["expected"]
        assert vector["fields"] == ""
        return
    kind = next(k for k in KINDS[vector["direction"]] if k.message is type(message))
    values = [getattr(message, name) for name in message.__struct_fields__]
    fields = " ".join(f"{n}={v}" for (n, _), v in zip(kind.fields, values, strict=True))

    assert vector["expected"] == "ok"
    assert fields == vector["fields"]
    assert encode(message) == line + b"\n"


def test_wire_vectors_cover_every_kind_and_every_fault() -> None:
    """At least 60 good and 60 broken lines; each kind good, each fault in both directions."""
    count = Counter(vector["expected"] == "ok" for vector in VECTORS)
    assert count[True] >= 60
    assert count[False] >= 60
    for direction, kinds in KINDS.items():
        mine = [vector for vector in VECTORS if vector["direction"] == direction]
        good = {v["line"].split(" ")[0] for v in mine if v["expected"] == "ok"}
        assert good == {kind.word for kind in kinds}
        assert {v["expected"] for v in mine} == {"ok", *(fault.value for fault in Fault)}


@pytest.mark.parametrize("line", [b"done q=\n8 crc=00000000", b"done q=8 crc=411e5ded\n"])
def test_wire_never_takes_a_line_with_an_lf_inside(line: bytes) -> None:
    """The LF is the framer's; in a line it is a wrong character."""
    assert decode_from_board(line) is Fault.CHARACTER


@pytest.mark.parametrize("direction", ["to_board", "from_board"])
@UNHURRIED
@given(data=st.data())
def test_wire_returns_any_message_it_was_given(direction: str, data: st.DataObject) -> None:
    """Encoding and decoding gives the same message, within the direction's length."""
    message = data.draw(MESSAGES[direction])
    line = encode(message)

    assert line.endswith(b"\n")
    assert len(line) <= (80 if direction == "to_board" else 160)
    assert DECODE[direction](line[:-1]) == message


@pytest.mark.parametrize("direction", ["to_board", "from_board"])
@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_wire_never_takes_a_line_with_a_changed_byte(direction: str, data: st.DataObject) -> None:
    """One changed byte of a good line, whichever, is never taken as a message."""
    line = encode(data.draw(MESSAGES[direction]))[:-1]
    at = data.draw(st.integers(0, len(line) - 1))
    byte = data.draw(st.integers(0, 255))
    assume(byte != line[at])

    assert isinstance(DECODE[direction](line[:at] + bytes([byte]) + line[at + 1 :]), Fault)


@pytest.mark.parametrize("direction", ["to_board", "from_board"])
def test_wire_never_takes_a_line_with_one_flipped_bit(direction: str) -> None:
    """Every single bit of the longest telemetry and duty lines is guarded."""
    message: m.Message = m.Duty("3fa1", 812, 345, 1800, 333, 1800, 4711, 1500)
    if direction == "from_board":
        message = m.Tele(
            4711, 123_456, 1805, 0x0B48_1900, 4711, 51_234, 1798, 0x0B3C_1900, 4710, 50_123,
            "armed", "none", 0x060, 3, 0,
        )  # fmt: skip
    line = encode(message)[:-1]
    for bit in range(8 * len(line)):
        flipped = bytearray(line)
        flipped[bit // 8] ^= 1 << bit % 8

        assert isinstance(DECODE[direction](bytes(flipped)), Fault)


@UNHURRIED
@given(st.binary(max_size=200))
def test_wire_never_takes_random_bytes(data: bytes) -> None:
    """Noise is a fault in both directions."""
    assert isinstance(decode_to_board(data), Fault)
    assert isinstance(decode_from_board(data), Fault)


@UNHURRIED
@given(st.from_regex(r"[a-z]{1,12}( [a-z]{1,5}=[a-z0-9-]{1,17}){0,4}", fullmatch=True))
def test_wire_never_takes_a_sealed_line_that_it_would_not_write(body: str) -> None:
    """A line with a right CRC is taken only when its message encodes to the same bytes."""
    line = sealed(body.encode("ascii"))
    for decode in DECODE.values():
        message = decode(line)

        assert isinstance(message, Fault) or encode(message) == line + b"\n"


@pytest.mark.parametrize(
    "message",
    [
        m.Done(65536),
        m.Done(-1),
        m.Done(q=True),
        m.Duty("3fa1", 1, 1001, 0, 0, 0, 0, 100),
        m.Duty("3FA1", 1, 0, 0, 0, 0, 0, 100),
        m.Duty("3fa1", 1, 0, 2001, 0, 0, 0, 100),
        m.TripSet("3fa1", 1, "cold"),
        m.TripSet("3fa1", 1, -4001),
        m.Hello(1, 1, "1234567g"),
        m.Tele(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, "overtemp", "none", 0, 0, 0),
        m.Tele(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, "armed", "ready", 0, 0, 0),
        m.Tele(0, 0, 10_000, 0, 0, 0, 0, 0, 0, 0, "armed", "none", 0, 0, 0),
        m.Tele(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, "armed", "none", 0, 0, 1024),
        m.Refused(1, "Old"),
    ],
)
def test_wire_never_writes_a_field_that_does_not_fit(message: m.Message) -> None:
    """A value outside its type is refused, not cut."""
    with pytest.raises(ValueError, match="fit|not"):
        encode(message)


@pytest.mark.parametrize("value", [1.0, float("nan"), float("inf"), "1"])
def test_wire_never_writes_a_number_that_is_not_an_integer(value: object) -> None:
    """Floats, so also NaN, never reach the wire."""
    for message in (
        m.Done(value),  # type: ignore[arg-type]
        m.Duty("3fa1", 1, value, 0, 0, 0, 0, 100),  # type: ignore[arg-type]
        m.Tele(0, 0, value, 0, 0, 0, 0, 0, 0, 0, "armed", "none", 0, 0, 0),  # type: ignore[arg-type]
        m.Tele(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, "armed", "none", 0, value, 0),  # type: ignore[arg-type]
    ):
        with pytest.raises((ValueError, TypeError)):
            encode(message)


def test_wire_tables_name_the_fields_of_their_structs() -> None:
    """Each table has as many fields as its struct, in the same order; three names differ."""
    renamed = {"in": ("in_use", "inputs"), "id": ("id", "ident"), "pass": ("longest",)}
    for kind in TO_BOARD + FROM_BOARD:
        names = kind.message.__struct_fields__
        assert len(names) == len(kind.fields)
        for (wire_name, _), attribute in zip(kind.fields, names, strict=True):
            assert attribute in renamed.get(wire_name, (wire_name,))


LINE_BYTES = st.binary(max_size=60).map(lambda data: data.replace(b"\n", b" "))


@UNHURRIED
@given(st.lists(LINE_BYTES, max_size=8), st.data())
def test_framer_returns_the_same_lines_however_the_bytes_arrive(
    lines: list[bytes], data: st.DataObject
) -> None:
    """Cutting the stream anywhere changes nothing."""
    stream = b"".join(line + b"\n" for line in lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    framer = Framer(80)
    got: list[bytes] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        got += framer.feed(stream[start:end])

    assert got == lines
    assert framer.oversize == 0


def test_framer_drops_a_line_longer_than_the_limit_up_to_its_lf() -> None:
    """80 bytes with the LF are taken, 81 are not, and the next line is whole."""
    framer = Framer(80)

    assert framer.feed(b"a" * 79 + b"\n") == [b"a" * 79]
    assert framer.feed(b"a" * 80 + b"\n") == []
    assert framer.oversize == 1
    assert framer.feed(b"b" * 79) == []
    assert framer.feed(b"b" * 400) == []
    assert framer.feed(b"b\nc\n") == [b"c"]
    assert framer.oversize == 2


def test_framer_drops_a_line_that_stands_unfinished_for_50_ms() -> None:
    """The rest of a line that stalled does not complete it."""
    framer = Framer(80)
    framer.feed(b"done q=1")

    assert not framer.idle(49)
    assert framer.idle(50)
    assert framer.feed(b" crc=0\n") == [b" crc=0"]
    assert framer.unfinished == 1
    assert not framer.idle(1000)
