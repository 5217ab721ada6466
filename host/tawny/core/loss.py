"""When heat is gone: one way out of every heated phase, whatever the cause."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import steam
from tawny.core.effects import AnyEffect, Journal, SendDisarm
from tawny.core.names import Phase, Result
from tawny.core.phases import CLOSED, PRESSING, Trigger, enter
from tawny.core.pressing import ended
from tawny.core.snapshot import Code, RescueView
from tawny.core.state import State

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


def rescue_card(phase: Phase, pressing: str, cause: Code, water_g: float) -> RescueView:
    """Return the card for a pressing that was cut short in `phase`.

    All the water of the charge is counted: nobody knows how much has left.
    """
    closed = phase in CLOSED
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


def lose_heat(state: State, cause: Code, result: Result) -> tuple[State, tuple[AnyEffect, ...]]:
    """Take duty to 0, disarm, seal the pressing in hand and show what to do about it.

    Harmless in phases that are not heated.
    """
    cycle = state.cycle
    upper = replace(state.upper, duty=0.0, integral=0.0, reached=False)
    lower = replace(state.lower, duty=0.0, integral=0.0, reached=False)
    effects: list[AnyEffect] = [SendDisarm()]
    rescue = cycle.rescue
    pressing = cycle.pressing
    if pressing is not None:
        outcome = Result.ABORTED if pressing.scrapped else result
        effects.append(ended(state, outcome))
        if cycle.phase in PRESSING:
            water_g = pressing.recipe.water_g * state.mould.cavities
            rescue = rescue_card(cycle.phase, str(pressing.number), cause, water_g)
    if cycle.phase not in (Phase.IDLE, Phase.COOL):
        effects.append(
            Journal(
                kind="heat_gone",
                payload={
                    "phase": cycle.phase.value,
                    "cause": cause.code,
                    "fields": dict(cause.fields),
                },
            )
        )
    cycle = enter(cycle, Trigger.HEAT_GONE)
    cycle = replace(
        cycle,
        heat_wanted=False,
        confirmed=False,
        pressing=None,
        next_number=cycle.next_number + (1 if pressing is not None else 0),
        rescue=rescue,
        sound="off",
    )
    return replace(state, cycle=cycle, upper=upper, lower=lower), tuple(effects)
