"""What the service tells the record, whichever thread then writes it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Protocol

from tawny.core.record import PRESSING, SEGMENT
from tawny.store.backlog import RECORDER, Backlog, RecorderStatus
from tawny.store.requests import (
    Append,
    BeginPressing,
    Chunk,
    PutSegment,
    Request,
    Seal,
    Sealed,
    Stamp,
    plain_json,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.core.record import PressingRecord


class Recorder(Protocol):
    """What the service tells the record. No method raises because of the disk or of its values."""

    def append(self, kind: str, payload: object, *, who: str, utc_ms: int, mono_ms: int) -> None:
        """Add a journal entry; see `Store.append`."""

    def begin_pressing(self, pressing_id: str, number: int, about: object) -> None:
        """Note that a pressing has begun."""

    def spool(self, pressing_id: str, data: bytes) -> None:
        """Add a chunk of an open pressing."""

    def seal_pressing(
        self, record: PressingRecord, trace: bytes, *, who: str, utc_ms: int, mono_ms: int
    ) -> None:
        """End a pressing; `take_sealed` tells when it is on disk."""

    def put_segment(
        self,
        rate: str,
        start_utc_ms: int,
        end_utc_ms: int,
        trace: bytes,
        *,
        who: str,
        utc_ms: int,
        mono_ms: int,
    ) -> None:
        """Keep a stretch of trace outside pressings."""

    def tick(self) -> None:
        """Write what is due; called at each step."""

    def take_sealed(self) -> list[Sealed]:
        """Return the pressings that have reached the disk since the last call."""

    def status(self) -> RecorderStatus:
        """Return how the recorder stands; never waits for the disk."""

    def stalled_s(self) -> float:
        """Return how long the oldest request has waited, on the recorder's own clock."""

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Write everything now; return whether everything is on disk."""

    def close(self, timeout_s: float = 5.0) -> RecorderStatus:
        """Write everything, close the record, and say what could not be written."""


class Told(ABC):
    """Turns what is told into requests; both recorders differ only in who writes them."""

    _backlog: Backlog
    _clock: Callable[[], float]

    @abstractmethod
    def _put(self, make: Callable[[], Request], kind: str, stamp: Stamp, given: object) -> None:
        """Let a request wait, and have it written."""

    def _wait(
        self, make: Callable[[], Request], kind: str, stamp: Stamp, given: object
    ) -> Request | None:
        """Let a request wait; one that cannot be made leaves an entry that says so."""
        try:
            request = make()
        except Exception as error:  # noqa: BLE001 - the edge of the recorder: told, kept as text
            self._backlog.refuse(self._clock(), kind, stamp, error, given)
            return None
        self._backlog.put(self._clock(), request)
        return request

    def append(self, kind: str, payload: object, *, who: str, utc_ms: int, mono_ms: int) -> None:
        """Add a journal entry."""
        stamp = Stamp(who, utc_ms, mono_ms)
        self._put(lambda: Append(kind, plain_json(payload), stamp), kind, stamp, payload)

    def begin_pressing(self, pressing_id: str, number: int, about: object) -> None:
        """Note that a pressing has begun."""
        stamp = Stamp(RECORDER, 0, 0)
        self._put(
            lambda: BeginPressing(pressing_id, number, plain_json(about)),
            "begin_pressing",
            stamp,
            about,
        )

    def spool(self, pressing_id: str, data: bytes) -> None:
        """Add a chunk of an open pressing."""
        self._put(lambda: Chunk(pressing_id, data), "chunk", Stamp(RECORDER, 0, 0), None)

    def seal_pressing(
        self, record: PressingRecord, trace: bytes, *, who: str, utc_ms: int, mono_ms: int
    ) -> None:
        """End a pressing."""
        stamp = Stamp(who, utc_ms, mono_ms)
        self._put(lambda: Seal(record, trace, stamp), PRESSING, stamp, record)

    def put_segment(
        self,
        rate: str,
        start_utc_ms: int,
        end_utc_ms: int,
        trace: bytes,
        *,
        who: str,
        utc_ms: int,
        mono_ms: int,
    ) -> None:
        """Keep a stretch of trace outside pressings."""
        stamp = Stamp(who, utc_ms, mono_ms)
        self._put(
            lambda: PutSegment(rate, start_utc_ms, end_utc_ms, trace, stamp), SEGMENT, stamp, rate
        )
