"""What becomes of an intent: accepted with its effects, or refused with a code.

Both are answered and recorded; a refusal changes nothing but when the last tap was.
"""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import intents as ask
from tawny.core.aim_asked import aim_asked
from tawny.core.alarm_table import AlarmEvent
from tawny.core.alarms import Changes, Standings, handle, shelvable
from tawny.core.effects import Answered, AnyEffect, End, Journal, SendArm, SendDuty
from tawny.core.loss import lose_heat
from tawny.core.names import AlarmState, Phase, Result
from tawny.core.phases import Trigger
from tawny.core.plan import announce
from tawny.core.progress import move
from tawny.core.snapshot import Code, Permissive
from tawny.core.state import State
from tawny.core.tap import (
    Outcome,
    advance,
    arm,
    mark,
    missing,
    rescue_step,
    setpoint_permissive,
    start_refusal,
)

Effects = tuple[AnyEffect, ...]
NAME_LONGEST = 80
REASON_LONGEST = 200
NO_HEAT = SendDuty(upper=0.0, upper_setpoint_c=0.0, lower=0.0, lower_setpoint_c=0.0)


def asked(state: State, intent: ask.Intent, host_ms: int) -> tuple[State, Effects]:
    """Handle one intent; the last effect is its answer."""
    state, effects, refusal = _handle(state, intent, host_ms)
    return state, (*effects, Answered(accepted=refusal is None, reason=refusal))


def _handle(state: State, intent: ask.Intent, host_ms: int) -> Outcome:
    match intent:
        case ask.Advance(seen=seen, from_board=from_board):
            return advance(state, seen, host_ms, from_board=from_board)
        case ask.Prepare() | ask.Arm() | ask.RescueStep():
            return _before_heat(state, intent)
        case ask.Mark():
            return mark(state)
        case ask.HeatOff() | ask.Quit():
            return _heat_off(state, ending=isinstance(intent, ask.Quit))
        case ask.Scrap(reason=reason):
            return _scrap(state, reason)
        case ask.Pause() | ask.Resume():
            pause = isinstance(intent, ask.Pause)
            return _triggered(state, Trigger.PAUSE if pause else Trigger.RESUME)
        case ask.Standby() | ask.ManualHeat() | ask.EndDryOut():
            return aim_asked(state, intent)
        case ask.Acknowledge() | ask.ResetAlarm() | ask.Shelve():
            return _alarm_asked(state, intent, host_ms)
        case ask.ChooseRecipe() | ask.SetOperator() | ask.SetLot() | ask.Announce():
            return _told(state, intent)
        case _:
            return state, (), None


def _before_heat(state: State, intent: ask.Prepare | ask.Arm | ask.RescueStep) -> Outcome:
    match intent:
        case ask.Prepare():
            return _prepare(state, intent)
        case ask.RescueStep(step=step):
            return rescue_step(state, step)
        case _:
            return arm(state)


def _prepare(state: State, intent: ask.Prepare) -> Outcome:
    if state.cycle.phase not in (Phase.IDLE, Phase.COOL):
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    if state.cycle.rescue is not None:
        return state, (), Code("rescue_first")
    if not (intent.empty and intent.dry and intent.let_down):
        return state, (), missing(Permissive("confirmed_empty", met=False))
    cycle = replace(state.cycle, confirmed=True, confirmed_ms=state.host_ms)
    aim = replace(state.aim, dry_asked=intent.dry_out)
    state = replace(state, cycle=cycle, aim=aim)
    payload: dict[str, object] = {"empty": True, "dry": True, "let_down": True}
    if intent.dry_out:
        payload["dry_out"] = True
    note = Journal(kind="prepared", payload=payload)
    ask_board = () if start_refusal(state) is not None else (SendArm(),)
    return state, (note, *ask_board), None


def _heat_off(state: State, *, ending: bool) -> Outcome:
    phase = state.cycle.phase
    state, effects = lose_heat(state, Code("heat_off"), Result.ABORTED)
    if not ending:
        return state, (*effects, NO_HEAT), None
    note = Journal(kind="ending", payload={"phase": phase.value})
    return replace(state, ending=True), (*effects, NO_HEAT, note, End()), None


