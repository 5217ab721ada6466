"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tawny.words import _

if TYPE_CHECKING:
    from tawny.settings.home import Home

_Function = TypeVar("_Function", bound=Callable[..., Any])


def home_option(function: _Function) -> _Function:
    """Let a command take --home after its own name too."""
    return click.option(
        "--home",
        metavar="DIR",
        type=click.Path(path_type=Path),
        help=_("Folder of settings and record."),
    )(function)


def json_option(function: _Function) -> _Function:
    """Let a command print JSON for a program."""
    return click.option(
        "--json", "as_json", is_flag=True, help=_("Print JSON, one object a line.")
    )(function)


def chosen_home(ctx: click.Context, given: Path | None) -> Home:
    """Return the home folder a command works in.

    Args:
        ctx: Its root carries the --home given before the command's name.
        given: The --home given after it.
    """
    from tawny.settings.home import find_home  # noqa: PLC0415 - only where one is needed

    return find_home(given or ctx.find_root().obj)
