"""`firmware/PROTOCOL.md` says what the code does: its examples, its tables and its numbers."""

from __future__ import annotations

import re
from pathlib import Path
from zlib import crc32

import pytest

from tawny.core import limits, messages, wire_fields
from tawny.core.framing import IDLE_MS
from tawny.core.messages import BAUD, FROM_BOARD_MOST_BYTES, TO_BOARD_MOST_BYTES
from tawny.core.wire import Fault, decode_from_board, decode_to_board, encode
from tawny.core.wire_fields import FROM_BOARD, TO_BOARD, Kind

PAGE = (Path(__file__).parents[1] / "firmware" / "PROTOCOL.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())
EXAMPLES = re.findall(r"^(host|board)> +(.+)$", PAGE, flags=re.MULTILINE)
TEXT_OF_TYPE = {field.name: field for kind in TO_BOARD + FROM_BOARD for _, field in kind.fields}


def section(number: str) -> str:
    """The text of one section, up to the next heading of its level."""
    level = "#" * (2 + number.count("."))
    found = re.search(
        rf"^{level} {re.escape(number)}\.? .*?(?=^#{{2,{len(level)}}} |\Z)",
        PAGE,
        re.MULTILINE | re.DOTALL,
    )
    assert found is not None, number
    return found[0]


def rows(text: str) -> list[list[str]]:
    """The cells of every table row in a text, without heads and rules."""
    cells = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|")
    ]
    return [row for row, after in zip(cells, [*cells[1:], [""]], strict=True)
            if not row[0].startswith("---") and not after[0].startswith("---")]  # fmt: skip


def fields_of(cell: str) -> list[tuple[str, str]]:
    """The names and types of a table cell; `q` alone is a u16."""
    found = re.findall(r"`(\w+)`(?: ([a-z0-9/]+))?", cell)
    return [(name, kind or "u16") for name, kind in found]


def table_of(kinds: tuple[Kind, ...]) -> dict[str, list[tuple[str, str]]]:
    """The codec's own table, in the page's words."""
    return {kind.word: [(name, field.name) for name, field in kind.fields] for kind in kinds}


def listed(pattern: str) -> tuple[str, ...]:
    """The back-quoted words that follow a phrase, up to the full stop."""
    found = re.search(pattern + r"([^.]*)\.", FLAT)
    assert found is not None, pattern
    return tuple(re.findall(r"`([a-z]+)`", found[1]))


def number(where: str, pattern: str) -> float:
    """The one number that a section states with these words."""
    found = re.findall(pattern, " ".join(section(where).split()))
    assert len(found) == 1, (where, pattern, found)
    return float(found[0].replace(" ", ""))


def test_protocol_page_examples_read_and_write_back_to_the_same_bytes() -> None:
    """Every worked line decodes, and its message encodes to exactly that line."""
    assert len(EXAMPLES) > 40
    for side, text in EXAMPLES:
        line = text.encode("ascii")
        message = decode_to_board(line) if side == "host" else decode_from_board(line)

        assert not isinstance(message, Fault), (message, text)
        assert encode(message) == line + b"\n"


@pytest.mark.parametrize(("side", "kinds"), [("host", TO_BOARD), ("board", FROM_BOARD)])
def test_protocol_page_examples_show_every_kind(side: str, kinds: tuple[Kind, ...]) -> None:
    """No kind is left without a worked line."""
    shown = {text.split(" ")[0] for given, text in EXAMPLES if given == side}

    assert shown == {kind.word for kind in kinds}


def test_protocol_page_example_answers_its_challenge() -> None:
    """The answer is the CRC-32 of the challenge's 8 digits and the token's 4."""
    texts = [text for _, text in EXAMPLES]
    challenge = next(re.search(r" c=([0-9a-f]{8})", t) for t in texts if t.startswith("challenge"))
    answer = next(re.search(r" s=(\w{4}) .* a=(\w{8})", t) for t in texts if t.startswith("answer"))
    assert challenge is not None
    assert answer is not None

    assert answer[2] == f"{crc32((challenge[1] + answer[1]).encode('ascii')):08x}"


def test_protocol_page_examples_answer_each_request_once() -> None:
    """Each request is followed by one reply with its sequence number before the next request."""
    waiting: str | None = None
    for side, text in EXAMPLES:
        q = re.search(r" q=(\d+) ", text)
        if side == "host":
            assert waiting is None, text
            assert q is not None
            waiting = q[1]
        elif q is not None:
            assert q[1] == waiting, text
            waiting = None
    assert waiting is None


