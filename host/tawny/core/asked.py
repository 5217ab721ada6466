"""What becomes of an intent: accepted with its effects, or refused with a code.

Both are answered and recorded; a refusal changes nothing.
"""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import intents as ask
from tawny.core.alarm_table import AlarmEvent
from tawny.core.alarms import Changes, handle, shelvable
from tawny.core.effects import AnyEffect, Answered, End, Journal, SendArm, SendDisarm, SendDuty
from tawny.core.limits import ADVANCE_APART_S
from tawny.core.loss import lose_heat
from tawny.core.messages import FIT_SWITCH, IN_OPEN
from tawny.core.names import AlarmState, BoardState, LinkStatus, Phase, Result
from tawny.core.phases import TABLE, Trigger
from tawny.core.pressing import closed_s
from tawny.core.progress import move
from tawny.core.snapshot import Code, Permissive
from tawny.core.state import State

Effects = tuple[AnyEffect, ...]
Outcome = tuple[State, Effects, Code | None]

TAP_TRIGGERS = {
    Phase.CLEAN: None,
    Phase.OIL: Trigger.TO_FILL,
    Phase.FILL: Trigger.TAP,
    Phase.CLOSE: Trigger.TAP,
    Phase.BREATHE: Trigger.TAP,
    Phase.RELEASE: Trigger.TAP,
    Phase.OPEN: Trigger.TAP,
    Phase.DEMOULD: Trigger.TAP,
    Phase.PAUSED: Trigger.RESUME,
}


def next_trigger(state: State) -> Trigger | None:
    """Return what a tap would do in this phase, or None where a tap does nothing."""
    cycle, recipe = state.cycle, state.recipe
    oil = recipe.oil_every > 0 and cycle.since_oil + 1 >= recipe.oil_every
    clean = recipe.clean_every > 0 and cycle.since_clean + 1 >= recipe.clean_every
    if cycle.phase is Phase.READY:
        return Trigger.TO_CLEAN if clean else Trigger.TO_OIL if oil else Trigger.TO_FILL
    if cycle.phase is Phase.CLEAN:
        return Trigger.TO_OIL if oil else Trigger.TO_FILL
    if cycle.phase is Phase.CLOSE and not recipe.breaths:
        return Trigger.NO_BREATHS
    return TAP_TRIGGERS.get(cycle.phase)


def next_phase(state: State) -> Phase | None:
    """Return where a tap leads now, or None."""
    trigger = next_trigger(state)
    return None if trigger is None else TABLE.get((state.cycle.phase, trigger))


def permissives(state: State) -> tuple[Permissive, ...]:
    """Return what must be true before the next tap is taken."""
    phase, tele = state.cycle.phase, state.tele
    found: list[Permissive] = []
    if phase in (Phase.PREHEAT, Phase.SOAK, Phase.READY):
        band = state.upper.in_band and state.lower.in_band
        found.append(Permissive("in_band", band))
    if phase is Phase.SOAK:
        since_ms = state.cycle.soaking_ms
        done_s = 0.0 if since_ms is None else (state.cycle.clock_ms - since_ms) / 1000.0
        left_s = max(state.mould.soak_s() - done_s, 0.0)
        found.append(Permissive("soaked", left_s <= 0.0, {"left_s": left_s}))
    if phase is Phase.READY:
        found.append(Permissive("recording", state.store_ok))
    if state.link.fitted & FIT_SWITCH and tele is not None:
        opened = bool(tele.inputs & IN_OPEN)
        if phase is Phase.CLOSE:
            found.append(Permissive("mould_closed", not opened))
        if phase in (Phase.OPEN, Phase.DEMOULD):
            found.append(Permissive("mould_open", opened))
    return tuple(found)


def _start_permissives(state: State) -> Code | None:
    """Return why the board cannot be asked to arm now."""
    tele = state.tele
    if tele is None or state.link.status is not LinkStatus.UP:
        return Code("not_connected")
    if state.cycle.rescue is not None:
        return Code("rescue_first")
    if tele.st not in (BoardState.READY.value, BoardState.ARMED.value):
        reason = "latched" if tele.st == BoardState.TRIPPED.value else state.link.why
        return Code("not_ready", {"lock_reason": reason})
    return None


def asked(state: State, who: str, intent: ask.Intent, host_ms: int) -> tuple[State, Effects]:
    """Handle one intent; the last effect is its answer."""
    state, effects, refusal = _handle(state, intent, host_ms)
    return state, (*effects, Answered(accepted=refusal is None, reason=refusal))


