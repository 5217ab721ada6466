"""What the link tells: up, down, a board that started again, its slow status, its silence."""

from __future__ import annotations

from msgspec.structs import replace

from tawny.core.effects import AnyEffect, Journal
from tawny.core.events import (
    Arming,
    BoardRestarted,
    BoardStatus,
    LimitsSeen,
    LinkDown,
    LinkUp,
    MouldSeen,
    Refusal,
)
from tawny.core.intake import go_stale
from tawny.core.limits import SILENCE_DISARM_MS, STALE_S
from tawny.core.loss import lose_heat
from tawny.core.names import LinkStatus, Result
from tawny.core.snapshot import Code
from tawny.core.state import State

Effects = tuple[AnyEffect, ...]
SILENCE_MARGIN_MS = 250
RESTART_SHOWN_MS = 5000


def link_up(state: State, event: LinkUp) -> tuple[State, Effects]:
    """Take the board as it introduced itself: a new session, disarmed, nothing read yet."""
    before = state.link
    note = Journal(
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
        mould_slot=event.mould_slot,
        last_host_ms=state.host_ms,
        next_count=-1,
        arming="",
        bad_rate=0,
        presence_left_s=0,
    )
    # The last telemetry belongs to another session, and a pattern of the buzzer ended with it.
    state = _stale(replace(state, link=link, tele=None))
    state = replace(state, cycle=replace(state.cycle, sound="off"))
    if before.boot in (-1, event.boot):
        if state.cycle.restarted:
            state = replace(state, cycle=replace(state.cycle, restarted_ms=state.host_ms))
        return replace(state, link=replace(link, boot=event.boot)), (note,)
    state, more = board_restarted(state, event.boot, event.cause)
    return state, (note, *more)


def link_down(state: State, event: LinkDown) -> tuple[State, Effects]:
    """Stop using what was read: the board is closed, lost or refused."""
    status = LinkStatus.REFUSED if event.refused else LinkStatus.CLOSED
    link = replace(state.link, status=status, reason=event.reason, arming="")
    note = Journal(kind="link_down", payload={"reason": event.reason.code})
    return _stale(replace(state, link=link)), (note,)


def board_restarted(state: State, boot: int, cause: str) -> tuple[State, Effects]:
    """A board that started again has forgotten its session and is not heating."""
    link = replace(state.link, boot=boot, board_ms=-1, next_count=-1, cause=cause, arming="")
    cycle = replace(state.cycle, restarted=cause, restarted_ms=state.host_ms)
    state = replace(state, link=link, cycle=cycle)
    note = Journal(kind="board_restarted", payload={"boot": boot, "cause": cause})
    if not state.cycle.heat_wanted:
        return state, (note,)
    why = Code("board_reset", {"reset_cause": cause})
    state, effects = lose_heat(state, why, Result.INTERRUPTED)
    return state, (note, *effects)


def link_said(
    state: State, event: BoardRestarted | BoardStatus | LimitsSeen | MouldSeen | Arming | Refusal
) -> tuple[State, Effects]:
    """Take in what came beside the telemetry."""
    link = state.link
    match event:
        case BoardRestarted(boot=boot, cause=cause):
            return board_restarted(state, boot, cause)
        case BoardStatus():
            link = replace(
                link,
                why=event.why,
                bad_lines=event.bad_lines,
                bad_rate=max(event.bad_lines - link.bad_lines, 0),
                presence_left_s=event.presence_left_s,
                operations=event.operations,
            )
            return replace(state, link=link), ()
        case LimitsSeen(trip_c=trip_c, setpoint_most_c=most_c):
            return replace(state, link=replace(link, trip_c=trip_c, setpoint_most_c=most_c)), ()
        case MouldSeen(slot=slot):
            return replace(state, link=replace(link, mould_slot=slot)), ()
        case Arming(step=arming):
            arming = "" if arming in ("armed", "expired") else arming
            return replace(state, link=replace(link, arming=arming)), ()
        case Refusal():
            arming = "" if event.kind in ("arm", "answer") else link.arming
            link = replace(
                link,
                refused_kind=event.kind,
                refused_why=event.why,
                refused_ms=state.host_ms,
                arming=arming,
            )
            note = Journal(kind="refused", payload={"kind": event.kind, "why": event.why})
            return replace(state, link=link), () if event.kind == "duty" else (note,)


def silence(state: State) -> tuple[State, Effects]:
    """Judge how long the board has been silent, on the host's clock."""
    link, cycle = state.link, state.cycle
    silent_ms = state.host_ms - link.last_host_ms
    if link.boot < 0 or silent_ms <= STALE_S * 1000:
        shown = state.host_ms - cycle.restarted_ms >= RESTART_SHOWN_MS
        if cycle.restarted and shown and link.status is LinkStatus.UP:
            return replace(state, cycle=replace(cycle, restarted="")), ()
        return state, ()
    if link.status is LinkStatus.UP:
        state = _stale(replace(state, link=replace(link, status=LinkStatus.STALE)))
    if silent_ms > SILENCE_DISARM_MS + SILENCE_MARGIN_MS and cycle.heat_wanted:
        # The board has switched off by itself: what was under way is interrupted.
        cause = Code("link_lost", {"silence_s": silent_ms // 1000})
        return lose_heat(state, cause, Result.INTERRUPTED)
    return state, ()


def _stale(state: State) -> State:
    return replace(state, upper=go_stale(state.upper), lower=go_stale(state.lower))
