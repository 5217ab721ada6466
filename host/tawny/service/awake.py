"""Keeps the computer awake while the board is armed, where the system offers a way."""

from __future__ import annotations

import shutil
import subprocess

HOLD = ("--what=idle:sleep:handle-lid-switch", "--who=tawny", "--mode=block")


class Awake:
    """Holds a sleep inhibitor of the login manager while asked to; harmless where there is none."""

    def __init__(self) -> None:
        """Begin without holding anything."""
        self._tool = shutil.which("systemd-inhibit")
        self._holder: subprocess.Popen[bytes] | None = None

    def want(self, *, awake: bool) -> None:
        """Hold, or let go; a holder that died is tried again at the next change."""
        if awake and self._holder is None and self._tool is not None:
            try:
                self._holder = subprocess.Popen(  # noqa: S603 - a fixed command of the system
                    # It ends with its input, so that no killed owner keeps a computer awake.
                    [self._tool, *HOLD, "--why=the press is armed", "cat"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            except OSError:
                self._tool = None
        elif not awake and self._holder is not None:
            assert self._holder.stdin is not None  # noqa: S101 - a pipe was asked for
            self._holder.stdin.close()
            self._holder.terminate()
            self._holder.wait()
            self._holder = None
