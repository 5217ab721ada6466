"""What fits in before an outage or a dearer tariff, and when to switch on to press at a time.

Times are seconds from now; nothing here starts, stops or changes heat.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median

import msgspec

from tawny.core import forecast
from tawny.core.names import Phase
from tawny.core.plan_state import Announced
from tawny.core.progress import soak_left_s, touchable
from tawny.core.snapshot import Code
from tawny.core.state import State

CLOSING_MARGIN_S = 120.0  # between the part in hand and what was announced
PRESS_MARGIN_LEAST_S, PRESS_MARGIN_PART = 300.0, 0.1  # of the time to ready
SHIFT_S = 10 * 3600.0
BREAK_CYCLES = 2.0  # a pause that long is no pressing
# From the end of the hold to the part in the jig, where no pressing of the shift tells: letting
# the steam out in steps, opening, taking out (common practice, minutes not seconds).
RELEASE_S = 90.0

_AWAITS_FILL = frozenset({Phase.READY, Phase.CLEAN, Phase.OIL})
_NOT_CLOSED = frozenset({Phase.FILL, Phase.CLOSE})
_RESTING = frozenset({Phase.IDLE, Phase.COOL, Phase.PAUSED})


class Cycle(msgspec.Struct, frozen=True):
    """The usual pressing.

    Attributes:
        cycle_s: From closing to closing.
        out_s: From closing to the part in hand.
        counted: From how many cycles of this shift; 0: from the recipe's own times.
    """

    cycle_s: float
    out_s: float
    counted: int


class Closing(msgspec.Struct, frozen=True):
    """What fits in before what was announced.

    Attributes:
        what: "outage" or "tariff".
        at_ms: When, on the host clock.
        close_by_ms: The last closing whose part is out before it, with the margin.
        closings, parts: Still to come; None: the mould is not heated.
        in_hand_late: The charge that is closed in now will not be out before it.
    """

    what: str
    at_ms: int
    close_by_ms: int
    closings: int | None
    parts: int | None
    in_hand_late: bool


class PressAt(msgspec.Struct, frozen=True):
    """When to switch on, or to go back to pressing heat, to press at a time.

    Attributes:
        at_ms: When to press, on the host clock.
        by_ms: When to switch on, the margin counted; None: it is heated already, or `why`.
        ready_ms: When it would be ready: switched on now, or as it is heated now.
        margin_s: Counted on top.
        late: It will not be ready at that time.
        rests: Nothing to switch on: it rests warm and is to go back to pressing heat.
        why: Why nobody can say.
    """

    at_ms: int
    by_ms: int | None = None
    ready_ms: int | None = None
    margin_s: float = 0.0
    late: bool = False
    rests: bool = False
    why: Code | None = None


class Forecast(msgspec.Struct, frozen=True):
    """What is foreseen, on the host clock.

    Attributes:
        made_ms: When.
        ready_ms: Both halves soaked, while it heats up.
        touchable_ms: Both halves below the touching limit, while it cools.
        why: Why neither can be told; None where nobody asks.
        cycle: The usual pressing.
    """

    made_ms: int
    ready_ms: int | None = None
    touchable_ms: int | None = None
    why: Code | None = None
    cycle: Cycle | None = None
    closing: Closing | None = None
    press: PressAt | None = None


def foresee(state: State, offset_ms: int) -> Forecast:
    """Return what is foreseen now; `offset_ms` turns the host clock into UTC."""
    host_ms, phase = state.host_ms, state.cycle.phase
    found, cools = forecast.Foreseen(), False
    if phase in (Phase.PREHEAT, Phase.SOAK):
        found = forecast.ready(state)
    elif not state.cycle.heat_wanted and not touchable(state):
        found, cools = forecast.touchable(state), True
    at_ms, cycle = _later(host_ms, found.after_s), usual_cycle(state)
    return Forecast(
        made_ms=host_ms,
        ready_ms=None if cools else at_ms,
        touchable_ms=at_ms if cools else None,
        why=found.why,
        cycle=cycle,
        closing=_closing(state, offset_ms, cycle, None if cools else found.after_s),
        press=_press(state, offset_ms, None if cools else found),
    )


def usual_cycle(state: State) -> Cycle:
    """Return the usual pressing of this recipe: of this shift, else by the recipe's times."""
    recipe, now_ms = state.recipe_in_use(), state.cycle.clock_ms
    recent = [one for one in state.plan.done if now_ms - one.closed_ms <= SHIFT_S * 1000]
    spans = [
        (later.closed_ms - one.closed_ms) / 1000.0
        for one, later in pairwise(recent)
        if one.recipe == later.recipe == recipe.name
    ]
    outs = [(one.out_ms - one.closed_ms) / 1000.0 for one in recent if one.recipe == recipe.name]
    hold_s = min(max(recipe.equivalent_s, recipe.least_s), recipe.most_s)
    out_s = median(outs) if outs else hold_s + RELEASE_S
    if spans:
        least_s = min(spans)
        spans = [span for span in spans if span <= BREAK_CYCLES * least_s]
        return Cycle(median(spans), out_s, len(spans))
    return Cycle(out_s + state.mould.soak_s() + fill_s(state), out_s, 0)


def fill_s(state: State) -> float:
    """Return how long filling usually takes, at most what the recipe allows."""
    usual_s, most_s = state.loop.demand.usual_filling_s(), state.recipe_in_use().fill_most_s
    return most_s if usual_s is None else min(usual_s, most_s)


