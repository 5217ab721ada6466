"""The board's own receiver and writer: the page's vectors, and every limit of a line."""

from __future__ import annotations

from itertools import chain

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tawny.core import messages as m
from tawny.core import wire_fields
from tawny.core.wire import Fault, decode_to_board, encode
from tawny.core.wire_fields import (
    FROM_BOARD,
    TEMP_WORDS,
    TO_BOARD,
    Decimal,
    Hex,
    Kind,
    Temperature,
    Word,
)
from wire_board import (
    KINDS,
    Receiver,
    fault_of,
    lib,
    line_of,
    numbers_of,
    write,
    write_line,
)
from wire_lines import VECTORS, raw_of, sealed, values_of

TO_BOARD_VECTORS = [vector for vector in VECTORS if vector["direction"] == "to_board"]
LATER_WORDS = ("later", "why=a ", "code=x ")  # open words of a later board: this one has no such
FROM_BOARD_VECTORS = [
    vector
    for vector in VECTORS
    if vector["direction"] == "from_board"
    and vector["expected"] == "ok"
    and not any(word in vector["line"] for word in LATER_WORDS)
]
GOOD = encode(m.Duty("3fa1", 812, 345, 1800, 333, 1800, 4711, 1500))
LONGEST = encode(m.Duty("ffff", 65535, 1000, 2000, 1000, 2000, 65535, 65535))
UNHURRIED = settings(deadline=None)


def name_of(vector: dict[str, str]) -> str:
    """A vector's name among the tests."""
    return f"{vector['expected']}:{vector['line'] or vector['hex']}"


# The vectors.


@pytest.mark.parametrize("vector", TO_BOARD_VECTORS, ids=name_of)
def test_receiver_judges_each_vector_as_the_file_says(vector: dict[str, str]) -> None:
    """`ok` is taken with these values, `kind` counts as unknown, all else as dropped."""
    raw, expected = raw_of(vector), vector["expected"]
    receiver = Receiver()
    messages = receiver.hear(raw + b"\n")

    assert (receiver.bad, receiver.unknown) == (
        int(expected not in {"ok", "kind"}),
        int(expected == "kind"),
    )
    assert fault_of(raw) == expected
    assert len(messages) == int(expected == "ok")
    for message in messages:
        kind = next(kind for kind in TO_BOARD if kind.message is type(message))
        values = [getattr(message, name) for name in message.__struct_fields__]
        fields = " ".join(f"{n}={v}" for (n, _), v in zip(kind.fields, values, strict=True))
        assert raw.startswith(kind.word.encode("ascii") + b" ")
        assert fields == vector["fields"]


@pytest.mark.parametrize("vector", FROM_BOARD_VECTORS, ids=name_of)
def test_writer_gives_back_each_vector(vector: dict[str, str]) -> None:
    """The values of the file, written by the board, are the bytes of the file."""
    word = vector["line"].split(" ")[0]
    kind = next(kind for kind in FROM_BOARD if kind.word == word)
    numbers: list[int] = []
    for (name, field), pair in zip(kind.fields, vector["fields"].split(" "), strict=True):
        given_name, _, text = pair.partition("=")
        assert given_name == name
        is_text = isinstance(field, Word) or (isinstance(field, Hex) and not field.number)
        numbers += numbers_of(field, text if is_text or text in TEMP_WORDS else int(text))

    line = write_line(line_of(KINDS.index(kind), numbers))
    assert line == raw_of(vector) + b"\n"


def test_the_crc_has_the_published_check_value() -> None:
    """CRC-32/ISO-HDLC: the check value of "123456789" is CBF43926 (catalogue of CRC algorithms)."""
    crc = 0xFFFF_FFFF
    for byte in b"123456789":
        crc = lib.wire_crc_step(crc, byte)
    assert crc ^ 0xFFFF_FFFF == 0xCBF4_3926
    assert lib.wire_crc(b"123456789", 9) == 0xCBF4_3926


# Writing.


def known(field: wire_fields.FieldType) -> st.SearchStrategy[int | str]:
    """Every value of a field that the board can write."""
    return st.sampled_from(field.words) if isinstance(field, Word) else values_of(field)


