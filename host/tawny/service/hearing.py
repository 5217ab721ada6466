"""From what the link heard to the events the core knows; nothing is decided here."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from tawny.core import events as ev
from tawny.link import events as link


def core_event(event: link.LinkEvent, host_ms: int, port: str) -> ev.AnyEvent | None:
    """Return the core's event for one of the link's, or None where the core need not know."""
    if isinstance(event, link.Telemetry):  # five a second, before all others
        return ev.Frame(host_ms=host_ms, boot=event.boot, board_ms=event.board_ms, tele=event.tele)
    if isinstance(event, link.Up):
        return _up(event, host_ms, port)
    make = _MAKERS.get(type(event))
    return None if make is None else make(event, host_ms)


def _up(event: link.Up, host_ms: int, port: str) -> ev.LinkUp:
    here, limits, mould = event.here, event.limits, event.mould
    return ev.LinkUp(
        host_ms=host_ms,
        port=port,
        board=here.board,
        build=here.build,
        boot=here.boot,
        cause=here.cause,
        latch=here.latch,
        ceiling_c=_c(limits.ceil),
        trip_c=_c(limits.trip),
        setpoint_most_c=_c(limits.set),
        supply_cap=limits.cap / 1000.0,
        window_ms=limits.win,
        fitted=limits.fit,
        mould_slot=mould.in_use,
        upper_rise_k_per_s=mould.ur / 1000.0,
        upper_lag_s=mould.ul / 10.0,
        lower_rise_k_per_s=mould.lr / 1000.0,
        lower_lag_s=mould.ll / 10.0,
    )


def _down(event: link.Down, host_ms: int) -> ev.AnyEvent:
    return ev.LinkDown(host_ms=host_ms, reason=event.reason, refused=event.refused)


def _reset(event: link.BoardReset, host_ms: int) -> ev.AnyEvent:
    return ev.BoardRestarted(host_ms=host_ms, boot=event.boot, cause=event.cause)


def _status(event: link.Status, host_ms: int) -> ev.AnyEvent:
    stat = event.stat
    return ev.BoardStatus(
        host_ms=host_ms,
        why=stat.why,
        bad_lines=stat.bad,
        presence_left_s=stat.pl,
        window_left_s=stat.ch,
        operations=stat.ops,
    )


def _limits(event: link.LimitsRead, host_ms: int) -> ev.AnyEvent:
    limits = event.limits
    return ev.LimitsSeen(host_ms=host_ms, trip_c=_c(limits.trip), setpoint_most_c=_c(limits.set))


def _mould(event: link.MouldRead, host_ms: int) -> ev.AnyEvent:
    return ev.MouldSeen(host_ms=host_ms, slot=event.mould.in_use)


def _logged(event: link.Logged, host_ms: int) -> ev.AnyEvent:
    said = event.event
    value_c = said.val / 10.0 if isinstance(said.val, int) else None
    return ev.BoardSaid(host_ms=host_ms, code=said.code, value_c=value_c)


def _arming(event: link.ArmingStep, host_ms: int) -> ev.AnyEvent:
    return ev.Arming(host_ms=host_ms, step=event.step)


def _refusal(event: link.Refusal, host_ms: int) -> ev.AnyEvent:
    return ev.Refusal(host_ms=host_ms, kind=event.kind, why=event.why)


# Each maker takes the very kind it stands under, which a table cannot tell the type checker.
_MAKERS: Final[dict[type[link.LinkEvent], Callable[[Any, int], ev.AnyEvent]]] = {
    link.Down: _down,
    link.BoardReset: _reset,
    link.Status: _status,
    link.LimitsRead: _limits,
    link.MouldRead: _mould,
    link.Logged: _logged,
    link.ArmingStep: _arming,
    link.Refusal: _refusal,
}


def _c(value: int | str) -> float:
    """Return tenths of a degree as degrees; a limit that is no number permits nothing."""
    return value / 10.0 if isinstance(value, int) else 0.0
