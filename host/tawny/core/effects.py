"""What the step wants done: the shell carries these out and decides nothing."""

from __future__ import annotations

import msgspec

from tawny.core.snapshot import Code, Field


class Effect(msgspec.Struct, frozen=True, gc=False):
    """Base of every effect."""


class SendDuty(Effect, frozen=True):
    """One duty line, also when both are 0."""

    upper: float
    upper_setpoint_c: float
    lower: float
    lower_setpoint_c: float


class SendArm(Effect, frozen=True):
    """Ask the board for its arming challenge."""


class SendDisarm(Effect, frozen=True):
    """Heat off at the board."""


class SendCharge(Effect, frozen=True):
    """Announce a charge."""


class SendSignal(Effect, frozen=True):
    """Call lamp and buzzer pattern at the board."""

    lamp: str
    sound: str


class Journal(Effect, frozen=True):
    """An entry for the journal."""

    kind: str
    payload: dict[str, object]
    who: str = ""


class PressingBegan(Effect, frozen=True):
    """From here on every event belongs to this pressing's window."""

    number: int


class PressingEnded(Effect, frozen=True):
    """The pressing is over: seal it with these figures."""

    number: int
    figures: dict[str, object]


class Answered(Effect, frozen=True):
    """What became of the intent just handled."""

    accepted: bool
    reason: Code | None = None


class Bell(Effect, frozen=True):
    """A new alarm wants to be heard."""

    alarm: str
    fields: dict[str, Field]


class End(Effect, frozen=True):
    """The owner may end: heat is off and the pressing sealed."""


AnyEffect = (
    SendDuty
    | SendArm
    | SendDisarm
    | SendCharge
    | SendSignal
    | Journal
    | PressingBegan
    | PressingEnded
    | Answered
    | Bell
    | End
)
