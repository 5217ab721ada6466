r"""The journal: entries that are only ever added, each sealed by a hash over it and the last.

The hash of an entry is the SHA-256 of

    b"tawny journal 1\n"
    then of seq, origin, kind, schema, utc_ms, mono_ms, who, payload, prev, in this order:
        its length in bytes, 4 bytes, little-endian
        its bytes: a number as decimal ASCII, text as UTF-8, prev as its 32 bytes

where prev is the hash of the entry before, 32 zero bytes for the first. The chain finds an edit.
Who can write the file can also compute a new chain over it: that is found only by comparing with
a hash that was printed elsewhere before.
"""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING, TypeVar

import msgspec

from tawny.core.canonical import INT64_MOST
from tawny.core.record import SCHEMAS
from tawny.errors import N_, InputError, StoreDamagedError, StoreNewerError
from tawny.store.database import only, rows

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    import apsw

_DOMAIN = b"tawny journal 1\n"
FIRST_PREV = bytes(32)
_PAGE = 1000  # rows a read, so that no reader holds back the log for long

T = TypeVar("T")


class Entry(msgspec.Struct, frozen=True):
    """One entry as it is kept.

    Attributes:
        schema: Version of this kind's payload.
        mono_ms: Of a clock that only runs forwards; wall time is a label beside it.
        payload: Canonical JSON.
    """

    seq: int
    origin: str
    kind: str
    schema: int
    utc_ms: int
    mono_ms: int
    who: str
    payload: bytes
    prev: bytes
    hash: bytes

    @property
    def sound(self) -> bool:
        """Whether the hash is that of the other columns."""
        return self.hash == entry_hash(msgspec.structs.astuple(self)[:-1])

    def read(self, form: type[T]) -> T:
        """Return the payload as one of the structs of `core.record`.

        Raises:
            StoreNewerError: If a later version wrote it.
            StoreDamagedError: If it is not what its kind says.
        """
        known = SCHEMAS.get(self.kind, self.schema)
        if self.schema > known:
            raise StoreNewerError(
                N_("entry {seq} ({kind}) has version {found}; this program reads up to {known}"),
                seq=self.seq,
                kind=self.kind,
                found=self.schema,
                known=known,
            )
        try:
            return msgspec.json.decode(self.payload, type=form)
        except msgspec.MsgspecError as error:
            raise StoreDamagedError(
                N_("entry {seq} ({kind}) is damaged ({why})"),
                seq=self.seq,
                kind=self.kind,
                why=str(error),
            ) from error


_NAMES = Entry.__struct_fields__
_COLUMNS = ", ".join(_NAMES)
# The payload's bytes as they lie there: damaged text must reach the hash, not fail before it.
_READ = _COLUMNS.replace("payload", "CAST(payload AS BLOB)")


def entry_hash(fields: Sequence[int | str | bytes]) -> bytes:
    """Return the hash of an entry from its other columns, as the head of this module says."""
    pieces = [_DOMAIN]
    for field in fields:
        data = field if isinstance(field, bytes) else str(field).encode()
        pieces += (len(data).to_bytes(4, "little"), data)
    return sha256(b"".join(pieces)).digest()


def append(
    db: apsw.Connection,
    origin: str,
    kind: str,
    payload: bytes,
    *,
    who: str,
    utc_ms: int,
    mono_ms: int,
    schema: int | None = None,
) -> Entry:
    """Add an entry inside the caller's transaction.

    Raises:
        InputError: If a column would be kept otherwise than it is hashed.
    """
    # SQLite would keep 5.0 and True as 5 and 1: the hash is over what is kept.
    if not all(type(number) is int and abs(number) <= INT64_MOST for number in (utc_ms, mono_ms)):
        raise InputError(
            N_("times {utc_ms!r} and {mono_ms!r} of an entry must be whole milliseconds"),
            utc_ms=utc_ms,
            mono_ms=mono_ms,
        )
    last = only(db, "SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1")
    seq, prev = (last[0] + 1, last[1]) if last else (1, FIRST_PREV)
    version = SCHEMAS.get(kind, 1) if schema is None else schema
    fields = (seq, origin, kind, version, utc_ms, mono_ms, who, payload, prev)
    entry = Entry(*fields, entry_hash(fields))
    places = ",".join("?" * len(_NAMES))
    values = (*fields[:7], payload.decode(), prev, entry.hash)
    db.execute(f"INSERT INTO journal({_COLUMNS}) VALUES({places})", values)
    return entry


def entries(
    db: apsw.Connection,
    *,
    first: int = 1,
    last: int | None = None,
    kinds: Collection[str] = (),
) -> Iterator[Entry]:
    """Yield entries in order, a page of rows at a time.

    Args:
        db: The record.
        first: The first sequence number wanted.
        last: The last one wanted, None: to the end.
        kinds: Only these kinds; every kind when empty.
    """
    only = f" AND kind IN ({','.join('?' * len(kinds))})" if kinds else ""
    query = (
        f"SELECT {_READ} FROM journal WHERE seq BETWEEN ? AND ?{only} ORDER BY seq LIMIT {_PAGE}"  # noqa: S608
    )
    end = (1 << 62) if last is None else last
    while True:
        page = rows(db, query, (first, end, *kinds))
        for row in page:
            yield Entry(*row)
        if len(page) < _PAGE:
            return
        first = page[-1][0] + 1


def entry(db: apsw.Connection, seq: int) -> Entry | None:
    """Return one entry, its hash checked.

    Raises:
        StoreDamagedError: If it was changed since it was written.
    """
    row = only(db, f"SELECT {_READ} FROM journal WHERE seq = ?", (seq,))  # noqa: S608
    if row is None:
        return None
    found = Entry(*row)
    if not found.sound:
        raise StoreDamagedError(
            N_("entry {seq} was changed after it was written; run `tawny check`"), seq=seq
        )
    return found


def last_entry(db: apsw.Connection) -> Entry | None:
    """Return the last entry, its hash checked."""
    seq = only(db, "SELECT max(seq) FROM journal")
    return None if seq is None else entry(db, seq)
