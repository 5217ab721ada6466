"""`tawny`: turns whatever goes wrong in a command into one sentence and a code.

0 done · 1 it failed, or nobody reads the output any more
2 what was asked cannot be done as asked · 130 stopped by Ctrl+C
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from tawny.errors import TawnyError
from tawny.words import sentence_of, use_language

_STOPPED, _UNREAD = 130, 1
_SOURCE_LANGUAGE = ("C", "POSIX", "en", "en_GB", "en_US")


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the program and end the process with its code."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A letter that the terminal's encoding has not is shown by its number, never a fault.
        sys.stdout.reconfigure(errors="backslashreplace")
    code = answer(arguments)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        # Else the interpreter complains when it flushes once more on its way out.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = _UNREAD
    sys.exit(code)


def answer(arguments: Sequence[str] | None = None) -> int:
    """Run the program and return its code; nothing a person did ends in a traceback."""
    choose_language()
    from tawny.cli.root import root  # noqa: PLC0415 - its help is written in the chosen language

    try:
        code = root.main(
            args=None if arguments is None else list(arguments),
            prog_name="tawny",
            standalone_mode=False,
        )
    except TawnyError as error:
        click.echo(sentence_of(error), err=True)
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        return _STOPPED
    except Exception as error:  # noqa: BLE001 - the edge: it becomes a report and a sentence
        from tawny.cli.crash import report  # noqa: PLC0415 - rarely needed

        click.echo(report(error, sys.argv if arguments is None else arguments), err=True)
        return TawnyError.exit_code
    return code if isinstance(code, int) else 0


def choose_language() -> None:
    """Use the language that the environment asks for; before any sentence is made."""
    use_language(_asked_for("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"))


def _asked_for(*names: str) -> str | None:
    """Return what the first of these variables names, None for the source language."""
    for name in names:
        value = os.environ.get(name, "").split(":")[0].split(".")[0]
        if value:
            return None if value in _SOURCE_LANGUAGE else value
    return None
