"""A program on the terminal that a person would use: a tmux pane, looked at and typed into."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import count
from pathlib import Path

from needs import lacking

WITHIN_S = 30.0  # generous, for a loaded machine
LOOK_EVERY_S = 0.05
_UNSET = ("COLORTERM", "NO_COLOR", "LC_ALL", "LANG", "COLUMNS", "LINES")
_number = count()  # a server that ends may still hold its socket
TESTS = Path(__file__).parent


class Pane:
    """One pane with a program in it; ended by `pane`."""

    def __init__(
        self,
        socket: Path,
        words: Sequence[str],
        environment: Mapping[str, str],
        size: tuple[int, int],
    ) -> None:
        kept_open = socket.with_suffix(".conf")
        kept_open.write_text("set -g exit-empty off\nset -g remain-on-exit on\n", encoding="ascii")
        self._tmux = ["tmux", "-S", os.fspath(socket), "-f", os.fspath(kept_open)]
        given = [f"{name}={value}" for name, value in environment.items()]
        without = [f"--unset={name}" for name in _UNSET]
        line = shlex.join(["env", *without, *given, *words])
        # The pane stays as it was, so that what the program leaves behind can be looked at.
        followed = f"{line}; echo ended with $?; exec cat"
        columns, rows = size
        self._run("new-session", "-d", "-x", str(columns), "-y", str(rows), followed)

    def _run(self, *words: str) -> str:
        told = subprocess.run([*self._tmux, *words], capture_output=True, text=True, check=False)
        assert told.returncode == 0, (words, told.stderr)
        return told.stdout

    def text(self, *, colours: bool = False) -> str:
        """Return what the pane shows, with its escape sequences where they are wanted."""
        return self._run("capture-pane", "-p", *(["-e"] if colours else []))

    def tap(self, *keys: str) -> None:
        """Type keys by their tmux names: `q`, `C-c`, `Escape`."""
        self._run("send-keys", *keys)

    def send(self, data: bytes) -> None:
        """Send bytes to the program as they are."""
        self._run("send-keys", "-H", *(f"{byte:02x}" for byte in data))

    def resize(self, columns: int, rows: int) -> None:
        """Give the window another size."""
        self._run("resize-window", "-x", str(columns), "-y", str(rows))

    def flag(self, name: str) -> int:
        """Return one of tmux's own numbers, such as `alternate_on` or `pane_pid`."""
        return int(self._run("display-message", "-p", f"#{{{name}}}") or 0)

    def is_whole(self) -> bool:
        """Say whether the terminal is as a shell wants it: first screen, cursor, no mouse."""
        return (
            self.flag("alternate_on"),
            self.flag("cursor_flag"),
            self.flag("mouse_any_flag"),
        ) == (0, 1, 0)

    def until(self, seen: str | Callable[[str], bool], within_s: float = WITHIN_S) -> str:
        """Look until a text is shown, or something holds for what is shown; return it all."""
        stop_s = time.monotonic() + within_s
        while True:
            text = self.text()
            if seen in text if isinstance(seen, str) else seen(text):
                return text
            assert time.monotonic() < stop_s, f"not seen: {seen}\n{text}"
            time.sleep(LOOK_EVERY_S)

    def close(self) -> None:
        """End the pane and what runs in it."""
        subprocess.run([*self._tmux, "kill-server"], capture_output=True, check=False)


@contextmanager
def pane(
    folder: Path,
    words: Sequence[str],
    environment: Mapping[str, str] | None = None,
    size: tuple[int, int] = (80, 24),
) -> Iterator[Pane]:
    """Yield a pane with a program in it.

    Args:
        folder: Where tmux keeps its socket.
        words: The program.
        environment: Beside what the test has; colour, language and size are taken out first.
        size: Columns and rows.
    """
    if shutil.which("tmux") is None:
        lacking("tmux is not installed")
    path = os.pathsep.join([os.fspath(TESTS), *sys.path])
    given = {"PYTHONPATH": path, "LANG": "C.UTF-8", **(environment or {})}
    made = Pane(folder / f"tmux-{next(_number)}", words, given, size)
    try:
        yield made
    finally:
        made.close()
