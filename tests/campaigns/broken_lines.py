"""Broken lines by the million through the board's own receiver: none may be acted on.

In the folder `tests`: `python -m campaigns.broken_lines [--lines N] [--seed S]`
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import Final

from tawny.core import messages as m
from tawny.core.wire import encode
from tawny.core.wire_fields import TO_BOARD, Decimal, FieldType, Hex, Temperature, Value, Word
from telling import say, say_none
from wire_board import Receiver
from wire_lines import sealed

STALL_MS: Final = 50
LETTERS: Final = b"abcdefghijklmnopqrstuvwxyz0123456789= -"
LINES_A_RECEIVER: Final = 20_000  # far from the top of its counters


@dataclass
class Tally:
    """What came of a campaign."""

    lines: int = 0
    taken: list[bytes] = field(default_factory=list)
    miscounted: list[bytes] = field(default_factory=list)
    lost: list[bytes] = field(default_factory=list)  # a good line after it was not taken
    kinds: Counter[str] = field(default_factory=Counter)


def value_of(kind: FieldType, rng: Random) -> Value:
    """Any value of a type, its ends often."""
    if isinstance(kind, Word):
        return rng.choice(kind.words)
    if isinstance(kind, Temperature):
        return rng.choice(["bad", "none", 0, -4000, 9999, rng.randint(-4000, 9999)])
    if isinstance(kind, Hex):
        return f"{rng.randrange(16**kind.digits):0{kind.digits}x}"
    assert isinstance(kind, Decimal)
    return rng.choice([0, kind.most, rng.randint(0, kind.most)])


def good(rng: Random) -> bytes:
    """A good request, its LF at the end."""
    kind = rng.choice(TO_BOARD)
    message: m.Message = kind.message(*(value_of(type_, rng) for _, type_ in kind.fields))
    return encode(message)


# What the way does to a line.


def flipped(line: bytes, rng: Random) -> bytes:
    """One to eight bits turned over."""
    bits = bytearray(line)
    for bit in rng.sample(range(8 * len(bits)), rng.randint(1, 8)):
        bits[bit // 8] ^= 1 << bit % 8
    return bytes(bits)


def overwritten(line: bytes, rng: Random) -> bytes:
    """A burst of other bytes."""
    at, length = rng.randrange(len(line)), rng.randint(1, 12)
    return line[:at] + rng.randbytes(length) + line[at + length :]


def misread(line: bytes, rng: Random) -> bytes:
    """One to four characters read as others of the grammar."""
    text = bytearray(line)
    for at in rng.sample(range(len(text)), rng.randint(1, 4)):
        text[at] = rng.choice(LETTERS)
    return bytes(text)


def lost(line: bytes, rng: Random) -> bytes:
    """Some bytes never arrive."""
    at = rng.randrange(len(line))
    return line[:at] + line[at + rng.randint(1, 16) :]


def doubled(line: bytes, rng: Random) -> bytes:
    """Some bytes arrive twice."""
    at = rng.randrange(len(line))
    end = at + rng.randint(1, 16)
    return line[:end] + line[at:]


def swapped(line: bytes, rng: Random) -> bytes:
    """Two neighbours change places."""
    at = rng.randrange(len(line) - 1)
    return line[:at] + bytes([line[at + 1], line[at]]) + line[at + 2 :]


def padded(line: bytes, rng: Random) -> bytes:
    """Bytes too many."""
    at = rng.randrange(len(line))
    return line[:at] + rng.randbytes(rng.randint(1, 4)) + line[at:]


def cut(line: bytes, rng: Random) -> bytes:
    """Only its beginning, or only its end."""
    at = rng.randrange(1, len(line) - 1)
    return line[:at] if rng.random() < 0.5 else line[at:]


def joined(line: bytes, rng: Random) -> bytes:
    """Two lines in one, the end of the first and the beginning of the second lost or not."""
    other = good(rng)
    begin = line[: rng.randrange(1, len(line))]
    both = begin + other[rng.randrange(0, len(other) - 1) :]
    return begin + other if both == other else both  # they may begin alike


def noise(_: bytes, rng: Random) -> bytes:
    """Any bytes."""
    return rng.randbytes(rng.randint(0, 120))


def gibberish(_: bytes, rng: Random) -> bytes:
    """Any characters of the grammar, some with a right CRC."""
    body = bytes(rng.choices(LETTERS, k=rng.randint(0, 100)))
    return sealed(body) if rng.random() < 0.5 else body


# What a wrong host would send: the CRC is right.


def _wrong_value(type_: FieldType, text: str, rng: Random) -> str:
    """A text that is no value of the type."""
    ends: list[str] = [text + "x", "x" + text, "-", "--1", "nan", "0x1", "1e3"]
    if isinstance(type_, Decimal):
        ends += [f"0{text}", f"-{text}", str(type_.most + rng.randint(1, 10**6)), "9" * 17, "bad"]
    elif isinstance(type_, Temperature):
        ends += ["-0", "00", "01", "-01", str(10_000 + rng.randint(0, 10**6)), "ba", "nonee"]
        ends += [str(-4001 - rng.randint(0, 10**6))]
    elif isinstance(type_, Hex):
        ends += [text[:-1] + "g", text[1:] or "-", text + "0", "0" + text, text[:-1] + "-"]
    elif isinstance(type_, Word):
        ends += [text[:-1], text + "s", "0", "1"]
    return rng.choice(ends)[:17]


def forged(_: bytes, rng: Random) -> bytes:
    """A line that the grammar or the table of kinds forbids, with a right CRC."""
    kind = rng.choice(TO_BOARD)
    texts = [str(value_of(type_, rng)) for _, type_ in kind.fields]
    pairs = [f"{name}={text}" for (name, _), text in zip(kind.fields, texts, strict=True)]
    word = kind.word
    at = rng.randrange(len(pairs))
    name, type_ = kind.fields[at]
    how = rng.randrange(12)
    if how <= 4:
        pairs[at] = f"{name}={_wrong_value(type_, texts[at], rng)}"
    elif how == 5:
        del pairs[at]
    elif how == 6:
        pairs.insert(rng.randint(0, len(pairs)), rng.choice([pairs[at], "z=1"]))
    elif how == 7 and len(pairs) > 1:
        other = (at + 1) % len(pairs)
        pairs[at], pairs[other] = pairs[other], pairs[at]
    elif how == 8:
        pairs[at] = f"{name}z={texts[at]}"
    elif how == 9:
        pairs[at] = rng.choice([pairs[at] + " ", " " + pairs[at], f"{name}=", texts[at], ""])
    elif how == 10:
        word = rng.choice([word + "s", word[1:], "", word + "=", "done", "tele", "zz", word + "1"])
    else:
        return sealed(" ".join([word, *pairs]).encode("ascii")) + rng.choice([b" ", b"\r", b"0"])
    return sealed(" ".join([word, *pairs]).encode("ascii"))


WAYS: Final[tuple[Callable[[bytes, Random], bytes], ...]] = (
    flipped, overwritten, misread, lost, doubled, swapped, padded, cut, joined, noise, gibberish,
    forged, forged,
)  # fmt: skip


def broken(rng: Random) -> tuple[str, bytes]:
    """A line that is broken by what was done to it, and how; its LF is at the end.

    A piece between two LFs that came through whole makes the rest no broken line: then another one
    is drawn. That compares bytes; it is no second opinion on what a good line is.
    """
    while True:
        line = good(rng)
        way = rng.choice(WAYS)
        harmed = way(line, rng).removesuffix(b"\n")
        if line[:-1] not in harmed.split(b"\n"):
            return way.__name__, harmed + b"\n"


def run(lines: int, seed: int) -> Tally:
    """Give the receiver broken lines, each whole or with a stall in it, now and then a good one.

    Args:
        lines: How many broken lines, besides those that stall.
        seed: The same seed gives the same lines.
    """
    rng = Random(seed)  # noqa: S311 - the same lines again, no secret
    tally = Tally()
    now_ms = 2**32 - 30_000  # the board's clock wraps on the way
    receiver = Receiver(now_ms)
    for turn in range(1, lines + 1):
        if turn % LINES_A_RECEIVER == 0:
            receiver = Receiver(now_ms)
        how, data = broken(rng)
        before = receiver.bad + receiver.unknown
        taken = receiver.hear(data, now_ms)
        tally.lines += 1
        tally.kinds[how] += 1
        if taken:
            tally.taken.append(how.encode() + b": " + data)
        elif receiver.bad + receiver.unknown - before != data.count(b"\n"):
            tally.miscounted.append(data)
        now_ms += rng.choice([0, 1, 20, 49, 50, 400])
        if turn % 16 == 0:
            stalled(receiver, rng, now_ms, tally)
            now_ms += 2 * STALL_MS
            line = good(rng)
            if len(receiver.hear(line, now_ms)) != 1:
                tally.lost.append(data)
    return tally


def stalled(receiver: Receiver, rng: Random, now_ms: int, tally: Tally) -> None:
    """Give a good line in two halves with a stall between them: neither may be acted on."""
    line = good(rng)
    at = rng.randrange(1, len(line))
    taken = receiver.hear(line[:at], now_ms)
    taken += receiver.hear(line[at:], now_ms + STALL_MS)
    tally.lines += 1
    tally.kinds["stalled"] += 1
    if taken:
        tally.taken.append(line)


def main() -> None:
    """Run the campaign and say what came of it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    tally = run(wanted.lines, wanted.seed)
    for how, count in sorted(tally.kinds.items()):
        say(f"{count:10d}  {how}")
    say(f"{tally.lines:10d}  broken lines, {len(tally.taken)} taken")
    if not tally.taken:
        say_none("taken", tally.lines)
    for name in ("taken", "miscounted", "lost"):
        for line in getattr(tally, name)[:20]:
            say(f"{name}: {line!r}")
    sys.exit(bool(tally.taken or tally.miscounted or tally.lost))


if __name__ == "__main__":
    main()
