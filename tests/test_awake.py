"""The computer is kept awake while the board is armed, and by no owner that has gone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tawny.service.awake import Awake

# Stands for the system's own tool: it runs what it is given, and leaves its number.
TOOL = """#!/bin/sh
echo $$ > "{pid}"
while [ "${{1#--}}" != "$1" ]; do shift; done
exec "$@"
"""


@pytest.fixture
def pid_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Put the tool on the path; return where it leaves its number."""
    pid, tool = tmp_path / "pid", tmp_path / "systemd-inhibit"
    tool.write_text(TOOL.format(pid=pid))
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return pid


def holder(pid_file: Path) -> int:
    """Return the number of the process that holds."""
    stop_s = time.monotonic() + 5.0
    while not (pid_file.exists() and pid_file.read_text().strip()):
        assert time.monotonic() < stop_s
        time.sleep(0.01)
    return int(pid_file.read_text())


def lives(pid: int) -> bool:
    """Say whether a process runs, and is not only waiting to be counted."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_awake_holds_while_asked_to(pid_file: Path) -> None:
    """Asked twice it holds once; let go, nothing is left."""
    awake = Awake()
    awake.want(awake=True)
    pid = holder(pid_file)
    awake.want(awake=True)
    assert lives(pid)
    awake.want(awake=False)
    assert not lives(pid)


def test_awake_ends_with_an_owner_that_is_killed(pid_file: Path) -> None:
    """Nobody is left to let go: the holder ends by itself."""
    script = (
        "import time; from tawny.service.awake import Awake\n"
        "awake = Awake(); awake.want(awake=True); time.sleep(60)"
    )
    owner = subprocess.Popen([sys.executable, "-c", script])
    pid = holder(pid_file)
    assert lives(pid)
    owner.send_signal(signal.SIGKILL)
    owner.wait()
    stop_s = time.monotonic() + 5.0
    while lives(pid):
        assert time.monotonic() < stop_s
        time.sleep(0.01)


def test_awake_is_harmless_where_nothing_offers_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """No such tool on this system: the press is worked all the same."""
    monkeypatch.setenv("PATH", "")
    awake = Awake()
    awake.want(awake=True)
    awake.want(awake=False)
