"""The maker's pages: their cautions, links and figures."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"

# What each row of the page's table gives is computed anew from its own first columns.
HEATING = re.compile(
    r"^\| ([^|]+) \| (\d+) \| ([\d.]+) \| (\d+) \| ([\d.]+) \| (\d+) \|$", re.MULTILINE
)


def test_hazards_table_of_heating_is_computed() -> None:
    """Rise is P / (m c); the time from 180 to 250 degC follows from it."""
    rows = HEATING.findall((HARDWARE / "hazards.md").read_text(encoding="utf-8"))

    assert len(rows) >= 5
    for _, power_w, mass_kg, heat, rise, seconds in rows:
        k_per_s = float(power_w) / (float(mass_kg) * float(heat))
        assert float(rise) == pytest.approx(k_per_s, abs=0.005)
        assert float(seconds) == pytest.approx(70.0 / k_per_s, abs=0.5)


def hazards() -> list[list[str]]:
    """Return the rows of the analysis, cells stripped."""
    text = (HARDWARE / "hazards.md").read_text(encoding="utf-8")
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| H-")
    ]


def test_hazards_are_numbered_and_complete() -> None:
    """H-1 upwards without a gap; each has who, harm, cause, what acts, and what remains."""
    numbers = [int(row[0].removeprefix("H-")) for row in hazards()]

    assert numbers[0] == 1
    assert all(later == earlier + 1 for earlier, later in pairwise(numbers))
    for row in hazards():
        single = len(row) == 6
        assert single or len(row) == 5, row[0]
        assert all(row), row[0]
        if single:
            assert re.search(r"\b[123FEP]\b", row[4]), row[0]


@pytest.mark.parametrize(
    "subject",
    [
        *("fire", "smoke", "shock", "scald", "burn", "jack", "creep", "prop", "steam", "moisture"),
        *("volunteers", "visitors", "children", "fell_fast", "thermal fuse", "polarity"),
        *("swapped", "welded", "limit thermostat", "parting line", "isolator", "solvent"),
    ],
)
def test_hazards_leave_no_subject_out(subject: str) -> None:
    """What must be looked at stands in a row of the analysis."""
    assert any(subject in " ".join(row).lower() for row in hazards())


def test_hazards_name_the_pairs_that_leave_the_thermal_fuse() -> None:
    """Output shorted and contactor welded leaves only the fuse, and without it nothing."""
    pairs = {row[0]: row for row in hazards() if len(row) == 5}

    only = [row for row in pairs.values() if "only F" in row[3]]
    assert any("output shorted" in row[1] and "contactor welded" in row[2] for row in only)
    assert any(row[3] == "**nothing**" for row in pairs.values())


def test_hazards_cited_elsewhere_exist() -> None:
    """Every H-number in a table or page of this folder is a row of the analysis."""
    known = {row[0] for row in hazards()}

    for path in [*HARDWARE.glob("*.md"), *HARDWARE.glob("*.csv")]:
        text = path.read_text(encoding="utf-8")
        assert set(re.findall(r"\bH-\d+\b", text)) <= known, path.name
