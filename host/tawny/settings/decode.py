"""Files of settings: TOML into typed structs, with one sentence for each mistake.

A file's struct is a `FileTable`. Its quantities stay text until its own module turns them
into core values; by then each of them has been proved readable and within its limits.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from tawny.errors import N_, InputError, SettingsError
from tawny.settings.marks import FileTable, Tree, check_table

_LARGEST_BYTES = 1_000_000
_LINE_NUMBER = re.compile(r"\(at line (\d+), column \d+\)")
_COMMA_DECIMAL = re.compile(r"=\s*[-+]?\d+,\d")

_Table = TypeVar("_Table", bound=FileTable)
_Upgrade = Callable[[Tree], Tree]


def read_file(path: Path, kind: type[_Table], upgrades: Sequence[_Upgrade] = ()) -> _Table:
    """Return what a file of settings holds.

    Args:
        path: A TOML file whose `schema` says in which form it is written.
        kind: The struct of the newest form, which is `len(upgrades) + 1`.
        upgrades: The n-th turns schema n + 1 into schema n + 2.

    Raises:
        SettingsError: For the first mistake in it, or if it is of a later schema.
    """
    tree = read_tree(path)
    newest = len(upgrades) + 1
    found = tree.pop("schema", None)
    if not (type(found) is int and found >= 1):
        raise SettingsError(
            N_('{file}: the first line must be "schema = {newest}"'), file=path, newest=newest
        )
    if found > newest:
        raise SettingsError(
            N_(
                "{file}: schema {found} is newer than this program, which reads up to {newest}; "
                "update the program"
            ),
            file=path,
            found=found,
            newest=newest,
        )
    for upgrade in upgrades[found - 1 :]:
        tree = upgrade(tree)
    check_table(path, kind, tree, "")
    try:
        return msgspec.convert(tree, kind)
    except msgspec.ValidationError as error:  # a rule that `check_table` does not know
        raise name_file(path, error) from error


def read_tree(path: Path) -> Tree:
    """Return a TOML file's plain values.

    Raises:
        SettingsError: If it cannot be read or is not TOML in UTF-8.
    """
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise SettingsError(
                N_("{file} is larger than {limit_kb:g} kB: no file of settings is"),
                file=path,
                limit_kb=_LARGEST_BYTES / 1000,
            )
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise SettingsError(N_("{file} does not exist"), file=path) from error
    except UnicodeDecodeError as error:
        raise SettingsError(
            N_("{file} is not text in UTF-8; save it again as UTF-8"), file=path
        ) from error
    except OSError as error:
        raise SettingsError(
            N_("{file} cannot be read: {reason}"), file=path, reason=error.strerror or str(error)
        ) from error
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(path, text, error) from error


def name_file(path: Path, reason: InputError | msgspec.ValidationError) -> SettingsError:
    """Return an error about a file's contents that also names the file."""
    return SettingsError(N_("{file}: {reason}"), file=path, reason=reason)


def _not_toml(path: Path, text: str, error: tomllib.TOMLDecodeError) -> SettingsError:
    match = _LINE_NUMBER.search(str(error))
    lines = text.splitlines()
    number = int(match[1]) if match else len(lines)
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    if _COMMA_DECIMAL.search(line):
        return SettingsError(
            N_(
                "{file} line {number}: {line} has a comma: write the number with a point and its "
                'unit, such as "180.5 degC"'
            ),
            file=path,
            number=number,
            line=line,
        )
    return SettingsError(
        N_("{file} line {number}: {line} is not TOML ({reason})"),
        file=path,
        number=number,
        line=line or '""',
        reason=_LINE_NUMBER.sub("", str(error)).strip(),
    )
