"""The reader thread: opens the port, turns bytes into lines, and opens it again when it goes.

It alone opens and closes the port. Everything it learns goes into a queue, in order; lines
are not judged here.
"""

from __future__ import annotations

from collections.abc import Callable
from queue import Full, Queue
from threading import Event, Thread
from typing import Final

import msgspec

from tawny.core.framing import Framer
from tawny.core.messages import FROM_BOARD_MOST_BYTES
from tawny.core.snapshot import Code
from tawny.errors import BusyError, PortError
from tawny.link.port import READ_WITHIN_S, Port, open_port, reason_of

RETRY_LEAST_S: Final = 0.1
RETRY_MOST_S: Final = 2.0
BUSY_PATIENCE_S: Final = 15.0  # services that try new ports for modems let go within that
QUEUE_MOST: Final = 4096
_PUT_AGAIN_S: Final = 0.2


class Heard(msgspec.Struct, frozen=True):
    """Base of what the reader puts into the queue."""

    host_ms: int


class Opened(Heard, frozen=True):
    """The port is open; the board may just have been reset by that."""


class Line(Heard, frozen=True):
    """One line without its LF, as it came."""

    data: bytes


class Dropped(Heard, frozen=True):
    """Lines too long, unfinished, or more than the queue holds."""

    count: int


class Lost(Heard, frozen=True):
    """The port has gone, or cannot be opened; it is tried again."""

    reason: Code


class Reader:
    """One thread that owns the port.

    Args:
        url: The port's path or address.
        clock_ms: Milliseconds of a clock that counts suspend.
        open_one: Opens the port.
    """

    def __init__(
        self,
        url: str,
        clock_ms: Callable[[], int],
        open_one: Callable[[str], Port] = open_port,
    ) -> None:
        self.queue: Queue[Heard] = Queue(QUEUE_MOST)
        self._url = url
        self._clock_ms = clock_ms
        self._open_one = open_one
        self._port: Port | None = None
        self._stopping = Event()
        self._thread = Thread(target=self._run, name="reader", daemon=True)
        self._busy_since_ms: int | None = None

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """Ask the thread to close the port and end; return whether it did in time."""
        self._stopping.set()
        if self._thread.ident is not None:  # what failed before the start must not be hidden
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def write(self, data: bytes) -> bool:
        """Write within 1 s; a failure counts as a lost port, which the queue then tells."""
        port = self._port
        if port is None:
            return False
        try:
            port.write(data)
        except PortError:
            return False
        return True

    def _run(self) -> None:
        delay_s = RETRY_LEAST_S
        while not self._stopping.is_set():
            heard = False
            try:
                port = self._open_one(self._url)
            except BusyError as error:
                if self._busy_for_long():
                    self._put(Lost(self._clock_ms(), reason_of(error)))
            except PortError as error:
                self._busy_since_ms = None
                self._put(Lost(self._clock_ms(), reason_of(error)))
            else:
                self._busy_since_ms = None
                heard = self._serve(port)
            delay_s = RETRY_LEAST_S if heard else min(2.0 * delay_s, RETRY_MOST_S)
            self._stopping.wait(delay_s)

    def _serve(self, port: Port) -> bool:
        """Read until the port goes or the thread is stopped; return whether anything came."""
        framer = Framer(FROM_BOARD_MOST_BYTES)
        told = missed = 0
        heard = False
        self._put(Opened(self._clock_ms()))
        self._port = port
        try:
            while not self._stopping.is_set():
                if port.trouble is not None:
                    raise port.trouble
                data = port.read()
                host_ms = self._clock_ms()
                if not data:
                    framer.idle(1000.0 * READ_WITHIN_S)
                heard = heard or bool(data)
                missed += sum(not self._offer(Line(host_ms, line)) for line in framer.feed(data))
                dropped = framer.oversize + framer.unfinished + missed
                if dropped > told and self._offer(Dropped(host_ms, dropped - told)):
                    told = dropped
        except PortError as error:
            self._put(Lost(self._clock_ms(), reason_of(error)))
        finally:
            self._port = None
            port.close()
        return heard

    def _busy_for_long(self) -> bool:
        now_ms = self._clock_ms()
        if self._busy_since_ms is None:
            self._busy_since_ms = now_ms
        return now_ms - self._busy_since_ms >= 1000.0 * BUSY_PATIENCE_S

    def _offer(self, heard: Heard) -> bool:
        """Put a line, unless nobody has taken any for very long."""
        try:
            self.queue.put_nowait(heard)
        except Full:
            return False
        return True

    def _put(self, heard: Heard) -> None:
        """Put what must not be lost."""
        while not self._stopping.is_set():
            try:
                self.queue.put(heard, timeout=_PUT_AGAIN_S)
            except Full:
                continue
            return
