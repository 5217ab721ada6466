"""What went wrong with the record, as one sentence a person can act on."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import apsw
import msgspec

from tawny.errors import N_, InputError, StoreDamagedError, StoreError, StoreFullError, TawnyError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FULL, READ_ONLY = "full", "read_only"


def trouble(error: apsw.Error | OSError, file: Path) -> StoreError | InputError:
    """Return the error to raise for one of SQLite's or of the operating system's."""
    match error:
        case apsw.FullError():
            return StoreFullError(
                N_("{file} cannot be written: the disk is full; free some space ({why})"),
                file=file,
                why=FULL,
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
        N_("{file} cannot be written ({why}): mend its rights, or use another folder (--home)"),
        file=file,
        why=READ_ONLY,
    )


@contextmanager
def told(file: Path) -> Iterator[None]:
    """Turn SQLite's errors into ours."""
    try:
        yield
    except apsw.Error as error:
        raise trouble(error, file) from error


@contextmanager
def told_reading(file: Path) -> Iterator[None]:
    """Turn SQLite's errors into ours, and what no longer reads as what was written."""
    try:
        with told(file):
            yield
    except TawnyError:
        raise
    except (ValueError, msgspec.MsgspecError) as error:
        raise trouble(apsw.CorruptError(str(error)), file) from error