@pytest.mark.parametrize("kind", FROM_BOARD, ids=lambda kind: kind.word)
@settings(UNHURRIED, max_examples=150)
@given(data=st.data())
def test_writer_writes_what_the_host_would(kind: Kind, data: st.DataObject) -> None:
    """Any message of the board has the same bytes from both sides."""
    values = data.draw(st.tuples(*(known(field) for _, field in kind.fields)))
    message = kind.message(*values)
    assert write(message) == encode(message)


@pytest.mark.parametrize("kind", FROM_BOARD, ids=lambda kind: kind.word)
def test_writer_never_passes_the_longest_line(kind: Kind) -> None:
    """The longest line of each kind is within 160 bytes, and the same as the host's."""
    longest = [
        max(field.words, key=len)
        if isinstance(field, Word)
        else -4000
        if isinstance(field, Temperature)
        else field.most
        if isinstance(field, Decimal)
        else 16**field.digits - 1
        if field.number
        else "f" * field.digits
        for _, field in kind.fields
    ]
    message = kind.message(*longest)
    line = write(message)
    assert len(line) <= 160
    assert line == encode(message)
    if kind.word == "tele":
        assert len(line) == 160


def too_much(field: wire_fields.FieldType) -> list[int]:
    """Numbers just outside a type, and far outside."""
    if isinstance(field, Word):
        return [len(field.words), 0xFF, 0x100, 0xFFFF_FFFF]
    if isinstance(field, Temperature):
        return [10_000, 19_999, 20_002, 0x7FFF, 0x8000, 0xFFFF_F05F, 0x8000_0000]
    most = field.most if isinstance(field, Decimal) else 16**field.digits - 1
    return [number for number in (most + 1, 0x1_0000, 0xFFFF_FFFF) if most < number < 2**32]


@pytest.mark.parametrize("kind", FROM_BOARD, ids=lambda kind: kind.word)
def test_writer_never_writes_a_value_outside_its_type(kind: Kind) -> None:
    """One value that does not fit, whichever, and nothing is sent."""
    fits = [
        numbers_of(field, field.words[0] if isinstance(field, Word) else "0" * field.digits)
        if isinstance(field, Word) or (isinstance(field, Hex) and not field.number)
        else [0]
        for _, field in kind.fields
    ]
    number = KINDS.index(kind)
    assert write_line(line_of(number, chain(*fits)))
    for place, (_, field) in enumerate(kind.fields):
        for wrong in too_much(field):
            changed = chain(*fits[:place], [wrong], *fits[place + 1 :])
            assert write_line(line_of(number, changed)) == b"", (kind.word, place, wrong)


@pytest.mark.parametrize("kind", [*range(len(TO_BOARD)), len(KINDS), len(KINDS) + 1, 255])
def test_writer_never_writes_a_line_that_is_not_the_boards(kind: int) -> None:
    """Requests, and numbers beyond the last kind, are not written."""
    assert write_line(line_of(kind, [0] * 15)) == b""


# Receiving.


def test_receiver_takes_80_bytes_and_drops_81() -> None:
    """The limit holds with the LF; a longer line is dropped up to its LF and counted once."""
    line = sealed(b"zz" + b" a=aaaaaaaaaaaaaaaaa" * 3 + b" b=b")
    assert len(line) == 79
    receiver = Receiver()
    receiver.hear(line + b"\n")
    assert (receiver.bad, receiver.unknown) == (0, 1)
    receiver.hear(sealed(b"zz" + b" a=aaaaaaaaaaaaaaaaa" * 3 + b" b=bb") + b"\n")
    assert (receiver.bad, receiver.unknown) == (1, 1)
    assert receiver.hear(b"a" * 700 + GOOD + GOOD) == [decode_to_board(GOOD[:-1])]
    assert (receiver.bad, receiver.unknown) == (2, 1)


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        (b"abcdefghijkl abcde=12345678901234567", "kind"),
        (b"abcdefghijklm abcde=12345678901234567", "form"),
        (b"abcdefghijkl abcdef=12345678901234567", "form"),
        (b"abcdefghijkl abcde=123456789012345678", "form"),
        (b"a a=a", "kind"),
        (b"a a=-", "kind"),
        (b"a", "kind"),
        (b"a =a", "form"),
        (b"a a=", "form"),
        (b"a a", "form"),
        (b"", "form"),
    ],
)
def test_receiver_knows_the_lengths_of_the_grammar(body: bytes, fault: str) -> None:
    """A kind of 1 to 12 letters, a name of 1 to 5, a value of 1 to 17 characters."""
    assert fault_of(sealed(body)) == fault
    judged = decode_to_board(sealed(body))
    assert isinstance(judged, Fault)
    assert judged.value == fault


