"""The codec of the wire, pure: one frozen message to one line and back, both directions.

A line that is not exactly right is a `Fault`, never a message. The order of checks is that of
the protocol's section 8: length, characters, form, CRC, kind, fields from left to right.
Telemetry, duty and `done` have a fast path; what it does not take goes the general way, which
decides and names the fault.
"""

from __future__ import annotations

import re
from typing import Final
from zlib import crc32

from tawny.core import messages as m
from tawny.core.wire_fields import (
    DUTY,
    FORCE,
    FROM_BOARD,
    HEX4,
    LATCH,
    SETP,
    STATE,
    TEMP_LEAST,
    TEMP_MOST,
    TEMP_WORDS,
    TO_BOARD,
    U8,
    U16,
    U32,
    Fault,
    Kind,
    Value,
)

__all__ = ["Fault", "arming_answer", "crc_of", "decode_from_board", "decode_to_board", "encode"]

_CHARACTERS: Final = re.compile(rb"[a-z0-9= -]*")
_FORM: Final = re.compile(rb"([a-z]{1,12})((?: [a-z]{1,5}=[a-z0-9-]{1,17})*) crc=([0-9a-f]{8})")
_CRC_BYTES: Final = len(b" crc=00000000")
_TO_BOARD: Final = {kind.word: kind for kind in TO_BOARD}
_FROM_BOARD: Final = {kind.word: kind for kind in FROM_BOARD}
_BY_MESSAGE: Final = {kind.message: kind for kind in TO_BOARD + FROM_BOARD}
_U16: Final = U16.most
_U32: Final = U32.most
_BITS_MOST: Final = 0xFFF


def crc_of(body: bytes) -> int:
    """Return the CRC-32 of a line's bytes before ` crc=`.

    Source:
        Reflected polynomial EDB88320, start and final XOR FFFFFFFF; check value CBF43926.
    """
    return crc32(body)


def arming_answer(challenge: str, token: str) -> str:
    """Return what a host answers a challenge with, section 6.2 of `PROTOCOL.md`."""
    return f"{crc_of((challenge + token).encode('ascii')):08x}"


def encode(message: m.Message) -> bytes:
    """Return the line of a message, with its LF.

    Raises:
        ValueError: A field does not fit its type: a fault of the program, never of the wire.
    """
    if type(message) is m.Tele:
        return _seal(_tele_body(message))
    if type(message) is m.Duty:
        return _seal(_duty_body(message))
    kind = _BY_MESSAGE[type(message)]
    parts = [kind.word]
    for (name, field), attribute in zip(kind.fields, message.__struct_fields__, strict=True):
        parts.append(f"{name}={field.write(getattr(message, attribute))}")
    return _seal(" ".join(parts))


def decode_to_board(line: bytes) -> m.ToBoard | Fault:
    """Return the request that a line (without LF) holds, or why it is dropped."""
    if line.startswith(b"duty "):
        duty = _fast_duty(line)
        if duty is not None:
            return duty
    return _decode(line, m.TO_BOARD_MOST_BYTES, _TO_BOARD)  # type: ignore[return-value]


def decode_from_board(line: bytes) -> m.FromBoard | Fault:
    """Return the message that a line from the board (without LF) holds, or why it is dropped."""
    if line.startswith(b"tele "):
        tele = _fast_tele(line)
        if tele is not None:
            return tele
    elif line.startswith(b"done "):
        done = _fast_done(line)
        if done is not None:
            return done
    return _decode(line, m.FROM_BOARD_MOST_BYTES, _FROM_BOARD)  # type: ignore[return-value]


def _decode(line: bytes, most_bytes: int, kinds: dict[str, Kind]) -> m.Message | Fault:
    if len(line) + 1 > most_bytes:
        return Fault.LENGTH
    if _CHARACTERS.fullmatch(line) is None:
        return Fault.CHARACTER
    form = _FORM.fullmatch(line)
    if form is None:
        return Fault.FORM
    if crc32(line[:-_CRC_BYTES]) != int(form[3], 16):
        return Fault.CRC
    kind = kinds.get(form[1].decode("ascii"))
    if kind is None:
        return Fault.UNKNOWN_KIND
    pairs = form[2].decode("ascii").split(" ")[1:]
    values: list[Value] = []
    for (name, field), pair in zip(kind.fields, pairs, strict=False):
        given, _, text = pair.partition("=")
        if given != name:
            return Fault.FIELD
        value = field.read(text)
        if isinstance(value, Fault):
            return value
        values.append(value)
    if len(pairs) != len(kind.fields):
        return Fault.FIELD
    return kind.message(*values)


def _seal(body: str) -> bytes:
    data = body.encode("ascii")
    return b"%b crc=%08x\n" % (data, crc32(data))


