"""One host at a time: token, sequence, and how long it has been silent."""

from __future__ import annotations

from typing import Final
from zlib import crc32

from tawny.sim.limits import CHALLENGE_MS, U16

_NEWEST: Final = 0x7FFF  # a newer `q` is at most so far ahead
_SPREAD: Final = 40503  # odd, so that 65536 sessions pass before a token returns


def token_of(session: int) -> str:
    """Return the token of the n-th session of a board's life; never `0000`."""
    return f"{(session % U16 + 1) * _SPREAD & U16:04x}"


class Session:
    """The session that is alive, or none.

    Attributes:
        token: Empty while there is none.
        fed_ms: The last taken duty line, or the `hello` where there was none yet.
    """

    def __init__(self) -> None:
        self.token = ""
        self.fed_ms = 0
        self.last_q = 0

    def open(self, token: str, q: int, now_ms: int) -> None:
        """Begin."""
        self.token, self.last_q, self.fed_ms = token, q, now_ms

    def close(self) -> None:
        """End; the token is free."""
        self.token = ""

    def refusal(self, token: str, q: int) -> str:
        """Return why a request is refused before it is looked at, empty if it is not.

        A good one moves the sequence on.
        """
        if not self.token or token != self.token:
            return "token"
        if not 1 <= (q - self.last_q) & U16 <= _NEWEST:
            return "old"
        self.last_q = q
        return ""


class Arming:
    """The challenge, its answer, and the press that must follow within the same 10 s."""

    def __init__(self, seed: str) -> None:
        self._seed = seed
        self._count = 0
        self.until_ms: int | None = None  # None: nothing is pending
        self._digits = ""
        self.answered = False

    def ask(self, now_ms: int) -> str:
        """Return a new challenge; an older one ends."""
        self._count += 1
        self._digits = f"{crc32(f'{self._seed} {self._count} {now_ms}'.encode('ascii')):08x}"
        self.until_ms = now_ms + CHALLENGE_MS
        self.answered = False
        return self._digits

    def answer(self, digits: str, token: str) -> bool:
        """Take an answer; a wrong one ends the challenge."""
        if self.until_ms is None or self.answered:
            self.end()
            return False
        self.answered = digits == f"{crc32((self._digits + token).encode('ascii')):08x}"
        if not self.answered:
            self.end()
        return self.answered

    def end(self) -> None:
        """Nothing is pending any more."""
        self.until_ms = None
        self.answered = False
