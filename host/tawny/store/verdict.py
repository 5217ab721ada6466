"""Walks a whole record and says what in it no longer fits together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from tawny.core.canonical import digest
from tawny.core.record import PRESSING, SEGMENT
from tawny.store import journal, models
from tawny.store.database import rows

if TYPE_CHECKING:
    import apsw

_PAGE = 100
_BLOBS = "SELECT rowid, sha256, data FROM blob WHERE rowid > ? ORDER BY rowid LIMIT ?"


class Verdict(msgspec.Struct, frozen=True):
    """What a walk through the record found.

    Attributes:
        entries, blobs: How many were read.
        broken_seq: The first entry that no longer fits, None where all do.
        why: "order" (one before it is missing), "origin", "prev" (it does not follow the one
            before), "hash" (it was changed), "trace" (its trace is missing or was changed),
            "printed" (the hash asked for is not in the chain), "models" (a list differs from
            the journal; a rebuild mends that), "file" (its pages do not fit together), or ""
            for a sound record.
        last_hash: Of the last entry, hex.
    """

    entries: int
    blobs: int
    broken_seq: int | None
    why: str
    last_hash: str

    @property
    def sound(self) -> bool:
        """Whether everything fits."""
        return not self.why


class _Traced(msgspec.Struct):
    trace: str


def verify(db: apsw.Connection, printed: str = "") -> Verdict:
    """Walk the chain, the blobs and the read models.

    Args:
        db: The record.
        printed: A hash from a report or an export, in hex; the chain must still hold it.
    """
    good, blobs = _sound_blobs(db)
    seq, prev, origin, met = 0, journal.FIRST_PREV, "", False

    def verdict(broken_seq: int | None, why: str) -> Verdict:
        return Verdict(
            entries=seq,
            blobs=blobs,
            broken_seq=broken_seq,
            why=why,
            last_hash=prev.hex() if seq else "",
        )

    for entry in journal.entries(db, first=-(1 << 62)):
        origin = origin or entry.origin
        why = _broken(entry, seq + 1, prev, origin)
        if not why and entry.kind in {PRESSING, SEGMENT} and entry.read(_Traced).trace not in good:
            why = "trace"
        if why:
            return verdict(entry.seq, why)
        seq, prev = entry.seq, entry.hash
        met = met or prev.hex() == printed.strip().lower()
    if printed and not met:
        return verdict(None, "printed")
    if models.unlike(db):
        return verdict(None, "models")
    return verdict(None, "" if db.pragma("quick_check", 1) == "ok" else "file")


def _broken(entry: journal.Entry, seq: int, prev: bytes, origin: str) -> str:
    if entry.seq != seq:
        return "order"
    if entry.origin != origin:
        return "origin"
    if entry.prev != prev:
        return "prev"
    return "" if entry.sound else "hash"


def _sound_blobs(db: apsw.Connection) -> tuple[set[str], int]:
    """Return the names whose bytes still fit them, and how many blobs there are."""
    good: set[str] = set()
    count, last = 0, 0
    while True:
        page = rows(db, _BLOBS, (last, _PAGE))
        good.update(name.hex() for _, name, data in page if digest(data) == name)
        count += len(page)
        if len(page) < _PAGE:
            return good, count
        last = page[-1][0]
