"""Bytes in, complete lines out: nothing is decoded here."""

from __future__ import annotations

from typing import Final

IDLE_MS: Final = 50  # an unfinished line is dropped after so long without a byte


class Framer:
    """Cuts a stream of bytes into lines and drops those that are too long.

    Args:
        most_bytes: The longest line of this direction, with its LF.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._part = bytearray()
        self._skipping = False
        self.oversize = 0  # lines dropped for their length
        self.unfinished = 0  # lines dropped because the rest never came

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes as they arrive; return the lines that they complete, without their LF."""
        lines: list[bytes] = []
        *ends, rest = data.split(b"\n")
        for piece in ends:
            self._add(piece)
            if self._skipping:
                self._skipping = False
            else:
                lines.append(bytes(self._part))
            self._part.clear()
        self._add(rest)
        return lines

    def idle(self, silence_ms: float) -> bool:
        """Drop an unfinished line once no byte has come for 50 ms.

        Args:
            silence_ms: Time since the last byte arrived.

        Returns:
            Whether something was dropped. What comes next starts a new line.
        """
        if silence_ms < IDLE_MS or not (self._part or self._skipping):
            return False
        if self._part:
            self.unfinished += 1
        self.clear()
        return True

    def clear(self) -> None:
        """Forget an unfinished line, as when the port was opened again."""
        self._part.clear()
        self._skipping = False

    def _add(self, piece: bytes) -> None:
        if self._skipping or not piece:
            return
        if len(self._part) + len(piece) + 1 > self._most_bytes:
            self.oversize += 1
            self._skipping = True
            self._part.clear()
            return
        self._part += piece
