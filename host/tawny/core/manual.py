"""Heat by hand: what the loop decided gives way to a fixed duty, never past a guard.

It passes what the loop's own duty passes: any doubt ends it, the open mould and the supply
bound it. Until somebody goes back to automatic the duty then stays 0.
"""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.aim import manual_duties
from tawny.core.effects import SendDuty
from tawny.core.heat import control, duty_most, heat_allowed
from tawny.core.limits import STUCK_STEP_DUTY
from tawny.core.state import HalfState, State


def controlled(state: State) -> tuple[State, SendDuty]:
    """Decide both duties: the loop, or a person in its place."""
    wanted, manual = manual_duties(state), state.aim.manual
    state, send = control(state)
    if wanted is None or manual is None:
        return state, send
    if not heat_allowed(state):
        if not manual.over:
            manual = replace(manual, over="doubt")
        state = replace(state, aim=replace(state.aim, manual=manual))
        wanted = (0.0, 0.0)
    most = duty_most(state)
    duties = [
        min(_stepped(half, duty), most)
        for half, duty in zip((state.upper, state.lower), wanted, strict=True)
    ]
    total, cap = sum(duties), state.link.supply_cap
    if not total <= cap:
        share = cap / total if cap > 0.0 else 0.0
        duties = [duty * share for duty in duties]
    upper, lower = duties
    state = replace(
        state,
        upper=replace(state.upper, duty=upper),
        lower=replace(state.lower, duty=lower),
    )
    return state, replace(send, upper=upper, lower=lower)


def _stepped(half: HalfState, duty: float) -> float:
    """Move the duty of a half whose register stands still, to see whether it answers: down."""
    return max(duty - STUCK_STEP_DUTY, 0.0) if half.probe_ms > 0 else duty
