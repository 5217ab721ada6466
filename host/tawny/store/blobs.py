"""Blobs: bytes named by their SHA-256, which is how journal entries refer to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.canonical import digest
from tawny.errors import N_, StoreDamagedError
from tawny.store.database import only

if TYPE_CHECKING:
    import apsw


def put(db: apsw.Connection, data: bytes) -> str:
    """Keep some bytes inside the caller's transaction; return their name, 64 hex digits."""
    name = digest(data)
    db.execute("INSERT INTO blob(sha256, data) VALUES(?, ?) ON CONFLICT DO NOTHING", (name, data))
    return name.hex()


def get(db: apsw.Connection, name: str) -> bytes:
    """Return the bytes of a name.

    Raises:
        StoreDamagedError: If they are missing or no longer fit their name.
    """
    query = "SELECT data FROM blob WHERE sha256 = ?"
    data: bytes | None = only(db, query, (bytes.fromhex(name),))
    if data is None or digest(data) != bytes.fromhex(name):
        raise StoreDamagedError(
            N_("trace {name} is missing or was changed; run `tawny check`"), name=name[:12]
        )
    return data
