"""The words of the field as enums: one word for one thing, everywhere.

Values are the words on the wire, in the record and in files. The sentence a person
reads for each stands in `tawny.words`.
"""

from __future__ import annotations

from enum import StrEnum


class Half(StrEnum):
    """A mould half; each has its own heater and thermocouple."""

    UPPER = "upper"
    LOWER = "lower"


class Quality(StrEnum):
    """How far a value can be trusted."""

    GOOD = "good"
    STALE = "stale"
    BAD = "bad"


class BoardState(StrEnum):
    """The board's own states; only ARMED permits heat."""

    BOOT = "boot"
    SELFTEST = "selftest"
    LOCKED = "locked"
    READY = "ready"
    ARMED = "armed"
    TRIPPED = "tripped"


class FirstOut(StrEnum):
    """What tripped the board first; kept until reset by hand."""

    NONE = "none"
    OVERTEMP = "overtemp"
    SENSOR = "sensor"
    DISAGREE = "disagree"
    NORISE = "norise"
    RISEFAST = "risefast"
    FALLFAST = "fallfast"
    WELDED = "welded"
    STUCK = "stuck"
    MIRROR = "mirror"
    CHAIN = "chain"
    SELFTEST = "selftest"


class ResetCause(StrEnum):
    """Why the board last started."""

    POWER = "power"
    BUTTON = "button"
    BROWNOUT = "brownout"
    WATCHDOG = "watchdog"
    UNKNOWN = "unknown"


class LinkStatus(StrEnum):
    """Where the serial link stands."""

    CLOSED = "closed"  # no port open; retrying with back-off
    GREETING = "greeting"  # port open, identity not yet confirmed
    UP = "up"  # identity confirmed, good lines arriving
    STALE = "stale"  # no good line for longer than the stale limit
    REFUSED = "refused"  # a wrong device or protocol version; not used


class Phase(StrEnum):
    """Where the pressing stands."""

    IDLE = "idle"
    PREHEAT = "preheat"
    SOAK = "soak"
    READY = "ready"
    CLEAN = "clean"
    OIL = "oil"
    FILL = "fill"
    CLOSE = "close"
    BREATHE = "breathe"
    HOLD = "hold"
    RELEASE = "release"
    OPEN = "open"
    DEMOULD = "demould"
    COOL = "cool"
    PAUSED = "paused"


class Result(StrEnum):
    """How a pressing ended."""

    COMPLETE = "complete"
    ABORTED = "aborted"
    INTERRUPTED = "interrupted"


class Priority(StrEnum):
    """How soon an alarm wants an answer."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """States of an alarm, with the names the field's alarm standards use."""

    NORMAL = "normal"
    ACTIVE = "active"  # true, not acknowledged
    ACKNOWLEDGED = "acknowledged"  # true, acknowledged
    RETURNED = "returned"  # false again, not acknowledged
    LATCHED = "latched"  # false, latched, not acknowledged
    LATCHED_SEEN = "latched_seen"  # false, latched, acknowledged: needs reset
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out_of_service"
