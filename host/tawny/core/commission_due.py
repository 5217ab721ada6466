"""When commissioning is due: never done for a mould, too old or undated, another board or build."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from tawny.core.record import Commissioned
from tawny.core.snapshot import Code

DAYS: Final = 365  # a year: hardware/yearly.md
_DAY_MS: Final = 86_400_000


def last_of(done: Sequence[Commissioned], mould: str) -> Commissioned | None:
    """Return the newest commissioning of a mould: the last one, for a clock may have gone back."""
    return next((one for one in reversed(done) if one.mould == mould), None)


def due(
    done: Sequence[Commissioned], mould: str, now_utc_ms: int, *, board: str = "", build: str = ""
) -> Code | None:
    """Return why a mould must be commissioned, or None.

    Args:
        done: Every commissioning in the record, oldest first.
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
    ahead = (last.ended_utc_ms - now_utc_ms) // _DAY_MS
    if ahead >= 1:  # less is a clock that was set right
        return Code("commissioned_ahead", {"mould": mould, "days": ahead})
    days = (now_utc_ms - last.ended_utc_ms) // _DAY_MS
    if not days < DAYS:
        return Code("commissioned_long_ago", {"mould": mould, "days": days, "limit": DAYS})
    return None