def _handle(state: State, intent: ask.Intent, host_ms: int) -> Outcome:  # noqa: PLR0911, C901
    match intent:
        case ask.Advance(seen=seen, from_board=from_board):
            return advance(state, seen, host_ms, from_board=from_board)
        case ask.Prepare():
            return _prepare(state, intent)
        case ask.Arm():
            return _arm(state)
        case ask.Mark():
            return mark(state)
        case ask.HeatOff() | ask.Quit():
            return _heat_off(state, ending=isinstance(intent, ask.Quit))
        case ask.Scrap(reason=reason):
            return _scrap(state, reason)
        case ask.Pause():
            return _triggered(state, Trigger.PAUSE)
        case ask.Resume():
            return _triggered(state, Trigger.RESUME)
        case ask.Acknowledge(alarm=alarm):
            return _to_alarms(state, alarm, AlarmEvent.ACKNOWLEDGE, host_ms)
        case ask.ResetAlarm(alarm=alarm):
            return _to_alarms(state, alarm, AlarmEvent.RESET, host_ms)
        case ask.Shelve(alarm=alarm, minutes=minutes):
            return _shelve(state, alarm, minutes, host_ms)
        case ask.ChooseRecipe(name=name):
            return _choose(state, name)
        case ask.SetOperator(name=name):
            return replace(state, operator=name.strip()[:80]), (), None
        case ask.SetLot(name=name):
            return replace(state, lot=name.strip()[:80]), (), None
        case ask.RescueStep(step=step):
            return rescue_step(state, step)
        case _:
            return state, (), None


def advance(state: State, seen: Phase, host_ms: int, *, from_board: bool) -> Outcome:
    """Go on from the phase the person saw: once a phase, apart in time, past its permissives."""
    cycle = state.cycle
    since_tap_ms = host_ms - cycle.tapped_ms
    state = replace(state, cycle=replace(cycle, tapped_ms=host_ms))
    if seen is not cycle.phase:
        return state, (), Code("stale_phase", {"phase": cycle.phase.value})
    if since_tap_ms < ADVANCE_APART_S * 1000:
        return state, (), Code("too_soon")
    if cycle.rescue is not None:
        left = [step for step in cycle.rescue.steps if step not in cycle.rescue.ticked]
        return rescue_step(state, left[0])
    if cycle.phase in (Phase.IDLE, Phase.COOL):
        if not cycle.confirmed:
            return state, (), Code("permissive", {"code": "confirmed_empty"})
        return _arm(state)
    if cycle.phase is Phase.BREATHE and not _breaths_over(state):
        if from_board:
            return mark(state)
        return state, (), Code("permissive", {"code": "breaths_done"})
    trigger = next_trigger(state)
    if trigger is None:
        missing = [one for one in permissives(state) if not one.met]
        if missing:
            return state, (), Code("permissive", {"code": missing[0].code, **missing[0].fields})
        return state, (), Code("not_allowed_now", {"phase": cycle.phase.value})
    for one in permissives(state):
        # A record that fails never keeps a part in a hot mould: it only stops a new one.
        if not one.met:
            return state, (), Code("permissive", {"code": one.code, **one.fields})
    state, effects = move(state, trigger)
    return replace(state, cycle=replace(state.cycle, advanced_ms=host_ms)), effects, None


def _breaths_over(state: State) -> bool:
    pressing = state.cycle.pressing
    if pressing is None or not pressing.recipe.breaths:
        return True
    last = pressing.recipe.breaths[-1]
    return closed_s(state) >= last.at_s + last.open_s


def mark(state: State) -> Outcome:
    """Mark a breath; only while breathing or holding."""
    pressing = state.cycle.pressing
    if pressing is None or state.cycle.phase not in (Phase.BREATHE, Phase.HOLD):
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    at_s = round(closed_s(state), 1)
    if pressing.breaths_s and at_s - pressing.breaths_s[-1] < ADVANCE_APART_S:
        return state, (), Code("too_soon")
    pressing = replace(pressing, breaths_s=(*pressing.breaths_s, at_s))
    state = replace(state, cycle=replace(state.cycle, pressing=pressing))
    return state, (Journal(kind="breath", payload={"at_s": at_s}),), None


