"""Notices that the terminal has gone, where no signal tells of it.

A terminal that closes sends SIGHUP only to the processes it controls. Without that signal the
framework would read the dead terminal for ever, at full speed.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from typing import Final

LOOK_EVERY_S: Final = 1.0


def watch_terminal(fd: int, gone: Callable[[], None]) -> threading.Event:
    """Call `gone` from a thread once a terminal is no terminal any more.

    Args:
        fd: Of the terminal; something else is not watched.

    Returns:
        An event that ends the watch when it is set.
    """
    stop = threading.Event()

    def look() -> None:
        while not stop.wait(LOOK_EVERY_S):
            if not os.isatty(fd):
                gone()
                return

    if os.isatty(fd):
        threading.Thread(target=look, name="terminal", daemon=True).start()
    return stop
