"""The last parts of the record, as the screen lists them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.names import Result
from tawny.core.snapshot import PartView

if TYPE_CHECKING:
    from tawny.store.reader import Reader

SHOWN = 5
MOST = 10_000
DAY_MS = 24 * 3600 * 1000


def last_parts(reader: Reader, utc_ms: int) -> tuple[tuple[PartView, ...], int]:
    """Return the newest parts, and how many good ones ended in the last 24 hours."""
    rows = reader.parts(SHOWN)
    today = reader.parts(MOST, since_utc_ms=utc_ms - DAY_MS, result=Result.COMPLETE)
    views = tuple(
        PartView(
            part_id=row.part_id,
            pressing_id=row.pressing_id,
            recipe=row.recipe,
            result=row.result,
            hold_s=row.hold_s,
            equivalent_s=row.equivalent_s,
            peak_c=row.peak_c,
            ended_utc_ms=row.ended_utc_ms,
            first_off=row.first_off,
        )
        for row in rows
    )
    return views, len(today)
