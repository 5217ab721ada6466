"""The guide's page of rests, ramps and damp heaters names the limits that the program holds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import tawny
from tawny.core import aim, limits
from tawny.core.recipe import SETPOINT_LEAST_C
from tawny.settings.demo import demo_files
from tawny.settings.equipment import read_press

PAGE = (Path(tawny.__file__).parent / "guide" / "holding-below-pressing-heat.md").read_text(
    encoding="utf-8"
)


def row(key: str) -> str:
    """Return the one table row of a key."""
    found = re.findall(rf"^\| (?:`{re.escape(key)}`|{re.escape(key)}) \|.*$", PAGE, re.MULTILINE)
    assert len(found) == 1, key
    return str(found[0])


@pytest.mark.parametrize(
    ("key", "words"),
    [
        (
            "standby.drop",
            f"{limits.STANDBY_DROP_LEAST_K:g} to {limits.STANDBY_DROP_MOST_K:g} K",
        ),
        ("standby.drop", f"not below {SETPOINT_LEAST_C:g} degC"),
        (
            "standby.offer_after",
            f"1 min to {limits.STANDBY_OFFER_MOST_S / 3600:g} h",
        ),
        (
            "heat_up.ramp",
            f"{limits.RAMP_LEAST_K_PER_MIN:g} to {limits.RAMP_MOST_K_PER_MIN:g} K/min",
        ),
        ("dry_out.temperature", f"{limits.DRY_LEAST_C:g} to {limits.DRY_MOST_C:g} degC"),
        (
            "dry_out.hold",
            f"{limits.DRY_HOLD_LEAST_S / 60:g} min to {limits.DRY_HOLD_MOST_S / 3600:g} h",
        ),
        (
            "dry_out.duty_most",
            f"{limits.DRY_DUTY_LEAST * 100:g} to {limits.DRY_DUTY_MOST * 100:g} %",
        ),
        ("duty of each half", f"at most {limits.MANUAL_DUTY_MOST * 100:g} %"),
        ("time", f"at most {limits.MANUAL_MOST_S / 60:g} min"),
        ("first_off.pressings", f"0 to {limits.FIRST_OFF_MOST}"),
    ],
)
def test_page_gives_the_limits_of_the_program(key: str, words: str) -> None:
    """Each limit stands in the row of its key as the program has it."""
    assert words in row(key)


def test_page_gives_the_values_that_are_used_where_a_key_is_left_out() -> None:
    """The column "left out" says what the shipped profile says."""
    press = read_press(demo_files()["press.toml"]).press
    for key, text in (
        ("standby.drop", f'"{press.standby_drop_k:g} K"'),
        ("standby.offer_after", f'"{press.standby_offer_s / 60:g} min"'),
        ("dry_out.temperature", f'"{press.dry_c:g} degC"'),
        ("dry_out.hold", f'"{press.dry_hold_s / 60:g} min"'),
        ("dry_out.duty_most", f'"{press.dry_duty * 100:g} %"'),
        ("first_off.pressings", f"| {press.first_off} |"),
    ):
        assert text in row(key)


def test_page_says_how_a_ramp_waits_and_a_dry_out_goes() -> None:
    """The numbers of the text are those of the code."""
    text = " ".join(PAGE.split())
    stages = aim.DRY_STAGES
    for words in (
        f"{aim.BEHIND_FREE_K:g} K behind it slows down, {aim.BEHIND_MOST_K:g} K behind it stands",
        f"go in step to {stages[0][0]:g} degC, {stages[1][0]:g} degC",
        f"at most {aim.DRY_RAMP_K_PER_MIN:g} K/min",
        f"{stages[0][1] / 60:g} min at each of the first two",
        f"within {aim.DRY_WARM_K:g} K",
        f"or by {aim.EASE_K_PER_MIN:g} K/min where it has none",
    ):
        assert words in text
    assert aim.DRY_COLD_MOST_S == 2 * 3600.0
    assert "not reached in two hours" in text
    assert aim.WARMED_S == 600.0
    assert "after ten minutes" in text


def test_page_defers_to_a_qualified_person_and_promises_nothing() -> None:
    """Who decides, what to stop for, and no word of safety or conformity."""
    text = " ".join(PAGE.split()).lower()
    for words in (
        "proves nothing",
        "a qualified person, by an insulation test",
        "codes of your place",
        "residual-current device trips: stop",
    ):
        assert words in text
    for promise in ("safe", "certif", "complies", "compliant"):
        assert promise not in text
