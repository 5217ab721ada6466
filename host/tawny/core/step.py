"""The heart: event + state -> next state + effects. Pure, the same live and in simulation.

Control, dose and phases run on the board's clock; silence, presence and link alarms on
the host's. Replaying the recorded events gives the same states and duties.
"""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.alarms import judge
from tawny.core.asked import advance, alarm_notes, asked
from tawny.core.conditions import conditions
from tawny.core.effects import AnyEffect, Bell, Journal
from tawny.core.events import (
    AnyEvent,
    Arming,
    Asked,
    BoardRestarted,
    BoardSaid,
    BoardStatus,
    DeskChanged,
    Frame,
    LinkDown,
    LinkUp,
    Refusal,
    StoreChanged,
)
from tawny.core.heat import control, setpoints_c
from tawny.core.intake import go_stale, on_time_ms, take_in
from tawny.core.limits import CONTROL_EVERY_FRAMES, DESK_HEAT_OFF_S, GAP_S, SILENCE_DISARM_MS, STALE_S
from tawny.core.loss import lose_heat
from tawny.core.names import LinkStatus, Phase, Result
from tawny.core.pressing import accumulate
from tawny.core.progress import progress
from tawny.core.snapshot import Code
from tawny.core.state import State

Effects = tuple[AnyEffect, ...]
NEXT_WRAP = 256
BURST = 8  # more presses between two frames than a hand can make: a restart, not presses
SILENCE_MARGIN_MS = 250
RESTART_SHOWN_MS = 5000


def step(state: State, event: AnyEvent) -> tuple[State, Effects]:
    """Return the next state and what is to be done about one event."""
    host_ms = max(event.host_ms, state.host_ms)
    state = replace(state, host_ms=host_ms)
    match event:
        case Frame():
            state, effects = _frame(state, event)
        case Asked():
            state, effects = asked(state, event.who, event.intent, host_ms)
        case _:
            state, effects = _other(state, event)
    state, quiet = _silence(state)
    state, sounded = _alarms(state)
    return state, effects + quiet + sounded


def _frame(state: State, event: Frame) -> tuple[State, Effects]:
    link, tele = state.link, event.tele
    same_boot = link.boot == event.boot and link.board_ms >= 0
    dt_ms = event.board_ms - link.board_ms if same_boot else 0
    gap = not same_boot or not 0 <= dt_ms <= GAP_S * 1000
    clock_ms = state.cycle.clock_ms + max(dt_ms, 0)
    wanted_c = setpoints_c(state)
    on_ms = (
        on_time_ms(state.upper, tele.uo, gap=gap),
        on_time_ms(state.lower, tele.lo, gap=gap),
    )
    upper = take_in(
        state.upper,
        value=tele.u,
        raw=tele.ur,
        counter=tele.un,
        on_ms=tele.uo,
        board_ms=event.board_ms,
        dt_ms=max(dt_ms, 0),
        gap=gap,
        setpoint_c=wanted_c[0],
        band_k=state.recipe.band_k,
        model=state.mould.upper,
    )
    lower = take_in(
        state.lower,
        value=tele.l,
        raw=tele.lr,
        counter=tele.ln,
        on_ms=tele.lo,
        board_ms=event.board_ms,
        dt_ms=max(dt_ms, 0),
        gap=gap,
        setpoint_c=wanted_c[1],
        band_k=state.recipe.band_k,
        model=state.mould.lower,
    )
    presses = 0 if link.next_count < 0 or not same_boot else (tele.k - link.next_count) % NEXT_WRAP
    state = replace(
        state,
        upper=upper,
        lower=lower,
        tele=tele,
        frames=state.frames + 1,
        link=replace(
            link,
            status=LinkStatus.UP,
            boot=event.boot,
            board_ms=event.board_ms,
            last_host_ms=state.host_ms,
            next_count=tele.k,
        ),
        cycle=replace(state.cycle, clock_ms=clock_ms),
    )
    effects: Effects = ()
    if 0 < presses < BURST:
        state, effects, _ = advance(state, state.cycle.phase, state.host_ms, from_board=True)
    state = accumulate(state, max(dt_ms, 0), on_ms, gap=gap)
    state, moved = progress(state)
    effects += moved
    if state.frames % CONTROL_EVERY_FRAMES == 0:
        state, send = control(state)
        effects = (*effects, send)
    return state, effects


