"""What the board makes of its converters' registers."""

from __future__ import annotations

from typing import Final

from tawny.core import converter
from tawny.core.messages import Temp
from tawny.errors import InputError

LEAST_TENTHS: Final = -100  # -10.0 °C
MOST_TENTHS: Final = 4000  # 400.0 °C
SILENT_MS: Final = 750  # so long a half may be without a good reading
COLD_LEAST_CODE: Final = -160  # -10 °C in sixteenths
COLD_MOST_CODE: Final = 1120  # 70 °C
COLD_MS: Final = 2000

NEVER_GOOD: Final = -1

_COLD_SIGN: Final = 0x800
_COLD_STEP: Final = 16  # codes per kelvin


class Reading:
    """One half's converter, as last read.

    Attributes:
        tenths: The last good temperature, in tenths of a degree; None before the first.
        shown: What telemetry says of the last read.
        count: Reads that were good.
        raw: The register as read.
        good_until_ms: From then on heat must not be decided on this half.
    """

    def __init__(self) -> None:
        self.tenths: int | None = None
        self.shown: Temp = "bad"
        self.count = 0
        self.raw = 0
        self.good_until_ms = NEVER_GOOD
        self._cold_code: int | None = None
        self._cold_until_ms: int | None = None  # the cold junction is out of range till then

    def take(self, raw: int, now_ms: int) -> bool:
        """Take a register; return whether it is a good reading."""
        self.raw = raw
        try:
            tenths = converter.corrected_decidegc(raw)
        except InputError:
            self.shown = "bad"
            return False
        self._take_cold(raw, now_ms)
        if not LEAST_TENTHS <= tenths <= MOST_TENTHS:
            self.shown = "bad"
            return False
        self.tenths = self.shown = tenths
        self.count += 1
        self.good_until_ms = now_ms + SILENT_MS
        if self._cold_until_ms is not None:
            self.good_until_ms = min(self.good_until_ms, self._cold_until_ms)
        return True

    def _take_cold(self, raw: int, now_ms: int) -> None:
        code = raw >> 4 & 0xFFF
        if code & _COLD_SIGN:
            code -= 2 * _COLD_SIGN
        self._cold_code = code
        if COLD_LEAST_CODE <= code <= COLD_MOST_CODE:
            self._cold_until_ms = None
        elif self._cold_until_ms is None:
            self._cold_until_ms = now_ms + COLD_MS

    @property
    def cold(self) -> Temp:
        """The cold junction in tenths of a degree."""
        if self._cold_code is None or self.shown == "bad":
            return "bad"
        return (2 * 10 * self._cold_code + _COLD_STEP) // (2 * _COLD_STEP)
