"""Recipes as files: versioned TOML that a person edits, to and from the core's `Recipe`."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, NamedTuple

from tawny.core.limits import SETPOINT_MOST_C
from tawny.core.recipe import RECIPE_SCHEMA, Breath, Recipe, check_recipe
from tawny.core.units import format_quantity, parse, parse_difference_k
from tawny.errors import N_, InputError, SettingsError, TawnyError
from tawny.settings.decode import name_file, read_file
from tawny.settings.files import write_whole
from tawny.settings.marks import FileTable, Name, Quantity, Reading, Whole, split_reading

GAUGE_UNITS = ("bar", "MPa", "kPa", "psi", "kN")

# `check_recipe` holds the limits of a recipe; these only keep out what no file means.
_Setpoint = Annotated[str, Quantity("degC", "180 degC", -273.15, 9999.0)]
_Band = Annotated[str, Quantity("K", "2 K", 0.0, 999.0)]
_Mass = Annotated[str, Quantity("g", "32 g", 0.0, 99999.0)]
_Time = Annotated[str, Quantity("s", "4 min", 0.0, 99999.0)]
_Ramp = Annotated[str, Quantity("K/min", "5 K/min", 0.0, 9999.0)]
_Energy = Annotated[str, Quantity("kJ/mol", "90 kJ/mol", 0.0, 9999.0)]
_Force = Annotated[str, Reading(GAUGE_UNITS, "140 bar")]

_BOILING_C = 100.0
_MINUTES_FROM_S = 120.0
_HALF_MINUTE_S = 30.0


class ChargeTable(FileTable, frozen=True, kw_only=True):
    """One cavity's charge, and how long filling may take."""

    residue: _Mass
    water: _Mass = "0 g"
    fill_most: _Time = "60 s"


class PressTable(FileTable, frozen=True, kw_only=True):
    """What the press gauge shall read."""

    force: _Force
    top_up_below: _Force | None = None


class HoldTable(FileTable, frozen=True, kw_only=True):
    """When the hold ends, counted from closing."""

    equivalent: _Time
    least: _Time
    most: _Time
    activation_energy: _Energy = "90 kJ/mol"


class BreathTable(FileTable, frozen=True, kw_only=True):
    """One letting-out of steam, counted from closing."""

    at: _Time
    open: _Time


class CareTable(FileTable, frozen=True, kw_only=True):
    """Care of the mould, in pressings; 0: never asked for."""

    clean_every: Annotated[int, Whole(0, 1000)] = 0
    oil_every: Annotated[int, Whole(0, 1000)] = 1


class HeatUpTable(FileTable, frozen=True, kw_only=True):
    """How fast the setpoint may rise, and whether the halves arrive together."""

    ramp: _Ramp
    together: bool = False


class RecipeTable(FileTable, frozen=True, kw_only=True):
    """A recipe file of schema 1."""

    name: Annotated[str, Name("grain-apple")]
    version: Annotated[int, Whole(1, 999_999)]
    mould: Annotated[str, Name("saucer-160")]
    note: str = ""
    setpoint: _Setpoint
    lower_setpoint: _Setpoint | None = None
    band: _Band = "2 K"
    charge: ChargeTable
    press: PressTable
    hold: HoldTable
    breath: tuple[BreathTable, ...] = ()
    care: CareTable = CareTable()
    heat_up: HeatUpTable | None = None


class FromFile(NamedTuple):
    """A recipe, and what a person should know about how its file was read."""

    recipe: Recipe
    notes: tuple[TawnyError, ...]


def read_recipe(path: Path) -> FromFile:
    """Return the recipe in a file.

    Raises:
        SettingsError: For the first mistake in it; the sentence names file, key and value.
    """
    table = read_file(path, RecipeTable)
    force, force_unit = split_reading(table.press.force, GAUGE_UNITS)
    recipe = Recipe(
        name=table.name,
        version=table.version,
        mould=table.mould,
        setpoint_c=parse(table.setpoint, "degC"),
        lower_setpoint_c=None
        if table.lower_setpoint is None
        else parse(table.lower_setpoint, "degC"),
        band_k=parse_difference_k(table.band),
        residue_g=parse(table.charge.residue, "g"),
        water_g=parse(table.charge.water, "g"),
        force=force,
        force_unit=force_unit,
        top_up_below=_top_up(path, table.press, force, force_unit),
        fill_most_s=parse(table.charge.fill_most, "s"),
        breaths=tuple(
            Breath(at_s=parse(breath.at, "s"), open_s=parse(breath.open, "s"))
            for breath in table.breath
        ),
        equivalent_s=parse(table.hold.equivalent, "s"),
        least_s=parse(table.hold.least, "s"),
        most_s=parse(table.hold.most, "s"),
        activation_j_per_mol=parse(table.hold.activation_energy, "J/mol"),
        clean_every=table.care.clean_every,
        oil_every=table.care.oil_every,
        note=table.note,
        ramp_k_per_min=None if table.heat_up is None else parse(table.heat_up.ramp, "K/min"),
        ramp_together=table.heat_up is not None and table.heat_up.together,
    )
    notes = [
        note
        for key, text in (("setpoint", table.setpoint), ("lower_setpoint", table.lower_setpoint))
        if text is not None and (note := _fahrenheit(path, key, text))
    ]
    try:
        check_recipe(recipe)
    except InputError as error:
        raise name_file(path, error) from error
    return FromFile(recipe, tuple(notes))


