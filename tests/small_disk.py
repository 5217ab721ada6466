"""Folders on a file system of their own: one with little room, one that takes no writing.

Each is mounted in a mount namespace that ends with the process that holds it, so that nothing
is left behind however a test ends.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from needs import lacking

_SMALL = 'mount -t tmpfs -o "size=$1" none "$2"'
_FROZEN = 'mount --bind "$2" "$2" && mount -o remount,bind,ro "$2"'


class Disk(NamedTuple):
    """A folder on a file system of its own.

    Attributes:
        folder: Its path for a program that is started through `inside`.
        seen: The same folder's path for the test itself.
        holder: The process whose mounts they are.
    """

    folder: Path
    seen: Path
    holder: int

    def inside(self, words: list[str]) -> list[str]:
        """Return a command line that runs a program where the file system is mounted."""
        mapped = [] if os.geteuid() == 0 else ["--user", "--preserve-credentials"]
        return ["nsenter", "--target", str(self.holder), "--mount", *mapped, *words]

    def fill_up(self) -> Path:
        """Fill the disk to its last byte and return the file that does it."""
        path = self.seen / "filler"
        with path.open("wb", buffering=0) as file:
            for size in (1 << 16, 1 << 12, 1):
                try:
                    while True:
                        file.write(bytes(size))
                except OSError:
                    continue
        return path


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Disk]:
    """Yield a folder on a disk of this size, such as "2m"; skip where none can be mounted."""
    with _mounted(_SMALL, folder, size) as disk:
        yield disk


@contextmanager
def frozen(folder: Path) -> Iterator[Disk]:
    """Yield the folder as one that is mounted read-only; skip where that cannot be done."""
    with _mounted(_FROZEN, folder) as disk:
        yield disk


@contextmanager
def _mounted(how: str, folder: Path, size: str = "") -> Iterator[Disk]:
    mapped = [] if os.geteuid() == 0 else ["--map-root-user"]
    script = f"{how} && echo ready && exec cat"
    with subprocess.Popen(
        ["unshare", "--mount", *mapped, "sh", "-c", script, "sh", size, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    ) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        try:
            if holder.stdout.readline() != b"ready\n":
                lacking("this system lets nobody mount a folder of their own")
            seen = Path(f"/proc/{holder.pid}/root") / folder.relative_to("/")
            yield Disk(folder, seen, holder.pid)
        finally:
            holder.stdin.close()
