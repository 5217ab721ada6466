"""Shapes of the screen, with a second set for terminals that cannot show them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tawny.core.names import Priority

# Terminals whose own font has neither braille nor half blocks.
_PLAIN_TERMINALS = ("linux", "vt100", "vt102", "vt220", "dumb")
_IN_ASCII = str.maketrans({"·": "|", "–": "-", "…": "~", "“": '"', "”": '"', "°": "", "─": "-"})


@dataclass(frozen=True, slots=True)
class Marks:
    """One shape for each meaning; `dots` says whether braille and blocks are there."""

    dots: bool
    high: str
    medium: str
    low: str
    above: str
    below: str
    done: str
    undone: str
    ellipsis: str

    def priority(self, priority: Priority) -> str:
        """Return the shape of an alarm's priority."""
        return {
            Priority.HIGH: self.high,
            Priority.MEDIUM: self.medium,
            Priority.LOW: self.low,
        }[priority]

    def shown(self, text: str) -> str:
        """Return a text with the characters that this terminal has."""
        return text if self.dots else text.translate(_IN_ASCII)


UNICODE = Marks(True, "▲", "◆", "●", "▲", "▼", "✓", "○", "…")  # noqa: FBT003
ASCII = Marks(False, "!!", "!", "*", "^", "v", "x", "-", "~")  # noqa: FBT003


def marks_for(environment: Mapping[str, str], encoding: str) -> Marks:
    """Return the shapes that a terminal can show, by its kind and the encoding of its text."""
    if (environment.get("TERM") or "dumb") in _PLAIN_TERMINALS:
        return ASCII
    return UNICODE if encoding.lower().replace("-", "") == "utf8" else ASCII
