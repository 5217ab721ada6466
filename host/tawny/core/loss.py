"""When heat is gone: one way out of every heated phase, whatever the cause."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import steam
from tawny.core.alarm_list import ALARMS
from tawny.core.effects import AnyEffect, Journal, SendDisarm
from tawny.core.messages import FIT_SWITCH, IN_OPEN
from tawny.core.names import Phase, Result
from tawny.core.phases import CLOSED, Trigger, enter
from tawny.core.pressing import ended, with_alarms
from tawny.core.recipe import Recipe
from tawny.core.snapshot import Code, RescueView
from tawny.core.state import CycleState, PressingState, State

CLOSED_STEPS = (
    "heat_stays_off",
    "stand_aside",
    "finish_stored_heat",
    "let_down_steps",
    "wait_hiss",
    "take_out",
    "gap_marked",
    "look_cause",
)
OPEN_STEPS = ("heat_stays_off", "take_out", "look_cause")
# Air-dry residue still holds water: 10 to 12 % by common practice, so that this is the most.
RESIDUE_MOISTURE_MOST = 0.15  # of its mass


def water_most_g(recipe: Recipe, cavities: int) -> float:
    """Return the most water that a recipe's charge can hold, in g: added, and in the residue.

    None of it is taken to have left: nobody knows how much has.
    """
    return (recipe.water_g + RESIDUE_MOISTURE_MOST * recipe.residue_g) * cavities


def rescue_card(
    phase: Phase, pressing: str, cause: Code, water_g: float, *, closed: bool | None = None
) -> RescueView:
    """Return the card for a pressing that was cut short in `phase`.

    `closed` says whether the mould may be closed and under pressure; without it the phase
    decides.
    """
    closed = phase in CLOSED if closed is None else closed
    return RescueView(
        pressing=pressing,
        phase=phase,
        cause=cause,
        water_g=water_g,
        steam_litres=steam.steam_litres(water_g),
        closed=closed,
        steps=CLOSED_STEPS if closed else OPEN_STEPS,
        ticked=(),
        since_utc_ms=0,
    )


def card_for(state: State, cause: Code) -> RescueView | None:
    """Return the card for the pressing in hand as it stands, or None where there is none."""
    pressing = state.cycle.pressing
    if pressing is None:
        return None
    water_g = water_most_g(pressing.recipe, state.mould.cavities)
    closed = _may_be_closed(state)
    return rescue_card(state.cycle.phase, str(pressing.number), cause, water_g, closed=closed)


def _may_be_closed(state: State) -> bool:
    """Say whether the mould may be closed on a charge; where nobody knows, it may."""
    tele, phase = state.tele, state.cycle.phase
    switch = bool(state.link.fitted & FIT_SWITCH) and tele is not None
    if phase in CLOSED:
        return True
    if switch and tele is not None:
        return not tele.inputs & IN_OPEN
    return phase is Phase.OPEN


def lose_heat(state: State, cause: Code, result: Result) -> tuple[State, tuple[AnyEffect, ...]]:
    """Take duty to 0, disarm, seal the pressing in hand and show what to do about it.

    Harmless in phases that are not heated.
    """
    effects: list[AnyEffect] = [SendDisarm()]
    pressing = state.cycle.pressing
    if pressing is not None:
        pressing = _with_cause(pressing, cause, state.host_ms)
        state = replace(state, cycle=replace(state.cycle, pressing=pressing))
        effects.append(ended(state, Result.ABORTED if pressing.scrapped else result))
    if state.cycle.heat_wanted:
        effects.append(
            Journal(
                kind="heat_gone",
                payload={
                    "phase": state.cycle.phase.value,
                    "cause": cause.code,
                    "fields": dict(cause.fields),
                    "operations": {
                        "upper": state.upper.operations,
                        "lower": state.lower.operations,
                    },
                },
            )
        )
    card = card_for(state, cause)
    cycle = state.cycle if pressing is None else count_pressing(state.cycle)
    cycle = enter(cycle, Trigger.HEAT_GONE)
    if card is not None:
        cycle = replace(cycle, rescue=card, rescue_ms=state.host_ms)
    if state.cycle.heat_wanted:
        cycle = replace(cycle, lost=cause.code)
    state = replace(
        state,
        cycle=replace(
            cycle,
            confirmed=False,
            pressing=None,
            charge_due=False,
            fell=False,
            disarmed_ms=cycle.clock_ms,
        ),
        upper=replace(state.upper, duty=0.0, reached=False),
        lower=replace(state.lower, duty=0.0, reached=False),
    )
    return state, tuple(effects)


def _with_cause(pressing: PressingState, cause: Code, host_ms: int) -> PressingState:
    """Note the alarm that ends a pressing: it is judged only after the pressing is sealed."""
    if cause.code in ALARMS:
        pressing = with_alarms(pressing, (cause.code,), host_ms)
    return replace(pressing, reason=pressing.reason or cause.code)


def count_pressing(cycle: CycleState) -> CycleState:
    """Return the cycle after one more pressing of the mould."""
    return replace(
        cycle,
        next_number=cycle.next_number + 1,
        since_clean=cycle.since_clean + 1 if cycle.since_clean is not None else None,
        since_oil=cycle.since_oil + 1 if cycle.since_oil is not None else None,
    )
