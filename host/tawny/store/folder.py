"""The home folder of a record: on a local disk, writable, and held by one process."""

from __future__ import annotations

import fcntl
import os
from contextlib import suppress
from pathlib import Path

import msgspec

from tawny.errors import N_, BusyError, InputError
from tawny.store.trouble import trouble

RECORD_NAME = "record.db"
LOCK_NAME = "lock"

# Shared memory and locks do not hold across these, so a write-ahead log can be lost on them.
NETWORK_KINDS = frozenset(
    {
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "coda",
        "davfs",
        "fuse.ceph",
        "fuse.davfs2",
        "fuse.glusterfs",
        "fuse.rclone",
        "fuse.sshfs",
        "glusterfs",
        "gpfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "pvfs2",
        "smb3",
        "smbfs",
    }
)


class FileSystem(msgspec.Struct, frozen=True):
    """Where a folder lies."""

    kind: str
    mount: str
    options: tuple[str, ...]

    @property
    def network(self) -> bool:
        """Whether it is on another machine."""
        return self.kind in NETWORK_KINDS

    @property
    def unordered(self) -> bool:
        """Whether a power cut can leave old blocks in files that were grown."""
        return "data=writeback" in self.options


def file_system(folder: Path, mountinfo: str | None = None) -> FileSystem | None:
    """Return the file system a folder lies on, None where the system does not tell.

    Args:
        folder: An existing folder.
        mountinfo: The text of `/proc/self/mountinfo`; read there when None.

    Source:
        proc_pid_mountinfo(5): fields up to a lone hyphen, then type, source, super options.
    """
    if mountinfo is None:
        try:
            mountinfo = Path("/proc/self/mountinfo").read_text()
        except OSError:
            return None
    real = folder.resolve()
    best: FileSystem | None = None
    for line in mountinfo.splitlines():
        left, _, right = line.partition(" - ")
        fields, tail = left.split(), right.split()
        if len(fields) < 6 or len(tail) < 3:  # noqa: PLR2004 - the manual page's counts
            continue
        mount = fields[4].encode().decode("unicode_escape")  # a blank is written \040
        options = (*fields[5].split(","), *tail[2].split(","))
        # A later line hides an earlier one at the same place.
        if real.is_relative_to(mount) and (best is None or len(mount) >= len(best.mount)):
            best = FileSystem(kind=tail[0], mount=mount, options=options)
    return best


def check_local(folder: Path, mountinfo: str | None = None) -> None:
    """Refuse a folder on a network file system."""
    where = file_system(folder, mountinfo)
    if where is not None and where.network:
        raise InputError(
            N_(
                "{folder} is on a network file system ({kind}), where a record is not safe;"
                " use a folder on a local disk (--home) and export copies"
            ),
            folder=folder,
            kind=where.kind,
        )


def make_folder(folder: Path) -> None:
    """Make the home folder, for this user only, where there is none."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except FileExistsError as error:
        raise InputError(
            N_("{folder} is a file, not a folder; give another with --home"), folder=folder
        ) from error
    except OSError as error:
        raise trouble(error, folder) from error


class FolderLock:
    """Keeps a second copy of the program off a folder; gone with the process that holds it."""

    def __init__(self, folder: Path) -> None:
        """Take the lock.

        Raises:
            BusyError: If another process holds it, with its number.
            StoreFullError: If the folder cannot be written.
        """
        try:
            self._fd = os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise trouble(error, folder) from error
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            holder = os.read(self._fd, 32).decode("ascii", "replace").strip() or "?"
            os.close(self._fd)
            raise BusyError(
                N_(
                    "process {pid} already uses {folder};"
                    " close it first, or use another folder (--home)"
                ),
                pid=holder,
                folder=folder,
            ) from error
        with suppress(OSError):  # without room for its number the lock still holds
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Let go; the file stays, so that nobody locks one that is about to vanish."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1
