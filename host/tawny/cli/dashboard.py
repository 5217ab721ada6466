"""Opens the dashboard on the owner of a home folder, started first where none runs."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from tawny.cli.launch import answers, start_owner
from tawny.cli.view import LIGHT, NO_MOUSE
from tawny.ui.guard import run_guarded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tawny.settings.home import Home


def attach(home: Home, options: Sequence[str], *, mouse: bool, light: bool) -> int:
    """Show the press until the person leaves; return the exit code.

    The screen runs in a process of its own: it may die without harm to terminal or press.

    Args:
        options: Of `tawny serve`, used only where no owner runs yet.

    Raises:
        TawnyError: If the owner could not be started.
    """
    if not answers(home.socket):
        start_owner(home.root, home.socket, options)
    looks = [] if mouse else [NO_MOUSE]
    looks += [LIGHT] if light else []
    return run_guarded([sys.executable, "-m", "tawny.cli.view", os.fspath(home.root), *looks])
