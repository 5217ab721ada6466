"""The only door to the serial port: opening it for us alone, and every way it can fail.

Each failure is a `PortError` (or `BusyError`) whose fields carry a `code`, so that the link
can say the same thing on screen: `port_denied`, `port_absent`, `port_busy`, `port_wrong`,
`port_unreachable`, `port_gone`.
"""

from __future__ import annotations

import errno
import fcntl
import getpass
import grp
import os
import termios
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Final

import serial

from tawny.core.messages import BAUD
from tawny.core.snapshot import Code
from tawny.errors import N_, BusyError, PortError
from tawny.link import ports

PTS: Final = "/dev/pts/"
READ_WITHIN_S: Final = 0.2
WRITE_WITHIN_S: Final = 1.0
# What pyserial lets through when a device vanishes, or is closed, under a call.
_GONE: Final = (serial.SerialException, OSError, TypeError, ValueError, termios.error)
_GROUP_MAY: Final = 0o060  # read and write
_BUSY: Final = (errno.EBUSY, errno.EAGAIN)


class Port:
    """An open port. One thread reads and closes it; another may write.

    Args:
        line: The open port of the serial library.
        url: What was opened.
    """

    def __init__(self, line: serial.Serial, url: str) -> None:
        self._line = line
        self._url = url
        self._closing = Lock()
        self.trouble: PortError | None = None  # of a write: the reader acts on it

    def read(self) -> bytes:
        """Return what has arrived, after at most 0.2 s; nothing is no error.

        Raises:
            PortError: The device has gone.
        """
        try:
            return bytes(self._line.read(self._line.in_waiting or 1))
        except _GONE as error:
            raise self._gone(error) from error

    def write(self, data: bytes) -> None:
        """Write within 1 s; never waits for the bytes to leave.

        Raises:
            PortError: The device has gone, or takes nothing.
        """
        # Under the lock: after a close the file's number may soon be another file's.
        with self._closing:
            try:
                self._line.write(data)
            except _GONE as error:
                self.trouble = self._gone(error)
                raise self.trouble from error

    def close(self) -> None:
        """Close the port; only the thread that reads may do so."""
        with self._closing, suppress(*_GONE):  # it may have gone already
            self._line.close()

    def _gone(self, error: Exception) -> PortError:
        return PortError(
            N_("{port} has gone ({detail}). Check the plug; the program tries again by itself."),
            code="port_gone",
            port=self._url,
            detail=str(error) or type(error).__name__,
        )


def open_port(url: str) -> Port:
    """Open a port for this program alone.

    Args:
        url: A device's path, or a `socket://` or `rfc2217://` address.

    Raises:
        BusyError: Another program has it open.
        PortError: It is not there, not allowed, not a serial port, or does not answer.
    """
    is_path = "://" not in url
    exclusive = True if is_path else None
    if is_path and _left_behind(url):
        raise _absent(url)
    try:
        line: serial.Serial = serial.serial_for_url(
            url, BAUD, timeout=READ_WITHIN_S, write_timeout=WRITE_WITHIN_S, exclusive=exclusive
        )
    except (*_GONE, ImportError) as error:
        raise _refusal(url, error) from error
    if is_path:
        _take_for_us(line, url)
    return Port(line, url)


def reason_of(error: PortError | BusyError) -> Code:
    """Return the code and fields of a port's failure."""
    fields = {
        name: value if isinstance(value, str | int | float | bool) else str(value)
        for name, value in error.fields.items()
        if name != "code"
    }
    return Code(str(error.fields.get("code", "port_gone")), fields)


def _left_behind(path: str) -> bool:
    """Say whether a link still names a pseudo-terminal that has gone.

    The kernel gives the number of a terminal that has gone to the next one that is opened,
    whoever opens it: reading there would take somebody else's keys. A link that was made for
    a terminal is never older than it.
    """
    link = Path(path)
    if not link.is_symlink() or not os.path.realpath(path).startswith(PTS):
        return False
    with suppress(OSError):  # not there at all: opening says so
        return link.stat().st_ctime_ns > link.lstat().st_mtime_ns
    return False


def _take_for_us(line: serial.Serial, url: str) -> None:
    """Keep others out who do not ask for a lock, and keep DTR up after closing."""
    try:
        attributes = termios.tcgetattr(line.fileno())
        attributes[2] &= ~termios.HUPCL  # a dropped DTR resets many boards
        termios.tcsetattr(line.fileno(), termios.TCSANOW, attributes)
        # The simulated board keeps its own side of a pty open, so that there the mark
        # would outlive us and lock out the next start.
        if not os.path.realpath(url).startswith(PTS):
            fcntl.ioctl(line.fileno(), termios.TIOCEXCL)
    except (OSError, termios.error) as error:
        line.close()
        raise _refusal(url, error) from error


def _refusal(url: str, error: Exception) -> PortError | BusyError:
    number = _errno_of(error)
    if "://" in url:
        return PortError(
            N_("{port} cannot be reached ({detail}). Check the address and the bridge behind it."),
            code="port_unreachable",
            port=url,
            detail=str(error),
        )
    if number in _BUSY:
        return _busy(url)
    if number in (errno.EACCES, errno.EPERM):
        return denied(url)
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return _absent(url)
    return PortError(
        N_("{port} is not a serial port that can be used ({detail}). Choose another one."),
        code="port_wrong",
        port=url,
        detail=str(error),
    )


def _errno_of(error: Exception) -> int | None:
    """The system's number of an error; the serial library keeps some only in the text."""
    number = getattr(error, "errno", None)
    if isinstance(number, int):
        return number
    first = error.args[0] if error.args else None
    return first if isinstance(first, int) else None


def _busy(url: str) -> BusyError:
    found = ports.holders(url)
    if not found:
        return BusyError(
            N_("{port} is in use by a program of another user. End that program."),
            code="port_busy",
            port=url,
            holder="?",
        )
    return BusyError(
        N_("{port} is in use by {holder}. End that program, or use its own screen."),
        code="port_busy",
        port=url,
        holder=", ".join(f"{holder.name} (pid {holder.pid})" for holder in found),
    )


def _absent(url: str) -> PortError:
    present = [port.best for port in ports.list_ports()]
    if present:
        return PortError(
            N_("There is no port {port}. These are there: {present}."),
            code="port_absent",
            port=url,
            present=", ".join(present),
        )
    return PortError(
        N_("There is no port {port}, nor any other serial port. Put the board's plug in."),
        code="port_absent",
        port=url,
        present="",
    )


def denied(url: str) -> PortError:
    """Return what a person must do to be allowed to use a port."""
    user = getpass.getuser()
    try:
        status = Path(url).stat()
        group = grp.getgrgid(status.st_gid)
    except (OSError, KeyError):
        return PortError(
            N_("{user} may not use {port}, nor see whose it is. Ask whoever looks after it."),
            code="port_denied",
            port=url,
            user=user,
            group="",
        )
    fields = {"code": "port_denied", "port": url, "user": user, "group": group.gr_name}
    if status.st_mode & _GROUP_MAY != _GROUP_MAY:
        return PortError(
            N_(
                "{port} is closed to its own group {group}. "
                "Ask whoever looks after this computer for read and write access."
            ),
            **fields,
        )
    if user in group.gr_mem and status.st_gid not in os.getgroups():
        return PortError(
            N_("{user} was added to the group {group} of {port}. Log out and in for it to count."),
            **fields,
        )
    return PortError(
        N_(
            "{user} may not use {port}: it belongs to the group {group}. "
            "As root: usermod -aG {group} {user} - then log out and in."
        ),
        **fields,
    )
