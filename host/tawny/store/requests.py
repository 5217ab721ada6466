"""What can be asked of a record's writer; each is done whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from tawny.core.canonical import canonical_json
from tawny.core.record import PRESSING, SEGMENT, Pressing, PressingRecord, Segment
from tawny.errors import N_, InputError, StoreDamagedError
from tawny.store import blobs, journal, models, spool
from tawny.store.codes import part_code, pressing_code
from tawny.store.database import only

if TYPE_CHECKING:
    import apsw

    from tawny.store.journal import Entry


class Stamp(msgspec.Struct, frozen=True):
    """Who caused an entry, and when on both clocks."""

    who: str
    utc_ms: int
    mono_ms: int


class Append(msgspec.Struct, frozen=True):
    """Add a journal entry; its payload is canonical JSON."""

    kind: str
    payload: bytes
    stamp: Stamp


class BeginPressing(msgspec.Struct, frozen=True):
    """Note that a pressing has begun; `about` is canonical JSON."""

    pressing_id: str
    number: int
    about: bytes


class Chunk(msgspec.Struct, frozen=True):
    """Add what an open pressing has recorded since the last chunk."""

    pressing_id: str
    data: bytes


class PutBlob(msgspec.Struct, frozen=True):
    """Keep some bytes by their SHA-256."""

    data: bytes


class Seal(msgspec.Struct, frozen=True):
    """End a pressing: trace, entry, parts and the end of its spool."""

    record: PressingRecord
    trace: bytes
    stamp: Stamp


class PutSegment(msgspec.Struct, frozen=True):
    """Keep a stretch of trace outside pressings."""

    rate: str
    start_utc_ms: int
    end_utc_ms: int
    trace: bytes
    stamp: Stamp


Request = Append | BeginPressing | Chunk | PutBlob | Seal | PutSegment


class Sealed(msgspec.Struct, frozen=True):
    """A pressing that is safely on disk."""

    pressing_id: str
    part_ids: tuple[str, ...]
    entry_seq: int
    entry_hash: str


Result = journal.Entry | Sealed | str | None

RATES = ("rest", "full")


def weight(request: Request) -> int:
    """Return about how many bytes a waiting request holds in memory."""
    match request:
        case Append():
            return 200 + len(request.payload)
        case BeginPressing():
            return 200 + len(request.about)
        case Chunk() | PutBlob():
            return 100 + len(request.data)
        case Seal() | PutSegment():
            return 4000 + len(request.trace)


def carry_out(db: apsw.Connection, origin: str, simulated: bool, request: Request) -> Result:  # noqa: FBT001
    """Do one request inside the caller's transaction."""
    match request:
        case Append(kind, payload, stamp):
            return _append(db, origin, kind, payload, stamp)
        case BeginPressing(pressing_id, number, about):
            _check_code(pressing_id, number)
            spool.begin(db, pressing_id, number, about)
        case Chunk(pressing_id, data):
            spool.append(db, pressing_id, data)
        case PutBlob(data):
            return blobs.put(db, data)
        case Seal():
            return _seal(db, origin, simulated, request)
        case PutSegment():
            return _put_segment(db, origin, request)
    return None


def _append(db: apsw.Connection, origin: str, kind: str, payload: bytes, stamp: Stamp) -> Entry:
    entry = journal.append(
        db, origin, kind, payload, who=stamp.who, utc_ms=stamp.utc_ms, mono_ms=stamp.mono_ms
    )
    try:
        models.project(db, entry)
    except StoreDamagedError as error:
        raise InputError(N_("the payload does not fit its kind: {why}"), why=str(error)) from error
    return entry


def _seal(db: apsw.Connection, origin: str, simulated: bool, request: Seal) -> Sealed:  # noqa: FBT001
    record = request.record
    _check_code(record.pressing_id, record.number)
    if record.simulated is not simulated:
        raise InputError(
            N_("pressing {pressing} is {one}, this record {other}: they are never mixed"),
            pressing=record.pressing_id,
            one="simulated" if record.simulated else "real",
            other="simulated" if simulated else "real",
        )
    if not record.cavities >= 1:
        raise InputError(
            N_("pressing {pressing} has {found} cavities, at least 1 is needed"),
            pressing=record.pressing_id,
            found=record.cavities,
        )
    first = 1 + only(db, "SELECT coalesce(max(number), 0) FROM part")
    parts = tuple(range(first, first + record.cavities))
    sealed = Pressing(record=record, trace=blobs.put(db, request.trace), parts=parts)
    entry = _append(db, origin, PRESSING, plain_json(sealed), request.stamp)
    spool.drop(db, record.pressing_id)
    return Sealed(
        pressing_id=record.pressing_id,
        part_ids=tuple(map(part_code, parts)),
        entry_seq=entry.seq,
        entry_hash=entry.hash.hex(),
    )


def _put_segment(db: apsw.Connection, origin: str, request: PutSegment) -> Entry:
    if request.rate not in RATES or not request.start_utc_ms <= request.end_utc_ms:
        raise InputError(
            N_(
                "a segment of rate {rate} from {start} to {end} ms;"
                " wanted rest or full, ending after it starts"
            ),
            rate=request.rate,
            start=request.start_utc_ms,
            end=request.end_utc_ms,
        )
    segment = Segment(
        rate=request.rate,
        start_utc_ms=request.start_utc_ms,
        end_utc_ms=request.end_utc_ms,
        trace=blobs.put(db, request.trace),
    )
    return _append(db, origin, SEGMENT, plain_json(segment), request.stamp)


def plain_json(payload: object) -> bytes:
    """Return the canonical JSON of a struct of `core.record`, or of plain values."""
    return canonical_json(msgspec.to_builtins(payload, str_keys=True))


def _check_code(pressing_id: str, number: int) -> None:
    if pressing_id != pressing_code(number):
        raise InputError(
            N_("pressing {number} is called {wanted}, not {found}"),
            number=number,
            wanted=pressing_code(number),
            found=pressing_id,
        )
