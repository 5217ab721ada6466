"""Whether the host asks for heat now, and how much: both halves, each second sample."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.control import loop_step
from tawny.core.effects import SendDuty
from tawny.core.equipment import HalfModel
from tawny.core.limits import OPEN_DUTY_MOST, OPEN_HEAT_MOST_S, STUCK_STEP_DUTY
from tawny.core.messages import IN_OPEN
from tawny.core.names import BoardState, LinkStatus, Quality
from tawny.core.state import HalfState, State

CONTROL_LONGEST_S = 1.0


def setpoints_c(state: State) -> tuple[float | None, float | None]:
    """Return what each half is wanted at now; None: no heat wanted."""
    if not state.cycle.heat_wanted:
        return None, None
    recipe = state.cycle.pressing.recipe if state.cycle.pressing else state.recipe
    return recipe.setpoints_c()


def heat_allowed(state: State) -> bool:
    """Say whether every condition for any duty above 0 holds; doubt says no."""
    tele = state.tele
    return (
        state.cycle.heat_wanted
        and not state.ending
        and tele is not None
        and tele.st == BoardState.ARMED.value
        and state.link.status is LinkStatus.UP
        and all(
            half.quality is Quality.GOOD and not half.cut and half.finite
            for half in (state.upper, state.lower)
        )
    )


def duty_most(state: State) -> float:
    """Return the most duty a half may have: 1, half with the mould open, 0 when open too long."""
    tele = state.tele
    if tele is None or not tele.inputs & IN_OPEN:
        return 1.0
    opened_ms = state.cycle.opened_ms
    if opened_ms is not None and state.cycle.clock_ms - opened_ms >= OPEN_HEAT_MOST_S * 1000:
        return 0.0
    return OPEN_DUTY_MOST


def control(state: State) -> tuple[State, SendDuty]:
    """Decide both duties from the mean of the samples since the last time."""
    dt_s = min(max((state.cycle.clock_ms - state.control_ms) / 1000.0, 0.2), CONTROL_LONGEST_S)
    allowed = heat_allowed(state)
    most = duty_most(state) if allowed else 0.0
    wanted_c = setpoints_c(state)
    halves = (state.upper, state.lower)
    models = (state.mould.upper, state.mould.lower)
    done = [
        _half(state, half, model, setpoint_c, dt_s, most if allowed else None)
        for half, model, setpoint_c in zip(halves, models, wanted_c, strict=True)
    ]
    if not all(half.finite for half in done):
        done = [replace(half, duty=0.0) for half in done]
    total = sum(half.duty for half in done)
    cap = state.link.supply_cap
    if total > cap > 0.0:
        done = [replace(half, duty=half.duty * cap / total) for half in done]
    upper, lower = done
    send = SendDuty(
        upper=upper.duty,
        upper_setpoint_c=_sent_c(state, wanted_c[0]),
        lower=lower.duty,
        lower_setpoint_c=_sent_c(state, wanted_c[1]),
    )
    return replace(state, upper=upper, lower=lower, control_ms=state.cycle.clock_ms), send


def _sent_c(state: State, setpoint_c: float | None) -> float:
    """Return the setpoint the board hears: 0 without heat, never above what it takes."""
    if setpoint_c is None or not setpoint_c <= state.link.setpoint_most_c:
        return 0.0
    return setpoint_c


def _half(
    state: State,
    half: HalfState,
    model: HalfModel,
    setpoint_c: float | None,
    dt_s: float,
    most: float | None,
) -> HalfState:
    mean_c = half.sum_c / half.count if half.count else half.mean_c
    half = replace(half, sum_c=0.0, count=0, mean_c=mean_c)
    if (
        most is None
        or setpoint_c is None
        or mean_c is None
        or not setpoint_c <= state.link.setpoint_most_c
    ):
        return replace(half, duty=0.0, integral=0.0)
    step = loop_step(
        model=model,
        setpoint_c=setpoint_c,
        process_value_c=mean_c,
        lagged_duty=half.lagged,
        integral=half.integral,
        dt_s=dt_s,
        duty_most=most,
        ambient_c=state.press.ambient_c,
        window_s=state.link.window_s,
    )
    duty = step.duty
    if half.probe_ms > 0:
        # A register that has not moved for a minute: move the duty and see whether it answers.
        up = duty + STUCK_STEP_DUTY <= most
        duty = min(max(duty + (STUCK_STEP_DUTY if up else -STUCK_STEP_DUTY), 0.0), most)
    return replace(half, duty=duty, integral=step.integral, finite=step.finite)
