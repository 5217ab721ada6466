"""From the state to what viewers see: the snapshot, its sentence, its one big figure."""

from __future__ import annotations

import math

from tawny.core.alarms import shelvable
from tawny.core.alarm_list import ALARMS
from tawny.core.asked import next_phase, permissives
from tawny.core.equipment import HalfModel
from tawny.core.heat import setpoints_c
from tawny.core.limits import HOT_C
from tawny.core.messages import (
    FIT_SWITCH,
    IN_BUTTON,
    IN_CONTACTOR,
    IN_HOT,
    IN_MAINS,
    IN_OPEN,
)
from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    LinkStatus,
    Phase,
    Quality,
    ResetCause,
)
from tawny.core.pressing import closed_s, hold_left_s
from tawny.core.snapshot import (
    AlarmView,
    BoardView,
    BreatheView,
    Code,
    Figure,
    HalfView,
    HoldView,
    LinkView,
    Snapshot,
)
from tawny.core.state import HalfState, State

UNSEEN = (AlarmState.ACTIVE, AlarmState.RETURNED, AlarmState.LATCHED)


def snapshot(
    state: State,
    *,
    seq: int,
    utc_ms: int,
    simulated: bool,
    simulated_hand: bool = False,
    pressing_id: str = "",
) -> Snapshot:
    """Return one picture of the press.

    Args:
        utc_ms: The wall clock now; times of day are labels on the host clock.
    """
    cycle, link, recipe = state.cycle, state.link, state.recipe
    wanted_c = setpoints_c(state)
    offset_ms = utc_ms - state.host_ms
    return Snapshot(
        seq=seq,
        utc_ms=utc_ms,
        host_s=state.host_ms / 1000.0,
        simulated=simulated,
        simulated_hand=simulated_hand,
        press=state.press.name,
        mould=state.mould.name,
        recipe=recipe.name,
        recipe_version=recipe.version,
        operator=state.operator,
        lot=state.lot,
        link=LinkView(
            status=link.status,
            port=link.port,
            silence_s=max(state.host_ms - link.last_host_ms, 0) / 1000.0 if link.boot >= 0 else 0.0,
            board_id=link.board,
            build=link.build,
            reset_cause=_reset_cause(link.cause),
            bad_lines=link.bad_lines,
            reason=link.reason,
        ),
        board=_board(state),
        upper=_half(state.upper, wanted_c[0]),
        lower=_half(state.lower, wanted_c[1]),
        armed=state.tele is not None and state.tele.st == BoardState.ARMED.value,
        heat=state.upper.duty > 0.0 or state.lower.duty > 0.0,
        phase=cycle.phase,
        phase_elapsed_s=(cycle.clock_ms - cycle.since_ms) / 1000.0,
        paused_from=cycle.paused_from,
        sentence=sentence(state, offset_ms),
        figure=figure(state),
        next_phase=next_phase(state),
        permissives=permissives(state),
        setpoint_c=(cycle.pressing.recipe if cycle.pressing else recipe).setpoint_c,
        band_k=recipe.band_k,
        ready_at_utc_ms=_ready_at(state, offset_ms),
        pressing_id=pressing_id,
        hold=_hold(state),
        breathe=_breathe(state),
        rescue=cycle.rescue,
        alarms=_alarms(state, offset_ms),
        last_parts=state.last_parts,
        parts_today=state.parts_today,
        recipes=tuple(one.name for one in state.recipes),
        recording=state.store_ok,
        store_reason=state.store_reason,
        presence_left_s=float(link.presence_left_s) if link.presence_left_s else None,
        desk_viewer=state.desk_viewer,
        viewers=state.viewers,
    )


def _reset_cause(word: str) -> ResetCause:
    try:
        return ResetCause(word)
    except ValueError:
        return ResetCause.UNKNOWN


def _first_out(word: str) -> FirstOut:
    try:
        return FirstOut(word)
    except ValueError:
        return FirstOut.NONE


def _half(half: HalfState, setpoint_c: float | None) -> HalfView:
    deviation_k = None
    if half.value_c is not None and setpoint_c is not None and half.quality is Quality.GOOD:
        deviation_k = half.value_c - setpoint_c
    return HalfView(
        quality=half.quality,
        process_value_c=half.value_c,
        setpoint_c=setpoint_c,
        deviation_k=deviation_k,
        in_band=half.in_band,
        duty=half.duty,
        delivered=half.delivered,
        raw=half.raw,
    )


