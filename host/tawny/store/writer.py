"""Recorders: what the press is told goes into the record, and the press never waits or fails.

Live, a thread of its own writes: a stalled disk must not delay the duty line. On a virtual clock
the caller's own thread writes, in groups. Both keep what the disk refuses and try again.
"""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

from tawny.store.backlog import BOUND_BYTES, Backlog, RecorderStatus, attempt
from tawny.store.recorder import Told
from tawny.store.requests import (
    Request,
    Seal,
    Sealed,
    Stamp,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.store.store import Store

RETRY_S = 1.0
BATCH_MOST = 500  # requests in one transaction
GROUP_ROWS, GROUP_S = 60, 0.25  # of a recorder on a virtual clock


class DirectWriter(Told):
    """Writes in the caller's thread, in groups: when due, when many wait, and at each seal.

    Args:
        store: The record; closed by `close`.
        clock: Seconds that pass in the world, whatever the press's own clock does.
        rows: Requests that are written without further waiting.
        linger_s: The longest a request waits for company.
    """

    def __init__(
        self,
        store: Store,
        *,
        clock: Callable[[], float] = time.monotonic,
        rows: int = GROUP_ROWS,
        linger_s: float = GROUP_S,
        bound_bytes: int = BOUND_BYTES,
    ) -> None:
        """Begin with nothing waiting."""
        self._store, self._clock = store, clock
        self._rows, self._linger_s = rows, linger_s
        self._backlog = Backlog(bound_bytes)
        self._not_before_s = -RETRY_S

    def _put(self, make: Callable[[], Request], kind: str, stamp: Stamp, given: object) -> None:
        request = self._wait(make, kind, stamp, given)
        if isinstance(request, Seal) or len(self._backlog) >= self._rows:
            self._write(self._clock())

    def tick(self) -> None:
        """Write what has waited long enough."""
        oldest_s = self._backlog.oldest_s()
        if oldest_s is None:
            return
        now_s = self._clock()
        if now_s - oldest_s >= self._linger_s:
            self._write(now_s)

    def _write(self, now_s: float) -> None:
        if now_s < self._not_before_s:
            return
        while len(self._backlog):
            outcome = attempt(self._store, self._backlog.first(BATCH_MOST))
            self._backlog.settle(now_s, outcome)
            if outcome.reason is not None:
                self._not_before_s = now_s + RETRY_S
                return

    def take_sealed(self) -> list[Sealed]:
        """Return the pressings that have reached the disk since the last call."""
        return self._backlog.take_sealed()

    def status(self) -> RecorderStatus:
        """Return how the recorder stands."""
        return self._backlog.status()

    def stalled_s(self) -> float:
        """Return how long the oldest request has waited."""
        oldest_s = self._backlog.oldest_s()
        return 0.0 if oldest_s is None else self._clock() - oldest_s

    def flush(self, timeout_s: float = 5.0) -> bool:  # noqa: ARG002 - one try: nothing here waits
        """Write everything now; return whether everything is on disk."""
        self._not_before_s = self._clock()
        self._write(self._not_before_s)
        return not len(self._backlog)

    def close(self, timeout_s: float = 5.0) -> RecorderStatus:
        """Write everything, close the record, and say what could not be written."""
        self.flush(timeout_s)
        self._store.close()
        return self._backlog.status()


class ThreadWriter(Told):
    """Writes in a thread of its own, the only one that touches the record from then on.

    Whatever waits goes into one transaction; nothing waits for company.

    Args:
        store: The record; closed by `close`. Nobody else may use it any more: ask it what is
            needed before, or open a `Reader`.
        clock: Seconds that never run backwards.
    """

    def __init__(
        self,
        store: Store,
        *,
        clock: Callable[[], float] = time.monotonic,
        retry_s: float = RETRY_S,
        bound_bytes: int = BOUND_BYTES,
    ) -> None:
        """Start the thread."""
        self._store, self._clock, self._retry_s = store, clock, retry_s
        self._backlog = Backlog(bound_bytes)
        self._changed = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="store", daemon=True)
        self._thread.start()

    def _put(self, make: Callable[[], Request], kind: str, stamp: Stamp, given: object) -> None:
        with self._changed:
            self._wait(make, kind, stamp, given)
            self._changed.notify_all()

    def tick(self) -> None:
        """Do nothing: the thread writes as things come."""

    def take_sealed(self) -> list[Sealed]:
        """Return the pressings that have reached the disk since the last call."""
        with self._changed:
            return self._backlog.take_sealed()

    def status(self) -> RecorderStatus:
        """Return how the recorder stands."""
        with self._changed:
            return self._backlog.status()

    def stalled_s(self) -> float:
        """Return how long the oldest request has waited, one being written included."""
        with self._changed:
            oldest_s = self._backlog.oldest_s()
        return 0.0 if oldest_s is None else self._clock() - oldest_s

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Wait until everything is on disk; return whether it is."""
        with self._changed:
            self._changed.wait_for(lambda: self._closing or not len(self._backlog), timeout_s)
            return not len(self._backlog)

    def close(self, timeout_s: float = 5.0) -> RecorderStatus:
        """Write everything, close the record, and say what could not be written."""
        self.flush(timeout_s)
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(timeout_s)
        return self.status()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closing or len(self._backlog))
                if self._closing:
                    break
                requests = self._backlog.first(BATCH_MOST)
            outcome = attempt(self._store, requests)  # outside the lock: the disk may be slow
            with self._changed:
                self._backlog.settle(self._clock(), outcome)
                self._changed.notify_all()
                if outcome.reason is not None:
                    self._changed.wait_for(lambda: self._closing, self._retry_s)
        self._store.close()
