"""What may stand in a table of settings: marks on a struct's fields, and the check of them.

Each mistake is one sentence: file, key, value, unit, limit, what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, NamedTuple, get_args, get_origin, get_type_hints

import msgspec

from tawny.core.units import parse
from tawny.errors import N_, InputError, SettingsError

Tree = dict[str, Any]
_NAME_LONGEST = 40
_WORDS = {str: "text", int: "a whole number", bool: "true or false"}


class FileTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of every table in a file."""


class Quantity(NamedTuple):
    """Marks a text that holds a number with its unit.

    Attributes:
        unit: It must convert to this unit.
        example: What to write, shown in sentences.
        least, most: Both allowed, in `unit`.
    """

    unit: str
    example: str
    least: float
    most: float


class Reading(NamedTuple):
    """Marks a text that holds a number in whatever unit a gauge has."""

    units: tuple[str, ...]
    example: str


class Name(NamedTuple):
    """Marks a text that names something to a person."""

    example: str


class Choice(NamedTuple):
    """Marks a text that is one of a few words."""

    words: tuple[str, ...]


class Whole(NamedTuple):
    """Marks a whole number, both limits allowed."""

    least: int
    most: int


def check_table(path: Path, kind: type[FileTable], tree: Tree, above: str) -> None:
    """Refuse the first key or value that does not fit."""
    hints = get_type_hints(kind, include_extras=True)
    fields = {field.name: field for field in msgspec.structs.fields(kind)}
    for key in tree:
        if key not in fields:
            raise _unknown_key(path, above + key, above, list(fields))
    for key, field in fields.items():
        if key in tree:
            _check_value(path, hints[key], tree[key], above + key)
        elif field.required:
            raise SettingsError(
                N_("{file}: {key} is missing; add {example}"),
                file=path,
                key=above + key,
                example=_example(hints[key], above + key),
            )


def _check_value(path: Path, hint: Any, value: object, key: str) -> None:
    hint, mark = _plain(hint)
    if get_origin(hint) is tuple:
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            raise _wrong_kind(path, key, value, f"[[{key}]]")
        for place, entry in enumerate(value, start=1):
            check_table(path, get_args(hint)[0], entry, f"{key} {place}: ")
    elif isinstance(hint, type) and issubclass(hint, FileTable):
        if not isinstance(value, dict):
            raise _wrong_kind(path, key, value, f"[{key}]")
        check_table(path, hint, value, f"{key}.")
    elif isinstance(mark, Quantity | Reading):
        _check_quantity(path, mark, value, key)
    elif type(value) is not hint:
        raise _wrong_kind(path, key, value, _WORDS.get(hint, str(hint)))
    else:
        _check_mark(path, mark, value, key)


def _check_quantity(path: Path, mark: Quantity | Reading, value: object, key: str) -> None:
    if not isinstance(value, str):
        raise _no_unit(path, key, value, mark.example)
    try:
        if isinstance(mark, Reading):
            split_reading(value, mark.units)
            return
        number = parse(value, mark.unit)
    except InputError as error:
        raise SettingsError(
            N_("{file}: {key}: {reason}"), file=path, key=key, reason=error
        ) from error
    if not mark.least <= number <= mark.most:
        raise SettingsError(
            N_('{file}: {key} = "{text}" is not between {least:g} and {most:g} {unit}; correct it'),
            file=path,
            key=key,
            text=value,
            least=mark.least,
            most=mark.most,
            unit=mark.unit,
        )


def _check_mark(path: Path, mark: object, value: object, key: str) -> None:
    if isinstance(mark, Whole) and isinstance(value, int):
        if not mark.least <= value <= mark.most:
            raise SettingsError(
                N_("{file}: {key} = {value} is not between {least} and {most}; correct it"),
                file=path,
                key=key,
                value=value,
                least=mark.least,
                most=mark.most,
            )
    elif isinstance(mark, Choice):
        if value not in mark.words:
            raise SettingsError(
                N_('{file}: {key} = "{value}" is not one of {words}'),
                file=path,
                key=key,
                value=value,
                words=", ".join(mark.words),
            )
    elif isinstance(mark, Name) and isinstance(value, str):
        fits = value.isprintable() and value.strip() == value and 0 < len(value) <= _NAME_LONGEST
        if not fits:
            raise SettingsError(
                N_(
                    "{file}: {key} must be a name of 1 to {most} printable characters, "
                    'such as "{example}"'
                ),
                file=path,
                key=key,
                most=_NAME_LONGEST,
                example=mark.example,
            )


def split_reading(text: str, units: Sequence[str]) -> tuple[float, str]:
    """Return the number and the unit of a reading in the gauge's own unit.

    Raises:
        QuantityError: If it is no quantity.
        InputError: If its unit is none of those.
    """
    for known in units:
        if text.strip().endswith(known):
            return parse(text, known), known
    parse(text, units[0])  # a missing unit, a comma or another dimension is told in its own words
    raise InputError(
        N_('"{text}": write it in the gauge\'s own unit, one of {units}'),
        text=text,
        units=", ".join(units),
    )


def _plain(hint: Any) -> tuple[Any, object]:
    """Return a type without its mark and its `| None`, and the mark."""
    mark: object = None
    while True:
        if get_origin(hint) is Annotated:
            hint, mark = get_args(hint)[:2]
        elif type(None) in get_args(hint):
            hint = next(kind for kind in get_args(hint) if kind is not type(None))
        else:
            return hint, mark


def _example(hint: Any, key: str) -> str:
    """Return a line that would supply a missing key."""
    plain, mark = _plain(hint)
    last = key.rpartition(".")[2].rpartition(" ")[2]
    if isinstance(mark, Quantity | Reading | Name):
        return f'{last} = "{mark.example}"'
    if isinstance(mark, Choice):
        return f'{last} = "{mark.words[0]}"'
    if isinstance(mark, Whole):
        return f"{last} = {mark.least}"
    if isinstance(plain, type) and issubclass(plain, FileTable):
        return f"[{key}]"
    return f"{last} = true" if plain is bool else f'{last} = "..."'


def _unknown_key(path: Path, key: str, above: str, known: list[str]) -> SettingsError:
    near = difflib.get_close_matches(key[len(above) :], known, n=1)
    if near:
        return SettingsError(
            N_('{file}: {key} is not a known key; did you mean "{near}"?'),
            file=path,
            key=key,
            near=near[0],
        )
    return SettingsError(
        N_("{file}: {key} is not a known key; known here: {known}"),
        file=path,
        key=key,
        known=", ".join(known),
    )


def _no_unit(path: Path, key: str, value: object, example: str) -> SettingsError:
    shown = _shown(value)
    if isinstance(value, float) and shown.lstrip("+-") in {"nan", "inf"}:
        return SettingsError(
            N_('{file}: {key} = {value} is not a finite number: write for example "{example}"'),
            file=path,
            key=key,
            value=shown,
            example=example,
        )
    return SettingsError(
        N_('{file}: {key} = {value} has no unit: write it as text, such as "{example}"'),
        file=path,
        key=key,
        value=shown,
        example=example,
    )


def _wrong_kind(path: Path, key: str, value: object, wanted: str) -> SettingsError:
    return SettingsError(
        N_("{file}: {key} = {value} must be {wanted}"),
        file=path,
        key=key,
        value=_shown(value),
        wanted=wanted,
    )


def _shown(value: object) -> str:
    """Return a value in the spelling of the file, short enough for a sentence."""
    if isinstance(value, dict):
        return "{...}"
    if isinstance(value, list):
        return "[...]"
    return str(value).lower() if isinstance(value, bool) else str(value)[:60]
