"""Changing a file of settings in place: a person's comments and spelling stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

from tawny.core.units import parse
from tawny.errors import QuantityError


def edited(
    text: str,
    values: Mapping[str, str | int | None],
    array: str,
    entries: Sequence[Mapping[str, str]],
) -> str:
    """Return the text of a TOML file with other values in it.

    Args:
        text: The file as it is, or "" for a new one.
        values: By key, "table.key" within a table; None takes the key out.
        array: The name of the one array of tables.
        entries: What it shall hold; a changed array is written anew.
    """
    document: Any = tomlkit.parse(text)
    for path, value in values.items():
        table_name, _, key = path.rpartition(".")
        if value is None:
            _take_out(document, table_name, key)
            continue
        if table_name and table_name not in document:
            document.add(table_name, tomlkit.table())
        table = document[table_name] if table_name else document
        if key not in table or not _means_the_same(table[key], value):
            table[key] = value
    if not _same_entries(document.get(array, []), entries):
        document.pop(array, None)
        if entries:
            tables = tomlkit.aot()
            for entry in entries:
                tables.append(tomlkit.item(dict(entry)))
            document.add(array, tables)
    return tomlkit.dumps(document)


def _take_out(document: Any, table_name: str, key: str) -> None:
    """Take a key out, and its table where nothing else is left in it."""
    table = document.get(table_name, {}) if table_name else document
    table.pop(key, None)
    if table_name in document and not table:
        document.pop(table_name)


def _same_entries(old: Sequence[Any], new: Sequence[Mapping[str, str]]) -> bool:
    return len(old) == len(new) and all(
        before.keys() == after.keys()
        and all(_means_the_same(before[key], after[key]) for key in after)
        for before, after in zip(old, new, strict=True)
    )


def _means_the_same(old: object, new: str | int) -> bool:
    """Tell whether the text that stands there is another spelling of the new one."""
    if isinstance(old, str) and isinstance(new, str):
        unit = new.rpartition(" ")[2]
        try:
            return parse(str(old), unit) == parse(new, unit)
        except QuantityError:
            return str(old) == new
    return old == new
