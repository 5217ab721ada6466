"""What `tawny check` finds: one fact each, and the line that mends it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from pathlib import Path
from typing import Any, NamedTuple

from tawny.errors import TawnyError
from tawny.words import sentence_of


class Level(Enum):
    """How much a finding matters."""

    GOOD = "good"
    LOOK = "look"  # may be as wanted; a person decides
    MEND = "mend"  # something will not work, or not for long


class Finding(NamedTuple):
    """One fact.

    Attributes:
        about: What was looked at, one word or two.
        said: The fact, one sentence.
        mend: What to do or type; "" where there is nothing to do.
    """

    about: str
    level: Level
    said: str
    mend: str = ""

    def plain(self) -> dict[str, Any]:
        """Return it as the values of a JSON object."""
        return {
            "about": self.about,
            "level": self.level.value,
            "said": self.said,
            "mend": self.mend,
        }


class Machine(NamedTuple):
    """Where to look: the root of the file system, and the environment."""

    root: Path = Path("/")
    environ: Mapping[str, str] = os.environ

    def text(self, place: str) -> str:
        """Return a small text file, "" where it cannot be read."""
        try:
            return (self.root / place).read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""


def guarded(about: str, look: Callable[[], Iterable[Finding]]) -> list[Finding]:
    """Return what a check finds; what it raises on purpose is a finding too."""
    try:
        return list(look())
    except TawnyError as error:
        return [Finding(about, Level.MEND, sentence_of(error))]
