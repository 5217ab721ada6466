"""The pressing in hand: its dose, its figures, its end."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import dose
from tawny.core.effects import PressingEnded
from tawny.core.names import Phase, Quality, Result
from tawny.core.phases import CLOSED
from tawny.core.state import HalfState, PressingState, State

DOSE_PHASES = CLOSED


def begin(state: State) -> PressingState:
    """Return a fresh pressing with its frozen recipe."""
    return PressingState(
        number=state.cycle.next_number, recipe=state.recipe, began_ms=state.cycle.clock_ms
    )


def closed_s(state: State) -> float:
    """Return the press clock since closing, in seconds; 0 while it is not closed."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return 0.0
    return (state.cycle.clock_ms - pressing.closed_ms) / 1000.0


def dose_rate(state: State, recipe_c: tuple[float, float], activation_j_per_mol: float) -> float:
    """Return equivalent seconds for each second, the mean of both faces; 0 when unknown."""
    rates = [
        dose.equivalent_rate(half.value_c, setpoint_c, activation_j_per_mol)
        for half, setpoint_c in zip((state.upper, state.lower), recipe_c, strict=True)
        if half.value_c is not None and half.quality is Quality.GOOD
    ]
    return sum(rates) / 2.0 if len(rates) == 2 else 0.0  # noqa: PLR2004 - both faces


def accumulate(state: State, dt_ms: int, on_ms: tuple[int, int], *, gap: bool) -> State:
    """Add one frame to the pressing in hand."""
    pressing = state.cycle.pressing
    if pressing is None:
        return state
    pressing = replace(
        pressing,
        upper_on_ms=pressing.upper_on_ms + on_ms[0],
        lower_on_ms=pressing.lower_on_ms + on_ms[1],
        upper_peak_c=_peak(pressing.upper_peak_c, state.upper),
        lower_peak_c=_peak(pressing.lower_peak_c, state.lower),
    )
    under_dose = pressing.closed_ms is not None and state.cycle.phase in DOSE_PHASES
    good = state.upper.quality is Quality.GOOD and state.lower.quality is Quality.GOOD
    if under_dose and (gap or not good):
        since_ms = state.cycle.clock_ms - dt_ms - pressing.began_ms
        pressing = replace(
            pressing,
            dose_gap=True,
            gaps=_with_gap(pressing.gaps, since_ms, since_ms + dt_ms),
        )
    elif under_dose:
        recipe = pressing.recipe
        rate = dose_rate(state, recipe.setpoints_c(), recipe.activation_j_per_mol)
        mean_c = _mean_c(state)
        holding = state.cycle.phase is Phase.HOLD and mean_c is not None
        pressing = replace(
            pressing,
            equivalent_s=pressing.equivalent_s + rate * dt_ms / 1000.0,
            severity_min=pressing.severity_min
            + (dose.severity_rate(mean_c) if mean_c is not None else 0.0) * dt_ms / 60_000.0,
            hold_sum_c=pressing.hold_sum_c + (mean_c or 0.0) if holding else pressing.hold_sum_c,
            hold_count=pressing.hold_count + 1 if holding else pressing.hold_count,
        )
    return replace(state, cycle=replace(state.cycle, pressing=pressing))


def _with_gap(
    gaps: tuple[tuple[int, int], ...], start_ms: int, end_ms: int
) -> tuple[tuple[int, int], ...]:
    if gaps and gaps[-1][1] >= start_ms:
        return (*gaps[:-1], (gaps[-1][0], end_ms))
    return (*gaps, (start_ms, end_ms))


def _peak(peak_c: float | None, half: HalfState) -> float | None:
    if half.value_c is None or half.quality is not Quality.GOOD:
        return peak_c
    return half.value_c if peak_c is None else max(peak_c, half.value_c)


def _mean_c(state: State) -> float | None:
    if state.upper.value_c is None or state.lower.value_c is None:
        return None
    return (state.upper.value_c + state.lower.value_c) / 2.0


def hold_left_s(state: State) -> float:
    """Return an estimate of the clock seconds to the end of the hold."""
    pressing = state.cycle.pressing
    if pressing is None:
        return 0.0
    recipe, elapsed_s = pressing.recipe, closed_s(state)
    rate = dose_rate(state, recipe.setpoints_c(), recipe.activation_j_per_mol)
    wanted_s = max(recipe.equivalent_s - pressing.equivalent_s, 0.0)
    by_dose_s = wanted_s / rate if rate > 0.01 else recipe.most_s  # noqa: PLR2004 - cold
    least_s = max(recipe.least_s - elapsed_s, 0.0)
    return min(max(by_dose_s, least_s), max(recipe.most_s - elapsed_s, 0.0))


def hold_over(state: State) -> bool:
    """Say whether dose and least time are reached, or the most time has passed."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return False
    recipe, elapsed_s = pressing.recipe, closed_s(state)
    if elapsed_s >= recipe.most_s:
        return True
    return elapsed_s >= recipe.least_s and pressing.equivalent_s >= recipe.equivalent_s


def ended(state: State, result: Result) -> PressingEnded:
    """Return the figures of the pressing in hand, for sealing."""
    pressing = state.cycle.pressing
    assert pressing is not None  # noqa: S101 - callers hold one
    closed = pressing.closed_ms
    end_ms = pressing.hold_ended_ms or state.cycle.clock_ms
    mould = state.mould
    energy_j = (
        pressing.upper_on_ms * mould.upper.heater_w + pressing.lower_on_ms * mould.lower.heater_w
    ) / 1000.0
    known = closed is not None and not pressing.dose_gap
    recipe = pressing.recipe
    return PressingEnded(
        number=pressing.number,
        figures={
            "result": result,
            "phase_at_end": state.cycle.phase,
            "upper_peak_c": pressing.upper_peak_c,
            "lower_peak_c": pressing.lower_peak_c,
            "mean_hold_c": pressing.hold_sum_c / pressing.hold_count
            if pressing.hold_count
            else None,
            "hold_s": (end_ms - closed) / 1000.0 if closed is not None else 0.0,
            "equivalent_s": pressing.equivalent_s if known else None,
            "severity_min": pressing.severity_min if known else None,
            "dose_gap": pressing.dose_gap,
            "gaps": pressing.gaps,
            "energy_kwh": energy_j / 3.6e6,
            "breaths_s": pressing.breaths_s,
            "alarms": pressing.alarms,
            "closed_s": (closed - pressing.began_ms) / 1000.0 if closed is not None else None,
            "recipe": recipe,
            "reason": pressing.reason,
        },
    )
