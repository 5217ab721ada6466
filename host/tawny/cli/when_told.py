"""What `tawny when` answers: from what a running press shows, else from a mould at room heat."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import msgspec
from msgspec.structs import replace

from tawny.core import forecast, forecast_plan, forecast_view
from tawny.core.names import Phase, Quality
from tawny.core.phases import HEATED
from tawny.core.plan_state import Announced
from tawny.core.state import HalfState, PressingState, State
from tawny.service.start import initial_state
from tawny.settings.workshop import Workshop, load_workshop
from tawny.words import _, numbers, sentences

if TYPE_CHECKING:
    from tawny.core.snapshot import Code, HalfView, Snapshot
    from tawny.settings.home import Home

_HEATS_UP = (Phase.PREHEAT, Phase.SOAK)


class Question(NamedTuple):
    """What is asked, by the wall clock.

    Attributes:
        now_utc_ms: Now.
        press_at_utc_ms, outage_utc_ms: As asked; None: not asked.
        recipe: By name; empty: the one in use, else the first.
    """

    now_utc_ms: int
    press_at_utc_ms: int | None
    outage_utc_ms: int | None
    recipe: str


def told(
    home: Home, seen: Snapshot | None, question: Question
) -> tuple[dict[str, object], list[str]]:
    """Return the answer for a program and for a person.

    Args:
        home: Whose settings.
        seen: The press as its owner shows it; None: nobody owns one.
        question: What is asked.

    Raises:
        SettingsError: No such recipe, or settings that cannot be used.
    """
    workshop = load_workshop(home)
    now_utc_ms = question.now_utc_ms
    state = _state(workshop, seen, question.recipe)
    ready, touchable_utc_ms = _ready(state, seen, now_utc_ms), None
    if seen is not None and seen.ahead is not None:
        touchable_utc_ms = seen.ahead.touchable_utc_ms
    simulated = workshop.simulated if seen is None else seen.simulated
    values: dict[str, object] = {
        "simulated": simulated,
        "running": seen is not None,
        "phase": state.cycle.phase.value,
        "mould": state.mould.name,
        "recipe": state.recipe.name,
        "model_fitted": state.mould.thermal is not None,
        "now_utc_ms": now_utc_ms,
        "ready_utc_ms": _utc(ready.after_s, now_utc_ms),
        "touchable_utc_ms": touchable_utc_ms,
        "why": None if ready.why is None else msgspec.to_builtins(ready.why),
    }
    lines = [_head(state, simulated=simulated), *_ready_lines(state, ready, now_utc_ms)]
    if touchable_utc_ms is not None:
        time = sentences.moment(touchable_utc_ms, now_utc_ms)
        lines.append(_("Without heat it is touchable about {time}.").format(time=time))
    more, codes = _asked(state, seen, question, ready)
    lines += [sentences.ahead(code, now_utc_ms) for code in codes]
    lines.append(_("This only tells. Heat starts by hand, at the press."))
    return values | more, lines


def _state(workshop: Workshop, seen: Snapshot | None, recipe: str) -> State:
    name = recipe if seen is None or recipe else seen.recipe
    chosen = workshop.recipe(name) if name else workshop.recipes[0]
    mould = workshop.mould(chosen.mould)
    state = initial_state(workshop.press, mould, workshop.recipes, chosen)
    cap = 2.0 * workshop.press.supply_w / (mould.upper.heater_w + mould.lower.heater_w)
    state = replace(state, link=replace(state.link, supply_cap=min(cap, 2.0)))
    if seen is None:
        half = HalfState(quality=Quality.GOOD, value_c=workshop.press.ambient_c)
        return replace(state, upper=half, lower=half)
    pressing = None
    if seen.hold is not None:
        closed_ms = -int(seen.hold.elapsed_s * 1000)
        pressing = PressingState(number=0, recipe=chosen, began_ms=closed_ms, closed_ms=closed_ms)
    cycle = replace(
        state.cycle,
        phase=seen.phase,
        since_ms=-int(seen.phase_elapsed_s * 1000),
        heat_wanted=seen.phase in HEATED,
        pressing=pressing,
    )
    return replace(state, upper=_half(seen.upper), lower=_half(seen.lower), cycle=cycle)


def _half(view: HalfView) -> HalfState:
    return HalfState(quality=view.quality, value_c=view.process_value_c)


def _ready(state: State, seen: Snapshot | None, now_utc_ms: int) -> forecast.Foreseen:
    """Return in how long it is ready: as its owner says, else if it were switched on now."""
    phase = state.cycle.phase
    if seen is not None and seen.ready_at_utc_ms is not None:
        return forecast.Foreseen((seen.ready_at_utc_ms - now_utc_ms) / 1000.0)
    if seen is not None and phase in _HEATS_UP:
        return forecast.Foreseen(why=None if seen.ahead is None else seen.ahead.why)
    if phase in (Phase.IDLE, Phase.COOL, Phase.PAUSED):
        return forecast.lead(state, forecast.believed(state))
    return forecast.Foreseen()


def _head(state: State, *, simulated: bool) -> str:
    words = _("{mould}, recipe {recipe}, {phase}").format(
        mould=state.mould.name,
        recipe=state.recipe.name,
        phase=sentences.phase_name(state.cycle.phase),
    )
    return f"{_('SIMULATED')} · {words}" if simulated else words


def _ready_lines(state: State, ready: forecast.Foreseen, now_utc_ms: int) -> list[str]:
    if ready.why is not None:
        return [sentences.ahead(ready.why, now_utc_ms)]
    if ready.after_s is None:
        return []
    time = sentences.moment(now_utc_ms + ready.after_s * 1000, now_utc_ms)
    words = (
        _("Ready about {time}, in {span}, soak included.")
        if state.cycle.phase in _HEATS_UP
        else _("Heated from now on: ready about {time}, in {span}, soak included.")
    )
    return [words.format(time=time, span=numbers.seconds(ready.after_s))]


def _asked(
    state: State, seen: Snapshot | None, question: Question, ready: forecast.Foreseen
) -> tuple[dict[str, object], list[Code]]:
    now_utc_ms = question.now_utc_ms
    values: dict[str, object] = {}
    codes: list[Code] = []
    if question.press_at_utc_ms is not None:
        press = forecast_plan.press_at(state, question.press_at_utc_ms - now_utc_ms, ready)
        codes += forecast_view.press_lines(press, 0, now_utc_ms)
        values |= {
            "press_at_utc_ms": question.press_at_utc_ms,
            "switch_on_by_utc_ms": None if press.by_ms is None else press.by_ms + now_utc_ms,
            "margin_s": press.margin_s,
            "late": press.late,
        }
    if question.outage_utc_ms is not None:
        cycle = _cycle(state, seen)
        closing = forecast_plan.closing_before(
            state, question.outage_utc_ms - now_utc_ms, Announced.OUTAGE, cycle, ready.after_s
        )
        codes.append(forecast_view.closing_line(closing, now_utc_ms))
        values |= {
            "outage_utc_ms": question.outage_utc_ms,
            "close_by_utc_ms": closing.close_by_ms + now_utc_ms,
            "closings_left": closing.closings,
            "parts_left": closing.parts,
            "cycle_s": cycle.cycle_s,
            "cycles_counted": cycle.counted,
        }
    return values, codes


def _cycle(state: State, seen: Snapshot | None) -> forecast_plan.Cycle:
    """Return the usual pressing: as its owner counted, else by the recipe's own times."""
    ahead = None if seen is None else seen.ahead
    if ahead is None or not ahead.cycles_counted or ahead.cycle_s is None or ahead.out_s is None:
        return forecast_plan.usual_cycle(state)
    return forecast_plan.Cycle(ahead.cycle_s, ahead.out_s, ahead.cycles_counted)


def _utc(after_s: float | None, now_utc_ms: int) -> int | None:
    return None if after_s is None else now_utc_ms + int(after_s * 1000)
