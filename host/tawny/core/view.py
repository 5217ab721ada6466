"""From the state to what viewers see: the snapshot, published after each step."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core import aim_view
from tawny.core.aim import first_off
from tawny.core.alarm_list import ALARMS
from tawny.core.alarms import shelvable
from tawny.core.forecast_plan import Forecast, foresee
from tawny.core.forecast_view import ahead_view
from tawny.core.heat import setpoints_c
from tawny.core.loop.guess import thermal_of
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
from tawny.core.pressing import hold_left_s, hold_s
from tawny.core.saying import breathe, figure, ready_at_utc_ms, sentence
from tawny.core.snapshot import (
    AlarmView,
    BoardView,
    HalfView,
    HoldView,
    LinkView,
    RescueView,
    Snapshot,
)
from tawny.core.state import HalfState, State
from tawny.core.tap import next_phase, permissives

UNSEEN = (AlarmState.ACTIVE, AlarmState.RETURNED, AlarmState.LATCHED)


def snapshot(
    state: State,
    *,
    seq: int,
    utc_ms: int,
    simulated: bool,
    simulated_hand: bool = False,
    pressing_id: str = "",
    foreseen: Forecast | None = None,
) -> Snapshot:
    """Return one picture of the press.

    `utc_ms` is the wall clock now: times of day are labels on the host clock. `foreseen` may be
    some seconds old; without it, it is worked out here.
    """
    cycle, link, recipe = state.cycle, state.link, state.recipe_in_use()
    wanted_c = setpoints_c(state)
    offset_ms = utc_ms - state.host_ms
    if foreseen is None:
        foreseen = foresee(state, offset_ms)
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
        armed=_armed(state),
        heat=state.upper.duty > 0.0 or state.lower.duty > 0.0,
        phase=cycle.phase,
        phase_elapsed_s=(cycle.clock_ms - cycle.since_ms) / 1000.0,
        paused_from=cycle.paused_from,
        sentence=sentence(state, offset_ms, foreseen),
        figure=figure(state, foreseen),
        next_phase=next_phase(state),
        permissives=permissives(state),
        setpoint_c=recipe.setpoint_c,
        band_k=recipe.band_k,
        ready_at_utc_ms=ready_at_utc_ms(foreseen, offset_ms),
        pressing_id=pressing_id,
        hold=_hold(state),
        breathe=breathe(state),
        rescue=_rescue(state, offset_ms),
        alarms=_alarms(state, offset_ms),
        last_parts=state.last_parts,
        parts_today=state.parts_today,
        recipes=tuple(one.name for one in state.recipes),
        recording=state.store_ok,
        store_reason=state.store_reason,
        presence_left_s=float(link.presence_left_s) if link.presence_left_s else None,
        desk_viewer=state.desk_viewer,
        viewers=state.viewers,
        lower_setpoint_c=recipe.lower_setpoint_c,
        aim=aim_view.aim_view(state),
        first_off=first_off(state) if cycle.pressing is None else cycle.pressing.first_off,
        ahead=ahead_view(state, foreseen, offset_ms),
        learning=not thermal_of(state.mould).trusted,
    )


def _armed(state: State) -> bool:
    tele = state.tele
    armed = tele is not None and tele.st == BoardState.ARMED.value
    return armed and state.link.status is LinkStatus.UP


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


def _hold(state: State) -> HoldView | None:
    pressing = state.cycle.pressing
    if pressing is None or pressing.closed_ms is None:
        return None
    if state.cycle.phase not in (Phase.BREATHE, Phase.HOLD, Phase.RELEASE):
        return None
    recipe, elapsed_s, left_s = pressing.recipe, hold_s(state), hold_left_s(state)
    off_k = pressing.off_sum_k / pressing.off_count if pressing.off_count else 0.0
    return HoldView(
        elapsed_s=elapsed_s,
        left_s=left_s,
        least_s=recipe.least_s,
        most_s=recipe.most_s,
        equivalent_s=pressing.equivalent_s,
        wanted_equivalent_s=recipe.equivalent_s,
        longer_s=elapsed_s + left_s - recipe.equivalent_s,
        cause_k=off_k,
    )


def _rescue(state: State, offset_ms: int) -> RescueView | None:
    """Return the card with the time of day of its interruption, where this owner saw it."""
    rescue, rescue_ms = state.cycle.rescue, state.cycle.rescue_ms
    if rescue is None or rescue_ms is None:
        return rescue
    return replace(rescue, since_utc_ms=rescue_ms + offset_ms)
