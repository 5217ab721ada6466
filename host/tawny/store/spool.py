"""The spool: what an open pressing has recorded so far, until it is sealed.

It lies outside the journal's chain and is deleted in the transaction that seals the pressing. What
is still here when a record is opened belongs to a pressing that was interrupted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from tawny.store.codes import PRESSING, number_of
from tawny.store.database import rows

if TYPE_CHECKING:
    import apsw


_CHUNKS = "SELECT data FROM spool WHERE pressing_id = ? ORDER BY place"


class Leftover(msgspec.Struct, frozen=True):
    """A pressing that began and was never sealed.

    Attributes:
        about: What `open_pressing` was told at its start.
        chunks: In the order they were given; empty when it broke off at once.
    """

    pressing_id: str
    number: int
    about: dict[str, object]
    chunks: tuple[bytes, ...]


def begin(db: apsw.Connection, pressing_id: str, number: int, about: bytes) -> None:
    """Note that a pressing has begun; telling it again replaces what was told."""
    db.execute(
        "INSERT INTO open_pressing(pressing_id, number, about) VALUES(?, ?, ?)"
        " ON CONFLICT DO UPDATE SET number = excluded.number, about = excluded.about",
        (pressing_id, number, about.decode()),
    )


def append(db: apsw.Connection, pressing_id: str, data: bytes) -> None:
    """Add a chunk of an open pressing, known from its code alone if it was never begun."""
    db.execute(
        "INSERT INTO open_pressing(pressing_id, number, about) VALUES(?, ?, '{}')"
        " ON CONFLICT DO NOTHING",
        (pressing_id, number_of(pressing_id, PRESSING)),
    )
    db.execute("INSERT INTO spool(pressing_id, data) VALUES(?, ?)", (pressing_id, data))


def drop(db: apsw.Connection, pressing_id: str) -> None:
    """Forget a pressing, in the transaction that seals it."""
    db.execute("DELETE FROM spool WHERE pressing_id = ?", (pressing_id,))
    db.execute("DELETE FROM open_pressing WHERE pressing_id = ?", (pressing_id,))


def leftovers(db: apsw.Connection) -> tuple[Leftover, ...]:
    """Return the pressings never sealed, oldest first."""
    begun = rows(db, "SELECT pressing_id, number, about FROM open_pressing ORDER BY number")
    return tuple(
        Leftover(
            pressing_id=pressing_id,
            number=number,
            about=msgspec.json.decode(about, type=dict[str, object]),
            chunks=tuple(data for (data,) in rows(db, _CHUNKS, (pressing_id,))),
        )
        for pressing_id, number, about in begun
    )