def read_recipes(folder: Path) -> tuple[FromFile, ...]:
    """Return every recipe of a folder, by name.

    Raises:
        SettingsError: If a file is wrong or two recipes have one name.
    """
    found: dict[str, tuple[Path, FromFile]] = {}
    for path in sorted(folder.glob("*.toml")):
        entry = read_recipe(path)
        if entry.recipe.name in found:
            raise SettingsError(
                N_("{file}: recipe {name} already stands in {other}; give it another name"),
                file=path,
                name=entry.recipe.name,
                other=found[entry.recipe.name][0],
            )
        found[entry.recipe.name] = (path, entry)
    return tuple(found[name][1] for name in sorted(found))


def write_recipe(path: Path, recipe: Recipe) -> None:
    """Write a recipe; where the file exists, its comments and untouched lines stay.

    Raises:
        SettingsError: If the recipe breaks a rule, or the file cannot be read or written.
    """
    from tawny.settings.edit import edited  # noqa: PLC0415 - tomlkit; reading does without it

    check_recipe(recipe)
    before = ""
    if path.exists():
        if read_recipe(path).recipe == recipe:
            return
        before = path.read_text(encoding="utf-8-sig")
    write_whole(path, edited(before, _lines(recipe), "breath", _breaths(recipe)))


def _lines(recipe: Recipe) -> dict[str, str | int | None]:
    """Return what each key shall say; None: the key is left out."""
    unit = recipe.force_unit
    lower_c, top_up = recipe.lower_setpoint_c, recipe.top_up_below
    ramp = recipe.ramp_k_per_min
    return {
        "schema": RECIPE_SCHEMA,
        "name": recipe.name,
        "version": recipe.version,
        "mould": recipe.mould,
        "note": recipe.note or None,
        "setpoint": format_quantity(recipe.setpoint_c, "degC"),
        "lower_setpoint": None if lower_c is None else format_quantity(lower_c, "degC"),
        "band": format_quantity(recipe.band_k, "K"),
        "charge.residue": format_quantity(recipe.residue_g, "g"),
        "charge.water": format_quantity(recipe.water_g, "g"),
        "charge.fill_most": _time(recipe.fill_most_s),
        "press.force": format_quantity(recipe.force, unit),
        "press.top_up_below": None if top_up is None else format_quantity(top_up, unit),
        "hold.equivalent": _time(recipe.equivalent_s),
        "hold.least": _time(recipe.least_s),
        "hold.most": _time(recipe.most_s),
        "hold.activation_energy": format_quantity(recipe.activation_j_per_mol / 1000.0, "kJ/mol"),
        "care.clean_every": recipe.clean_every,
        "care.oil_every": recipe.oil_every,
        "heat_up.ramp": None if ramp is None else format_quantity(ramp, "K/min"),
        "heat_up.together": None if ramp is None else recipe.ramp_together,
    }


def _breaths(recipe: Recipe) -> list[dict[str, str]]:
    return [{"at": _time(breath.at_s), "open": _time(breath.open_s)} for breath in recipe.breaths]


def _time(seconds: float) -> str:
    """Return a time as a person would write it: "4 min", "2.5 min", "12 s"."""
    whole = seconds >= _MINUTES_FROM_S and seconds % _HALF_MINUTE_S == 0.0
    return format_quantity(seconds / 60.0, "min") if whole else format_quantity(seconds, "s")


def _top_up(path: Path, table: PressTable, force: float, unit: str) -> float | None:
    if table.top_up_below is None:
        return None
    reading, own_unit = split_reading(table.top_up_below, GAUGE_UNITS)
    if own_unit != unit or not 0.0 < reading <= force:
        raise SettingsError(
            N_(
                '{file}: press.top_up_below = "{text}" must be in {unit} like the force and not '
                "above its {limit:g} {unit}; correct it"
            ),
            file=path,
            text=table.top_up_below,
            unit=unit,
            limit=force,
        )
    return reading


def _fahrenheit(path: Path, key: str, text: str) -> TawnyError | None:
    """Return how a temperature in degF was read.

    Raises:
        SettingsError: If it is so cool that degC must have been meant: below the boil no
            charge lets go of its steam, and the same number in degC is a usual setpoint.
    """
    match = re.fullmatch(r"([0-9.]+)\s*(?:degF|°F|F)", text.strip())
    if match is None:
        return None
    written, read_c = float(match[1]), parse(text, "degC")
    if read_c < _BOILING_C <= written <= SETPOINT_MOST_C:
        raise SettingsError(
            N_(
                '{file}: {key} = "{text}" is only {value_c:.1f} degC, below the boil; if '
                '{written:g} degC is meant write "{written:g} degC", otherwise "{value_c:.1f} degC"'
            ),
            file=path,
            key=key,
            text=text,
            value_c=read_c,
            written=written,
        )
    return TawnyError(
        N_('{file}: {key} "{text}" is read as {value_c:.1f} degC'),
        file=path,
        key=key,
        text=text,
        value_c=read_c,
    )