def _board(state: State) -> BoardView:
    tele, link = state.tele, state.link
    inputs = 0 if tele is None else tele.inputs
    fitted = bool(link.fitted & FIT_SWITCH) and tele is not None
    return BoardView(
        state=BoardState.BOOT if tele is None else BoardState(tele.st),
        first_out=FirstOut.NONE if tele is None else _first_out(tele.fo),
        trip_c=link.trip_c,
        ceiling_c=link.ceiling_c,
        mould_open=bool(inputs & IN_OPEN) if fitted else None,
        heat_off_button=bool(inputs & IN_BUTTON),
        mains=bool(inputs & IN_MAINS),
        contactor=bool(inputs & IN_CONTACTOR),
        hot_lamp=bool(inputs & IN_HOT),
        arming=link.arming,
        lock_reason="" if link.why in ("", "none") else link.why,
    )


def _alarms(state: State, offset_ms: int) -> tuple[AlarmView, ...]:
    order = {"high": 0, "medium": 1, "low": 2}
    views = [
        AlarmView(
            alarm=one.alarm,
            state=one.state,
            priority=ALARMS[one.alarm].priority,
            since_utc_ms=one.since_ms + offset_ms,
            first_out=one.first_out,
            shelvable=shelvable(one.alarm),
            latching=ALARMS[one.alarm].alarm_class.value != "plain",
            fields=one.fields,
            quiet_until_utc_ms=None
            if one.quiet_until_ms is None
            else one.quiet_until_ms + offset_ms,
        )
        for one in state.alarms
        if one.state is not AlarmState.NORMAL
    ]
    views.sort(
        key=lambda view: (
            view.state not in UNSEEN,
            order[view.priority.value],
            not view.first_out,
            view.since_utc_ms,
        )
    )
    return tuple(views)


def _rise_s(half: HalfState, model: HalfModel, setpoint_c: float, ambient_c: float) -> float | None:
    """Return the seconds at full duty from here to setpoint by the commissioned model."""
    if half.value_c is None:
        return None
    if half.value_c >= setpoint_c:
        return 0.0
    if model.loss_per_s <= 0.0:
        return (setpoint_c - half.value_c) / model.rise_k_per_s
    limit_c = ambient_c + model.rise_k_per_s / model.loss_per_s
    if limit_c <= setpoint_c:
        return None
    return math.log((limit_c - half.value_c) / (limit_c - setpoint_c)) / model.loss_per_s


def ready_in_s(state: State) -> float | None:
    """Return an estimate of the seconds until both halves are soaked, or None if unknown."""
    cycle, mould = state.cycle, state.mould
    if cycle.phase is Phase.SOAK:
        since_ms = cycle.clock_ms if cycle.soaking_ms is None else cycle.soaking_ms
        return max(mould.soak_s() - (cycle.clock_ms - since_ms) / 1000.0, 0.0)
    if cycle.phase is not Phase.PREHEAT:
        return None
    upper_c, lower_c = state.recipe.setpoints_c()
    ambient_c = state.press.ambient_c
    rises = (
        _rise_s(state.upper, mould.upper, upper_c, ambient_c),
        _rise_s(state.lower, mould.lower, lower_c, ambient_c),
    )
    if rises[0] is None or rises[1] is None:
        return None
    lag_s = max(mould.upper.lag_s, mould.lower.lag_s)
    return max(rises[0], rises[1]) + lag_s + mould.soak_s()


def _ready_at(state: State, offset_ms: int) -> int | None:
    left_s = ready_in_s(state)
    return None if left_s is None else state.host_ms + offset_ms + int(left_s * 1000)


def _hold(state: State) -> HoldView | None:
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return None
    if state.cycle.phase not in (Phase.BREATHE, Phase.HOLD, Phase.RELEASE):
        return None
    recipe, elapsed_s = pressing.recipe, closed_s(state)
    left_s = hold_left_s(state) if state.cycle.phase is not Phase.RELEASE else 0.0
    off_k = [
        half.value_c - setpoint_c
        for half, setpoint_c in zip(
            (state.upper, state.lower), recipe.setpoints_c(), strict=True
        )
        if half.value_c is not None
    ]
    return HoldView(
        elapsed_s=elapsed_s,
        left_s=left_s,
        least_s=recipe.least_s,
        most_s=recipe.most_s,
        equivalent_s=pressing.equivalent_s,
        wanted_equivalent_s=recipe.equivalent_s,
        longer_s=elapsed_s + left_s - recipe.equivalent_s,
        cause_k=sum(off_k) / len(off_k) if off_k else 0.0,
    )


def _breathe(state: State) -> BreatheView | None:
    pressing = state.cycle.pressing
    if pressing is None or not pressing.recipe.breaths or pressing.closed_ms is None:
        return None
    done, breaths = len(pressing.breaths_s), pressing.recipe.breaths
    next_in_s = max(breaths[done].at_s - closed_s(state), 0.0) if done < len(breaths) else None
    return BreatheView(done=done, wanted=len(breaths), next_in_s=next_in_s)


