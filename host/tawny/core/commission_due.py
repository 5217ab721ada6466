"""When commissioning is due: never done for a mould, too old, another board or build."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from tawny.core.record import Commissioned
from tawny.core.snapshot import Code

DAYS: Final = 365  # a year: hardware/yearly.md
_DAY_MS: Final = 86_400_000


def last_of(done: Sequence[Commissioned], mould: str) -> Commissioned | None:
    """Return the newest commissioning of a mould."""
    own = [one for one in done if one.mould == mould]
    return max(own, key=lambda one: one.ended_utc_ms, default=None)


def due(
    done: Sequence[Commissioned], mould: str, now_utc_ms: int, *, board: str = "", build: str = ""
) -> Code | None:
    """Return why a mould must be commissioned, or None.

    Args:
        done: Every commissioning in the record.
        mould: The mould.
        now_utc_ms: The time.
        board: Identity of the board in use; "" where it is not known.
        build: Its build; "" where it is not known.
    """
    last = last_of(done, mould)
    if last is None:
        return Code("never_commissioned", {"mould": mould})
    if board and board != last.board_id:
        return Code(
            "commissioned_other_board", {"mould": mould, "board": board, "then": last.board_id}
        )
    if build and build != last.board_build:
        return Code(
            "commissioned_other_build", {"mould": mould, "build": build, "then": last.board_build}
        )
    days = (now_utc_ms - last.ended_utc_ms) // _DAY_MS
    if not 0 <= days < DAYS:  # a clock that went back is no proof either
        return Code("commissioned_long_ago", {"mould": mould, "days": days, "limit": DAYS})
    return None
