"""The demo writes into its own home folder and nowhere else."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

import pytest

from needs import lacking
from tmux import pane

HEADLESS = ["demo", "--headless", "--parts", "1", "--pace", "max"]
# What is no file of anybody's.
DEVICES = re.compile(r"/dev/(null|tty|ptmx|pts/\d+|pts/ptmx)")
# Calls that make, change or remove something; openat only with a flag that permits it.
CALLS = (
    "open,openat,openat2,creat,mkdir,mkdirat,mknod,mknodat,rmdir,unlink,unlinkat,rename,renameat,"
    "renameat2,link,linkat,symlink,symlinkat,truncate,bind"
)
CALL = re.compile(r"(\w+)\((.*)\) = \d+")
FOLDER = re.compile(r"AT_FDCWD<([^>]*)>|^\d+<([^>]*)>")
QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"')


class Room(NamedTuple):
    """Folders that must stay as they are, and the environment that points at them."""

    home: Path
    watched: tuple[Path, ...]
    environment: Mapping[str, str]

    def untouched(self) -> bool:
        """Say whether nothing was ever made in a watched folder, not even for a moment."""
        return all(
            list(folder.iterdir()) == [] and folder.stat().st_mtime_ns == 0
            for folder in self.watched
        )


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    """Yield a user's home, a folder for temporary files and a working folder, all empty."""
    watched = tuple(tmp_path / name for name in ("user", "temporary", "here"))
    for folder in watched:
        folder.mkdir()
        os.utime(folder, ns=(0, 0))
    watched[2].chmod(0o555)
    environment = {
        "HOME": os.fspath(watched[0]),
        "TMPDIR": os.fspath(watched[1]),
        "PATH": os.environ["PATH"],
        "PYTHONPATH": os.pathsep.join(sys.path),
        "PYTHONDONTWRITEBYTECODE": "1",  # that cache belongs to the installation
        "LANG": "C.UTF-8",
        "TERM": "xterm-256color",
    }
    yield Room(tmp_path / "home", watched, environment)
    watched[2].chmod(0o755)


def tawny(room: Room, *words: str) -> list[str]:
    """Return a command line with the demo's home folder, without root's passing over rights."""
    rights = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    start = rights if os.geteuid() == 0 else []
    return [*start, sys.executable, "-m", "tawny", *words, "--home", os.fspath(room.home)]


def traced(words: list[str], log: Path) -> list[str]:
    """Return a command line under strace."""
    if shutil.which("strace") is None:
        lacking("strace is not installed")
    return ["strace", "-ff", "-y", "-qq", "-e", f"trace={CALLS}", "-o", os.fspath(log), *words]


def written(log: Path) -> set[str]:
    """Return every path that a traced program made, opened to write, renamed or removed."""
    found: set[str] = set()
    for line in _lines(log):
        match = CALL.match(line)
        if match is None:  # refused, or a line of another kind
            continue
        name, given = match.groups()
        if name.startswith("open") and not re.search("O_(WRONLY|RDWR|CREAT|TRUNC)", given):
            continue
        if name == "bind" and "sun_path" not in given:
            continue
        folder = next((a or b for a, b in FOLDER.findall(given)), "/")
        found |= {os.path.normpath(Path(folder) / path) for path in QUOTED.findall(given)}
    return found


def _lines(log: Path) -> Iterator[str]:
    """Yield the lines of every process and thread; each has a file of its own."""
    for path in log.parent.glob(f"{log.name}.*"):
        yield from path.read_text(errors="replace").splitlines()


def outside(log: Path, home: Path) -> set[str]:
    """Return what a traced program wrote outside a home folder."""
    paths = written(log)
    assert any(path.startswith(f"{home}/record.db") for path in paths), "the trace sees the record"
    return {
        path for path in paths if not (Path(path).is_relative_to(home) or DEVICES.fullmatch(path))
    }


def test_demo_leaves_everything_but_its_home_alone(room: Room) -> None:
    """No file of the user, none among the temporary ones, none where it was started."""
    ran = subprocess.run(
        tawny(room, *HEADLESS),
        env=room.environment,
        cwd=room.watched[2],
        capture_output=True,
        text=True,
        check=False,
    )

    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.count("\n") == 1
    assert (room.home / "record.db").exists()
    assert room.untouched()


def test_demo_without_a_dashboard_opens_no_other_file_to_write(room: Room, tmp_path: Path) -> None:
    """Seen from the kernel: every path made, changed or removed lies in the home folder."""
    log = tmp_path / "trace"
    words = traced(tawny(room, *HEADLESS), log)
    ran = subprocess.run(
        words, env=room.environment, cwd=room.watched[2], capture_output=True, check=False
    )

    assert ran.returncode == 0, ran.stderr
    assert outside(log, room.home) == set()


def test_demo_on_screen_opens_no_other_file_to_write(room: Room, tmp_path: Path) -> None:
    """Screen, owner and simulated board together, from the start until everything has ended."""
    log = tmp_path / "trace"
    words = traced(tawny(room, "demo"), log)
    here = ["env", "-C", os.fspath(room.watched[2])]
    with pane(tmp_path, [*here, *words], room.environment) as seen:
        seen.until("start the day")
        seen.tap("q")
        seen.until("Leave?")
        seen.tap("y")
        assert "ended with 0" in seen.until("ended with")
        assert seen.is_whole()

    assert outside(log, room.home) == set()
    assert room.untouched()
    assert not (room.home / "desk.sock").exists()
