"""Starting other processes of ours: the owner of a press, the simulated board."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from typing import TYPE_CHECKING

from tawny.errors import N_, BusyError, TawnyError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

OWNER_WITHIN_S = 20.0
LOOK_EVERY_S = 0.05
TOLD_MOST = 2000


def answers(path: Path) -> bool:
    """Say whether an owner listens at a desk's socket."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(1.0)
        try:
            probe.connect(os.fspath(path))
        except OSError:
            return False
    return True


def start_owner(home: Path, desk: Path, options: Sequence[str]) -> None:
    """Start an owner that outlives this terminal, and wait until its desk answers.

    Raises:
        BusyError, TawnyError: With what the owner said, if it ended instead.
    """
    log = home / "owner.log"
    command = [sys.executable, "-m", "tawny", "serve", "--home", os.fspath(home), *options]
    with log.open("wb") as told:
        owner = subprocess.Popen(  # noqa: S603 - our own program
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=told,
            start_new_session=True,
        )
    stop_s = time.monotonic() + OWNER_WITHIN_S
    while not answers(desk):
        code = owner.poll()
        if code is not None:
            said = log.read_text(encoding="utf-8", errors="replace").strip()[-TOLD_MOST:]
            raise (BusyError if code == BusyError.exit_code else TawnyError)(
                N_("the press could not be started: {why}"), why=said or code
            )
        if time.monotonic() > stop_s:
            owner.terminate()
            raise TawnyError(
                N_("the press did not start within {limit_s:g} s; look into {log}"),
                limit_s=OWNER_WITHIN_S,
                log=log,
            )
        time.sleep(LOOK_EVERY_S)


def start_board(options: Sequence[str], log: Path) -> subprocess.Popen[bytes]:
    """Start a simulated board in a process of its own."""
    command = [sys.executable, "-m", "tawny", "board", "simulate", *options]
    with log.open("ab") as told:
        return subprocess.Popen(  # noqa: S603 - our own program
            command,
            stdin=subprocess.DEVNULL,
            stdout=told,
            stderr=told,
            start_new_session=True,
        )
