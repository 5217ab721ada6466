"""Asking for less than the recipe: standby, heat by hand, the end of a dry-out."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import intents as ask
from tawny.core.aim import goal
from tawny.core.aim_state import Manual
from tawny.core.effects import Journal
from tawny.core.limits import MANUAL_DUTY_MOST, MANUAL_MOST_S
from tawny.core.names import Phase
from tawny.core.phases import TABLE, Trigger
from tawny.core.progress import Effects, move
from tawny.core.snapshot import Code
from tawny.core.state import State

Outcome = tuple[State, Effects, Code | None]


def aim_asked(state: State, intent: ask.Standby | ask.ManualHeat | ask.EndDryOut) -> Outcome:
    """Handle one of these intents."""
    match intent:
        case ask.Standby():
            return _standby(state)
        case ask.ManualHeat():
            return _manual(state, intent)
        case ask.EndDryOut():
            return _end_dry_out(state)


def _not_now(state: State) -> Outcome:
    return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})


def _between_pressings(state: State) -> bool:
    """Say whether the mould is heated, empty, and not being dried out."""
    phase, aim = state.cycle.phase, state.aim
    rests = phase is Phase.PAUSED or (phase, Trigger.PAUSE) in TABLE
    return rests and state.cycle.pressing is None and aim.dry is None


def _paused(state: State) -> tuple[State, Effects]:
    return move(state, Trigger.PAUSE)


def _standby(state: State) -> Outcome:
    if state.aim.standby or state.aim.manual is not None or not _between_pressings(state):
        return _not_now(state)
    state, effects = _paused(state)
    state = replace(state, aim=replace(state.aim, standby=True))
    return state, (*effects, _note(state, "standby")), None


def _manual(state: State, intent: ask.ManualHeat) -> Outcome:
    if not _between_pressings(state):
        return _not_now(state)
    duties = (intent.upper, intent.lower)
    in_range = all(0.0 <= duty <= MANUAL_DUTY_MOST for duty in duties)
    if not (in_range and 0.0 < intent.minutes * 60.0 <= MANUAL_MOST_S):
        most_s = MANUAL_MOST_S
        return state, (), Code("manual_limits", {"most_duty": MANUAL_DUTY_MOST, "most_s": most_s})
    state, effects = _paused(state)
    until_ms = state.cycle.clock_ms + round(intent.minutes * 60_000)
    manual = Manual(upper=intent.upper, lower=intent.lower, until_ms=until_ms)
    state = replace(state, aim=replace(state.aim, standby=False, manual=manual))
    said = {"upper": intent.upper, "lower": intent.lower, "minutes": intent.minutes}
    return state, (*effects, _note(state, "manual_heat", said)), None


def _end_dry_out(state: State) -> Outcome:
    dry = state.aim.dry
    if dry is None or not state.cycle.heat_wanted:
        return _not_now(state)
    state = replace(state, aim=replace(state.aim, dry=None))
    return state, (Journal(kind="dry_out_ended", payload={"stage": dry.stage + 1}),), None


def _note(state: State, kind: str, said: dict[str, float] | None = None) -> Journal:
    to = goal(state)
    payload: dict[str, object] = dict(said or {})
    if to is not None:
        payload |= {"upper_c": to.upper_c, "lower_c": to.lower_c}
    return Journal(kind=kind, payload=payload)
