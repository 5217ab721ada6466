"""One contract: kinds, fields, words and limits of the board's C are those of the host's table."""

from __future__ import annotations

import re
from typing import Any

import pytest

from c_core import FIRMWARE, defines
from tawny.core import framing, wire_fields
from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut, ResetCause
from tawny.core.wire_fields import TEMP_WORDS, TO_BOARD, Decimal, Hex, Kind, Temperature, Word
from wire_board import DEFINES, KINDS, ffi, lib


def text_of(flash: Any) -> str:
    """A text in flash up to its LF."""
    return ffi.string(flash).decode("ascii").split("\n")[0]


def type_of(letters: str) -> wire_fields.FieldType:
    """The host's type for a type of the board's table, built from what the board knows of it."""
    if letters.isdigit():
        return Hex(sum(map(int, letters)))
    most = lib.wire_most(letters.encode("ascii"))
    if most:
        return Decimal("", most)
    words = tuple(text_of(lib.wire_words(letters.encode("ascii"))).split())
    return Temperature() if letters == "T" else Word(words)


def alike(ours: wire_fields.FieldType, theirs: wire_fields.FieldType) -> bool:
    """Whether two types take the same values; how the host shows them does not matter."""
    if isinstance(ours, Decimal) and isinstance(theirs, Decimal):
        return ours.most == theirs.most
    if isinstance(ours, Hex) and isinstance(theirs, Hex):
        return ours.digits == theirs.digits
    if isinstance(ours, Word) and isinstance(theirs, Word):
        return ours.words == theirs.words
    return isinstance(ours, Temperature) and isinstance(theirs, Temperature)


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: f"{KINDS.index(k)}-{k.word}")
def test_board_and_host_have_the_same_table_of_kinds(kind: Kind) -> None:
    """Each kind has the same word, fields, order, types, words and ends of range on both sides."""
    word, *fields = text_of(lib.wire_pattern(KINDS.index(kind))).split(" ")
    assert word == kind.word
    assert len(fields) == len(kind.fields)
    values = 0
    for field, (name, theirs) in zip(fields, kind.fields, strict=True):
        letters = field.removeprefix(name)
        assert len(letters) == len(field) - len(name)
        assert alike(type_of(letters), theirs), (field, theirs)
        values += len(letters)
        if kind in TO_BOARD:  # the reader relies on it
            assert len(letters) == 1
            assert letters != "Q"
    assert values <= DEFINES["WIRE_VALUES_MOST"]


def test_board_and_host_have_the_same_limits_of_a_line() -> None:
    """Lengths, the 50 ms, and the words of a temperature, which lie outside its numbers."""
    assert DEFINES["WIRE_TO_BOARD_MOST"] == m.TO_BOARD_MOST_BYTES
    assert DEFINES["WIRE_FROM_BOARD_MOST"] == m.FROM_BOARD_MOST_BYTES
    assert DEFINES["WIRE_UNFINISHED_MS"] == framing.IDLE_MS
    assert DEFINES["WIRE_TEMP_MOST"] == wire_fields.TEMP_MOST
    assert DEFINES["WIRE_TEMP_LEAST"] == -wire_fields.TEMP_LEAST
    assert tuple(text_of(lib.wire_words(b"T")).split()) == TEMP_WORDS
    assert DEFINES["WIRE_NONE"] == DEFINES["WIRE_BAD"] + 1
    assert wire_fields.TEMP_MOST < DEFINES["WIRE_BAD"] < 0x7FFF
    assert text_of(lib.wire_pattern(len(KINDS))) == " crc8"


def constants(header: str, enum: str) -> list[str]:
    """The names of an enum in a header of the board, in order; none has a number of its own."""
    text = (FIRMWARE / f"{header}.h").read_text(encoding="ascii")
    body = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL).split(f"enum {enum} {{")[1].split("}")[0]
    names = [name.strip() for name in body.split(",") if name.strip()]
    assert all(re.fullmatch(r"[A-Z0-9_]+", name) for name in names)
    return names


@pytest.mark.parametrize(
    ("header", "enum", "prefix", "words"),
    [
        ("safety", "safety_state", "SAFETY_", tuple(state.value for state in BoardState)),
        ("safety", "safety_cause", "SAFETY_", tuple(first_out.value for first_out in FirstOut)),
        ("safety", "safety_why", "SAFETY_WHY_", wire_fields.LOCK_REASONS),
        ("safety", "safety_event", "SAFETY_EVENT_", wire_fields.EVENT_CODES),
        ("signals", "signals_lamp", "SIGNALS_LAMP_", wire_fields.LAMPS),
        ("signals", "signals_sound", "SIGNALS_", wire_fields.SOUNDS),
        ("wire", "wire_refusal", "WIRE_WHY_", wire_fields.REFUSALS),
        ("unit", "unit_cause", "UNIT_CAUSE_", tuple(cause.value for cause in ResetCause)),
    ],
)
def test_words_of_the_board_stand_in_the_order_of_the_page(
    header: str, enum: str, prefix: str, words: tuple[str, ...]
) -> None:
    """A word's number in C is its place in the list that the writer takes it from."""
    renamed = {"selftest_failed": "selftest", "quiet": "off"}
    names = [
        renamed.get(name.removeprefix(prefix).lower(), name.removeprefix(prefix).lower())
        for name in constants(header, enum)
        if name.startswith(prefix)
    ]
    assert tuple(names[: len(words)]) == words
    # At most one more, and that one is the count of the words.
    assert len(names) <= len(words) + 1


def test_the_latch_in_memory_counts_the_words_of_the_page() -> None:
    """The latch that lasts has a number for each first-out, and doubt reads as the last one."""
    memory = defines("memory")
    assert memory["MEMORY_LATCHES"] == len(FirstOut)
    assert memory["MEMORY_LATCH_SELFTEST"] == list(FirstOut).index(FirstOut.SELFTEST)


def test_kinds_of_the_board_stand_in_the_order_of_the_table() -> None:
    """A kind's number in C is its place in the page's two tables."""
    names = [
        name.removeprefix("WIRE_").removeprefix("ASK_").lower()
        for name in constants("wire", "wire_kind")
    ]
    assert names == [kind.word for kind in KINDS] + ["kinds"]
