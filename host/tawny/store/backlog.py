"""What waits to be written: kept in order and in memory until the disk has taken it."""

from __future__ import annotations

from collections import deque
from itertools import islice
from typing import TYPE_CHECKING

import msgspec

from tawny.core.record import GAP, REFUSED, Gap, Refused
from tawny.core.snapshot import Code
from tawny.errors import StoreError, StoreFullError
from tawny.store.requests import (
    Append,
    PutBlob,
    PutSegment,
    Request,
    Seal,
    Sealed,
    Stamp,
    plain_json,
    weight,
)

if TYPE_CHECKING:
    from tawny.store.store import Store

BOUND_BYTES = 32 << 20  # a day of pressing at 5 Hz
RECORDER = "recorder"


class RecorderStatus(msgspec.Struct, frozen=True):
    """How the recorder stands.

    Attributes:
        waiting, waiting_bytes: Requests in memory, not yet on disk.
        written: Requests on disk since the start.
        refused: Requests that could not be recorded as given; each left an entry saying so.
        lost: Requests dropped since the start because the bound was reached; a gap entry follows.
        at_bound: Requests are being dropped.
        reason: `store_full` or `store_failed` while the disk refuses, else None.
    """

    waiting: int
    waiting_bytes: int
    written: int
    refused: int
    lost: int
    at_bound: bool
    reason: Code | None


class Outcome(msgspec.Struct, frozen=True):
    """What came of an attempt to write: how many requests are done with, and why it stopped."""

    done: int
    refused: int = 0
    sealed: tuple[Sealed, ...] = ()
    reason: Code | None = None


class Backlog:
    """The queue between the press and the disk. Not thread-safe: its writer locks it.

    Args:
        bound_bytes: Most memory for waiting requests.
    """

    def __init__(self, bound_bytes: int = BOUND_BYTES) -> None:
        """Begin empty."""
        self._bound_bytes = bound_bytes
        self._waiting: deque[tuple[float, Request]] = deque()
        self._bytes = 0
        self._written = self._refused = self._lost = 0
        self._gap: Gap | None = None
        self._last = Stamp(RECORDER, 0, 0)
        self._reason: Code | None = None
        self._sealed: list[Sealed] = []

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, now_s: float, request: Request) -> None:
        """Add a request, or count it as lost when the bound is reached."""
        stamp = getattr(request, "stamp", None)
        if stamp is not None:
            self._last = stamp
        if self._bytes + weight(request) > self._bound_bytes:
            self._drop()
        else:
            self._add(now_s, request)

    def refuse(
        self, now_s: float, kind: str, stamp: Stamp, error: Exception, given: object
    ) -> None:
        """Add, in place of a payload that has no canonical form, an entry that says so."""
        self._refused += 1
        self.put(now_s, _refused(kind, stamp, error, repr(given)))

    def first(self, count: int) -> list[Request]:
        """Return the requests that have waited longest; they stay until `settle`."""
        return [request for _, request in islice(self._waiting, count)]

    def oldest_s(self) -> float | None:
        """Return when the longest waiting request was put."""
        return self._waiting[0][0] if self._waiting else None

    def settle(self, now_s: float, outcome: Outcome) -> None:
        """Take over what came of an attempt to write the first requests."""
        for _ in range(outcome.done):
            _, request = self._waiting.popleft()
            self._bytes -= weight(request)
        self._written += outcome.done
        self._refused += outcome.refused
        self._sealed += outcome.sealed
        self._reason = outcome.reason
        if outcome.reason is None and self._gap is not None:
            gap, self._gap = self._gap, None
            stamp = msgspec.structs.replace(self._last, who=RECORDER)
            self._add(now_s, Append(GAP, plain_json(gap), stamp))

    def take_sealed(self) -> list[Sealed]:
        """Return the pressings sealed since the last call."""
        sealed, self._sealed = self._sealed, []
        return sealed

    def status(self) -> RecorderStatus:
        """Return how the recorder stands."""
        return RecorderStatus(
            waiting=len(self._waiting),
            waiting_bytes=self._bytes,
            written=self._written,
            refused=self._refused,
            lost=self._lost,
            at_bound=self._gap is not None,
            reason=self._reason,
        )

    def _add(self, now_s: float, request: Request) -> None:
        self._waiting.append((now_s, request))
        self._bytes += weight(request)

    def _drop(self) -> None:
        self._lost += 1
        reason = self._reason.code if self._reason else "store_stalled"
        utc_ms = self._last.utc_ms
        gap = self._gap or Gap(lost=0, first_utc_ms=utc_ms, last_utc_ms=utc_ms, reason=reason)
        self._gap = msgspec.structs.replace(gap, lost=gap.lost + 1, last_utc_ms=utc_ms)


def attempt(store: Store, requests: list[Request]) -> Outcome:
    """Write requests in one transaction; one that can never be written is set aside alone.

    Never raises what the record raises: the press goes on.
    """
    try:
        results = store.write(requests)
    except StoreError as error:
        return Outcome(done=0, reason=_reason(error))
    except Exception:  # noqa: BLE001 - the edge of the recorder: find the one at fault below
        return _one_by_one(store, requests)
    return Outcome(
        done=len(requests), sealed=tuple(result for result in results if isinstance(result, Sealed))
    )


def _one_by_one(store: Store, requests: list[Request]) -> Outcome:
    done, refused = 0, 0
    sealed: list[Sealed] = []
    for request in requests:
        try:
            try:
                sealed += (
                    result for result in store.write([request]) if isinstance(result, Sealed)
                )
            except StoreError:
                raise
            except Exception as error:  # noqa: BLE001 - as above
                store.write(_set_aside(request, error))
                refused += 1
        except StoreError as error:
            return Outcome(done, refused, tuple(sealed), _reason(error))
        done += 1
    return Outcome(done, refused, tuple(sealed))


def _set_aside(request: Request, error: Exception) -> list[Request]:
    """Return requests that keep all of one that cannot be recorded as it was given."""
    kind = type(request).__name__
    stamp = getattr(request, "stamp", Stamp(RECORDER, 0, 0))
    match request:
        case Append(kind, payload, _):
            return [_refused(kind, stamp, error, payload.decode("utf-8", "replace"))]
        case Seal(record, trace, _):
            return [PutBlob(trace), _refused(kind, stamp, error, repr(record))]
        case PutSegment(rate, start, end, trace, _):
            return [PutBlob(trace), _refused(kind, stamp, error, f"{rate} {start} {end}")]
        case PutBlob():
            return [_refused(kind, stamp, error, "")]
        case _:
            return [_refused(kind, stamp, error, repr(request))]


def _refused(kind: str, stamp: Stamp, error: Exception, text: str) -> Append:
    kept = text.encode("utf-8", "backslashreplace").decode()
    reason = str(error).encode("utf-8", "backslashreplace").decode()
    return Append(REFUSED, plain_json(Refused(kind=kind, reason=reason, text=kept)), stamp)


def _reason(error: StoreError) -> Code:
    code = "store_full" if isinstance(error, StoreFullError) else "store_failed"
    return Code(code=code, fields={"why": str(error.fields.get("why", error))})
