"""What a suspected fault costs: the heat, at once, until somebody has seen to it."""

from __future__ import annotations

from typing import Final

from msgspec.structs import replace

from tawny.core.asked import NO_HEAT
from tawny.core.effects import AnyEffect
from tawny.core.loop.suspicion import Doubt, Fault
from tawny.core.loss import lose_heat
from tawny.core.names import Result
from tawny.core.snapshot import Code, Field
from tawny.core.state import State

DOUBT_ALARMS: Final = frozenset(fault.value for fault in Fault)


def doubted(state: State) -> tuple[State, tuple[AnyEffect, ...]]:
    """Take the heat off and disarm where a fault was found in the last control step.

    Disarming opens the contactor: an output that stays on ends with it, unless the contactor
    stays in too. No heat then until the alarm was seen, its cause gone, and reset.
    """
    suspicion = state.loop.suspicion
    if suspicion.doubt is None or suspicion.doubt_s > 0.0:
        return state, ()
    state = replace(
        state, upper=replace(state.upper, cut=True), lower=replace(state.lower, cut=True)
    )
    if not state.cycle.heat_wanted:
        return state, ()
    code = Code(suspicion.doubt.fault.value, doubt_fields(suspicion.doubt))
    state, effects = lose_heat(state, code, Result.INTERRUPTED)
    return state, (*effects, NO_HEAT)


def doubt_fields(doubt: Doubt) -> dict[str, Field]:
    """Return what the sentence about a doubt is filled with."""
    return {
        "half": doubt.half,
        "amount_k": round(doubt.amount_k, 1),
        "span_s": round(doubt.span_s),
    }