def _closing(state: State, offset_ms: int, cycle: Cycle, ready_s: float | None) -> Closing | None:
    said = state.plan.moments()
    soonest = [
        (said[what].at_utc_ms - offset_ms, what)
        for what in (Announced.OUTAGE, Announced.TARIFF)
        if what in said
    ]
    soonest = [one for one in soonest if one[0] > state.host_ms]
    return closing_before(state, *min(soonest), cycle, ready_s) if soonest else None


def closing_before(
    state: State, at_ms: int, what: Announced, cycle: Cycle, ready_s: float | None
) -> Closing:
    """Return what fits in before a moment of the host clock.

    Args:
        state: The press now.
        at_ms: The moment.
        what: What comes then.
        cycle: The usual pressing.
        ready_s: While it heats up: in how long it is ready.
    """
    left_s = (at_ms - state.host_ms) / 1000.0
    close_in_s = left_s - cycle.out_s - CLOSING_MARGIN_S
    next_s = _next_closing_s(state, cycle, ready_s)
    closings = None if close_in_s >= 0.0 else 0
    if next_s is not None:
        closings = 0 if next_s > close_in_s else 1 + int((close_in_s - next_s) / cycle.cycle_s)
    return Closing(
        what=what.value,
        at_ms=at_ms,
        close_by_ms=state.host_ms + int(close_in_s * 1000),
        closings=closings,
        parts=None if closings is None else closings * state.mould.cavities,
        in_hand_late=_out_in_s(state, cycle) > left_s,
    )


def _closed_s(state: State) -> float | None:
    """Return for how long the mould has been closed on the charge in hand; None: it is not."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None or state.cycle.phase in _NOT_CLOSED:
        return None
    return (state.cycle.clock_ms - pressing.closed_ms) / 1000.0


def _out_in_s(state: State, cycle: Cycle) -> float:
    closed_s = _closed_s(state)
    return 0.0 if closed_s is None else max(cycle.out_s - closed_s, 0.0)


def _next_closing_s(state: State, cycle: Cycle, ready_s: float | None) -> float | None:
    """Return how soon the mould may next be closed on a charge; None: nobody heats it."""
    phase, closed_s = state.cycle.phase, _closed_s(state)
    if closed_s is not None:
        return max(cycle.cycle_s - closed_s, 0.0)
    if phase is Phase.FILL:
        filling_s = (state.cycle.clock_ms - state.cycle.since_ms) / 1000.0
        return max(fill_s(state) - filling_s, 0.0)
    if phase is Phase.CLOSE:
        return 0.0
    if phase in _AWAITS_FILL:
        return fill_s(state)
    if phase is Phase.SOAK:
        return soak_left_s(state) + fill_s(state)
    if phase is Phase.PREHEAT and ready_s is not None:
        return ready_s + fill_s(state)
    return None


def _press(state: State, offset_ms: int, found: forecast.Foreseen | None) -> PressAt | None:
    moment = state.plan.press
    if moment is None or not moment.at_utc_ms - offset_ms > state.host_ms:
        return None
    return press_at(state, moment.at_utc_ms - offset_ms, found)


def press_at(state: State, at_ms: int, found: forecast.Foreseen | None) -> PressAt:
    """Return when to switch on to press at a moment of the host clock.

    Args:
        state: The press now.
        at_ms: The moment.
        found: While it heats up: in how long it is ready.
    """
    left_s = (at_ms - state.host_ms) / 1000.0
    phase = state.cycle.phase
    if phase in (Phase.PREHEAT, Phase.SOAK):
        if found is None or found.after_s is None:
            return PressAt(at_ms, late=True, why=None if found is None else found.why)
        ready_ms = _later(state.host_ms, found.after_s)
        return PressAt(at_ms, ready_ms=ready_ms, late=found.after_s > left_s)
    if phase not in _RESTING:
        return PressAt(at_ms)
    return _switch_on(state, at_ms, left_s)


def _switch_on(state: State, at_ms: int, left_s: float) -> PressAt:
    """Return when to switch on; a mould that cools until then takes longer."""
    rests = state.cycle.phase is Phase.PAUSED
    found = forecast.lead(state, forecast.believed(state))
    if found.after_s is None:
        return PressAt(at_ms, late=True, rests=rests, why=found.why)
    ready_s = lead_s = found.after_s
    in_s = left_s - lead_s - margin_s(lead_s)
    if in_s > 0.0 and not rests:
        # As cold as it will be at the latest moment to switch on, so never too late.
        later = forecast.lead(state, forecast.cooled(state, in_s))
        lead_s = lead_s if later.after_s is None else max(later.after_s, lead_s)
        in_s = left_s - lead_s - margin_s(lead_s)
    return PressAt(
        at_ms,
        by_ms=state.host_ms + int(in_s * 1000),
        ready_ms=_later(state.host_ms, ready_s),
        margin_s=margin_s(lead_s),
        late=ready_s > left_s,
        rests=rests,
    )


def margin_s(lead_s: float) -> float:
    """Return what is counted on top of the time to ready: a tenth, at least 5 min."""
    return max(PRESS_MARGIN_LEAST_S, PRESS_MARGIN_PART * lead_s)


def _later(host_ms: int, after_s: float | None) -> int | None:
    return None if after_s is None else host_ms + int(after_s * 1000)
