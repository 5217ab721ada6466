"""A screen whose terminal has gone without a word ends by itself."""

from __future__ import annotations

import os
import threading

from tawny.ui.terminal_watch import watch_terminal

WITHIN_S = 10.0


def test_watch_tells_when_the_terminal_closes() -> None:
    """The far end of a pseudo-terminal closes: the watch says so."""
    master, slave = os.openpty()
    gone = threading.Event()
    stop = watch_terminal(slave, gone.set)
    try:
        os.close(master)
        assert gone.wait(WITHIN_S)
    finally:
        stop.set()
        os.close(slave)


def test_watch_leaves_what_is_no_terminal_alone() -> None:
    """A pipe is not watched: nothing is told, also when it closes."""
    reading, writing = os.pipe()
    gone = threading.Event()
    before = threading.active_count()
    stop = watch_terminal(reading, gone.set)
    assert threading.active_count() == before
    os.close(writing)
    os.close(reading)
    stop.set()
    assert not gone.is_set()
