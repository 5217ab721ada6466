"""One measured figure: a quotient of two things taken in one run, and its limit."""

from __future__ import annotations

import platform
from pathlib import Path

import msgspec

from tawny.words import _
from tawny.words.numbers import number

Figure = float | int | str


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """What a benchmark found.

    Attributes:
        bench: Its name on the command line.
        compares: What is divided by what, one sentence.
        ratio: The quotient.
        unit: Of the quotient; "" for a bare number.
        limit: What the ratio is held against.
        at_least: The limit is the least allowed, not the most.
        figures: What the quotient was made of and what goes with it, names ending in units.
    """

    bench: str
    compares: str
    ratio: float
    unit: str = ""
    limit: float
    at_least: bool = False
    figures: dict[str, Figure] = {}

    @property
    def passed(self) -> bool:
        """Whether the limit holds; written so that no number at all fails."""
        return self.ratio >= self.limit if self.at_least else self.ratio <= self.limit

    def plain(self) -> dict[str, object]:
        """Return it as the values of a JSON object."""
        return {
            "bench": self.bench,
            "compares": self.compares,
            "ratio": self.ratio,
            "unit": self.unit,
            "limit": self.limit,
            "bound": "at least" if self.at_least else "at most",
            "passed": self.passed,
            "figures": self.figures,
        }

    def lines(self) -> list[str]:
        """Return it as a person reads it."""
        bound = _("at least") if self.at_least else _("at most")
        judged = _("passed") if self.passed else _("MISSED")
        unit = f" {self.unit}" if self.unit else ""
        found = number(self.ratio, _decimals(self.ratio))
        limit = number(self.limit, len(f"{self.limit:.12g}".partition(".")[2]))
        return [
            f"{self.bench:<7} {found}{unit}, {bound} {limit}{unit}: {judged}",
            f"        {self.compares}",
            *(f"        {name:<28} {_shown(value)}" for name, value in self.figures.items()),
        ]


def _decimals(value: float) -> int:
    """Return how many decimals leave three digits or so."""
    return 0 if abs(value) >= 100.0 else 2  # noqa: PLR2004 - three digits


def _shown(value: Figure) -> str:
    return number(value, 3) if isinstance(value, float) else str(value)


def machine() -> dict[str, Figure]:
    """Return what the figures were taken on."""
    return {"cpu": _cpu(), "python": platform.python_version(), "system": platform.platform()}


def _cpu() -> str:
    try:
        told = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    except OSError:
        told = ""
    for line in told.splitlines():
        name, _colon, value = line.partition(":")
        if name.strip() in {"model name", "Model"}:
            return value.strip()
    return platform.processor() or platform.machine()
