"""The field types and the table of every kind of line: sections 1, 4 and 5 of `PROTOCOL.md`.

Each field type reads one value strictly (no repair, no leniency of `int()`) and writes it in
the only form that reads back. `wire.py` puts the lines together.
"""

from __future__ import annotations

import re
from enum import Enum, StrEnum
from typing import Final, Protocol

import msgspec

from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut, Half, ResetCause

Value = int | str


class Fault(StrEnum):
    """Why a line is dropped, in the order in which it is checked."""

    LENGTH = "length"  # longer than the direction's limit
    CHARACTER = "character"  # a byte that the grammar never uses
    FORM = "form"  # not of the general form of a line
    CRC = "crc"
    UNKNOWN_KIND = "kind"  # a good line of a kind that this version does not know
    FIELD = "field"  # a field is missing, extra, misnamed, out of order, or ill-formed
    RANGE = "range"  # a well-formed number outside its type


class FieldType(Protocol):
    """How one value stands on the wire."""

    @property
    def name(self) -> str:
        """The name of the type on the protocol's page."""

    @property
    def pattern(self) -> str:
        """A regular expression that every good value matches."""

    def read(self, text: str) -> Value | Fault:
        """Return the value, or the fault; the text holds only characters of the grammar."""

    def write(self, value: object) -> str:
        """Return the one text that reads back as this value; ValueError where there is none."""


_DECIMAL: Final = re.compile(r"0|[1-9][0-9]*")
_SIGNED: Final = re.compile(r"0|-?[1-9][0-9]*")
_OPEN_WORD: Final = re.compile(r"[a-z][a-z0-9-]{0,16}")


class Decimal(msgspec.Struct, frozen=True):
    """An unsigned decimal number."""

    name: str
    most: int

    @property
    def pattern(self) -> str:
        """See `FieldType`."""
        return f"0|[1-9][0-9]{{0,{len(str(self.most)) - 1}}}"

    def read(self, text: str) -> Value | Fault:
        """See `FieldType`."""
        if _DECIMAL.fullmatch(text) is None:
            return Fault.FIELD
        value = int(text)
        return value if value <= self.most else Fault.RANGE

    def write(self, value: object) -> str:
        """See `FieldType`."""
        if type(value) is not int or not 0 <= value <= self.most:
            raise ValueError(f"{value!r} is not a {self.name}")
        return str(value)


TEMP_LEAST: Final = -4000
TEMP_MOST: Final = 9999
TEMP_WORDS: Final = ("bad", "none")


class Temperature(msgspec.Struct, frozen=True):
    """Tenths of a degree, or why there is no number."""

    name: str = "temp"

    @property
    def pattern(self) -> str:
        """See `FieldType`."""
        return "0|[1-9][0-9]{0,3}|-[1-9][0-9]{0,2}|-[1-3][0-9]{3}|-4000|bad|none"

    def read(self, text: str) -> Value | Fault:
        """See `FieldType`."""
        if text in TEMP_WORDS:
            return text
        if _SIGNED.fullmatch(text) is None:
            return Fault.FIELD
        value = int(text)
        return value if TEMP_LEAST <= value <= TEMP_MOST else Fault.RANGE

    def write(self, value: object) -> str:
        """See `FieldType`."""
        if type(value) is int and TEMP_LEAST <= value <= TEMP_MOST:
            return str(value)
        if isinstance(value, str) and value in TEMP_WORDS:
            return value
        raise ValueError(f"{value!r} is not a temperature of the wire")


class Hex(msgspec.Struct, frozen=True):
    """Exactly so many lower-case hexadecimal digits; `number` reads them as an integer."""

    digits: int
    number: bool = False

    @property
    def name(self) -> str:
        """See `FieldType`."""
        return f"hex{self.digits}"

    @property
    def pattern(self) -> str:
        """See `FieldType`."""
        return f"[0-9a-f]{{{self.digits}}}"

    def read(self, text: str) -> Value | Fault:
        """See `FieldType`."""
        if re.fullmatch(self.pattern, text) is None:
            return Fault.FIELD
        return int(text, 16) if self.number else text

    def write(self, value: object) -> str:
        """See `FieldType`."""
        if self.number:
            if type(value) is not int or not 0 <= value < 16**self.digits:
                raise ValueError(f"{value!r} does not fit {self.name}")
            return f"{value:0{self.digits}x}"
        if not isinstance(value, str) or re.fullmatch(self.pattern, value) is None:
            raise ValueError(f"{value!r} is not {self.name}")
        return value


class Word(msgspec.Struct, frozen=True):
    """One of the words listed; an open list also takes words of later minor versions."""

    words: tuple[str, ...]
    open: bool = False
    name: str = "word"

    @property
    def pattern(self) -> str:
        """See `FieldType`."""
        return _OPEN_WORD.pattern if self.open else "|".join(self.words)

    def read(self, text: str) -> Value | Fault:
        """See `FieldType`."""
        if text in self.words or (self.open and _OPEN_WORD.fullmatch(text) is not None):
            return text
        return Fault.FIELD

    def write(self, value: object) -> str:
        """See `FieldType`."""
        text = value.value if isinstance(value, Enum) else value
        if not isinstance(text, str) or self.read(text) is Fault.FIELD:
            raise ValueError(f"{value!r} is not one of {', '.join(self.words)}")
        return text


