"""What is kept of a fault in the program itself: a report in the home folder."""

from __future__ import annotations

import os
import platform
import traceback
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tawny import __version__
from tawny.settings.home import find_home
from tawny.words import _

DEBUG_VARIABLE = "TAWNY_DEBUG"


def report(error: Exception, arguments: Sequence[str]) -> str:
    """Keep a report of a crash and return the sentence for a person.

    Nothing is written outside an existing home folder: without one, the variable TAWNY_DEBUG
    prints what happened.
    """
    if os.environ.get(DEBUG_VARIABLE):
        return "".join(traceback.format_exception(error))
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    path = _write(error, arguments)
    if path is None:
        return _(
            "a fault in the program: {what}; run it again with {variable}=1 to see where"
        ).format(what=what, variable=DEBUG_VARIABLE)
    return _("a fault in the program: {what}; please send {path} to whoever mends it").format(
        what=what, path=path
    )


def _write(error: Exception, arguments: Sequence[str]) -> Path | None:
    home = find_home(_home_given(arguments))
    if not home.root.is_dir():
        return None
    now = datetime.now(UTC)
    path = home.crashes / f"crash-{now:%Y%m%dT%H%M%SZ}-{os.getpid()}.txt"
    lines = [
        f"tawny {__version__} · Python {platform.python_version()} · {platform.platform()}",
        f"{now:%Y-%m-%d %H:%M:%S} UTC · {' '.join(arguments)}",
        "",
        *traceback.format_exception(error),
    ]
    try:
        home.crashes.mkdir(exist_ok=True)
        path.write_text("\n".join(lines), encoding="utf-8")
    except OSError:
        return None
    return path


def _home_given(arguments: Sequence[str]) -> str | None:
    """Return what --home said; the command's own parsing may be what failed."""
    for place, word in enumerate(arguments):
        if word == "--home" and place + 1 < len(arguments):
            return arguments[place + 1]
        if word.startswith("--home="):
            return word.partition("=")[2]
    return None