def test_receiver_takes_the_longest_request() -> None:
    """Every request fits into the receiver's buffer."""
    assert Receiver().hear(LONGEST) == [decode_to_board(LONGEST[:-1])]


@pytest.mark.parametrize("begin_ms", [0, 1000, 2**32 - 25])
def test_receiver_drops_a_line_that_stands_unfinished_for_50_ms(begin_ms: int) -> None:
    """After 49 ms the line goes on, after 50 ms the next byte starts a new one."""
    for cut in range(1, len(GOOD)):
        receiver = Receiver(begin_ms)
        receiver.hear(GOOD[:cut], begin_ms)
        assert len(receiver.hear(GOOD[cut:], begin_ms + 49)) == 1
        assert receiver.bad == 0

        receiver.hear(GOOD[:cut], begin_ms)
        assert receiver.hear(GOOD[cut:], begin_ms + 50) == []
        assert receiver.bad == 2  # the half that stood, and the half that came alone
        assert len(receiver.hear(GOOD, begin_ms + 51)) == 1


def test_receiver_drops_an_unfinished_line_with_nothing_heard() -> None:
    """Time alone drops it, once; a line that is whole is nothing to drop."""
    receiver = Receiver()
    receiver.hear(GOOD[:30], 5)
    receiver.idle(54)
    assert receiver.bad == 0
    receiver.idle(55)
    receiver.idle(500)
    assert receiver.bad == 1
    assert len(receiver.hear(GOOD, 501)) == 1
    receiver.idle(5000)
    assert receiver.bad == 1


def test_receiver_begins_anew_after_an_over_long_line_that_stalled() -> None:
    """What comes 50 ms after a line that was too long is no part of it."""
    receiver = Receiver()
    receiver.hear(b"a" * 100)
    assert receiver.hear(GOOD, 49) == []
    receiver.hear(b"a" * 100, 49)
    assert len(receiver.hear(GOOD, 99)) == 1
    assert receiver.bad == 2


def test_receiver_counts_the_dropped_and_the_unknown_up_to_65535() -> None:
    """Both counters stop at their top."""
    receiver = Receiver()
    receiver.count_from(bad=65533, unknown=65533)
    for _ in range(4):
        receiver.hear(b"\n" + sealed(b"later a=1") + b"\n")
    assert (receiver.bad, receiver.unknown) == (65535, 65535)
    receiver.hear(b"a" * 100 + b"\n")
    receiver.hear(b"a", 10)
    receiver.idle(60)
    assert receiver.bad == 65535


def test_receiver_drops_a_line_with_a_byte_that_the_hardware_doubts() -> None:
    """A 0 in place of any byte, or between any two, drops the line."""
    for at in range(len(GOOD) - 1):
        receiver = Receiver()
        assert receiver.hear(GOOD[:at] + b"\0" + GOOD[at + 1 :]) == []
        assert receiver.hear(GOOD[:at] + b"\0" + GOOD[at:]) == []
        assert receiver.bad == 2


def test_receiver_never_takes_a_line_with_one_flipped_bit() -> None:
    """Every single bit of a duty line is guarded, its LF too."""
    for bit in range(8 * len(GOOD)):
        flipped = bytearray(GOOD)
        flipped[bit // 8] ^= 1 << bit % 8
        assert Receiver().hear(bytes(flipped) + b"\n") == []


def test_receiver_never_takes_a_line_cut_short_or_two_in_one() -> None:
    """Each cut of a request, and the rest of one after the beginning of another, is dropped."""
    lines = [raw_of(vector) for vector in TO_BOARD_VECTORS if vector["expected"] == "ok"]
    for line in lines:
        for cut in range(len(line)):
            assert Receiver().hear(line[:cut] + b"\n") == []
    for line in lines[:20]:
        for cut in range(1, len(line)):
            assert Receiver().hear(line[:cut] + GOOD)[1:] == []
            assert Receiver().hear(line[:cut] + line + b"\n") == []
    assert Receiver().hear(lines[0] + GOOD) == []