def _pattern(kind: Kind) -> re.Pattern[bytes]:
    fields = "".join(f" {name}=({field.pattern})" for name, field in kind.fields)
    return re.compile(f"{kind.word}{fields} crc=([0-9a-f]{{8}})".encode("ascii"))


_TELE: Final = _pattern(_FROM_BOARD["tele"])
_DONE: Final = _pattern(_FROM_BOARD["done"])
_DUTY: Final = _pattern(_TO_BOARD["duty"])
_WORD_OF_TEMP: Final = {b"bad": "bad", b"none": "none"}
_STATES: Final = frozenset(STATE.words)
_FIRST_OUTS: Final = frozenset(LATCH.words)
_WORDS: Final = {word.encode("ascii"): word for word in STATE.words + LATCH.words}
_TOKEN: Final = re.compile(HEX4.pattern)
_TELE_TEXT: Final = (
    "tele n=%d ms=%d u=%s ur=%08x un=%d uo=%d l=%s lr=%08x ln=%d lo=%d "
    "st=%s fo=%s in=%03x k=%d f=%d"
)
_DUTY_TEXT: Final = "duty s=%s q=%d u=%d us=%d l=%d ls=%d e=%d x=%d"


def _fast_tele(line: bytes) -> m.Tele | None:
    match = _TELE.fullmatch(line)
    if match is None:
        return None
    n, ms, u, ur, un, uo, l, lr, ln, lo, st, fo, inputs, k, f, crc = match.groups()  # noqa: E741
    if crc32(line[:-_CRC_BYTES]) != int(crc, 16):
        return None
    tele = m.Tele(
        int(n),
        int(ms),
        _WORD_OF_TEMP.get(u) or int(u),
        int(ur, 16),
        int(un),
        int(uo),
        _WORD_OF_TEMP.get(l) or int(l),
        int(lr, 16),
        int(ln),
        int(lo),
        _WORDS[st],
        _WORDS[fo],
        int(inputs, 16),
        int(k),
        int(f),
    )
    small = tele.n | tele.un | tele.uo | tele.ln | tele.lo
    # The pattern bounds the temperatures. In range, the longest line is just within the limit.
    if small <= _U16 and tele.ms <= _U32 and tele.k <= U8.most and tele.f <= FORCE.most:
        return tele
    return None


def _fast_done(line: bytes) -> m.Done | None:
    match = _DONE.fullmatch(line)
    if match is None or crc32(line[:-_CRC_BYTES]) != int(match[2], 16):
        return None
    q = int(match[1])
    return m.Done(q) if q <= _U16 else None


def _fast_duty(line: bytes) -> m.Duty | None:
    match = _DUTY.fullmatch(line)
    if match is None:
        return None
    s, q, u, us, l, ls, e, x, crc = match.groups()  # noqa: E741
    if crc32(line[:-_CRC_BYTES]) != int(crc, 16):
        return None
    duty = m.Duty(s.decode("ascii"), int(q), int(u), int(us), int(l), int(ls), int(e), int(x))
    if (
        (duty.q | duty.e | duty.x) <= _U16
        and duty.u <= DUTY.most
        and duty.l <= DUTY.most
        and duty.us <= SETP.most
        and duty.ls <= SETP.most
    ):
        return duty
    return None


def _tele_body(t: m.Tele) -> str:
    # `|` refuses floats (so also NaN), and shows one negative or too large number among many.
    if not (
        0 <= (t.n | t.un | t.uo | t.ln | t.lo) <= _U16
        and 0 <= (t.ms | t.ur | t.lr) <= _U32
        and 0 <= (t.k | 0) <= U8.most
        and 0 <= (t.f | 0) <= FORCE.most
        and 0 <= (t.inputs | 0) <= _BITS_MOST
        and _temp_fits(t.u)
        and _temp_fits(t.l)
        and t.st in _STATES
        and t.fo in _FIRST_OUTS
    ):
        raise ValueError(f"a field of {t!r} does not fit the wire")
    return _TELE_TEXT % (
        t.n, t.ms, t.u, t.ur, t.un, t.uo, t.l, t.lr, t.ln, t.lo, t.st, t.fo, t.inputs, t.k, t.f
    )  # fmt: skip


def _duty_body(d: m.Duty) -> str:
    if not (
        0 <= (d.q | d.e | d.x) <= _U16
        and 0 <= (d.u | 0) <= DUTY.most
        and 0 <= (d.l | 0) <= DUTY.most
        and 0 <= (d.us | 0) <= SETP.most
        and 0 <= (d.ls | 0) <= SETP.most
        and _TOKEN.fullmatch(d.s) is not None
    ):
        raise ValueError(f"a field of {d!r} does not fit the wire")
    return _DUTY_TEXT % (d.s, d.q, d.u, d.us, d.l, d.ls, d.e, d.x)


def _temp_fits(value: m.Temp) -> bool:
    if type(value) is int:
        return TEMP_LEAST <= value <= TEMP_MOST
    return value in TEMP_WORDS
