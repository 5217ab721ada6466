"""What moves a pressing on by itself, at each frame: bands, soak, breaths, dose, lost heat."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.effects import AnyEffect, Journal, PressingBegan, SendCharge, SendSignal
from tawny.core.limits import CHARGE_APART_S, HOT_C
from tawny.core.loss import lose_heat
from tawny.core.messages import FIT_SWITCH, IN_BUTTON, IN_MAINS, IN_OPEN
from tawny.core.names import BoardState, Phase, Quality, Result
from tawny.core.phases import PRESSING, Trigger, enter
from tawny.core.pressing import begin, closed_s, ended, hold_left_s, hold_over
from tawny.core.snapshot import Code
from tawny.core.state import State

BREATH_GRACE_S = 15.0
OPEN_SOON_S = 10.0
ARMED_GRACE_MS = 600

Effects = tuple[AnyEffect, ...]


def move(state: State, trigger: Trigger) -> tuple[State, Effects]:
    """Apply a trigger with what entering and leaving its phase brings."""
    before = state.cycle.phase
    cycle = enter(state.cycle, trigger)
    if cycle.phase is before:
        return state, ()
    state = replace(state, cycle=cycle)
    effects: list[AnyEffect] = [
        Journal(kind="phase", payload={"from": before.value, "to": cycle.phase.value})
    ]
    if cycle.phase is Phase.PREHEAT and before in (Phase.IDLE, Phase.COOL):
        state = replace(
            state,
            upper=replace(state.upper, cutoff_c=None, reached=False, integral=0.0),
            lower=replace(state.lower, cutoff_c=None, reached=False, integral=0.0),
        )
    if cycle.phase is Phase.FILL:
        state = replace(state, cycle=replace(state.cycle, pressing=begin(state)))
        effects.append(PressingBegan(number=state.cycle.next_number))
    if cycle.phase in (Phase.FILL, Phase.CLOSE):
        state, sent = _announce_charge(state)
        effects += sent
    if before is Phase.CLOSE and cycle.phase in (Phase.BREATHE, Phase.HOLD):
        state = _with_pressing(state, closed_ms=_closed_ms(state))
    if before is Phase.RELEASE:
        state = _with_pressing(state, hold_ended_ms=state.cycle.clock_ms)
    if before is Phase.CLEAN:
        state = replace(state, cycle=replace(state.cycle, since_clean=0))
    if before is Phase.OIL:
        state = replace(state, cycle=replace(state.cycle, since_oil=0))
    if before is Phase.DEMOULD and state.cycle.pressing is not None:
        state, sent = _complete(state)
        effects += sent
    return state, tuple(effects)


def _announce_charge(state: State) -> tuple[State, list[AnyEffect]]:
    clock_ms = state.cycle.clock_ms
    if clock_ms - state.cycle.charged_ms < CHARGE_APART_S * 1000:
        return state, []
    return replace(state, cycle=replace(state.cycle, charged_ms=clock_ms)), [SendCharge()]


def _closed_ms(state: State) -> int:
    pressing = state.cycle.pressing
    if pressing is not None and pressing.closed_ms is not None:
        return pressing.closed_ms
    return state.cycle.clock_ms


def _with_pressing(state: State, **changes: int) -> State:
    pressing = state.cycle.pressing
    if pressing is None:
        return state
    return replace(state, cycle=replace(state.cycle, pressing=replace(pressing, **changes)))


def _complete(state: State) -> tuple[State, list[AnyEffect]]:
    pressing = state.cycle.pressing
    assert pressing is not None  # noqa: S101 - the caller looked
    before = replace(state, cycle=replace(state.cycle, phase=Phase.DEMOULD))
    end = ended(before, Result.ABORTED if pressing.scrapped else Result.COMPLETE)
    cycle = replace(
        state.cycle,
        pressing=None,
        next_number=state.cycle.next_number + 1,
        since_clean=state.cycle.since_clean + 1,
        since_oil=state.cycle.since_oil + 1,
    )
    return replace(state, cycle=cycle), [end]


def progress(state: State) -> tuple[State, Effects]:
    """Look whether the phase ends by itself; called at each frame."""
    state, effects = _lost(state)
    if effects:
        return state, effects
    state = _mould_switch(state)
    trigger = _trigger(state)
    moved: Effects = ()
    if trigger is not None:
        state, moved = move(state, trigger)
    if state.cycle.phase is Phase.SOAK and state.cycle.soaking_ms is None:
        state = replace(state, cycle=replace(state.cycle, soaking_ms=state.cycle.clock_ms))
    state, sounded = _sound(state)
    return state, moved + sounded


def _lost(state: State) -> tuple[State, Effects]:
    """Notice that the board no longer permits heat in a phase that needs it."""
    tele, cycle = state.tele, state.cycle
    if not cycle.heat_wanted or tele is None or tele.st == BoardState.ARMED.value:
        return state, ()
    if cycle.clock_ms - cycle.since_ms < ARMED_GRACE_MS and cycle.phase is Phase.PREHEAT:
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


def _mould_switch(state: State) -> State:
    """Follow the mould switch: since when it is open, and the moment of closing."""
    tele, cycle = state.tele, state.cycle
    if tele is None or not state.link.fitted & FIT_SWITCH:
        return state
    if tele.inputs & IN_OPEN:
        if cycle.opened_ms is None:
            return replace(state, cycle=replace(cycle, opened_ms=cycle.clock_ms))
        return state
    if cycle.opened_ms is not None:
        state = replace(state, cycle=replace(cycle, opened_ms=None))
        if cycle.phase is Phase.CLOSE and cycle.pressing and cycle.pressing.closed_ms is None:
            state = _with_pressing(state, closed_ms=cycle.clock_ms)
    return state


def _trigger(state: State) -> Trigger | None:  # noqa: PLR0911 - one return for each phase
    cycle = state.cycle
    band = state.upper.in_band and state.lower.in_band
    match cycle.phase:
        case Phase.IDLE | Phase.COOL:
            tele = state.tele
            armed = tele is not None and tele.st == BoardState.ARMED.value
            if armed and cycle.confirmed and cycle.rescue is None:
                return Trigger.START
            cold = all(
                half.quality is Quality.GOOD and half.value_c is not None and half.value_c < HOT_C
                for half in (state.upper, state.lower)
            )
            return Trigger.COLD if cold and cycle.phase is Phase.COOL else None
        case Phase.PREHEAT:
            return Trigger.IN_BAND if band else None
        case Phase.SOAK:
            if not band:
                return Trigger.OUT_OF_BAND
            since_ms = cycle.soaking_ms
            if since_ms is None or cycle.clock_ms - since_ms < state.mould.soak_s() * 1000:
                return None
            return Trigger.SOAKED
        case Phase.READY:
            return None if band else Trigger.OUT_OF_BAND
        case Phase.BREATHE:
            return Trigger.BREATHED if _breathed(state) else None
        case Phase.HOLD:
            return Trigger.DOSE if hold_over(state) else None
        case _:
            return None


def _breathed(state: State) -> bool:
    pressing = state.cycle.pressing
    if pressing is None:
        return False
    breaths = pressing.recipe.breaths
    if len(pressing.breaths_s) >= len(breaths):
        return True
    last = breaths[-1]
    return closed_s(state) >= last.at_s + last.open_s + BREATH_GRACE_S


def _sound(state: State) -> tuple[State, Effects]:
    """Choose the buzzer pattern at the board from what is due."""
    cycle = state.cycle
    sound = "off"
    if cycle.phase is Phase.BREATHE and cycle.pressing is not None:
        done = len(cycle.pressing.breaths_s)
        breaths = cycle.pressing.recipe.breaths
        if done < len(breaths) and closed_s(state) >= breaths[done].at_s:
            sound = "breathe"
    elif cycle.phase is Phase.HOLD and hold_left_s(state) <= OPEN_SOON_S:
        sound = "soon"
    if state.desk_empty_s >= 10.0 and cycle.phase in PRESSING:  # noqa: PLR2004 - desk rule
        sound = "alarm"
    if sound == cycle.sound:
        return state, ()
    state = replace(state, cycle=replace(cycle, sound=sound))
    return state, (SendSignal(lamp="on" if sound != "off" else "off", sound=sound),)
