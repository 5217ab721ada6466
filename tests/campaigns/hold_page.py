"""The tables of the guide's page of the hold, from what `tawny bench hold --json` printed.

In the folder `tests`, of all controllers first, then of copies of every mould:

    tawny bench hold --json > all.jsonl
    tawny bench hold --controller tawny --copies 25 --json > copies.jsonl
    python -m campaigns.hold_page all.jsonl copies.jsonl
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from statistics import median
from typing import Any

import tawny
from tawny.cli.benches.hold_verdict import TARGETS
from telling import say

PAGE = Path(tawny.__file__).parent / "guide" / "how-the-mould-is-held.md"
BEGIN, END = "<!-- table -->", "<!-- /table -->"
SHOWN_MOULD = "saucer-160"

_Found = list[dict[str, Any]]


def objects(path: Path) -> _Found:
    """Return a file's objects."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def number(value: float | None, decimals: int) -> str:
    """Return a number, or a dash."""
    return "–" if value is None else f"{value:.{decimals}f}"


def row(name: str, one: dict[str, Any]) -> str:
    """Return the row of one run."""
    figures, pressed = one["figures"], one["run"]["pressings"]
    bound_s = one["bounds"]["recovery_s"]
    cells = [
        number(figures.get("first_ratio"), 2),
        number(figures.get("later_ratio"), 2),
        f"{number(figures['overshoot_k'], 1)} K",
        f"{number(figures['hold_worst_k'], 2)} K",
        f"{number(pressed['recovery_s'], 0)} ({number(bound_s, 0)}) s",
        f"{number(100.0 * pressed['surface_cv'], 2)} %",
        f"{number(100.0 * pressed['clock_surface_cv'], 2)} %",
    ]
    return f"| {name} | {' | '.join(cells)} |"


def head(first: str) -> list[str]:
    """Return the heading of a table of runs."""
    names = (
        first,
        "heat-up",
        "later",
        "over",
        "hold",
        "back (shortest)",
        "dose by dose",
        "dose by clock",
    )
    return [f"| {' | '.join(names)} |", "|---" * len(names) + "|"]


def of_copies(found: _Found) -> list[str]:
    """Return the table of tawny over copies: median and worst."""
    lines = [
        "| mould | copies | heat-up | later | over | hold | back | dose by dose |",
        "|---" * 8 + "|",
    ]
    for one in found:
        if "summary" not in one:
            continue
        cells = []
        for name, decimals, scale, unit in (
            ("first_ratio", 2, 1.0, ""),
            ("later_ratio", 2, 1.0, ""),
            ("overshoot_k", 2, 1.0, " K"),
            ("hold_worst_k", 2, 1.0, " K"),
            ("recovery_ratio", 2, 1.0, ""),
            ("surface_cv", 2, 100.0, " %"),
        ):
            figure = one["summary"].get(name)
            middle, worst = (
                None if figure is None or figure[key] is None else scale * figure[key]
                for key in ("median", "worst")
            )
            cells.append(f"{number(middle, decimals)}, {number(worst, decimals)}{unit}")
        lines.append(f"| {one['mould']} | {one['copies'] - 1} | {' | '.join(cells)} |")
    limits = []
    for (name, target), unit in zip(TARGETS.items(), ("", "", " K", " K", "", " %"), strict=True):
        scale = 100.0 if name == "surface_cv" else 1.0
        both = (None if one is None else scale * one for one in (target.median, target.worst))
        limits.append(", ".join(number(one, 2) for one in both) + unit)
    lines.append(f"| *asked for* | | {' | '.join(limits)} |")
    return lines


def tables(everything: _Found, copies: _Found) -> str:
    """Return all tables."""
    itself = [one for one in everything if "run" in one and one["copy"] == 0]
    shown = [row(one["controller"], one) for one in itself if one["mould"] == SHOWN_MOULD]
    own = [row(one["mould"], one) for one in itself if one["controller"] == "tawny"]
    over_k = median(
        one["figures"]["overshoot_k"] for one in itself if one["controller"] == "thermostat"
    )
    own_words = (
        "This program's loop on each mould that comes with it (a thermostat's overshoot on these:"
        f" {number(over_k, 1)} K, the median):"
    )
    copies_words = (
        "And over copies of each, the mould itself among them: median, worst. *Back* is divided"
        " by the shortest."
    )
    return "\n".join(
        [
            f"The simulated saucer of the demo (`{SHOWN_MOULD}`) under each of them:",
            "",
            *head("controller"),
            *shown,
            "",
            own_words,
            "",
            *head("mould"),
            *own,
            "",
            copies_words,
            "",
            *of_copies(copies),
        ]
    )


def main() -> int:
    """Write the tables into the page."""
    parser = argparse.ArgumentParser(description="Write the guide's tables.")
    parser.add_argument("everything", type=Path)
    parser.add_argument("copies", type=Path)
    given = parser.parse_args()
    text = PAGE.read_text(encoding="utf-8")
    before, after = text.index(BEGIN) + len(BEGIN), text.index(END)
    made = tables(objects(given.everything), objects(given.copies))
    PAGE.write_text(f"{text[:before]}\n{made}\n{text[after:]}", encoding="utf-8")
    say(made)
    return 0


if __name__ == "__main__":
    sys.exit(main())
