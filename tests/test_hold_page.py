"""The guide's page of the hold: its tables name what the bench has, and it promises nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import tawny
from tawny.cli.benches.hold_verdict import TARGETS
from tawny.sim import hold_bounds, hold_run
from tawny.sim.parameters import shipped_moulds
from tawny.sim.rivals.choice import NAMES
from tawny.sim.rivals.simple import DIFFERENTIAL_K

GUIDE = Path(tawny.__file__).parent / "guide"
PAGE = (GUIDE / "how-the-mould-is-held.md").read_text(encoding="utf-8")
TEXT = " ".join(PAGE.split())


def rows(name: str) -> list[str]:
    """Return the table rows that begin with a name."""
    return re.findall(rf"^\| {re.escape(name)} \|.*$", PAGE, re.MULTILINE)


@pytest.mark.parametrize("name", ["tawny", *NAMES])
def test_page_has_a_row_for_each_controller(name: str) -> None:
    """Seven figures each."""
    (row,) = rows(name)
    assert row.count("|") == 9


@pytest.mark.parametrize("name", shipped_moulds())
def test_page_has_each_shipped_mould_alone_and_with_copies(name: str) -> None:
    """Two tables hold it."""
    assert len(rows(name)) == 2


def test_page_tells_what_is_asked_for() -> None:
    """The last row is that of the targets, as the bench judges them."""
    (asked,) = rows("*asked for*")
    for target in TARGETS.values():
        assert target.worst is not None
    assert "1.05, 1.25" in asked
    assert "1.02, 1.10" in asked
    assert "0.50, 1.00 K" in asked
    assert "–, 0.25 K" in asked
    assert "–, 1.10" in asked
    assert "–, 1.00 %" in asked


def test_page_gives_the_scenario_of_the_bench() -> None:
    """Charge, opening, hold, pauses: the numbers of the program."""
    for words in (
        f"its area · {hold_bounds.THICKNESS_MM:g} mm · its density",
        f"{100.0 * hold_bounds.MOISTURE_WET:g} % of water",
        f"at {hold_bounds.CUP_C:g} degC",
        f"open for {hold_bounds.OPEN_S:g} s, give or take {hold_run.JITTER_S:g} s",
        f"what {hold_bounds.HOLD_S / 60.0:g} min at setpoint give",
        f"{hold_run.LEAST_S / 60.0:g} min at least, {hold_run.MOST_S / 60.0:g} at most",
        f"in {hold_run.JUDGED_S / 60.0:g} min, beginning {hold_run.SETTLE_S / 60.0:g} min after",
        "from the fifth pressing on",
        f"{DIFFERENTIAL_K:g} K apart",
    ):
        assert words in TEXT, words
    assert hold_run.LEARNED_FROM == 5


def test_page_says_what_is_left_out_and_promises_nothing() -> None:
    """Simulated, not proven; the guards stay; no word of safety or conformity."""
    assert "None of this is a guard." in PAGE
    assert "They do not say what your mould will do." in TEXT
    assert "## What the simulation leaves out" in PAGE
    assert "## What to verify on the press" in PAGE
    for promise in ("safe", "certif", "complies", "compliant", "guarantee"):
        assert promise not in PAGE.lower()


def test_page_shows_a_picture_of_the_program() -> None:
    """It lies beside the page."""
    (name,) = re.findall(r"!\[[^]]+\]\(([^)]+)\)", PAGE)
    assert (GUIDE / name).read_bytes().startswith(b"\x89PNG")
