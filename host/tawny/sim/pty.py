"""The simulated world behind a pseudo-terminal, paced by the wall clock.

The host opens the link's name as it would a real board's port. The simulator keeps its own
end of the slave open, so that a host may come and go; what nobody reads is dropped.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import selectors
import signal
import termios
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from tawny.core.names import ResetCause
from tawny.errors import N_, BusyError, PortError
from tawny.sim.control import Door
from tawny.sim.world import World

PACE_MOST: Final = 2000.0
WAKE_S: Final = 0.005  # how long the loop waits for bytes at most
SLICE_MS: Final = 1000  # most board time that passes between two looks at the line
LATE_S: Final = 0.25  # time lost beyond this (suspended, overloaded) is not caught up

_READ_BYTES: Final = 4096
_IN_OPEN: Final = 0x20  # inotify: something opened the file
_IN_NONBLOCK: Final = 0o4000


class Port:
    """A pseudo-terminal under a name of its own.

    Args:
        link: The name: a symbolic link; one that is there is replaced, anything else is not.

    Raises:
        BusyError: If something other than a link has that name.
        PortError: If the link cannot be made.
    """

    def __init__(self, link: Path) -> None:
        self._link = link
        self._check()
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave, termios.TCSANOW)
        os.set_blocking(self.master, False)
        self.name = os.ttyname(self._slave)
        self._publish()
        self._opens = _watch_opens(self.name)

    def _check(self) -> None:
        if self._link.is_symlink() or not self._link.exists():
            return
        raise BusyError(
            N_("{link} exists and is no link of a simulated board: choose another name"),
            link=str(self._link),
        )

    def _publish(self) -> None:
        """Make the name point here, in one step, so that no reader sees it half done."""
        part = self._link.with_name(f"{self._link.name}.{os.getpid()}.part")
        try:
            part.unlink(missing_ok=True)
            part.symlink_to(self.name)
            part.replace(self._link)
        except OSError as error:
            self._close_ends()
            raise PortError(
                N_("the link {link} cannot be made: {reason}"),
                link=str(self._link),
                reason=error.strerror or str(error),
            ) from error

    def read(self) -> bytes:
        """Return what the host has sent; empty if nothing."""
        try:
            return os.read(self.master, _READ_BYTES)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> None:
        """Send what fits; the rest is lost, as on a line that nobody listens to."""
        with contextlib.suppress(BlockingIOError):
            os.write(self.master, data)

    def forget_unread(self) -> None:
        """Throw away what the last host left unread."""
        termios.tcflush(self._slave, termios.TCIFLUSH)

    def was_opened(self) -> bool:
        """Return whether a host has opened the port since the last call."""
        if self._opens is None:
            return False
        try:
            return bool(os.read(self._opens, _READ_BYTES))
        except BlockingIOError:
            return False

    def close(self) -> None:
        """Hang up and take the name away, if it is still ours."""
        with contextlib.suppress(OSError):
            if str(self._link.readlink()) == self.name:
                self._link.unlink()
        self._close_ends()
        if self._opens is not None:
            os.close(self._opens)
            self._opens = None

    def _close_ends(self) -> None:
        os.close(self.master)
        os.close(self._slave)


def _watch_opens(name: str) -> int | None:
    """Return a file that tells of each opening of another; None where the system cannot."""
    libc = ctypes.CDLL(None, use_errno=True)
    if not hasattr(libc, "inotify_init1"):
        return None
    watch: int = libc.inotify_init1(_IN_NONBLOCK)
    if watch < 0:
        return None
    if libc.inotify_add_watch(watch, name.encode(), _IN_OPEN) < 0:
        os.close(watch)
        return None
    return watch


class Server:
    """Runs a world behind a port until it is told to stop.

    Args:
        world: What stands behind the port.
        link: The port's name.
        pace: Seconds of the board to one of the wall.
        control: Socket of the control channel; None: there is none.
        reset_on_open: Opening the port resets the board, as many real ones do.
        end_silent_s: End after so long without a byte from a host; None: run until told.
        clock: Tells the seconds of the wall.
    """

    def __init__(
        self,
        world: World,
        link: Path,
        *,
        pace: float = 1.0,
        control: Path | None = None,
        reset_on_open: bool = False,
        end_silent_s: float | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._world = world
        self._link = link
        self._pace = pace
        self._reset_on_open = reset_on_open
        self._end_silent_s = end_silent_s
        self._silent_s = 0.0
        self._clock = clock
        self._stopping = False
        self._selector = selectors.DefaultSelector()
        self._port: Port | None = Port(link)
        self._selector.register(self._port.master, selectors.EVENT_READ)
        try:
            self._door = None if control is None else Door(control)
        except (BusyError, PortError):
            self._port.close()
            raise
        if self._door is not None:
            self._selector.register(self._door.socket, selectors.EVENT_READ, self._accept)

    def stop(self) -> None:
        """End `run` soon; may be called from a signal."""
        self._stopping = True

    def run(self) -> None:
        """Let the world live at its pace."""
        try:
            last_s = self._clock()
            due_ms = float(self._world.now_ms)
            while not self._stopping:
                for key, _ in self._selector.select(WAKE_S):
                    if key.data is not None:
                        key.data()
                now_s = self._clock()
                due_ms += min(now_s - last_s, LATE_S) * self._pace * 1000.0
                self._silent_s += now_s - last_s
                last_s = now_s
                self._live(int(due_ms))
                if self._end_silent_s is not None and self._silent_s > self._end_silent_s:
                    self.stop()
        finally:
            self.close()

    def _live(self, to_ms: int) -> None:
        """Bring the world up to a moment, exchanging bytes on the way."""
        self._serve_port()
        while self._world.now_ms < to_ms and not self._stopping:
            self._world.advance(min(to_ms, self._world.now_ms + SLICE_MS))
            self._serve_port()
        self._follow_plug()

    def _serve_port(self) -> None:
        port = self._port
        if port is None:
            self._world.take()
            return
        if port.was_opened():
            port.forget_unread()
            if self._reset_on_open:
                self._world.restart(ResetCause.BUTTON)
        data = port.read()
        if data:
            self._silent_s = 0.0
            self._world.receive(data, self._world.now_ms)
        out = self._world.take()
        if out:
            port.write(out)

    def _follow_plug(self) -> None:
        """Pull the port away with the plug, and bring a new one with it."""
        plugged = self._world.line.plugged
        if self._port is not None and not plugged:
            self._selector.unregister(self._port.master)
            self._port.close()
            self._port = None
        elif self._port is None and plugged:
            self._port = Port(self._link)
            self._selector.register(self._port.master, selectors.EVENT_READ)

    def _accept(self) -> None:
        if self._door is None:
            return
        client = self._door.accept()

        def serve() -> None:
            if not client.serve(self._world.apply):
                self._selector.unregister(client.socket)
                client.socket.close()

        self._selector.register(client.socket, selectors.EVENT_READ, serve)

    def close(self) -> None:
        """Take port, channel and their names away."""
        if self._port is not None:
            self._port.close()
            self._port = None
        if self._door is not None:
            self._door.close()
            self._door = None
        self._selector.close()


@contextlib.contextmanager
def stopped_by_signals(stop: Callable[[], None]) -> Iterator[None]:
    """Turn SIGTERM, SIGINT and SIGHUP into an orderly end."""
    signals = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    before = {number: signal.signal(number, lambda *_: stop()) for number in signals}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
