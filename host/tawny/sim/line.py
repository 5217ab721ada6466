"""The line between host and board: whole, noisy, or unplugged."""

from __future__ import annotations

import random


class Line:
    """Carries bytes, both ways alike.

    Attributes:
        bit_error_rate: Chance of each bit to arrive turned over.
        plugged: Unplugged, nothing arrives.
    """

    def __init__(self, source: random.Random) -> None:
        self.bit_error_rate = 0.0
        self.plugged = True
        self._source = source

    def carry(self, data: bytes) -> bytes:
        """Return what arrives."""
        if not self.plugged:
            return b""
        if self.bit_error_rate == 0.0 or not data:
            return data
        chance, rate = self._source.random, self.bit_error_rate
        spoilt = bytearray(data)
        for index in range(len(spoilt)):
            for bit in range(8):
                if chance() < rate:
                    spoilt[index] ^= 1 << bit
        return bytes(spoilt)