def test_protocol_page_tables_of_requests_agree_with_the_codec() -> None:
    """Section 4 lists the codec's fields, in order, with their types."""
    given = {row[0].strip("`"): fields_of(row[1].split("(")[0]) for row in rows(section("4"))}
    for word, fields in given.items():
        if word != "hello":
            given[word] = [("s", "hex4"), ("q", "u16"), *fields]

    assert given == table_of(TO_BOARD)


def test_protocol_page_tables_of_lines_from_the_board_agree_with_the_codec() -> None:
    """Section 5 lists the codec's fields, in order, with their types."""
    given = {
        row[0].strip("`"): fields_of(row[1]) for row in rows(section("5")) if len(row[1]) > 2
        and row[0].startswith("`")
    }  # fmt: skip

    assert given == table_of(FROM_BOARD)


def test_protocol_page_types_agree_with_the_codec() -> None:
    """The ends of every type are those of section 1."""
    u16 = number("1", r"\| setp \| u16, 0 to (\d+)")
    assert u16 == wire_fields.SETP.most
    assert number("1", r"\| duty \| u16, 0 to (\d+)") == wire_fields.DUTY.most
    assert number("1", r"\| force \| u16, 0 to (\d+)") == wire_fields.FORCE.most
    assert number("1", r"optional `-`, (-\d+) to") == wire_fields.TEMP_LEAST
    assert number("1", r"optional `-`, -\d+ to (\d+)") == wire_fields.TEMP_MOST
    assert number("1", r"\n?(\d+) baud") == BAUD
    assert number("1", r"to the board is at most \*\*(\d+)\*\*") == TO_BOARD_MOST_BYTES
    assert number("1", r"from the board at most \*\*(\d+)\*\*") == FROM_BOARD_MOST_BYTES
    assert number("1", r"while no byte comes for (\d+) ms") == IDLE_MS


def test_protocol_page_words_agree_with_the_codec() -> None:
    """Every listed word is one the codec takes, and none is missing."""
    assert listed(r"`cause`:") == wire_fields.CAUSE.words
    assert listed(r"`latch` and `fo` \(first-out\):") == wire_fields.LATCH.words
    assert listed(r"`st`:") == wire_fields.STATE.words
    assert listed(r"\*\*`stat`\.\*\* `why` says why the board is not ready:") == (
        wire_fields.LOCK_REASONS
    )
    assert listed(r"newest one\. Codes:") == wire_fields.EVENT_CODES
    assert tuple(row[0].strip("`") for row in rows(section("2"))) == wire_fields.REFUSALS


def test_protocol_page_bits_agree_with_the_messages() -> None:
    """The bits of `in` and `fit` stand where the host reads them."""
    given = {row[1]: 1 << int(row[0]) for row in rows(section("5")) if row[0].isdigit()}

    assert given == {
        name.removeprefix("IN_").lower(): bit
        for name, bit in vars(messages).items()
        if name.startswith("IN_")
    }
    fit = re.search(r"`fit` bits: (.*?)\.", FLAT)
    assert fit is not None
    names = [re.sub(r"^\d ", "", part) for part in fit[1].split(", ")]
    assert names == ["mould switch", "NEXT/MARK", "force channel", "mould-identity resistor",
                     "call lamp", "buzzer"]  # fmt: skip
    bits = [messages.FIT_SWITCH, messages.FIT_NEXT, messages.FIT_FORCE, messages.FIT_IDENTITY,
            messages.FIT_LAMP, messages.FIT_BUZZER]  # fmt: skip
    assert bits == [1 << bit for bit in range(6)]