def _other(state: State, event: AnyEvent) -> tuple[State, Effects]:  # noqa: PLR0911 - one each
    match event:
        case LinkUp():
            return _link_up(state, event)
        case LinkDown():
            status = LinkStatus.REFUSED if event.refused else LinkStatus.CLOSED
            link = replace(state.link, status=status, reason=event.reason, arming="")
            note = Journal(kind="link_down", payload={"reason": event.reason.code})
            return _stale(replace(state, link=link)), (note,)
        case BoardRestarted():
            return _restarted(state, event.boot, event.cause)
        case BoardSaid():
            payload: dict[str, object] = {"code": event.code, "value_c": event.value_c}
            return state, (Journal(kind="board_event", payload=payload),)
        case BoardStatus():
            link = replace(
                state.link,
                why=event.why,
                bad_lines=event.bad_lines,
                presence_left_s=event.presence_left_s,
                operations=event.operations,
            )
            return replace(state, link=link), ()
        case Arming(step=arming):
            arming = "" if arming in ("armed", "expired") else arming
            return replace(state, link=replace(state.link, arming=arming)), ()
        case Refusal():
            link = replace(
                state.link,
                refused_kind=event.kind,
                refused_why=event.why,
                refused_ms=state.host_ms,
                arming="" if event.kind in ("arm", "answer") else state.link.arming,
            )
            note = Journal(kind="refused", payload={"kind": event.kind, "why": event.why})
            return replace(state, link=link), () if event.kind == "duty" else (note,)
        case StoreChanged():
            return replace(state, store_ok=event.ok, store_reason=event.reason), ()
        case DeskChanged():
            state = replace(
                state,
                desk_viewer=event.viewer,
                desk_empty_s=event.empty_s,
                viewers=event.viewers,
            )
            if event.empty_s >= DESK_HEAT_OFF_S and state.cycle.heat_wanted:
                return lose_heat(state, Code("no_desk"), Result.INTERRUPTED)
            return state, ()
        case _:
            return state, ()


def _link_up(state: State, event: LinkUp) -> tuple[State, Effects]:
    before = state.link
    effects: Effects = (
        Journal(
            kind="link_up",
            payload={
                "board": event.board,
                "build": event.build,
                "boot": event.boot,
                "cause": event.cause,
                "latch": event.latch,
                "trip_c": event.trip_c,
                "ceiling_c": event.ceiling_c,
            },
        ),
    )
    link = replace(
        before,
        status=LinkStatus.UP,
        reason=None,
        port=event.port,
        board=event.board,
        build=event.build,
        cause=event.cause,
        ceiling_c=event.ceiling_c,
        trip_c=event.trip_c,
        setpoint_most_c=event.setpoint_most_c,
        supply_cap=event.supply_cap,
        window_s=event.window_ms / 1000.0,
        fitted=event.fitted,
        last_host_ms=state.host_ms,
        next_count=-1,
        arming="",
    )
    restarted = before.boot >= 0 and before.boot != event.boot
    state = replace(state, link=link)
    if restarted:
        state, more = _restarted(state, event.boot, event.cause)
        effects += more
    return state, effects


def _restarted(state: State, boot: int, cause: str) -> tuple[State, Effects]:
    """A board that started again has forgotten its session and is not heating."""
    link = replace(state.link, boot=boot, board_ms=-1, next_count=-1, cause=cause, arming="")
    cycle = replace(state.cycle, restarted=cause)
    state = replace(state, link=link, cycle=cycle)
    note = Journal(kind="board_restarted", payload={"boot": boot, "cause": cause})
    if not state.cycle.heat_wanted:
        return state, (note,)
    state, effects = lose_heat(state, Code("board_reset", {"reset_cause": cause}), Result.INTERRUPTED)
    return state, (note, *effects)


def _stale(state: State) -> State:
    return replace(state, upper=go_stale(state.upper), lower=go_stale(state.lower))


def _silence(state: State) -> tuple[State, Effects]:
    """Judge how long the board has been silent, on the host's clock."""
    link = state.link
    silent_ms = state.host_ms - link.last_host_ms
    if link.boot < 0 or silent_ms <= STALE_S * 1000:
        if state.cycle.restarted and link.status is LinkStatus.UP and (
            state.cycle.clock_ms - state.cycle.since_ms > RESTART_SHOWN_MS
            or state.cycle.phase is Phase.IDLE
        ):
            return replace(state, cycle=replace(state.cycle, restarted="")), ()
        return state, ()
    if link.status is LinkStatus.UP:
        state = _stale(replace(state, link=replace(link, status=LinkStatus.STALE)))
    if silent_ms > SILENCE_DISARM_MS + SILENCE_MARGIN_MS and state.cycle.heat_wanted:
        # The board has switched off by itself: what was under way is interrupted.
        cause = Code("link_lost", {"silence_s": silent_ms // 1000})
        return lose_heat(state, cause, Result.INTERRUPTED)
    return state, ()


def _alarms(state: State) -> tuple[State, Effects]:
    true_now = conditions(state, state.host_ms)
    if not true_now and not state.alarms:
        if state.upper.cut or state.lower.cut:
            return _uncut(state), ()
        return state, ()
    standing, changes = judge(state.alarms, true_now, state.host_ms)
    if not changes:
        return replace(state, alarms=standing) if standing != state.alarms else state, ()
    bells = tuple(Bell(one.alarm, one.fields) for one in changes if one.announce)
    state = replace(state, alarms=standing)
    pressing = state.cycle.pressing
    raised = tuple(
        bell.alarm for bell in bells if pressing is None or bell.alarm not in pressing.alarms
    )
    if pressing is not None and raised:
        pressing = replace(pressing, alarms=pressing.alarms + raised)
        state = replace(state, cycle=replace(state.cycle, pressing=pressing))
    if (state.upper.cut or state.lower.cut) and not any(
        one.alarm == "overtemp_host" for one in standing
    ):
        state = _uncut(state)
    return state, alarm_notes(changes) + bells


def _uncut(state: State) -> State:
    """Give heat back after the cut-off alarm was seen, its cause gone, and reset."""
    return replace(
        state,
        upper=replace(state.upper, cut=state.upper.above_cutoff),
        lower=replace(state.lower, cut=state.lower.above_cutoff),
    )
