"""What moves a pressing on by itself, at each frame: bands, soak, breaths, dose, lost heat."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import aim
from tawny.core.effects import (
    AnyEffect,
    Journal,
    PressingBegan,
    SendCharge,
    SendDisarm,
    SendSignal,
)
from tawny.core.heat import setpoints_taken
from tawny.core.intake import BAND_LEAVE
from tawny.core.limits import CHARGE_APART_S, DESK_ALARM_S, DESK_HEAT_OFF_S, HOT_C
from tawny.core.loss import count_pressing, lose_heat
from tawny.core.messages import FIT_SWITCH, IN_BUTTON, IN_MAINS, IN_OPEN
from tawny.core.names import BoardState, Phase, Quality, Result
from tawny.core.phases import OPEN_AT_WORK, Trigger, enter
from tawny.core.plan import completed
from tawny.core.pressing import anew, begin, closed_s, ended, hold_left_s, hold_over
from tawny.core.snapshot import Code
from tawny.core.state import CycleState, State

BREATH_GRACE_S = 15.0
OPEN_SOON_S = 10.0
CHARGE_MARGIN_S = 1.0  # lines take time: the board counts its 60 s by its own clock
DISARM_AGAIN_MS = 1000
# A charge is announced in these, once the board takes one: later it is no longer news.
CHARGED: frozenset[Phase] = frozenset({Phase.FILL, Phase.CLOSE, Phase.BREATHE})

Effects = tuple[AnyEffect, ...]


def move(state: State, trigger: Trigger) -> tuple[State, Effects]:
    """Apply a trigger with what entering and leaving its phase brings."""
    before = state.cycle.phase
    cycle = enter(state.cycle, trigger)
    to = cycle.phase
    if to is before:
        return state, ()
    state = replace(state, cycle=cycle)
    effects: list[AnyEffect] = [
        Journal(kind="phase", payload={"from": before.value, "to": to.value})
    ]
    if before in (Phase.IDLE, Phase.COOL, Phase.PAUSED):
        state = _back_to_heat(state)
    if to is Phase.FILL:
        state = replace(state, cycle=replace(state.cycle, pressing=begin(state)))
        effects.append(PressingBegan(number=state.cycle.next_number))
    if to in (Phase.FILL, Phase.CLOSE):
        state = replace(state, cycle=replace(state.cycle, charge_due=True))
        state, announced = _announce_charge(state)
        effects += announced
    if before is Phase.CLOSE and to in (Phase.BREATHE, Phase.HOLD):
        state = _close(state)
    if to is Phase.RELEASE:
        state = _with_pressing(state, hold_ended_ms=state.cycle.clock_ms)
    if before is Phase.CLEAN and to in (Phase.OIL, Phase.FILL):
        state = replace(state, cycle=replace(state.cycle, since_clean=0))
    if before is Phase.OIL and to is Phase.FILL:
        state = replace(state, cycle=replace(state.cycle, since_oil=0))
    if before is Phase.DEMOULD and state.cycle.pressing is not None:
        state, end = _complete(state)
        effects.append(end)
    return state, tuple(effects)


def _back_to_heat(state: State) -> State:
    """Forget what an earlier heat-up, or the pause, left behind."""
    if state.cycle.phase is not Phase.PREHEAT:
        paused = state.cycle.phase is Phase.SOAK
        return replace(state, aim=aim.resumed(state)) if paused else state
    return replace(
        state,
        upper=replace(state.upper, cutoff_c=None, reached=False, operations=0),
        lower=replace(state.lower, cutoff_c=None, reached=False, operations=0),
        cycle=replace(state.cycle, lost=""),
        aim=aim.begun(state),
    )


def _announce_charge(state: State) -> tuple[State, Effects]:
    """Announce a charge that is due, once the board takes another one."""
    cycle = state.cycle
    if not cycle.charge_due:
        return state, ()
    if cycle.phase not in CHARGED:
        return replace(state, cycle=replace(cycle, charge_due=False)), ()
    if cycle.clock_ms - cycle.charged_ms < (CHARGE_APART_S + CHARGE_MARGIN_S) * 1000:
        return state, ()
    cycle = replace(cycle, charge_due=False, charged_ms=cycle.clock_ms, fell=False)
    return replace(state, cycle=cycle), (SendCharge(),)


def _close(state: State) -> State:
    """Count from now that the mould is closed, unless its switch has said so before."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is not None:
        return state
    return _with_pressing(state, closed_ms=state.cycle.clock_ms)


