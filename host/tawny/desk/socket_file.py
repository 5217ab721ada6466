"""The desk's socket in the home folder: made for this user alone, never over a living one."""

from __future__ import annotations

import os
import socket
import stat
from contextlib import suppress
from pathlib import Path
from typing import Final

from tawny.errors import N_, BusyError, InputError

PATH_MOST_BYTES: Final = 107  # the kernel's 108 with the closing zero byte
_PROBE_WITHIN_S: Final = 1.0


def check_path(path: Path) -> None:
    """Refuse a path that the kernel cannot take.

    Raises:
        InputError: It is too long.
    """
    length = len(os.fsencode(path))
    if not length <= PATH_MOST_BYTES:
        raise InputError(
            N_(
                "the desk's socket {path} has a path of {length} bytes, more than {most}; "
                "choose a home folder with a shorter path"
            ),
            path=path,
            length=length,
            most=PATH_MOST_BYTES,
        )


def listen_at(path: Path) -> socket.socket:
    """Return a listening socket with mode 0600; what a dead owner left behind is removed.

    Raises:
        BusyError: Another owner listens there.
        InputError: The path is too long, or something else lies there.
    """
    check_path(path)
    _clear(path)
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        listening.bind(os.fspath(path))
        # Nobody can connect before listen(), so that the mode is right from the first moment.
        path.chmod(0o600)
        listening.listen()
        listening.settimeout(0.0)
    except OSError as error:
        listening.close()
        raise InputError(
            N_("the desk's socket {path} cannot be made: {reason}; mend the folder's permissions"),
            path=path,
            reason=error.strerror or str(error),
        ) from error
    return listening


def remove(path: Path, made: os.stat_result) -> None:
    """Remove the socket if it is still the one that was made."""
    with suppress(OSError):
        if os.path.samestat(path.lstat(), made):
            path.unlink()


def _clear(path: Path) -> None:
    try:
        status = path.lstat()
    except FileNotFoundError:
        return
    except OSError as error:
        raise InputError(
            N_("the desk's socket {path} cannot be made: {reason}; mend the folder's permissions"),
            path=path,
            reason=error.strerror or str(error),
        ) from error
    if not stat.S_ISSOCK(status.st_mode):
        raise InputError(
            N_("{path} is in the way of the desk's socket; move it elsewhere"), path=path
        )
    if _alive(path):
        raise BusyError(
            N_("this press has an owner already, at {path}; join it with tawny run, or end it"),
            path=path,
        )
    remove(path, status)


def _alive(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(_PROBE_WITHIN_S)
        try:
            probe.connect(os.fspath(path))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
        except OSError:
            return True  # full or slow: somebody is there
    return True
