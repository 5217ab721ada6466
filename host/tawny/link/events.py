"""What the session tells the service; garbage never gets this far."""

from __future__ import annotations

import msgspec

from tawny.core.messages import Entry, Event, Here, Limits, Mould, Stat, Tele
from tawny.core.snapshot import Code


class LinkEvent(msgspec.Struct, frozen=True):
    """Base of every event of the link."""


class Up(LinkEvent, frozen=True):
    """Identity, limits and the mould in use are known: the board may be used."""

    here: Here
    limits: Limits
    mould: Mould


class Down(LinkEvent, frozen=True):
    """The board is not used from now on.

    Attributes:
        reason: The reason handed to `Session.lost`, or one of `no_board`, `wrong_device`,
            `version_refused` (board_version, host_version, update: "board" or "host"),
            `board_busy` (waited_s), `no_reply` (kind), `link_lost` (silence_s), `bye`.
        refused: The device answers but must not be used: a wrong one, or another version.
    """

    reason: Code
    refused: bool = False


class BoardReset(LinkEvent, frozen=True):
    """The board started again in the middle of a session; an `Up` follows if it comes back."""

    boot: int
    cause: str


class Telemetry(LinkEvent, frozen=True):
    """One good line of telemetry.

    Attributes:
        board_ms: The board's clock, unwrapped within one boot.
    """

    tele: Tele
    board_ms: int
    boot: int


class Status(LinkEvent, frozen=True):
    """The slow status line."""

    stat: Stat


class Logged(LinkEvent, frozen=True):
    """An entry of the board's event log, as it happened."""

    event: Event


class LogRead(LinkEvent, frozen=True):
    """An entry of the board's event log that was asked for."""

    entry: Entry


class MouldRead(LinkEvent, frozen=True):
    """A mould slot: asked for, or read again after a change."""

    mould: Mould


class LimitsRead(LinkEvent, frozen=True):
    """The limits, read again after a change."""

    limits: Limits


class ArmingStep(LinkEvent, frozen=True):
    """Where the arming exchange stands: `asked`, `press_arm`, `armed`, `expired`."""

    step: str


class Refusal(LinkEvent, frozen=True):
    """The board refused a request: its kind, and the protocol's word why."""

    kind: str
    why: str


class Answered(LinkEvent, frozen=True):
    """The board carried out a request of this kind."""

    kind: str
