"""What went wrong with the record, as one sentence a person can act on."""

from __future__ import annotations

import errno
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

import apsw
import msgspec

from tawny.errors import N_, InputError, StoreDamagedError, StoreError, StoreFullError, TawnyError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FULL, READ_ONLY = "full", "read_only"
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT)
_ROOM_LEAST_BYTES = 1 << 16  # the file that shares memory with readers takes half of it


def trouble(
    error: apsw.Error | OSError, file: Path, *, reading: bool = False
) -> StoreError | InputError:
    """Return the error to raise for one of SQLite's or of the operating system's.

    Args:
        error: What was raised.
        file: The record, or its folder.
        reading: Nothing was to be written.
    """
    match error:
        case apsw.FullError():
            return _full(file)
        case OSError() if error.errno in _NO_ROOM:
            return _full(file)
        case apsw.IOError() | apsw.CantOpenError() if _without_room(file):
            return _full(file)  # SQLite says so only of the record itself, not of what lies beside
        case apsw.CantOpenError() | apsw.PermissionsError() if reading:
            return StoreError(
                N_("{file} cannot be read: mend its rights, or name another folder (--home)"),
                file=file,
            )
        case apsw.ReadOnlyError() | apsw.CantOpenError() | apsw.PermissionsError() | OSError():
            return read_only(file)
        case apsw.CorruptError() | apsw.NotADBError():
            return StoreDamagedError(
                N_("{file} is damaged ({why}); stop, and keep the file for repair"),
                file=file,
                why=str(error),
            )
        case apsw.ConstraintError() | apsw.MismatchError() | apsw.TooBigError():
            return InputError(
                N_("{file} refuses an entry: {why}; nothing of it was written"),
                file=file,
                why=str(error),
            )
        case apsw.BusyError() | apsw.LockedError():
            return StoreError(
                N_("{file} is kept busy by another program ({why}); close that program"),
                file=file,
                why=str(error),
            )
        case _:
            return StoreError(
                N_("{file} cannot be read or written ({why}); check the disk and its cable"),
                file=file,
                why=str(error) or type(error).__name__,
            )


def read_only(file: Path) -> StoreFullError:
    """Return the error for a file or folder that may not be written."""
    return StoreFullError(
        N_("{file} cannot be written: mend its rights, or use another folder (--home)"),
        file=file,
        why=READ_ONLY,
    )


def _full(file: Path) -> StoreFullError:
    return StoreFullError(
        N_("{file} cannot be written: the disk is full; free some space"), file=file, why=FULL
    )


def _without_room(file: Path) -> bool:
    try:
        disk = os.statvfs(file.parent)
    except OSError:
        return False
    writable = not disk.f_flag & os.ST_RDONLY
    return writable and disk.f_bavail * disk.f_frsize < _ROOM_LEAST_BYTES


@contextmanager
def told(file: Path, *, reading: bool = False) -> Iterator[None]:
    """Turn SQLite's errors into ours."""
    try:
        yield
    except apsw.Error as error:
        raise trouble(error, file, reading=reading) from error


@contextmanager
def told_reading(file: Path) -> Iterator[None]:
    """Turn SQLite's errors into ours, and what no longer reads as what was written."""
    try:
        with told(file, reading=True):
            yield
    except TawnyError:
        raise
    except (ValueError, msgspec.MsgspecError) as error:
        raise trouble(apsw.CorruptError(str(error)), file) from error
