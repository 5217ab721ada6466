"""Whether something may be learned from a pressing: only from a whole and ordinary one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.names import Result

if TYPE_CHECKING:
    from collections.abc import Sized

    from tawny.core.record import PressingRecord
    from tawny.core.state import PressingState


def may_teach(record: PressingRecord) -> bool:
    """Say whether a sealed pressing may teach: complete, not first-off, no gap, no alarm."""
    return _whole(
        record.result, record.gaps, record.alarms, apart=record.first_off or record.dose_gap
    )


def in_hand_may_teach(pressing: PressingState, result: Result) -> bool:
    """Say the same of the pressing in hand, as it ends with a result."""
    apart = pressing.first_off or pressing.dose_gap or pressing.scrapped
    return _whole(result, pressing.gaps, pressing.alarms, apart=apart)


def _whole(result: Result, gaps: Sized, alarms: Sized, *, apart: bool) -> bool:
    return result is Result.COMPLETE and not (apart or len(gaps) or len(alarms))
