"""The lines of the wire as frozen structs; `firmware/PROTOCOL.md` is the contract.

Field names and order are the wire's own. Temperatures are tenths of a degree
(`int`), or the words "bad" and "none"; see the protocol for each unit.
"""

from __future__ import annotations

from typing import Final

import msgspec

PROTOCOL_MAJOR: Final = 1
PROTOCOL_MINOR: Final = 0
BAUD: Final = 38400
TO_BOARD_MOST_BYTES: Final = 80
FROM_BOARD_MOST_BYTES: Final = 160

# Bits of `tele.in`.
IN_OPEN: Final = 0x001
IN_NEXT: Final = 0x002
IN_ARM: Final = 0x004
IN_BUTTON: Final = 0x008
IN_THERMOSTAT: Final = 0x010
IN_MAINS: Final = 0x020
IN_CONTACTOR: Final = 0x040
IN_HOT: Final = 0x080
IN_WINDOW: Final = 0x100

# Bits of `limits.fit`.
FIT_SWITCH: Final = 0x001
FIT_NEXT: Final = 0x002
FIT_FORCE: Final = 0x004
FIT_IDENTITY: Final = 0x008
FIT_LAMP: Final = 0x010
FIT_BUZZER: Final = 0x020

Temp = int | str  # tenths of a degree, or "bad", or "none"


class Message(msgspec.Struct, frozen=True, gc=False):
    """Base of every line."""


# Requests: host to board.


class Hello(Message, frozen=True):
    """Opens a session."""

    q: int
    v: int
    id: str


class LimitsAsk(Message, frozen=True):
    """Reads limits and what is fitted (kind `limits`)."""

    s: str
    q: int


class MouldAsk(Message, frozen=True):
    """Reads a mould slot (kind `mould`)."""

    s: str
    q: int
    k: int


class Use(Message, frozen=True):
    """Selects a stored mould slot."""

    s: str
    q: int
    k: int


class StoreMould(Message, frozen=True):
    """Stores one half's R, lag and heat-up time (kind `store`)."""

    s: str
    q: int
    k: int
    h: str
    r: int
    lag: int
    up: int


class Duty(Message, frozen=True):
    """Both duties with their setpoints, echo and expiry."""

    s: str
    q: int
    u: int
    us: int
    l: int  # noqa: E741 - the wire's own name
    ls: int
    e: int
    x: int


class ArmAsk(Message, frozen=True):
    """Asks for a challenge (kind `arm`)."""

    s: str
    q: int


class ArmAnswer(Message, frozen=True):
    """Answers the challenge (kind `answer`)."""

    s: str
    q: int
    a: str


class Disarm(Message, frozen=True):
    """Heat off, disarmed."""

    s: str
    q: int


class Charge(Message, frozen=True):
    """Announces a charge."""

    s: str
    q: int


class TripSet(Message, frozen=True):
    """Reduces the trip point (kind `trip`)."""

    s: str
    q: int
    c: Temp


class CommissioningHeat(Message, frozen=True):
    """Heats one half while ARM is held (kind `heat`)."""

    s: str
    q: int
    h: str
    d: int
    e: int
    x: int


class LogAsk(Message, frozen=True):
    """Reads one entry of the event log (kind `log`)."""

    s: str
    q: int
    i: int


class Signal(Message, frozen=True):
    """Call lamp and buzzer pattern."""

    s: str
    q: int
    lamp: str
    snd: str


class Bye(Message, frozen=True):
    """Ends the session."""

    s: str
    q: int


# From the board.


class Boot(Message, frozen=True):
    """The banner after a start."""

    boot: int
    cause: str
    build: str
    latch: str


class Here(Message, frozen=True):
    """Identity, and the session token."""

    q: int
    v: int
    mv: int
    build: str
    board: str
    boot: int
    cause: str
    latch: str
    s: str


class Limits(Message, frozen=True):
    """Limits and what is fitted."""

    q: int
    ceil: Temp
    trip: Temp
    set: Temp
    cap: int
    win: int
    out: str
    zones: int
    fit: int


class Mould(Message, frozen=True):
    """A mould slot; `in_use` is the wire's `in`."""

    q: int
    k: int
    in_use: int
    ur: int
    ul: int
    uh: int
    lr: int
    ll: int
    lh: int


class Challenge(Message, frozen=True):
    """The arming challenge."""

    q: int
    c: str


class Entry(Message, frozen=True):
    """One entry of the event log, asked for."""

    q: int
    i: int
    boot: int
    ms: int
    code: str
    val: Temp
    last: int


class Done(Message, frozen=True):
    """The request was carried out."""

    q: int


class Refused(Message, frozen=True):
    """The request was not carried out."""

    q: int
    why: str


class Tele(Message, frozen=True):
    """Telemetry, each 200 ms; `inputs` is the wire's `in`, raw registers are integers."""

    n: int
    ms: int
    u: Temp
    ur: int
    un: int
    uo: int
    l: Temp  # noqa: E741 - the wire's own name
    lr: int
    ln: int
    lo: int
    st: str
    fo: str
    inputs: int
    k: int
    f: int


class Stat(Message, frozen=True):
    """Status, each second; `ident` is the wire's `id`."""

    ms: int
    why: str
    uc: Temp
    lc: Temp
    ops: int
    bad: int
    unk: int
    longest: int  # the wire's `pass`
    ident: int
    ch: int
    pl: int


class Event(Message, frozen=True):
    """An entry of the event log, as it happens."""

    i: int
    boot: int
    ms: int
    code: str
    val: Temp


ToBoard = (
    Hello
    | LimitsAsk
    | MouldAsk
    | Use
    | StoreMould
    | Duty
    | ArmAsk
    | ArmAnswer
    | Disarm
    | Charge
    | TripSet
    | CommissioningHeat
    | LogAsk
    | Signal
    | Bye
)
FromBoard = Boot | Here | Limits | Mould | Challenge | Entry | Done | Refused | Tele | Stat | Event
