"""How much room a record takes, and what takes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from tawny.store.database import rows

if TYPE_CHECKING:
    from pathlib import Path

    import apsw


class Sizes(msgspec.Struct, frozen=True):
    """Bytes of a record.

    Attributes:
        tables: In whole pages, by table and index; nothing of the file is in none of them.
        free: In pages that the next rows will take.
        file: The file as it lies on the disk.
        log: The log beside it; it is used again and again, and gone when the record is closed.
    """

    tables: dict[str, int]
    free: int
    file: int
    log: int

    @property
    def used(self) -> int:
        """Bytes in pages that hold something."""
        return sum(self.tables.values())


def sizes(db: apsw.Connection, file: Path) -> Sizes:
    """Count every page of a record."""
    query = "SELECT name, sum(pgsize) FROM dbstat GROUP BY name ORDER BY name"
    log = file.with_name(file.name + "-wal")
    return Sizes(
        tables={str(name): int(size) for name, size in rows(db, query)},
        free=int(db.pragma("freelist_count")) * int(db.pragma("page_size")),
        file=file.stat().st_size,
        log=log.stat().st_size if log.exists() else 0,
    )