def _prepare(state: State, intent: ask.Prepare) -> Outcome:
    if state.cycle.phase not in (Phase.IDLE, Phase.COOL):
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    if not (intent.empty and intent.dry and intent.let_down):
        return state, (), Code("permissive", {"code": "confirmed_empty"})
    refusal = _start_permissives(state)
    if refusal is not None and refusal.code == "rescue_first":
        return state, (), refusal
    state = replace(state, cycle=replace(state.cycle, confirmed=True))
    note = Journal(kind="prepared", payload={"empty": True, "dry": True, "let_down": True})
    if refusal is None:
        return state, (note, SendArm()), None
    return state, (note,), None


def _arm(state: State) -> Outcome:
    if not state.cycle.confirmed:
        return state, (), Code("permissive", {"code": "confirmed_empty"})
    refusal = _start_permissives(state)
    if refusal is not None:
        return state, (), refusal
    return state, (SendArm(),), None


def _heat_off(state: State, *, ending: bool) -> Outcome:
    state, effects = lose_heat(state, Code("heat_off"), Result.ABORTED)
    zero = SendDuty(upper=0.0, upper_setpoint_c=0.0, lower=0.0, lower_setpoint_c=0.0)
    off: Effects = (*effects, zero)
    if not any(isinstance(one, SendDisarm) for one in off):
        off = (SendDisarm(), *off)
    if ending:
        return replace(state, ending=True), (*off, End()), None
    return state, off, None


def _scrap(state: State, reason: str) -> Outcome:
    pressing = state.cycle.pressing
    if pressing is None:
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    pressing = replace(pressing, scrapped=True, reason=reason.strip()[:200])
    state = replace(state, cycle=replace(state.cycle, pressing=pressing))
    note = Journal(kind="scrapped", payload={"number": pressing.number, "reason": pressing.reason})
    state, effects = move(state, Trigger.SCRAP)
    return state, (note, *effects), None


def _triggered(state: State, trigger: Trigger) -> Outcome:
    after, effects = move(state, trigger)
    if after.cycle.phase is state.cycle.phase:
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    return after, effects, None


def _choose(state: State, name: str) -> Outcome:
    """Use another recipe from the next pressing on; the one in hand is frozen."""
    for recipe in state.recipes:
        if recipe.name == name:
            state = replace(state, recipe=recipe)
            payload: dict[str, object] = {"recipe": name, "version": recipe.version}
            return state, (Journal(kind="recipe_chosen", payload=payload),), None
    return state, (), Code("unknown_recipe", {"name": name})


def rescue_step(state: State, step: str) -> Outcome:
    """Tick the next step of the rescue card; the last one closes it."""
    rescue = state.cycle.rescue
    if rescue is None:
        return state, (), Code("not_allowed_now", {"phase": state.cycle.phase.value})
    left = [one for one in rescue.steps if one not in rescue.ticked]
    if not left or step != left[0]:
        return state, (), Code("rescue_steps_left", {"step": left[0] if left else ""})
    card = replace(rescue, ticked=(*rescue.ticked, step))
    done = len(left) == 1
    state = replace(state, cycle=replace(state.cycle, rescue=None if done else card))
    payload: dict[str, object] = {"pressing": rescue.pressing, "step": step, "last": done}
    return state, (Journal(kind="rescue", payload=payload),), None


def _shelve(state: State, alarm: str, minutes: float, host_ms: int) -> Outcome:
    if not any(one.alarm == alarm for one in state.alarms):
        return state, (), Code("unknown_alarm", {"alarm": alarm})
    if not shelvable(alarm):
        return state, (), Code("not_shelvable", {"alarm": alarm})
    return _to_alarms(state, alarm, AlarmEvent.SHELVE, host_ms, minutes=minutes)


def _to_alarms(
    state: State, alarm: str, event: AlarmEvent, host_ms: int, *, minutes: float = 0.0
) -> Outcome:
    if alarm:
        codes = [alarm]
    else:
        wanted = (
            (AlarmState.LATCHED_SEEN,)
            if event is AlarmEvent.RESET
            else (AlarmState.ACTIVE, AlarmState.RETURNED, AlarmState.LATCHED)
        )
        codes = [one.alarm for one in state.alarms if one.state in wanted]
    standing = state.alarms
    changes: Changes = ()
    for code in codes:
        standing, more = handle(standing, code, event, host_ms, minutes=minutes)
        changes += more
    if not changes:
        return state, (), Code("unknown_alarm", {"alarm": alarm})
    effects = alarm_notes(changes)
    state = replace(state, alarms=standing)
    if all(change.to is None for change in changes):
        return state, effects, Code("alarm_true" if event is AlarmEvent.RESET else "unknown_alarm")
    return state, effects, None


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