def _with_pressing(state: State, **changes: int) -> State:
    pressing = state.cycle.pressing
    if pressing is None:
        return state
    return replace(state, cycle=replace(state.cycle, pressing=replace(pressing, **changes)))


def _complete(state: State) -> tuple[State, AnyEffect]:
    pressing = state.cycle.pressing
    scrapped = pressing is not None and pressing.scrapped
    result = Result.ABORTED if scrapped else Result.COMPLETE
    end = ended(state, result, phase=Phase.DEMOULD)
    closings = state.aim.closings + (pressing is not None and pressing.closed_ms is not None)
    state = replace(state, aim=replace(state.aim, closings=closings))
    if pressing is not None:
        state = completed(state, pressing, result)
    return replace(state, cycle=replace(count_pressing(state.cycle), pressing=None)), end


def progress(state: State) -> tuple[State, Effects]:
    """Look whether the phase ends by itself; called at each frame."""
    state, effects = _lost(state)
    if effects:
        return state, effects
    state = _follow_mould(state)
    trigger = _trigger(state)
    if trigger is not None:
        state, effects = move(state, trigger)
    if state.cycle.phase is Phase.SOAK and state.cycle.soaking_ms is None:
        state = replace(state, cycle=replace(state.cycle, soaking_ms=state.cycle.clock_ms))
    state, announced = _announce_charge(state)
    state, disarmed = _disarm_unasked(state)
    state, sounded = _sound(state)
    return state, effects + announced + disarmed + sounded


def _lost(state: State) -> tuple[State, Effects]:
    """Notice that the board no longer permits heat in a phase that needs it."""
    tele, cycle = state.tele, state.cycle
    if not cycle.heat_wanted or tele is None or tele.st == BoardState.ARMED.value:
        return state, ()
    if tele.st == BoardState.TRIPPED.value:
        cause = Code("board_tripped", {"first_out": tele.fo})
    elif tele.inputs & IN_BUTTON:
        cause = Code("heat_off_button")
    elif not tele.inputs & IN_MAINS:
        cause = Code("mains_lost")
    else:
        cause = Code("disarmed", {"state": tele.st})
    return lose_heat(state, cause, Result.INTERRUPTED)


def _disarm_unasked(state: State) -> tuple[State, Effects]:
    """Disarm a board that is armed while no heat is wanted: an arming overtaken by a heat-off."""
    tele, cycle = state.tele, state.cycle
    armed = tele is not None and tele.st == BoardState.ARMED.value
    if cycle.heat_wanted or not armed or cycle.clock_ms - cycle.disarmed_ms < DISARM_AGAIN_MS:
        return state, ()
    cycle = replace(cycle, disarmed_ms=cycle.clock_ms)
    return replace(state, cycle=cycle), (SendDisarm(),)


def _follow_mould(state: State) -> State:
    """Follow since when the mould is open, and the moment of closing.

    Its switch tells; where none is fitted it is taken to be open at work, and the tap tells
    the moment of closing.
    """
    tele, cycle = state.tele, state.cycle
    switch = bool(state.link.fitted & FIT_SWITCH)
    if tele is None:
        return state
    opened = bool(tele.inputs & IN_OPEN) if switch else cycle.phase in OPEN_AT_WORK
    if opened is (cycle.opened_ms is not None):
        return state
    state = replace(state, cycle=replace(cycle, opened_ms=cycle.clock_ms if opened else None))
    pressing = cycle.pressing
    if not switch or pressing is None or cycle.phase not in (Phase.FILL, Phase.CLOSE):
        return state
    if opened:
        return replace(state, cycle=replace(state.cycle, pressing=anew(pressing)))
    return _with_pressing(state, closed_ms=cycle.clock_ms)