def figure(state: State) -> Figure:
    """Return the one big figure of this moment."""
    cycle = state.cycle
    hottest = [half.value_c for half in (state.upper, state.lower) if half.value_c is not None]
    tripped = state.tele is not None and state.tele.st == BoardState.TRIPPED.value
    if tripped or cycle.phase in (Phase.COOL, Phase.IDLE):
        return Figure("temperature", max(hottest)) if hottest else Figure("none")
    match cycle.phase:
        case Phase.PREHEAT | Phase.SOAK:
            left_s = ready_in_s(state)
            return Figure("time_to_ready", left_s) if left_s is not None else Figure("none")
        case Phase.FILL:
            grams = state.recipe.charge_g()
            open_s = (cycle.clock_ms - cycle.since_ms) / 1000.0
            return Figure("grams", grams, over=open_s > state.recipe.fill_most_s)
        case Phase.BREATHE:
            view = _breathe(state)
            next_in_s = None if view is None else view.next_in_s
            return Figure("none") if next_in_s is None else Figure("time_to_breath", next_in_s)
        case Phase.HOLD:
            return Figure("time_left", hold_left_s(state))
        case _:
            return Figure("none")


def sentence(state: State, offset_ms: int) -> Code:  # noqa: PLR0911, C901 - one for each case
    """Return the next action."""
    link, cycle, tele = state.link, state.cycle, state.tele
    if link.status is LinkStatus.REFUSED:
        code = link.reason.code if link.reason is not None else "wrong_device"
        known = code in ("version_refused", "wrong_device")
        return Code(code if known else "wrong_device", dict(link.reason.fields) if link.reason else {})
    if link.boot < 0 or tele is None:
        return Code("connect", {"port": link.port})
    if link.status is not LinkStatus.UP:
        return Code("link_lost", {"silence_s": (state.host_ms - link.last_host_ms) // 1000})
    if tele.st == BoardState.TRIPPED.value:
        return Code("tripped", {"first_out": tele.fo})
    if tele.inputs & IN_BUTTON:
        return Code("heat_off_button")
    if not tele.inputs & IN_MAINS:
        return Code("mains_off")
    if cycle.rescue is not None:
        return Code("rescue")
    if link.arming == "press_arm" and cycle.phase in (Phase.IDLE, Phase.COOL):
        return Code("press_arm")
    return _phase_sentence(state, offset_ms)


def _phase_sentence(state: State, offset_ms: int) -> Code:  # noqa: PLR0911, C901
    cycle, recipe = state.cycle, state.cycle.pressing.recipe if state.cycle.pressing else state.recipe
    hottest_c = max(
        (half.value_c for half in (state.upper, state.lower) if half.value_c is not None),
        default=None,
    )
    match cycle.phase:
        case Phase.IDLE:
            return Code("arm") if cycle.confirmed else Code("start_day")
        case Phase.COOL:
            if cycle.confirmed:
                return Code("arm")
            if hottest_c is None or not hottest_c < HOT_C:
                return Code("cool", {} if hottest_c is None else {"hottest_c": hottest_c})
            return Code("touchable")
        case Phase.PREHEAT:
            at_ms = _ready_at(state, offset_ms)
            return Code("preheat", {} if at_ms is None else {"ready_at_utc_ms": at_ms})
        case Phase.SOAK:
            return Code("soak", {"left_s": ready_in_s(state) or 0.0})
        case Phase.FILL:
            fields: dict[str, str | int | float | bool] = {
                "cavities": state.mould.cavities,
                "charge_g": recipe.charge_g(),
                "residue_g": recipe.residue_g,
                "water_g": recipe.water_g,
            }
            slow = cycle.clock_ms - cycle.since_ms > recipe.fill_most_s * 1000
            return Code("fill_slow" if slow else "fill", fields)
        case Phase.CLOSE:
            return Code("close", {"force": recipe.force, "force_unit": recipe.force_unit})
        case Phase.BREATHE:
            view = _breathe(state)
            if view is None or view.next_in_s is None:
                return Code("hold_no_topup")
            count: dict[str, str | int | float | bool] = {"done": view.done, "wanted": view.wanted}
            if view.next_in_s > 0.0:
                return Code("breathe_wait", {"next_s": view.next_in_s, **count})
            return Code("breathe", {"open_s": recipe.breaths[view.done].open_s, **count})
        case Phase.HOLD:
            if recipe.top_up_below is None:
                return Code("hold_no_topup")
            unit = recipe.force_unit
            return Code("hold", {"topup_force": recipe.top_up_below, "force_unit": unit})
        case _:
            return Code(cycle.phase.value)
