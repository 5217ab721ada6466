"""One tap, by key or by the pedal at the board: what it does in each phase, and what stops it.

It acts once a phase, not too soon after the last one, past the permissives; it never
acknowledges an alarm and never ends a hold.
"""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.effects import AnyEffect, Journal, SendArm
from tawny.core.heat import setpoints_taken
from tawny.core.limits import ADVANCE_APART_S, DESK_HEAT_OFF_S, KEY_QUIET_S
from tawny.core.messages import FIT_SWITCH, IN_OPEN
from tawny.core.names import BoardState, LinkStatus, Phase, Quality
from tawny.core.phases import TABLE, Trigger
from tawny.core.pressing import closed_s
from tawny.core.progress import in_band, move, soak_left_s
from tawny.core.recipe import Recipe
from tawny.core.snapshot import Code, Field, Permissive
from tawny.core.state import State

Effects = tuple[AnyEffect, ...]
Outcome = tuple[State, Effects, Code | None]

# Where a tap leads to filling, a failed record stops it: nothing is pressed unrecorded.
BEFORE_FILL = frozenset({Phase.READY, Phase.CLEAN, Phase.OIL})

_TRIGGERS = {
    Phase.OIL: Trigger.TO_FILL,
    Phase.FILL: Trigger.TAP,
    Phase.BREATHE: Trigger.TAP,
    Phase.RELEASE: Trigger.TAP,
    Phase.OPEN: Trigger.TAP,
    Phase.DEMOULD: Trigger.TAP,
    Phase.PAUSED: Trigger.RESUME,
}


def next_trigger(state: State) -> Trigger | None:
    """Return what a tap would do in this phase, or None where a tap does nothing."""
    cycle, recipe = state.cycle, state.recipe_in_use()
    oil = _due(cycle.since_oil, recipe.oil_every)
    match cycle.phase:
        case Phase.READY if _due(cycle.since_clean, recipe.clean_every):
            return Trigger.TO_CLEAN
        case Phase.READY | Phase.CLEAN:
            return Trigger.TO_OIL if oil else Trigger.TO_FILL
        case Phase.CLOSE:
            return Trigger.TAP if recipe.breaths else Trigger.NO_BREATHS
        case phase:
            return _TRIGGERS.get(phase)


def _due(since: int | None, every: int) -> bool:
    return every > 0 and (since is None or since >= every)


def next_phase(state: State) -> Phase | None:
    """Return where a tap leads now, or None."""
    trigger = next_trigger(state)
    return None if trigger is None else TABLE.get((state.cycle.phase, trigger))


def permissives(state: State) -> tuple[Permissive, ...]:
    """Return what must be true before the next tap is taken."""
    phase, tele = state.cycle.phase, state.tele
    found: list[Permissive] = []
    if phase in (Phase.PREHEAT, Phase.SOAK, Phase.READY):
        near = in_band(state, leaving=phase is not Phase.PREHEAT)
        found.append(Permissive("in_band", near, _deviations(state)))
    if phase is Phase.SOAK:
        left_s = soak_left_s(state)
        found.append(Permissive("soaked", left_s <= 0.0, {"left_s": left_s}))
    if phase in BEFORE_FILL:
        halves = (state.upper, state.lower)
        good = all(half.quality is Quality.GOOD for half in halves)
        found += (
            Permissive("recording", state.store_ok),
            Permissive("sensors_good", good),
            Permissive("cut_off_reset", not any(half.cut for half in halves)),
        )
    if phase is Phase.BREATHE:
        found.append(_breaths_done(state))
    if state.link.fitted & FIT_SWITCH and tele is not None:
        opened = bool(tele.inputs & IN_OPEN)
        if phase is Phase.CLOSE:
            found.append(Permissive("mould_closed", not opened))
        if phase is Phase.OPEN:
            found.append(Permissive("mould_open", opened))
    return tuple(found)


def _deviations(state: State) -> dict[str, Field]:
    upper_c, lower_c = state.upper.value_c, state.lower.value_c
    wanted_c = state.recipe_in_use().setpoints_c()
    if upper_c is None or lower_c is None:
        return {}
    return {"upper_k": upper_c - wanted_c[0], "lower_k": lower_c - wanted_c[1]}


def _breaths_done(state: State) -> Permissive:
    pressing = state.cycle.pressing
    breaths = pressing.recipe.breaths if pressing is not None else ()
    done = len(pressing.breaths_s) if pressing is not None else 0
    over = not breaths or closed_s(state) >= breaths[-1].at_s + breaths[-1].open_s
    return Permissive(
        "breaths_done", over or done >= len(breaths), {"done": done, "wanted": len(breaths)}
    )


