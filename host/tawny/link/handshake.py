"""Greeting the board: who it is, its limits, its mould, and every way back to the start.

    closed -> listen -> hello -> limits -> mould -> up
                 ^_________________________________|    silence, no reply, a restart
    refused: a wrong device or version; left by a restart of the board or of the port

Every opening may reset the board, so nothing is sent before a good line has come: telemetry
comes unasked.
"""

from __future__ import annotations

from enum import Enum, auto
from typing import Final

from tawny.core import messages as m
from tawny.core.limits import SILENCE_DISARM_MS
from tawny.core.snapshot import Code
from tawny.link import events as e
from tawny.link import requests
from tawny.link.outbox import Outbox

GREETING_S: Final = 5.0  # a board with its boot loader has sent telemetry long before
BUSY_WAIT_S: Final = 12.0  # the board frees a dead session after 10 s
AGAIN_S: Final = 1.0  # between two greetings
LOST_S: Final = SILENCE_DISARM_MS / 1000.0


class Stage(Enum):
    """Where the handshake stands."""

    CLOSED = auto()
    LISTEN = auto()
    HELLO = auto()
    LIMITS = auto()
    MOULD = auto()
    UP = auto()
    REFUSED = auto()


class Handshake:
    """The stage of the link, and what is known of the board.

    Args:
        host_id: Eight lower-case hexadecimal digits, any number of the host's.
        outbox: Where its requests go.
    """

    def __init__(self, host_id: str, outbox: Outbox) -> None:
        self._hello = m.Hello(0, m.PROTOCOL_MAJOR, host_id)
        self._outbox = outbox
        self.stage = Stage.CLOSED
        self.here: m.Here | None = None
        self.limits: m.Limits | None = None
        self.mould: m.Mould | None = None
        self.boot: int | None = None  # of the session; None before the board said it
        self._told = ""  # the reason of the last Down, so that it is said once
        self._heard = False  # a good line since the port was opened
        self._noise = False  # something else since the port was opened
        self._good_s = 0.0
        self._greet_at_s = 0.0
        self._busy_since_s: float | None = None

    @property
    def refused(self) -> bool:
        """A wrong device or version: not used."""
        return self.stage is Stage.REFUSED or (
            self.stage is Stage.LISTEN and self._told == "wrong_device"
        )

    def settled(self, now_s: float) -> bool:
        """Say whether the link is up and nothing here is due."""
        return self.stage is Stage.UP and now_s - self._good_s < LOST_S

    def silence_s(self, now_s: float) -> float:
        """Return the time since the last good line, or since the port was opened."""
        return now_s - self._good_s

    def opened(self, now_s: float) -> None:
        """The port is open."""
        self.stage = Stage.LISTEN
        self._good_s = self._greet_at_s = now_s
        self._heard = self._noise = False
        self._told = ""
        self._forget()

    def closed(self, reason: Code) -> list[e.LinkEvent]:
        """The port is closed or gone; the same reason twice is said once."""
        if self.stage is Stage.CLOSED:
            return self._down(reason)
        self.stage = Stage.CLOSED
        self._told = ""
        self._forget()
        return self._down(reason)

    def good_line(self, now_s: float) -> None:
        """A good line came: whoever is there speaks the protocol."""
        self._good_s = now_s
        self._heard = True

    def bad_line(self) -> None:
        """Something else came."""
        self._noise = True

    def greet_if_due(self, now_s: float) -> None:
        """Say hello to a board that was just heard, where nothing forbids it."""
        if self.stage is Stage.LISTEN and now_s >= self._greet_at_s:
            self._greet()

    def poll(self, now_s: float) -> list[e.LinkEvent]:
        """Judge silence."""
        silence_s = self.silence_s(now_s)
        if self.stage is Stage.LISTEN and silence_s >= GREETING_S:
            if self._heard:
                return self._down(Code("link_lost", {"silence_s": silence_s}))
            return self._down(
                Code("wrong_device" if self._noise else "no_board"), refused=self._noise
            )
        if self.stage not in (Stage.CLOSED, Stage.LISTEN, Stage.REFUSED) and silence_s >= LOST_S:
            return self.fail(Code("link_lost", {"silence_s": silence_s}), now_s)
        return []

    def restarted(self, boot: int, cause: str, now_s: float) -> list[e.LinkEvent]:
        """The board's banner: greet it, and say so where it came in mid-session."""
        mid_session = self.boot is not None
        self.greet_again(now_s)
        if not mid_session:
            return []
        self.boot = boot
        return [e.BoardReset(boot, cause)]

    def greet_again(self, now_s: float) -> None:
        """The session is no longer the board's: it started again, or 10 s passed."""
        self._outbox.clear()
        self._greet_at_s = now_s
        self._greet()

    def recognised(self, here: m.Here) -> list[e.LinkEvent]:
        """The reply to the greeting."""
        if here.v != m.PROTOCOL_MAJOR:
            return self._refuse_version(here.v)
        if here.s == requests.NO_TOKEN:
            return self._refuse(Code("wrong_device"))
        hidden_restart = self.boot is not None and here.boot != self.boot
        self.here, self.boot = here, here.boot
        self._busy_since_s = None
        self._outbox.token = here.s
        self._outbox.put(m.LimitsAsk(requests.NO_TOKEN, 0))
        self.stage = Stage.LIMITS
        return [e.BoardReset(here.boot, here.cause)] if hidden_restart else []

    def greeting_refused(self, why: str, now_s: float) -> list[e.LinkEvent]:
        """The board takes no session now: wait for the old one to end."""
        if why == "version":
            return self._refuse_version(None)
        if self._busy_since_s is None:
            self._busy_since_s = now_s
        self.stage = Stage.LISTEN
        self._greet_at_s = now_s + AGAIN_S
        waited_s = now_s - self._busy_since_s
        if waited_s < BUSY_WAIT_S:
            return []
        return self._down(Code("board_busy", {"waited_s": waited_s}))

    def limits_known(self, limits: m.Limits) -> list[e.LinkEvent]:
        """The limits, in the handshake or read again."""
        self.limits = limits
        if self.stage is not Stage.LIMITS:
            return [e.LimitsRead(limits)]
        self._outbox.put(requests.read_mould(0))
        self.stage = Stage.MOULD
        return []

    def mould_known(self, mould: m.Mould, slot_asked: int) -> list[e.LinkEvent]:
        """A mould slot, in the handshake or read again."""
        if slot_asked == 0:
            self.mould = mould
        if self.stage is not Stage.MOULD or self.here is None or self.limits is None:
            return [e.MouldRead(mould)]
        self.stage = Stage.UP
        self._told = ""
        return [e.Up(self.here, self.limits, mould)]

    def fail(self, reason: Code, now_s: float) -> list[e.LinkEvent]:
        """Take the link as lost; greet again when the board is heard."""
        self.stage = Stage.LISTEN
        self._greet_at_s = now_s + AGAIN_S
        self._forget()
        return self._down(reason)

    def _greet(self) -> None:
        self.stage = Stage.HELLO
        self._outbox.put(self._hello)

    def _refuse_version(self, board_version: int | None) -> list[e.LinkEvent]:
        older = board_version is not None and board_version < m.PROTOCOL_MAJOR
        return self._refuse(
            Code(
                "version_refused",
                {
                    "board_version": "?" if board_version is None else board_version,
                    "host_version": m.PROTOCOL_MAJOR,
                    "update": "board" if older else "host",
                },
            )
        )

    def _refuse(self, reason: Code) -> list[e.LinkEvent]:
        self.stage = Stage.REFUSED
        self._forget()
        return self._down(reason, refused=True)

    def _down(self, reason: Code, *, refused: bool = False) -> list[e.LinkEvent]:
        if self._told == reason.code:
            return []
        self._told = reason.code
        return [e.Down(reason, refused)]

    def _forget(self) -> None:
        self._outbox.clear()
        self._outbox.token = requests.NO_TOKEN
        self.boot = None
        self._busy_since_s = None
