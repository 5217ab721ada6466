"""What each request does to the board, and its one reply: section 4 of `PROTOCOL.md`.

The reasons for a refusal are checked in the order of the page's table.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from tawny.core import messages as m
from tawny.core.names import BoardState, Half
from tawny.sim import limits as lim
from tawny.sim.conditions import may_commission
from tawny.sim.memory import HalfSlot, Slot
from tawny.sim.session import token_of

if TYPE_CHECKING:
    from tawny.sim.board import Board

_NO_SESSION: Final = "0000"
_RISE: Final = range(1, 5001)  # mK/s
_LAG: Final = range(1, 3001)  # tenths of a second
_HEAT_UP: Final = range(60, 7201)  # seconds
_EXPIRY: Final = range(lim.EXPIRY_LEAST_MS, lim.EXPIRY_MOST_MS + 1)


def answer(board: Board, message: m.ToBoard) -> m.FromBoard:
    """Carry a request out or refuse it; return the reply."""
    if isinstance(message, m.Hello):
        return _hello(board, message)
    why = board.session.refusal(message.s, message.q)
    if why:
        return m.Refused(message.q, why)
    reply = _CARRY_OUT[type(message)](board, message)
    if isinstance(reply, str):
        return m.Refused(message.q, reply)
    return m.Done(message.q) if reply is None else reply


def _hello(board: Board, ask: m.Hello) -> m.FromBoard:
    token = _NO_SESSION
    if ask.v == m.PROTOCOL_MAJOR:
        if board.session.token:
            return m.Refused(ask.q, "busy")
        contents = board.memory.contents
        contents.sessions += 1
        board.memory.save()
        token = token_of(contents.sessions)
        board.output.cut()
        board.session.open(token, ask.q, board.now_ms)
        board.settle()
    return m.Here(
        ask.q,
        m.PROTOCOL_MAJOR,
        m.PROTOCOL_MINOR,
        board.build.build,
        board.build.board,
        board.boot,
        board.cause.value,
        board.memory.contents.latch.value,
        token,
    )


def _limits(board: Board, ask: m.LimitsAsk) -> m.FromBoard:
    trip = board.memory.contents.trip_tenths
    return m.Limits(
        ask.q,
        lim.CEILING_TENTHS,
        trip,
        setpoint_most(trip),
        board.build.cap,
        board.build.window_ms,
        board.build.output,
        board.build.zones,
        board.build.fit,
    )


def setpoint_most(trip_tenths: int) -> int:
    """Return the highest setpoint taken with a trip point, in tenths."""
    return min(lim.SETPOINT_MOST_TENTHS, trip_tenths - lim.SETPOINT_BELOW_TRIP_TENTHS)


def _mould(board: Board, ask: m.MouldAsk) -> m.FromBoard | str:
    if not 0 <= ask.k <= lim.SLOTS:
        return "slot"
    in_use = board.memory.contents.slot_in_use
    number = ask.k or in_use
    slot = board.memory.contents.slots.get(number, Slot())
    nothing = HalfSlot(0, 0, 0)
    upper, lower = slot.upper or nothing, slot.lower or nothing
    return m.Mould(
        ask.q,
        number,
        in_use,
        upper.rise,
        upper.lag,
        upper.heat_up,
        lower.rise,
        lower.lag,
        lower.heat_up,
    )


def _use(board: Board, ask: m.Use) -> str | None:
    if not 1 <= ask.k <= lim.SLOTS or ask.k not in board.memory.contents.slots:
        return "slot"
    if board.state is BoardState.ARMED:
        return "state"
    if ask.k != board.memory.contents.slot_in_use:
        board.memory.contents.slot_in_use = ask.k
        board.judge_by_slot()
        board.settle()
        board.event("used")
    return None


def _store(board: Board, ask: m.StoreMould) -> str | None:
    if not 1 <= ask.k <= lim.SLOTS:
        return "slot"
    if not _fitted(board, ask.h):
        return "range"
    if ask.r not in _RISE or ask.lag not in _LAG or ask.up not in _HEAT_UP:
        return "range"
    if board.state is BoardState.ARMED:
        return "state"
    if not board.arm_button.held:
        return "hand"
    slot = board.memory.contents.slots.setdefault(ask.k, Slot())
    stored = HalfSlot(ask.r, ask.lag, ask.up)
    if ask.h == Half.UPPER.value:
        slot.upper = stored
    else:
        slot.lower = stored
    board.judge_by_slot()
    board.settle()
    board.event("stored")
    return None


def _duty(board: Board, ask: m.Duty) -> str | None:
    if not board.voice.is_echo(ask.e):
        return "echo"
    if ask.x not in _EXPIRY or (ask.u and not ask.us) or (ask.l and not ask.ls):
        return "range"
    if (ask.l or ask.ls) and not _fitted(board, Half.LOWER.value):
        return "range"
    if not max(ask.us, ask.ls) <= setpoint_most(board.memory.contents.trip_tenths):
        return "limit"
    heats = ask.u > 0 or ask.l > 0
    if heats and board.state is not BoardState.ARMED:
        return "state"
    board.session.fed_ms = board.now_ms
    board.setpoints[:] = ask.us, ask.ls
    if board.commissioning.half is None:
        board.output.take(board.now_ms, (ask.u, ask.l), board.now_ms + ask.x)
    return None


def _arm(board: Board, ask: m.ArmAsk) -> m.FromBoard | str:
    if board.state is not BoardState.READY:
        return "state"
    return m.Challenge(ask.q, board.arming.ask(board.now_ms))


def _answer(board: Board, ask: m.ArmAnswer) -> str | None:
    if board.state is not BoardState.READY:
        return "state"
    return None if board.arming.answer(ask.a, ask.s) else "wrong"


def _disarm(board: Board, _: m.Disarm) -> None:
    board.end_commissioning()
    board.disarm("disarmed")


def _charge(board: Board, _: m.Charge) -> str | None:
    if board.state is not BoardState.ARMED:
        return "state"
    if board.charge_window.is_too_soon(board.now_ms):
        return "rate"
    board.announce_charge()
    return None


def _trip(board: Board, ask: m.TripSet) -> str | None:
    wanted, present = ask.c, board.memory.contents.trip_tenths
    if isinstance(wanted, str) or not lim.TRIP_LEAST_TENTHS <= wanted <= lim.CEILING_TENTHS:
        return "range"
    if wanted > present:
        if board.state is BoardState.ARMED:
            return "state"
        if not board.arm_button.held:
            return "hand"
    if wanted != present:
        board.memory.contents.trip_tenths = wanted
        board.event("tripset", wanted)
    return None


def _heat(board: Board, ask: m.CommissioningHeat) -> str | None:
    half = 0 if ask.h == Half.UPPER.value else 1
    if not board.voice.is_echo(ask.e):
        return "echo"
    if not _fitted(board, ask.h) or ask.x not in _EXPIRY:
        return "range"
    tenths = board.readings[half].tenths
    if tenths is not None and tenths >= lim.COMMISSIONING_MOST_TENTHS:
        return "limit"
    if tenths is None or not may_commission(board):
        return "state"
    if board.commissioning.is_used_up(board.now_ms):
        return "state"
    if not board.arm_button.held:
        return "hand"
    now_ms, expires_ms = board.now_ms, board.now_ms + ask.x
    board.output.take(now_ms, (0, ask.d) if half else (ask.d, 0), expires_ms)
    if board.commissioning.take(now_ms, half, tenths, expires_ms):
        board.event("comm", tenths)
    board.settle()
    return None


def _log(board: Board, ask: m.LogAsk) -> m.FromBoard | str:
    entry, newest = board.memory.entry(ask.i), board.memory.entry(0)
    if entry is None or newest is None:
        return "empty"
    return m.Entry(
        ask.q, entry.number, entry.boot, entry.ms, entry.code, entry.tenths, newest.number
    )


def _signal(board: Board, ask: m.Signal) -> None:
    board.lamp, board.asked_sound = ask.lamp, ask.snd


def _bye(board: Board, _: m.Bye) -> None:
    board.end_commissioning()
    board.disarm("disarmed")
    board.end_session()


def _fitted(board: Board, half: str) -> bool:
    return half == Half.UPPER.value or board.build.zones == 2  # noqa: PLR2004


_CARRY_OUT: Final[dict[type[m.Message], Callable[[Any, Any], Any]]] = {
    m.LimitsAsk: _limits,
    m.MouldAsk: _mould,
    m.Use: _use,
    m.StoreMould: _store,
    m.Duty: _duty,
    m.ArmAsk: _arm,
    m.ArmAnswer: _answer,
    m.Disarm: _disarm,
    m.Charge: _charge,
    m.TripSet: _trip,
    m.CommissioningHeat: _heat,
    m.LogAsk: _log,
    m.Signal: _signal,
    m.Bye: _bye,
}
