"""Writing a whole file: after a power cut the old one or the new one is there, never half."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from tawny.errors import N_, InputError


def write_whole(path: Path, content: str | bytes) -> None:
    """Replace a file at once; its folder is made where it is missing.

    Args:
        path: Where.
        content: Text is written as UTF-8, its line ends as they are.

    Raises:
        InputError: If it cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        fresh = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            _take_mode(path, fresh)
            fresh.replace(path)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except FileExistsError as error:
        raise InputError(
            N_("{folder} is a file, not a folder; choose another folder"), folder=path.parent
        ) from error
    except OSError as error:
        raise InputError(
            N_(
                "{path} cannot be written: {reason}; mend its permissions or free the disk, or "
                "choose another folder"
            ),
            path=path,
            reason=error.strerror or str(error),
        ) from error


def _take_mode(old: Path, new: Path) -> None:
    """Give a new file the permissions of the one it replaces; a private folder keeps it private."""
    if old.exists():
        shutil.copymode(old, new)
    else:
        new.chmod(0o644)


def _sync_folder(folder: Path) -> None:
    """Make the new name itself survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