REFUSALS: Final = (
    "version", "busy", "token", "old", "echo", "slot", "range", "limit", "state", "hand",
    "rate", "wrong", "empty",
)  # fmt: skip
LOCK_REASONS: Final = (
    "none", "session", "sensor", "mains", "button", "thermostat", "mould", "mirror", "selftest",
    "latched",
)  # fmt: skip
EVENT_CODES: Final = (
    "boot", "armed", "disarmed", "silence", "released", "trip", "reset", "charge", "openoff",
    "fall", "full", "presence", "mains", "tripset", "stored", "used", "comm", "refarm",
)  # fmt: skip
LAMPS: Final = ("off", "on", "blink")
SOUNDS: Final = ("off", "breathe", "topup", "soon", "alarm")
OUTPUTS: Final = ("ssr", "relay")


U8: Final = Decimal("u8", 0xFF)
U16: Final = Decimal("u16", 0xFFFF)
U32: Final = Decimal("u32", 0xFFFF_FFFF)
SETP: Final = Decimal("setp", 2000)
DUTY: Final = Decimal("duty", 1000)
FORCE: Final = Decimal("force", 1023)
TEMP: Final = Temperature()
HEX4: Final = Hex(4)
HEX8: Final = Hex(8)
HEX16: Final = Hex(16)
BITS: Final = Hex(3, number=True)
REGISTER: Final = Hex(8, number=True)
HALF: Final = Word(tuple(half.value for half in Half), name="upper/lower")
LAMP: Final = Word(LAMPS, name="off/on/blink")
SOUND: Final = Word(SOUNDS, name="off/breathe/topup/soon/alarm")
OUT: Final = Word(OUTPUTS, name="ssr/relay")
CAUSE: Final = Word(tuple(cause.value for cause in ResetCause))
LATCH: Final = Word(tuple(first_out.value for first_out in FirstOut))
STATE: Final = Word(tuple(state.value for state in BoardState))
LOCK: Final = Word(LOCK_REASONS)
REFUSAL: Final = Word(REFUSALS, open=True)
EVENT: Final = Word(EVENT_CODES, open=True)


class Kind(msgspec.Struct, frozen=True):
    """One kind of line: its word, its struct, its fields in the order of the wire."""

    word: str
    message: type[m.Message]
    fields: tuple[tuple[str, FieldType], ...]


def _kind(word: str, message: type[m.Message], **fields: FieldType) -> Kind:
    return Kind(word, message, tuple(fields.items()))


def _request(word: str, message: type[m.Message], **fields: FieldType) -> Kind:
    return _kind(word, message, s=HEX4, q=U16, **fields)


TO_BOARD: Final = (
    _kind("hello", m.Hello, q=U16, v=U8, id=HEX8),
    _request("limits", m.LimitsAsk),
    _request("mould", m.MouldAsk, k=U8),
    _request("use", m.Use, k=U8),
    _request("store", m.StoreMould, k=U8, h=HALF, r=U16, lag=U16, up=U16),
    _request("duty", m.Duty, u=DUTY, us=SETP, l=DUTY, ls=SETP, e=U16, x=U16),
    _request("arm", m.ArmAsk),
    _request("answer", m.ArmAnswer, a=HEX8),
    _request("disarm", m.Disarm),
    _request("charge", m.Charge),
    _request("trip", m.TripSet, c=TEMP),
    _request("heat", m.CommissioningHeat, h=HALF, d=DUTY, e=U16, x=U16),
    _request("log", m.LogAsk, i=U16),
    _request("signal", m.Signal, lamp=LAMP, snd=SOUND),
    _request("bye", m.Bye),
)

# `in` and `pass` are keywords of Python, so those fields are given as pairs.
FROM_BOARD: Final = (
    _kind("boot", m.Boot, boot=U16, cause=CAUSE, build=HEX8, latch=LATCH),
    _kind("here", m.Here, q=U16, v=U8, mv=U8, build=HEX8, board=HEX16, boot=U16, cause=CAUSE,
          latch=LATCH, s=HEX4),
    _kind("limits", m.Limits, q=U16, ceil=TEMP, trip=TEMP, set=TEMP, cap=U16, win=U16, out=OUT,
          zones=U8, fit=BITS),
    _kind("mould", m.Mould, q=U16, k=U8, **{"in": U8}, ur=U16, ul=U16, uh=U16, lr=U16, ll=U16,
          lh=U16),
    _kind("challenge", m.Challenge, q=U16, c=HEX8),
    _kind("entry", m.Entry, q=U16, i=U16, boot=U16, ms=U32, code=EVENT, val=TEMP, last=U16),
    _kind("done", m.Done, q=U16),
    _kind("refused", m.Refused, q=U16, why=REFUSAL),
    _kind("tele", m.Tele, n=U16, ms=U32, u=TEMP, ur=REGISTER, un=U16, uo=U16, l=TEMP, lr=REGISTER,
          ln=U16, lo=U16, st=STATE, fo=LATCH, **{"in": BITS}, k=U8, f=FORCE),
    _kind("stat", m.Stat, ms=U32, why=LOCK, uc=TEMP, lc=TEMP, ops=U32, bad=U16, unk=U16,
          **{"pass": U16}, id=U8, ch=U8, pl=U16),
    _kind("event", m.Event, i=U16, boot=U16, ms=U32, code=EVENT, val=TEMP),
)  # fmt: skip
