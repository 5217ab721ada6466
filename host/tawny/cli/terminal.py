"""Whether there is a terminal to draw on."""

from __future__ import annotations

import sys

from tawny.errors import N_, InputError


def need_terminal() -> None:
    """Refuse to draw where nothing can be drawn on.

    Raises:
        InputError: If standard input or output is no terminal.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputError(
            N_(
                'the dashboard needs a terminal; without one use "tawny demo --headless", '
                '"tawny serve", or "tawny --help"'
            )
        )
