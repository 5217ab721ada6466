"""The phases of a pressing: one enum (`names.Phase`), this table, one writer (`enter`).

An absent pair means that the trigger does nothing in that phase.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from msgspec.structs import replace

from tawny.core.names import Phase
from tawny.core.state import CycleState


class Trigger(StrEnum):
    """What moves a pressing on."""

    START = "start"  # armed, and the mould confirmed empty, dry and let down
    IN_BAND = "in_band"
    OUT_OF_BAND = "out_of_band"
    SOAKED = "soaked"
    TO_CLEAN = "to_clean"  # a tap, with cleaning due
    TO_OIL = "to_oil"  # a tap, with oiling due
    TO_FILL = "to_fill"  # a tap, with neither due
    TAP = "tap"
    BREATHED = "breathed"  # every breath marked, or the time for the last one passed
    NO_BREATHS = "no_breaths"  # a tap, with a recipe that has none
    DOSE = "dose"  # dose and least time reached, or most time passed
    SCRAP = "scrap"
    PAUSE = "pause"
    RESUME = "resume"
    HEAT_GONE = "heat_gone"  # heat off, a trip, a lost board, silence
    COLD = "cold"


TABLE: Final[dict[tuple[Phase, Trigger], Phase]] = {
    (Phase.IDLE, Trigger.START): Phase.PREHEAT,
    (Phase.COOL, Trigger.START): Phase.PREHEAT,
    (Phase.PREHEAT, Trigger.IN_BAND): Phase.SOAK,
    (Phase.SOAK, Trigger.OUT_OF_BAND): Phase.PREHEAT,
    (Phase.SOAK, Trigger.SOAKED): Phase.READY,
    (Phase.READY, Trigger.OUT_OF_BAND): Phase.SOAK,
    (Phase.READY, Trigger.TO_CLEAN): Phase.CLEAN,
    (Phase.READY, Trigger.TO_OIL): Phase.OIL,
    (Phase.READY, Trigger.TO_FILL): Phase.FILL,
    (Phase.CLEAN, Trigger.TO_OIL): Phase.OIL,
    (Phase.CLEAN, Trigger.TO_FILL): Phase.FILL,
    (Phase.OIL, Trigger.TO_FILL): Phase.FILL,
    (Phase.FILL, Trigger.TAP): Phase.CLOSE,
    (Phase.FILL, Trigger.SCRAP): Phase.DEMOULD,
    (Phase.CLOSE, Trigger.TAP): Phase.BREATHE,
    (Phase.CLOSE, Trigger.NO_BREATHS): Phase.HOLD,
    (Phase.CLOSE, Trigger.SCRAP): Phase.RELEASE,
    (Phase.BREATHE, Trigger.BREATHED): Phase.HOLD,
    (Phase.BREATHE, Trigger.TAP): Phase.HOLD,
    (Phase.BREATHE, Trigger.SCRAP): Phase.RELEASE,
    (Phase.HOLD, Trigger.DOSE): Phase.RELEASE,
    (Phase.HOLD, Trigger.SCRAP): Phase.RELEASE,
    (Phase.RELEASE, Trigger.TAP): Phase.OPEN,
    (Phase.OPEN, Trigger.TAP): Phase.DEMOULD,
    (Phase.DEMOULD, Trigger.TAP): Phase.SOAK,
    (Phase.PAUSED, Trigger.RESUME): Phase.SOAK,
    (Phase.COOL, Trigger.COLD): Phase.IDLE,
    **{
        (phase, Trigger.PAUSE): Phase.PAUSED
        for phase in (Phase.PREHEAT, Phase.SOAK, Phase.READY, Phase.CLEAN, Phase.OIL)
    },
    **{
        (phase, Trigger.HEAT_GONE): Phase.COOL
        for phase in Phase
        if phase not in (Phase.IDLE, Phase.COOL)
    },
}

# From filling to the part in hand: something lies in the mould.
PRESSING: Final = frozenset(
    {
        Phase.FILL,
        Phase.CLOSE,
        Phase.BREATHE,
        Phase.HOLD,
        Phase.RELEASE,
        Phase.OPEN,
        Phase.DEMOULD,
    }
)
# The press is, or may be, pumped up on a charge.
CLOSED: Final = frozenset({Phase.CLOSE, Phase.BREATHE, Phase.HOLD, Phase.RELEASE})
HEATED: Final = frozenset(phase for phase in Phase if phase not in (Phase.IDLE, Phase.COOL))
# The mould lies open on purpose: the loop goes on with at most half duty.
OPEN_AT_WORK: Final = frozenset({Phase.CLEAN, Phase.OIL, Phase.FILL, Phase.OPEN, Phase.DEMOULD})
# Recorded at full rate.
FULL_RATE: Final = PRESSING | {Phase.PREHEAT, Phase.SOAK}


def enter(cycle: CycleState, trigger: Trigger) -> CycleState:
    """Return the cycle after a trigger; the only function that writes the phase."""
    to = TABLE.get((cycle.phase, trigger))
    if to is None:
        return cycle
    paused_from = cycle.phase if to is Phase.PAUSED else None
    heat_wanted = to in HEATED
    return replace(
        cycle,
        phase=to,
        since_ms=cycle.clock_ms,
        paused_from=paused_from,
        heat_wanted=heat_wanted,
        soaking_ms=cycle.soaking_ms if to is Phase.READY else None,
        confirmed=cycle.confirmed and to is not Phase.COOL,
    )