def in_band(state: State, *, leaving: bool) -> bool:
    """Say whether both halves are in band of the recipe's setpoints, and near each other."""
    if not aim.at_pressing_heat(state):
        return False
    upper, lower, wanted_c = state.upper, state.lower, state.recipe_in_use().setpoints_c()
    if not (upper.in_band and lower.in_band) or upper.value_c is None or lower.value_c is None:
        return False
    apart_k = abs((upper.value_c - wanted_c[0]) - (lower.value_c - wanted_c[1]))
    return apart_k <= state.recipe_in_use().band_k * (BAND_LEAVE if leaving else 1.0)


def _trigger(state: State) -> Trigger | None:
    cycle = state.cycle
    match cycle.phase:
        case Phase.IDLE | Phase.COOL:
            return _from_rest(state)
        case Phase.PREHEAT:
            return Trigger.IN_BAND if in_band(state, leaving=False) else None
        case Phase.SOAK:
            if not in_band(state, leaving=True):
                return Trigger.OUT_OF_BAND
            return Trigger.SOAKED if soak_left_s(state) <= 0.0 else None
        case Phase.READY:
            return None if in_band(state, leaving=True) else Trigger.OUT_OF_BAND
        case Phase.BREATHE:
            return Trigger.BREATHED if _breathed(state) else None
        case Phase.HOLD:
            return Trigger.DOSE if hold_over(state) else None
        case _:
            return None


def soak_left_s(state: State) -> float:
    """Return how long both halves still have to stay in band."""
    since_ms = state.cycle.soaking_ms
    done_s = 0.0 if since_ms is None else (state.cycle.clock_ms - since_ms) / 1000.0
    return max(state.mould.soak_s() - done_s, 0.0)


def _from_rest(state: State) -> Trigger | None:
    cycle, tele = state.cycle, state.tele
    armed = tele is not None and tele.st == BoardState.ARMED.value
    asked = cycle.confirmed and cycle.rescue is None and not state.ending
    watched = state.desk_empty_s < DESK_HEAT_OFF_S
    if armed and asked and watched and setpoints_taken(state, state.recipe):
        return Trigger.START
    return Trigger.COLD if cycle.phase is Phase.COOL and touchable(state) else None


def touchable(state: State) -> bool:
    """Say whether both halves are known to be below the touching limit; unknown is hot."""
    return all(
        half.quality is Quality.GOOD and half.value_c is not None and half.value_c < HOT_C
        for half in (state.upper, state.lower)
    )


def _breathed(state: State) -> bool:
    pressing = state.cycle.pressing
    if pressing is None:
        return False
    breaths = pressing.recipe.breaths
    if len(pressing.breaths_s) >= len(breaths):
        return True
    last = breaths[-1]
    return closed_s(state) >= last.at_s + last.open_s + BREATH_GRACE_S


def _due_sound(state: State, cycle: CycleState) -> str:
    if cycle.heat_wanted and state.desk_empty_s >= DESK_ALARM_S:
        return "alarm"
    if cycle.phase is Phase.BREATHE and cycle.pressing is not None:
        done, breaths = len(cycle.pressing.breaths_s), cycle.pressing.recipe.breaths
        due = done < len(breaths) and closed_s(state) >= breaths[done].at_s
        return "breathe" if due else "off"
    if cycle.phase is Phase.HOLD and hold_left_s(state) <= OPEN_SOON_S:
        return "soon"
    return "off"


def _sound(state: State) -> tuple[State, Effects]:
    """Choose the buzzer pattern at the board from what is due."""
    sound = _due_sound(state, state.cycle)
    if sound == state.cycle.sound:
        return state, ()
    state = replace(state, cycle=replace(state.cycle, sound=sound))
    return state, (SendSignal(lamp="on" if sound != "off" else "off", sound=sound),)
