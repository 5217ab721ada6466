"""The lines that cross the desk's socket: msgspec JSON, one object a line, versioned.

viewer                          owner
Hello(version, name, desk) -->
                           <--  Welcome(version, viewer, ...) and the trend so far
                           <--  Snap (at most 4 a second; a slow viewer gets fewer)
                           <--  Points (each second)
Ask(id, intent, sent_s)    -->
                           <--  Answer(id, accepted, reason)
Ping                       -->  (each second: somebody is at the desk)
                           <--  Bye(reason) before the owner closes the line
"""

from __future__ import annotations

import time

import msgspec

from tawny.core.intents import AnyIntent
from tawny.core.snapshot import Code, Snapshot, TrendPoint

DESK_VERSION = 1


def boot_clock_s() -> float:
    """Return seconds that count suspend, the same in every process of this computer."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Hello(msgspec.Struct, frozen=True, tag="hello"):
    """A viewer says who it is; `desk` asks for the desk if it is free."""

    version: int
    name: str
    desk: bool = False


class Ask(msgspec.Struct, frozen=True, tag="ask"):
    """An intent, answered by the `Answer` of the same id.

    Attributes:
        sent_s: When it was meant, on the boot clock that both ends share; None: not told.
    """

    id: int
    intent: AnyIntent
    sent_s: float | None = None


class Ping(msgspec.Struct, frozen=True, tag="ping"):
    """The viewer is alive and drawing."""


class Welcome(msgspec.Struct, frozen=True, tag="welcome"):
    """The owner accepts a viewer."""

    version: int
    viewer: str
    owner_version: str
    history: tuple[TrendPoint, ...]


class Snap(msgspec.Struct, frozen=True, tag="snap"):
    """The latest picture of the press."""

    snapshot: Snapshot


class Points(msgspec.Struct, frozen=True, tag="points"):
    """New seconds of the trend."""

    points: tuple[TrendPoint, ...]


class Answer(msgspec.Struct, frozen=True, tag="answer"):
    """What became of an intent."""

    id: int
    accepted: bool
    reason: Code | None = None


class Bye(msgspec.Struct, frozen=True, tag="bye"):
    """The owner ends this viewer's line."""

    reason: Code


ToOwner = Hello | Ask | Ping
ToViewer = Welcome | Snap | Points | Answer | Bye