@pytest.mark.parametrize(
    ("where", "pattern", "scale", "expected"),
    [
        ("5", r"`tele` .*? each (\d+) ms", 1, limits.READ_MS),
        ("5", r"HOT lamp is on: a half is above (\d+) degC", 1, limits.HOT_C),
        ("5", r"and ([\d.]+) s after the last\)", 1, limits.ADVANCE_APART_S),
        ("6.2", r"valid for (\d+) s", 1, limits.CHALLENGE_VALID_S),
        ("6.3", r"\(100 to (\d+) ms\)", 1, limits.DUTY_EXPIRY_MS),
        ("6.3", r"one each ([\d.]+) s", 1000, limits.READ_MS * limits.CONTROL_EVERY_FRAMES),
        ("6.3", r"min\((\d+), trip", 0.1, limits.SETPOINT_MOST_C),
        ("6.3", r"min\(\d+, trip - (\d+)\)", 0.1, limits.SETPOINT_BELOW_TRIP_K),
        ("6.3", r"\| ([\d.]+) s \+- 0.25 \| disarmed", 1000, limits.SILENCE_DISARM_MS),
        ("6.3", r"\| (\d+) s \| contactor released", 1000, limits.SILENCE_RELEASE_MS),
        ("6.4", r"While the mould is open the duty is at most (\d+)", 1e-3, limits.OPEN_DUTY_MOST),
        ("6.5", r"ceiling ([\d.]+) degC", 1, limits.CEILING_C),
        ("6.5", r"default trip ([\d.]+) degC", 1, limits.TRIP_DEFAULT_C),
        ("6.5", r"`trip` with (\d+) <= c", 0.1, limits.TRIP_LEAST_C),
        ("6.5", r"differs between the halves by more than (\d+) K", 1, limits.DISAGREE_TRIP_K),
        ("6.5", r"by more than 30 K for (\d+) s", 1, limits.DISAGREE_TRIP_S),
        ("6.5", r"no rise \| duty >= (\d+)", 1e-3, limits.NO_RISE_DUTY),
        ("6.5", r"each window of max\((\d+) s", 1, limits.NO_RISE_LEAST_S),
        ("6.5", r"falls \| more than (\d+) K", 1, limits.FALL_K),
        ("6.5", r"falls \| more than \d+ K in (\d+) s", 1, limits.FALL_S),
        ("6.5", r"same register for (\d+) s", 1, limits.STUCK_S + limits.STUCK_STEP_S),
        ("6.5", r"at a duty above (\d+)", 1e-3, limits.STUCK_DUTY),
        ("6.5", r"host's step of (\d+) for", 1e-3, limits.STUCK_STEP_DUTY),
        ("6.5", r"host's step of \d+ for (\d+) s", 1, limits.STUCK_STEP_S),
        ("6.5", r"full duty \| duty >= (\d+)", 1e-3, limits.FULL_DUTY),
        ("6.5", r"within (\d+) to \d+ min", 60, limits.FULL_DUTY_LEAST_S),
        ("6.5", r"within \d+ to (\d+) min", 60, limits.FULL_DUTY_MOST_S),
        ("6.5", r"\((\d+) min where none\)", 60, limits.FULL_DUTY_DEFAULT_S),
        ("6.6", r"not within (\d+) s of the last", 1, limits.CHARGE_APART_S),
        ("6.6", r"opens a window of (\d+) s", 1, limits.CHARGE_WINDOW_S),
        ("6.6", r"at most (\d+) K below", 1, limits.CHARGE_FALL_K),
        ("6.6", r"duty at most (\d+) for", 1e-3, limits.OPEN_DUTY_MOST),
        ("6.6", r"duty at most \d+ for (\d+) min", 60, limits.OPEN_HEAT_MOST_S),
        ("6.7", r"restarts (\d+) min of presence", 60, limits.PRESENCE_S),
        ("6.7", r"buzzer warns for (\d+) min", 60, limits.PRESENCE_WARNING_S),
        ("6.8", r"the half below ([\d.]+) degC", 1, limits.COMMISSIONING_MOST_C),
        ("6.8", r"at most (\d+) min in one go", 60, limits.COMMISSIONING_MOST_S),
        ("6.8", r"in each (\d+) s", 1, limits.COMMISSIONING_NO_RISE_S),
        ("6.9", r"HOT lamp: on above (\d+) degC", 1, limits.HOT_C),
    ],
)
def test_protocol_page_number_agrees_with_the_limits(
    where: str, pattern: str, scale: float, expected: float
) -> None:
    """A number on the page and the host's own are the same."""
    assert number(where, pattern) * scale == pytest.approx(expected)


def test_protocol_page_versions_agree() -> None:
    """The page and the messages name the same version."""
    found = re.search(r"This page is (\d+)\.(\d+)\.", FLAT)
    assert found is not None

    assert (int(found[1]), int(found[2])) == (messages.PROTOCOL_MAJOR, messages.PROTOCOL_MINOR)
