"""What the board hears and says: lines in, lines out, and what it counts of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

from tawny.core import messages as m
from tawny.core import wire
from tawny.core.framing import Framer
from tawny.core.names import BoardState
from tawny.sim import limits as lim
from tawny.sim.conditions import TESTING, why

if TYPE_CHECKING:
    from tawny.sim.board import Board

_MOST_LINES: Final = 4096  # kept while nobody takes them


class Ear:
    """Bytes to good requests."""

    def __init__(self, now_ms: int) -> None:
        self._framer = Framer(m.TO_BOARD_MOST_BYTES)
        self._heard_ms = now_ms
        self._bad = 0
        self.unknown = 0

    def hear(self, data: bytes, now_ms: int) -> Iterator[m.ToBoard]:
        """Yield the good requests that these bytes complete; count the rest."""
        self._framer.idle(now_ms - self._heard_ms)
        self._heard_ms = now_ms
        for line in self._framer.feed(data):
            message = wire.decode_to_board(line)
            if not isinstance(message, wire.Fault):
                yield message
            elif message is wire.Fault.UNKNOWN_KIND:
                self.unknown += 1
            else:
                self._bad += 1

    def bad(self, now_ms: int) -> int:
        """Return how many lines were dropped."""
        self._framer.idle(now_ms - self._heard_ms)
        return self._bad + self._framer.oversize + self._framer.unfinished


class Voice:
    """Everything that the board says."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._out: list[bytes] = []
        self._lines = 0  # telemetry lines since the start
        self._line_ms = 0

    def say(self, message: m.Message) -> None:
        """Send a line."""
        if len(self._out) >= _MOST_LINES:
            del self._out[: _MOST_LINES // 2]
        self._out.append(wire.encode(message))

    def reply(self, answer: Callable[[Board, m.ToBoard], m.FromBoard], message: m.ToBoard) -> None:
        """Send the reply to a request before the events that it brings about."""
        place = len(self._out)
        reply = wire.encode(answer(self._board, message))
        self._out.insert(place, reply)

    def take(self) -> bytes:
        """Return what was sent since the last call."""
        data = b"".join(self._out)
        self._out.clear()
        return data

    def is_echo(self, counter: int) -> bool:
        """Return whether a telemetry counter was sent within the last 2 s."""
        lines_ago = (self._lines - 1 - counter) & lim.U16
        if lines_ago >= self._lines:
            return False
        since_ms = self._board.now_ms - self._line_ms
        return since_ms + lines_ago * lim.READ_MS <= lim.ECHO_MS

    @property
    def hot(self) -> bool:
        """The HOT lamp: hot, unknown, or being tested."""
        board = self._board
        return (
            board.now_ms >= board.good_until_ms
            or board.hottest() > lim.HOT_TENTHS
            or board.state in TESTING
        )

    @property
    def sound(self) -> str:
        """The buzzer: the board's own alarm goes before what the host asked for."""
        board = self._board
        warns = (
            board.state is BoardState.ARMED and board.presence_left_ms <= lim.PRESENCE_WARNING_MS
        )
        return "alarm" if warns or board.state is BoardState.TRIPPED else board.asked_sound

    def send_telemetry(self) -> None:
        """Send the line of each 200 ms."""
        board = self._board
        upper, *others = board.readings
        lower = others[0] if others else None
        upper_ms, lower_ms = board.output.delivered_ms
        inputs = board.inputs
        if self.hot:
            inputs |= m.IN_HOT
        if board.charge_window.is_open:
            inputs |= m.IN_WINDOW
        self.say(
            m.Tele(
                self._lines & lim.U16,
                board.now_ms & lim.U32,
                upper.shown,
                upper.raw,
                upper.count & lim.U16,
                upper_ms & lim.U16,
                lower.shown if lower else "none",
                lower.raw if lower else 0,
                lower.count & lim.U16 if lower else 0,
                lower_ms & lim.U16,
                board.state.value,
                board.memory.contents.latch.value,
                inputs,
                board.next_button.count,
                0,  # no force channel is fitted
            )
        )
        self._lines += 1
        self._line_ms = board.now_ms

    def send_status(self) -> None:
        """Send the line of each second."""
        board = self._board
        armed = board.state is BoardState.ARMED
        self.say(
            m.Stat(
                board.now_ms & lim.U32,
                why(board),
                board.readings[0].cold,
                board.readings[1].cold if len(board.readings) > 1 else "none",
                board.memory.contents.operations & lim.U32,
                min(board.ear.bad(board.now_ms), lim.U16),
                min(self._board.ear.unknown, lim.U16),
                0,  # a pass takes the simulated board no time
                board.build.identity,
                _seconds_up(board.charge_window.left_ms(board.now_ms)),
                max(0, _seconds_up(board.presence_left_ms)) if armed else 0,
            )
        )


def _seconds_up(ms: int) -> int:
    return -(-ms // 1000)
