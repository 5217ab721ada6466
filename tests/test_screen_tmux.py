"""The demo as a person meets it: real processes in a real terminal, worked with a few keys."""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tmux import LOOK_EVERY_S, WITHIN_S, Pane, pane

pytestmark = pytest.mark.slow

AGAIN_S = 2.0  # longer than the dashboard takes two taps of the bar for one that is held
TAPS = 10


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Path]:
    """Yield a home folder whose processes are ended after the test, whatever became of it."""
    folder = tmp_path / "home"
    yield folder
    for pid in running(folder):
        os.kill(pid, signal.SIGKILL)


@contextmanager
def demo(home: Path) -> Iterator[Pane]:
    """Yield a pane of 80x24 in which the demo waits for the day to start."""
    words = [sys.executable, "-m", "tawny", "demo", "--home", os.fspath(home)]
    with pane(home.parent, words, {"TERM": "xterm-256color"}) as opened:
        opened.until("Then start the day.", 2 * WITHIN_S)
        opened.until("start the day")
        yield opened


def running(home: Path, *words: str) -> list[int]:
    """Return the processes that have this home folder, and these words, on their command line."""
    found = []
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            said = line.read_bytes().split(b"\0")
        except OSError:
            continue  # it has ended meanwhile
        wanted = [os.fspath(home).encode(), *(word.encode() for word in words)]
        if said[0] == sys.executable.encode() and all(word in said for word in wanted):
            found.append(int(line.parent.name))
    return found


def until(true: Callable[[], bool], what: str, within_s: float = WITHIN_S) -> None:
    """Look until something is true."""
    stop_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < stop_s, what
        time.sleep(LOOK_EVERY_S)


def tap_until(opened: Pane, seen: Callable[[str], bool]) -> str:
    """Tap the bar until the screen shows something, letting go in between."""
    for _tap in range(TAPS):
        opened.tap("Space")
        stop_s = time.monotonic() + AGAIN_S
        while time.monotonic() < stop_s:
            text = opened.text()
            if seen(text):
                return text
            time.sleep(LOOK_EVERY_S)
    raise AssertionError(f"not seen after {TAPS} taps\n{opened.text()}")


def preheat(opened: Pane) -> str:
    """Answer the three questions with the bar alone, up to the preheat."""
    tap_until(opened, lambda text: "nothing lies in the mould" in text)
    for ticks in (1, 2, 3):
        tap_until(opened, lambda text, least=ticks: text.count("✓") >= least)
    return tap_until(opened, lambda text: "Heating up." in text)


def leave(opened: Pane, home: Path) -> None:
    """Leave on purpose; the terminal is whole and every process has ended."""
    opened.tap("q")
    opened.until("Leave?")
    opened.tap("y")
    text = opened.until("ended with")
    assert "ended with 0" in text
    assert "Traceback" not in text
    assert opened.is_whole()
    until(lambda: not running(home), "something is left running")


def test_screen_demo_heats_with_the_bar_and_leaves_nothing_behind(home: Path) -> None:
    """Space to preheat, h, q and y: heat off, a whole terminal, code 0, no process left."""
    with demo(home) as opened:
        text = preheat(opened)
        assert "SIMULATED" in text.splitlines()[0]
        assert "board armed, heat on" in text
        assert re.search(r"upper +1\d\d\.\d °C +\d\d K below +heat 100 %", text)
        opened.tap("h")
        text = opened.until("Heat is off.")
        assert "heat again" in text
        leave(opened, home)


def test_screen_demo_outlives_its_screen(home: Path) -> None:
    """The screen killed with -9: a whole terminal, and the next screen finds the heat on."""
    with demo(home) as opened:
        preheat(opened)
        (screen,) = running(home, "tawny.cli.view")
        os.kill(screen, signal.SIGKILL)
        text = opened.until("ended with")

        assert "ended with 1" in text
        assert "heat-off button" in text
        assert opened.is_whole()
    words = [sys.executable, "-m", "tawny", "run", "--home", os.fspath(home)]
    with pane(home.parent, words, {"TERM": "xterm-256color"}) as again:
        assert "board armed, heat on" in again.until("Heating up.")
        leave(again, home)
