"""The pressing in hand: its dose, its figures, its end."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec.structs import replace

from tawny.core import dose
from tawny.core.aim import first_off
from tawny.core.effects import PressingEnded
from tawny.core.limits import STALE_S
from tawny.core.names import Phase, Quality, Result
from tawny.core.state import HalfState, PressingState, State

OPEN_IN_HOLD_MS = 5000  # a late breath lifts the mould for less than that
BRIDGED_MS = int(STALE_S * 1000)  # a reading stands in for the ones missing so long, no longer
RATE_LEAST = 0.01  # colder, the dose will not end the hold


def begin(state: State) -> PressingState:
    """Return a fresh pressing with its frozen recipe."""
    return PressingState(
        number=state.cycle.next_number,
        recipe=state.recipe,
        began_ms=state.cycle.clock_ms,
        first_off=first_off(state),
    )


def anew(pressing: PressingState) -> PressingState:
    """Return the pressing as if it had not been closed: the mould was opened again."""
    return replace(
        pressing,
        closed_ms=None,
        equivalent_s=0.0,
        severity_min=0.0,
        dose_gap=False,
        off_sum_k=0.0,
        off_count=0,
    )


def with_alarms(pressing: PressingState, codes: Iterable[str], host_ms: int) -> PressingState:
    """Note alarms that are raised now, each once."""
    fresh = tuple(code for code in dict.fromkeys(codes) if code not in pressing.alarms)
    return replace(
        pressing,
        alarms=pressing.alarms + fresh,
        alarms_ms=pressing.alarms_ms + (host_ms,) * len(fresh),
    )


def closed_s(state: State) -> float:
    """Return the press clock since closing, in seconds; 0 while it is not closed."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return 0.0
    return (state.cycle.clock_ms - pressing.closed_ms) / 1000.0


def hold_s(state: State) -> float:
    """Return how long the hold has lasted from closing, up to its end where that has come."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return 0.0
    end_ms = pressing.hold_ended_ms
    end_ms = state.cycle.clock_ms if end_ms is None else end_ms
    return (end_ms - pressing.closed_ms) / 1000.0


def _faces_c(state: State) -> tuple[float, float] | None:
    """Return both halves' values where they can be counted with, or None."""
    found = [
        half.value_c
        for half in (state.upper, state.lower)
        if half.value_c is not None and _counts(half, state.link.board_ms)
    ]
    return (found[0], found[1]) if len(found) == 2 else None  # noqa: PLR2004 - both faces


def _counts(half: HalfState, board_ms: int) -> bool:
    return half.quality is Quality.GOOD or 0 <= board_ms - half.fresh_ms <= BRIDGED_MS


def _opened(state: State) -> bool:
    """Say whether the mould was opened in mid-hold: what the part gets then, nobody knows."""
    opened_ms = state.cycle.opened_ms
    open_ms = 0 if opened_ms is None else state.cycle.clock_ms - opened_ms
    return state.cycle.phase is Phase.HOLD and open_ms >= OPEN_IN_HOLD_MS


def dose_rate(state: State) -> float:
    """Return equivalent seconds for each second, the mean of both faces; 0 when unknown."""
    pressing, faces_c = state.cycle.pressing, _faces_c(state)
    if pressing is None or faces_c is None:
        return 0.0
    recipe = pressing.recipe
    return sum(
        dose.equivalent_rate(value_c, setpoint_c, recipe.activation_j_per_mol) / 2.0
        for value_c, setpoint_c in zip(faces_c, recipe.setpoints_c(), strict=True)
    )


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
    faces_c = None if gap or _opened(state) else _faces_c(state)
    if pressing.closed_ms is None:
        pass
    elif faces_c is None:
        end_ms = state.cycle.clock_ms - pressing.began_ms
        pressing = replace(
            pressing,
            dose_gap=pressing.dose_gap or pressing.hold_ended_ms is None,
            gaps=_with_gap(pressing.gaps, end_ms - dt_ms, end_ms),
        )
    elif pressing.hold_ended_ms is None:
        pressing = _dosed(state, pressing, faces_c, dt_ms)
    elif state.cycle.phase is Phase.RELEASE:
        more_s = dose_rate(state) * dt_ms / 1000.0
        pressing = replace(pressing, release_equivalent_s=pressing.release_equivalent_s + more_s)
    return replace(state, cycle=replace(state.cycle, pressing=pressing))


def _dosed(
    state: State, pressing: PressingState, faces_c: tuple[float, float], dt_ms: int
) -> PressingState:
    mean_c = (faces_c[0] + faces_c[1]) / 2.0
    wanted_c = pressing.recipe.setpoints_c()
    holding = state.cycle.phase is Phase.HOLD
    return replace(
        pressing,
        equivalent_s=pressing.equivalent_s + dose_rate(state) * dt_ms / 1000.0,
        severity_min=pressing.severity_min + dose.severity_rate(mean_c) * dt_ms / 60_000.0,
        hold_sum_c=pressing.hold_sum_c + mean_c if holding else pressing.hold_sum_c,
        hold_count=pressing.hold_count + 1 if holding else pressing.hold_count,
        off_sum_k=pressing.off_sum_k + mean_c - (wanted_c[0] + wanted_c[1]) / 2.0,
        off_count=pressing.off_count + 1,
    )


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


def hold_left_s(state: State) -> float:
    """Return an estimate of the clock seconds to the end of the hold."""
    pressing = state.cycle.pressing
    if pressing is None or pressing.hold_ended_ms is not None:
        return 0.0
    recipe, elapsed_s, rate = pressing.recipe, closed_s(state), dose_rate(state)
    wanted_s = max(recipe.equivalent_s - pressing.equivalent_s, 0.0)
    by_dose_s = wanted_s / rate if rate > RATE_LEAST else recipe.most_s
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


def ended(state: State, result: Result, *, phase: Phase | None = None) -> PressingEnded:
    """Return the figures of the pressing in hand, for sealing.

    `phase` is where it ended, where that is not the present one.
    """
    pressing = state.cycle.pressing
    assert pressing is not None  # noqa: S101 - callers hold one
    closed_ms, mould = pressing.closed_ms, state.mould
    energy_j = (
        pressing.upper_on_ms * mould.upper.heater_w + pressing.lower_on_ms * mould.lower.heater_w
    ) / 1000.0
    known = closed_ms is not None and not pressing.dose_gap
    held = pressing.hold_count > 0
    return PressingEnded(
        number=pressing.number,
        figures={
            "result": result,
            "phase_at_end": state.cycle.phase if phase is None else phase,
            "upper_peak_c": pressing.upper_peak_c,
            "lower_peak_c": pressing.lower_peak_c,
            "mean_hold_c": pressing.hold_sum_c / pressing.hold_count if held else None,
            "hold_s": hold_s(state),
            "equivalent_s": pressing.equivalent_s if known else None,
            "severity_min": pressing.severity_min if known else None,
            "release_equivalent_s": pressing.release_equivalent_s,
            "dose_gap": pressing.dose_gap,
            "gaps": pressing.gaps,
            "energy_kwh": energy_j / 3.6e6,
            "breaths_s": pressing.breaths_s,
            "alarms": pressing.alarms,
            "alarms_ms": pressing.alarms_ms,
            "closed_s": (None if closed_ms is None else (closed_ms - pressing.began_ms) / 1000.0),
            "recipe": pressing.recipe,
            "reason": pressing.reason,
            "first_off": pressing.first_off,
        },
    )
