"""Announcing an outage, a tariff change, or when somebody wants to press; heat follows none."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import intents as ask
from tawny.core.effects import AnyEffect, Journal
from tawny.core.names import Result
from tawny.core.plan_state import DONE_KEPT, Announced, Done, Moment, Plan
from tawny.core.snapshot import Code
from tawny.core.state import PressingState, State

ANNOUNCED_MOST_S = 7 * 86_400.0  # further off is a slip of the keyboard

Effects = tuple[AnyEffect, ...]


def announce(state: State, intent: ask.Announce) -> tuple[State, Effects, Code | None]:
    """Take an announcement in, or withdraw it."""
    try:
        what = Announced(intent.what)
    except ValueError:
        return state, (), Code("unknown_announcement")
    if intent.at_utc_ms is None:
        return _set(state, what, None), (_note("withdrawn", what),), None
    left_ms = intent.at_utc_ms - intent.said_utc_ms
    if not left_ms > 0:
        return state, (), Code("announced_past")
    if not left_ms <= ANNOUNCED_MOST_S * 1000:
        return state, (), Code("announced_far", {"most_days": ANNOUNCED_MOST_S / 86_400.0})
    moment = Moment(at_utc_ms=intent.at_utc_ms, at_ms=state.host_ms + left_ms)
    note = _note("announced", what, at_utc_ms=intent.at_utc_ms)
    return _set(state, what, moment), (note,), None


def passed(state: State) -> tuple[State, Effects]:
    """Forget what was announced for a moment that is past."""
    if not state.plan.moments():
        return state, ()
    over = [what for what, one in state.plan.moments().items() if state.host_ms >= one.at_ms]
    for what in over:
        state = _set(state, what, None)
    return state, tuple(_note("announcement_past", what) for what in over)


def completed(state: State, pressing: PressingState, result: Result) -> State:
    """Remember how long a completed pressing took."""
    if result is not Result.COMPLETE or pressing.closed_ms is None:
        return state
    done = Done(pressing.recipe.name, pressing.closed_ms, state.cycle.clock_ms)
    plan = replace(state.plan, done=(*state.plan.done, done)[-DONE_KEPT:])
    return replace(state, plan=plan)


def _set(state: State, what: Announced, moment: Moment | None) -> State:
    plan: Plan = replace(state.plan, **{what.value: moment})
    return replace(state, plan=plan)


def _note(kind: str, what: Announced, **said: int) -> Journal:
    return Journal(kind=kind, payload={"what": what.value, **said})
