"""Standby, ramps, dry-out and first-off in the files of settings, each with its limits."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from tawny.core.equipment import Press
from tawny.errors import SettingsError
from tawny.settings.demo import demo_files
from tawny.settings.equipment import read_press
from tawny.settings.recipes import read_recipe, write_recipe
from tawny.words import sentence_of

FILES = demo_files()
PRESS = FILES["press.toml"].read_text(encoding="utf-8")
RECIPE = FILES["recipes/grain-apple.toml"].read_text(encoding="utf-8")
KEPT = Path(__file__).parent / "kept"


def press_with(folder: Path, old: str, new: str) -> Press:
    """Read a press profile with one line changed."""
    assert old in PRESS
    path = folder / "press.toml"
    path.write_text(PRESS.replace(old, new, 1), encoding="utf-8")
    return read_press(path).press


def test_press_without_the_tables_has_the_usual_values(tmp_path: Path) -> None:
    """A profile written before there were any reads as the shipped one says it."""
    path = tmp_path / "press.toml"
    path.write_text(PRESS[: PRESS.index("# Resting warm")], encoding="utf-8")
    press = read_press(path).press
    assert press == read_press(FILES["press.toml"]).press
    assert (press.standby_drop_k, press.standby_offer_s) == (40.0, 900.0)
    assert (press.dry_c, press.dry_hold_s, press.dry_duty) == (110.0, 3600.0, 0.4)
    assert press.first_off == 1


@pytest.mark.parametrize(
    ("old", "new", "name", "value"),
    [
        ('drop = "40 K"', 'drop = "10 K"', "standby_drop_k", 10.0),
        ('drop = "40 K"', 'drop = "60 K"', "standby_drop_k", 60.0),
        ('offer_after = "15 min"', 'offer_after = "1 min"', "standby_offer_s", 60.0),
        ('offer_after = "15 min"', 'offer_after = "4 h"', "standby_offer_s", 14_400.0),
        ('temperature = "110 degC"', 'temperature = "100 degC"', "dry_c", 100.0),
        ('temperature = "110 degC"', 'temperature = "120 degC"', "dry_c", 120.0),
        ('hold = "60 min"', 'hold = "15 min"', "dry_hold_s", 900.0),
        ('hold = "60 min"', 'hold = "8 h"', "dry_hold_s", 28_800.0),
        ('duty_most = "40 %"', 'duty_most = "10 %"', "dry_duty", 0.1),
        ('duty_most = "40 %"', 'duty_most = "50 %"', "dry_duty", 0.5),
        ("pressings = 1", "pressings = 0", "first_off", 0),
        ("pressings = 1", "pressings = 5", "first_off", 5),
    ],
)
def test_press_takes_each_value_at_its_limits(
    tmp_path: Path, old: str, new: str, name: str, value: float
) -> None:
    """Both ends of every range are taken."""
    assert getattr(press_with(tmp_path, old, new), name) == pytest.approx(value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('drop = "40 K"', 'drop = "9.9 K"', "not between 10 and 60 K"),
        ('drop = "40 K"', 'drop = "60.1 K"', "not between 10 and 60 K"),
        ('drop = "40 K"', 'drop = "140 degC"', "is a temperature where a difference is wanted"),
        ('offer_after = "15 min"', 'offer_after = "59 s"', "not between 60 and 14400 s"),
        ('offer_after = "15 min"', 'offer_after = "241 min"', "not between 60 and 14400 s"),
        ('temperature = "110 degC"', 'temperature = "99 degC"', "not between 100 and 120 degC"),
        ('temperature = "110 degC"', 'temperature = "121 degC"', "not between 100 and 120 degC"),
        ('hold = "60 min"', 'hold = "14 min"', "not between 900 and 28800 s"),
        ('hold = "60 min"', 'hold = "481 min"', "not between 900 and 28800 s"),
        ('duty_most = "40 %"', 'duty_most = "9 %"', "not between 0.1 and 0.5"),
        ('duty_most = "40 %"', 'duty_most = "51 %"', "not between 0.1 and 0.5"),
        ("pressings = 1", "pressings = -1", "not between 0 and 5"),
        ("pressings = 1", "pressings = 6", "not between 0 and 5"),
    ],
)
def test_press_refuses_each_value_beside_its_limits(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    """One step further is one sentence that names the range."""
    with pytest.raises(SettingsError) as refused:
        press_with(tmp_path, old, new)
    assert said in sentence_of(refused.value)


def test_recipe_reads_its_ramp(tmp_path: Path) -> None:
    """In any unit of a ramp rate; without the table there is none."""
    path = tmp_path / "recipe.toml"
    path.write_text(RECIPE + '\n[heat_up]\nramp = "0.1 K/s"\ntogether = true\n')
    recipe = read_recipe(path).recipe
    assert recipe.ramp_k_per_min == pytest.approx(6.0)
    assert recipe.ramp_together
    plain = read_recipe(FILES["recipes/grain-apple.toml"]).recipe
    assert (plain.ramp_k_per_min, plain.ramp_together) == (None, False)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('ramp = "61 K/min"', "ramp 61 K/min is not between 0.5 and 60 K/min"),
        ('ramp = "0.4 K/min"', "ramp 0.4 K/min is not between 0.5 and 60 K/min"),
        ('ramp = "5 degC/min"', "a temperature is written K"),
        ("together = true", "heat_up.ramp is missing"),
        ('ramp = "5 K"', "heat_up.ramp"),
    ],
)
def test_recipe_refuses_a_ramp_that_nothing_could_follow(
    tmp_path: Path, table: str, said: str
) -> None:
    """A mistake is one sentence; halves that arrive together need a ramp."""
    path = tmp_path / "recipe.toml"
    path.write_text(f"{RECIPE}\n[heat_up]\n{table}\n")
    with pytest.raises(SettingsError) as refused:
        read_recipe(path)
    assert said in sentence_of(refused.value)


def test_recipe_is_written_with_and_without_its_ramp(tmp_path: Path) -> None:
    """A ramp comes into the file and leaves it without an empty table behind it."""
    path = tmp_path / "recipe.toml"
    path.write_text(RECIPE)
    plain = read_recipe(path).recipe
    slow = replace(plain, version=4, ramp_k_per_min=5.0, ramp_together=True)
    write_recipe(path, slow)
    assert 'ramp = "5 K/min"' in path.read_text()
    assert read_recipe(path).recipe == slow
    write_recipe(path, plain)
    assert "heat_up" not in path.read_text()
    assert read_recipe(path).recipe == plain


def test_recipe_without_a_ramp_keeps_the_hash_of_older_parts() -> None:
    """The kept recipe's hash of the first version of the program, worked there."""
    recipe = read_recipe(KEPT / "recipe-1.toml").recipe
    assert recipe.digest() == FIRST_HASH
    assert replace(recipe, ramp_k_per_min=5.0).digest() != FIRST_HASH


def test_recipe_with_a_ramp_opens_for_ever() -> None:
    """A file of the step that brought ramps still means the same."""
    recipe = read_recipe(KEPT / "recipe-2.toml").recipe
    assert (recipe.ramp_k_per_min, recipe.ramp_together) == (4.0, True)
    assert recipe.setpoints_c() == (180.0, 172.0)


FIRST_HASH = "99285394a3c53695b4bc366ee20ea09a045c7bd8bc3b7b532aa1fafce1255e2f"
