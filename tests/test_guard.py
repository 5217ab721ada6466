"""The terminal is whole again, however the screen ends."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tawny.ui.guard import WHOLE

TESTS = Path(__file__).parent
ENVIRONMENT = {
    **os.environ,
    "TERM": "xterm-256color",
    "PYTHONPATH": os.pathsep.join([str(TESTS), *sys.path]),
    "LANG": "C.UTF-8",
}

# A dashboard on a canned snapshot, in the process that the guard starts.
SCREEN = """
import sys
from fake_viewer import FakeViewer
from screens_factory import make_snapshot, make_trace
from tawny.ui.app import run_dashboard
sys.exit(run_dashboard(FakeViewer(make_snapshot(), make_trace()), mouse={mouse}))
"""
GUARD = """
import sys
from tawny.ui.guard import run_guarded
assert "textual" not in sys.modules
sys.exit(run_guarded([sys.executable, "-c", {inner!r}]))
"""


class Terminal:
    """A program on a terminal of its own."""

    def __init__(self, code: str) -> None:
        self.master, slave = pty.openpty()
        termios.tcsetwinsize(slave, (24, 80))
        self.modes = termios.tcgetattr(slave)
        self.seen = b""
        self.slave = slave
        self.program = subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=ENVIRONMENT,
            start_new_session=True,
        )

    def read_until(self, words: bytes, within_s: float = 20.0) -> None:
        """Read what the program writes until some words came."""
        until_s = time.monotonic() + within_s
        while words not in self.seen:
            assert time.monotonic() < until_s, self.seen[-2000:]
            if select.select([self.master], [], [], 0.1)[0]:
                self.seen += os.read(self.master, 65536)

    def wait(self) -> int:
        """Read until the program has ended, and return its exit code."""
        while self.program.poll() is None or select.select([self.master], [], [], 0.1)[0]:
            if select.select([self.master], [], [], 0.1)[0]:
                self.seen += os.read(self.master, 65536)
        return self.program.returncode

    def child(self) -> int:
        """Return the process of the screen itself."""
        task = Path(f"/proc/{self.program.pid}/task/{self.program.pid}/children")
        return int(task.read_text(encoding="ascii").split()[0])

    def close(self) -> None:
        """Close both ends and end what still runs."""
        if self.program.poll() is None:
            os.killpg(self.program.pid, signal.SIGKILL)
            self.program.wait()
        os.close(self.slave)
        os.close(self.master)


@pytest.fixture
def guarded(request: pytest.FixtureRequest) -> Iterator[Terminal]:
    """Run a guarded dashboard, with the mouse unless told otherwise."""
    mouse = getattr(request, "param", True)
    terminal = Terminal(GUARD.format(inner=SCREEN.format(mouse=mouse)))
    terminal.read_until(b"Hold. Top up")
    yield terminal
    terminal.close()


def test_guard_mends_the_terminal_after_a_hard_death(guarded: Terminal) -> None:
    """SIGKILL: mouse, second screen and cursor are put back, line modes too; one sentence."""
    assert b"\x1b[?1049h" in guarded.seen
    os.kill(guarded.child(), signal.SIGKILL)
    assert guarded.wait() == 1
    after = guarded.seen[guarded.seen.rindex(b"\x1b[?1049l") :]
    assert WHOLE.encode("ascii") in guarded.seen
    assert b"The screen has died (SIGKILL)" in after
    assert b"Traceback" not in guarded.seen
    assert termios.tcgetattr(guarded.slave)[:4] == guarded.modes[:4]


def test_guard_leaves_in_order_when_told_to_end(guarded: Terminal) -> None:
    """SIGTERM to the parent reaches the screen, which puts the terminal back by itself."""
    guarded.program.send_signal(signal.SIGTERM)
    assert guarded.wait() == 0
    assert b"\x1b[?1049l" in guarded.seen
    assert b"The screen has died" not in guarded.seen
    assert termios.tcgetattr(guarded.slave)[:4] == guarded.modes[:4]


@pytest.mark.parametrize("guarded", [False], indirect=True)
def test_guard_without_mouse_sends_no_mouse_sequence(guarded: Terminal) -> None:
    """--no-mouse: no escape of the mouse is ever written, so nothing is left switched on."""
    os.write(guarded.master, b"\x03")
    guarded.read_until(b"Tap q to leave")
    guarded.program.send_signal(signal.SIGTERM)
    assert guarded.wait() == 0
    for mode in (b"?1000h", b"?1002h", b"?1003h", b"?1006h", b"?1015h"):
        assert mode not in guarded.seen


def test_guard_goes_with_its_terminal(guarded: Terminal) -> None:
    """A closed terminal (SIGHUP to the whole session) ends screen and guard at once."""
    child = guarded.child()
    os.killpg(guarded.program.pid, signal.SIGHUP)
    assert guarded.wait() == 0
    assert not Path(f"/proc/{child}").exists()


def test_guard_passes_the_exit_code_on() -> None:
    """A screen that ends by itself keeps its own exit code and nothing is said."""
    terminal = Terminal(GUARD.format(inner="import sys; sys.exit(7)"))
    assert terminal.wait() == 7
    assert b"died" not in terminal.seen
    terminal.close()