def missing(one: Permissive) -> Code:
    """Return the refusal that names a permissive."""
    return Code("permissive", {"code": one.code, **one.fields})


def setpoint_permissive(state: State, recipe: Recipe) -> Permissive:
    """Return whether the board takes a recipe's setpoints."""
    fields: dict[str, Field] = {
        "setpoint_c": max(recipe.setpoints_c()),
        "limit_c": state.link.setpoint_most_c,
    }
    return Permissive("setpoint_taken", setpoints_taken(state, recipe), fields)


def start_refusal(state: State) -> Code | None:
    """Return why the board cannot be asked to arm now, or None."""
    tele = state.tele
    if tele is None or state.link.status is not LinkStatus.UP:
        return Code("not_connected")
    if state.cycle.rescue is not None:
        return Code("rescue_first")
    if not state.desk_empty_s < DESK_HEAT_OFF_S:
        return missing(Permissive("desk_taken", met=False))
    taken = setpoint_permissive(state, state.recipe)
    if not taken.met:
        return missing(taken)
    if tele.st not in (BoardState.READY.value, BoardState.ARMED.value):
        reason = "latched" if tele.st == BoardState.TRIPPED.value else state.link.why
        return Code("not_ready", {"lock_reason": reason})
    if state.link.mould_slot != state.mould.slot:
        # Its checks of the heating would go by another mould's R and lag.
        return missing(Permissive("mould_in_use", met=False, fields={"slot": state.mould.slot}))
    return None


def arm(state: State) -> Outcome:
    """Ask the board for its challenge, once the mould is confirmed empty."""
    if not state.cycle.confirmed:
        return state, (), missing(Permissive("confirmed_empty", met=False))
    refusal = start_refusal(state)
    return state, () if refusal is not None else (SendArm(),), refusal


def advance(state: State, seen: Phase, host_ms: int, *, from_board: bool) -> Outcome:
    """Go on from the phase the person saw."""
    refusal = _too_hasty(state, seen, host_ms, from_board=from_board)
    state = replace(state, cycle=replace(state.cycle, tapped_ms=host_ms))
    if refusal is not None:
        return state, (), refusal
    state, effects, refusal = _go_on(state, from_board=from_board)
    if refusal is None:
        state = replace(state, cycle=replace(state.cycle, advanced_ms=host_ms))
    return state, effects, refusal


def _too_hasty(state: State, seen: Phase, host_ms: int, *, from_board: bool) -> Code | None:
    """Return why a tap cannot have been meant: for another phase, an elbow, a held key."""
    cycle = state.cycle
    if seen is not cycle.phase:
        return Code("stale_phase", {"phase": cycle.phase.value})
    if host_ms - cycle.tapped_ms < ADVANCE_APART_S * 1000:
        return Code("too_soon")
    if from_board:
        # The foot was on its way before the phase changed: nobody reads a screen so fast.
        young = cycle.clock_ms - cycle.since_ms < ADVANCE_APART_S * 1000
        return Code("too_soon") if young and cycle.phase is not Phase.IDLE else None
    # A held key sends its second character up to a second after the first, then many a second.
    return Code("held_key") if host_ms - cycle.advanced_ms < KEY_QUIET_S * 1000 else None


def _go_on(state: State, *, from_board: bool) -> Outcome:
    cycle = state.cycle
    if cycle.rescue is not None:
        left = [step for step in cycle.rescue.steps if step not in cycle.rescue.ticked]
        return rescue_step(state, left[0])
    if cycle.phase in (Phase.IDLE, Phase.COOL):
        return arm(state)
    unmet = [one for one in permissives(state) if not one.met]
    if unmet:
        if cycle.phase is Phase.BREATHE and (from_board or breath_due(state)):
            return mark(state)
        return state, (), missing(unmet[0])
    trigger = next_trigger(state)
    if trigger is None:
        return state, (), Code("not_allowed_now", {"phase": cycle.phase.value})
    state, effects = move(state, trigger)
    return state, effects, None


def breath_due(state: State) -> bool:
    """Say whether the next breath is being asked for, so that a tap means it."""
    pressing = state.cycle.pressing
    if pressing is None:
        return False
    done, breaths = len(pressing.breaths_s), pressing.recipe.breaths
    return done < len(breaths) and closed_s(state) >= breaths[done].at_s


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