def _scrap(state: State, reason: str) -> Outcome:
    pressing = state.cycle.pressing
    if pressing is None:
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    pressing = replace(pressing, scrapped=True, reason=reason.strip()[:REASON_LONGEST])
    state = replace(state, cycle=replace(state.cycle, pressing=pressing))
    note = Journal(kind="scrapped", payload={"number": pressing.number, "reason": pressing.reason})
    state, effects = move(state, Trigger.SCRAP)
    return state, (note, *effects), None


def _triggered(state: State, trigger: Trigger) -> Outcome:
    after, effects = move(state, trigger)
    if after.cycle.phase is state.cycle.phase:
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    return after, effects, None


def _told(
    state: State, intent: ask.ChooseRecipe | ask.SetOperator | ask.SetLot | ask.Announce
) -> Outcome:
    match intent:
        case ask.Announce():
            return announce(state, intent)
        case ask.SetOperator(name=name):
            name = name.strip()[:NAME_LONGEST]
            note = Journal(kind="operator", payload={"name": name})
            return replace(state, operator=name), (note,), None
        case ask.SetLot(name=name):
            name = name.strip()[:NAME_LONGEST]
            note = Journal(kind="lot", payload={"name": name})
            return replace(state, lot=name), (note,), None
        case ask.ChooseRecipe(name=name):
            return _choose(state, name)


def _choose(state: State, name: str) -> Outcome:
    """Use another recipe from the next pressing on; the one in hand is frozen."""
    recipe = next((one for one in state.recipes if one.name == name), None)
    if recipe is None:
        return state, (), Code("unknown_recipe", {"name": name})
    taken = setpoint_permissive(state, recipe)
    if not taken.met:
        return state, (), missing(taken)
    payload: dict[str, object] = {"recipe": name, "version": recipe.version}
    note = Journal(kind="recipe_chosen", payload=payload)
    return replace(state, recipe=recipe), (note,), None


def _alarm_asked(
    state: State, intent: ask.Acknowledge | ask.ResetAlarm | ask.Shelve, host_ms: int
) -> Outcome:
    match intent:
        case ask.Acknowledge(alarm=alarm):
            unseen = (AlarmState.ACTIVE, AlarmState.RETURNED, AlarmState.LATCHED)
            codes = [alarm] if alarm else _standing_in(state.alarms, *unseen)
            return _to_alarms(state, codes, AlarmEvent.ACKNOWLEDGE, host_ms)
        case ask.ResetAlarm(alarm=alarm):
            codes = [alarm] if alarm else _standing_in(state.alarms, AlarmState.LATCHED_SEEN)
            return _to_alarms(state, codes, AlarmEvent.RESET, host_ms)
        case ask.Shelve(alarm=alarm, minutes=minutes):
            known = any(one.alarm == alarm for one in state.alarms)
            if known and not (shelvable(alarm) and minutes > 0.0):
                return state, (), Code("not_shelvable")
            return _to_alarms(state, [alarm], AlarmEvent.SHELVE, host_ms, minutes=minutes)


def _standing_in(standing: Standings, *states: AlarmState) -> list[str]:
    return [one.alarm for one in standing if one.state in states]


def _to_alarms(
    state: State, codes: list[str], event: AlarmEvent, host_ms: int, *, minutes: float = 0.0
) -> Outcome:
    standing = state.alarms
    changes: Changes = ()
    for code in codes:
        standing, more = handle(standing, code, event, host_ms, minutes=minutes)
        changes += more
    if not changes:
        return state, (), Code("unknown_alarm")
    refusal = None
    if all(change.to is None for change in changes):
        refusal = _alarm_refusal(state, changes[0].alarm, event)
    return replace(state, alarms=standing), alarm_notes(changes), refusal


def _alarm_refusal(state: State, alarm: str, event: AlarmEvent) -> Code:
    true = any(one.alarm == alarm and one.true for one in state.alarms)
    match event:
        case AlarmEvent.RESET:
            return Code("alarm_true") if true else Code("not_seen")
        case AlarmEvent.ACKNOWLEDGE:
            return Code("already_seen")
        case _:
            return Code("not_shelvable")


def alarm_notes(changes: Changes) -> Effects:
    """Return a journal entry for each change of an alarm, refused ones included."""
    return tuple(
        Journal(
            kind="alarm_event",
            payload={
                "alarm": change.alarm,
                "event": change.event.value,
                "from": change.before.value,
                "to": None if change.to is None else change.to.value,
                "fields": dict(change.fields),
            },
        )
        for change in changes
    )
