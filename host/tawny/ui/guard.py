"""A small parent that keeps the terminal whole: the dashboard may die, the shell must not.

A process killed hard leaves the terminal reporting the mouse, on its second screen and
without a cursor. The parent imports nothing heavy and touches the terminal only then.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import termios
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import FrameType

from tawny.words import _

# xterm control sequences, Ctlseqs (Moy, Dickey): mouse reporting off in every form, focus
# and paste reporting off, reports of the size off, keyboard protocol back, second screen off,
# cursor on, long lines wrapped again, plain text.
WHOLE = (
    "\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1005l\x1b[?1006l\x1b[?1015l\x1b[?1016l"
    "\x1b[?1004l\x1b[?2004l\x1b[?2026l\x1b[?2048l\x1b[<u\x1b[?1049l\x1b[?25h\x1b[?7h\x1b[0m"
)
CHILD_GONE = 1


def run_guarded(command: Sequence[str]) -> int:
    """Run the dashboard in a process of its own and mend the terminal if that dies hard.

    Args:
        command: The program and its arguments.

    Returns:
        The child's own exit code, or 1 when a signal ended it.
    """
    before = _modes()
    with subprocess.Popen(command, env=_environment()) as child, _passed_on(child):  # noqa: S603 - ours
        code = child.wait()
    if code == 0:
        return 0
    mend(before)
    if code > 0:
        return code
    sys.stderr.write(_died(-code) + "\n")
    return CHILD_GONE


def _environment() -> dict[str, str]:
    """Return the environment without a size of the terminal, which would hold for ever."""
    return {name: value for name, value in os.environ.items() if name not in {"COLUMNS", "LINES"}}


def _died(number: int) -> str:
    return _(
        "The screen has died ({signal}); the press goes on without it for a minute. Start the"
        " screen again, or press the heat-off button at the press."
    ).format(signal=signal.Signals(number).name)


@contextmanager
def _passed_on(child: subprocess.Popen[bytes]) -> Iterator[None]:
    """Hand the signals that end a program on to the child, and wait for it to go in order."""

    def hand_on(number: int, _frame: FrameType | None) -> None:
        child.send_signal(number)

    kept = {
        signal.SIGTERM: signal.signal(signal.SIGTERM, hand_on),
        signal.SIGHUP: signal.signal(signal.SIGHUP, hand_on),
        signal.SIGINT: signal.signal(signal.SIGINT, signal.SIG_IGN),
    }
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)


def _modes() -> list[object] | None:
    """Return the terminal's line modes, or None where standard input is no terminal."""
    try:
        return termios.tcgetattr(sys.stdin.fileno())
    except (termios.error, OSError, ValueError):
        return None


def mend(modes: list[object] | None) -> None:
    """Put the terminal back: its reports off, its first screen, its cursor, its line modes."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if os.isatty(stream.fileno()):
                os.write(stream.fileno(), WHOLE.encode("ascii"))
                break
        except (OSError, ValueError):  # the terminal has gone
            continue
    if modes is not None:
        try:
            termios.tcsetattr(sys.stdin.fileno(), termios.TCSANOW, modes)  # type: ignore[arg-type]
        except (termios.error, OSError, ValueError):
            return
