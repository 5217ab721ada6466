"""Commissioning a real board as a host and a hand do it: requests on the line, ARM held down."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.core import converter, wire
from tawny.core import messages as m
from tawny.core.names import BoardState, Half, ResetCause
from tawny.errors import N_, LinkError
from tawny.sim.commission import Measure

if TYPE_CHECKING:
    from tawny.sim.elf import ElfBoard

ROOM_C: Final = 25.0
STARTED_MS: Final = 5000  # by then it must have tested itself
# A mould may be stored all the same where a latch was.
STARTED: Final = (BoardState.LOCKED.value, BoardState.TRIPPED.value)
ANSWER_MS: Final = 200
HELD_MS: Final = 100  # a press is a press by then
REST_MS: Final = 500  # without a byte written, all is stored
FAST_BYTE: Final = 160  # cycles of a byte on a line that takes hardly any time
_STEP_MS: Final = 10
_Q_FIRST: Final = 1


def commission(board: ElfBoard, measured: Measure, slot: int) -> None:
    """Store every half that is fitted and use the slot; the board is left running.

    Raises:
        LinkError: If it does not start, does not answer, or refuses.
    """
    raw = converter.encode(converter.linear_reading_c(ROOM_C, ROOM_C), ROOM_C)
    board.chip.call("set_line", FAST_BYTE)
    board.start(lambda _: raw, ResetCause.POWER, inputs=m.IN_MAINS, selftest_fails=False)
    host = _Host(board)
    host.wait_for_start()
    here = host.ask(m.Hello(_Q_FIRST, m.PROTOCOL_MAJOR, "00000001"))
    if not isinstance(here, m.Here):
        raise LinkError(N_("the image does not take a session: {said}"), said=repr(here))
    q = _Q_FIRST + 1
    limits = host.ask(m.LimitsAsk(here.s, q))
    zones = limits.zones if isinstance(limits, m.Limits) else len(Half)
    board.set_input(m.IN_ARM, on=True)
    host.live(HELD_MS)
    for half in list(Half)[:zones]:
        q += 1
        found = measured.half(half)
        host.order(
            m.StoreMould(
                here.s,
                q,
                slot,
                half.value,
                round(found.rise_k_per_s * 1000),
                round(found.lag_s * 10),
                round(found.heat_up_s),
            )
        )
    board.set_input(m.IN_ARM, on=False)
    host.live(HELD_MS)
    host.order(m.Use(here.s, q + 1, slot))
    host.order(m.Bye(here.s, q + 2))
    host.rest()
    board.chip.call("set_line", 0)
    board.take()


class _Host:
    """A host on a fast line."""

    def __init__(self, board: ElfBoard) -> None:
        self._board = board
        self._line = b""

    def live(self, ms: int) -> None:
        self._board.advance(self._board.now_ms + ms)

    def wait_for_start(self) -> None:
        for _ in range(STARTED_MS // _STEP_MS):
            self.live(_STEP_MS)
            if self._board.shown().state in STARTED:
                return
        raise LinkError(
            N_(
                "the image {path} does not start: its self-test is not over within {seconds:g} s; "
                "is it the .elf that make -C firmware writes?"
            ),
            path=str(self._board.chip.image.path),
            seconds=STARTED_MS / 1000.0,
        )

    def ask(self, request: m.ToBoard) -> m.FromBoard:
        self._board.take()
        self._board.receive(wire.encode(request), self._board.now_ms)
        self._line = b""
        for _ in range(ANSWER_MS // _STEP_MS):
            self.live(_STEP_MS)
            *lines, self._line = (self._line + self._board.take()).split(b"\n")
            for line in lines:
                said = wire.decode_from_board(line)
                if isinstance(said, m.Here | m.Limits | m.Done | m.Refused) and said.q == request.q:
                    return said
        path = str(self._board.chip.image.path)
        raise LinkError(N_("the image {path} does not answer"), path=path)

    def order(self, request: m.ToBoard) -> None:
        reply = self.ask(request)
        if not isinstance(reply, m.Done):
            raise LinkError(N_("the image refuses to be commissioned: {said}"), said=repr(reply))

    def rest(self) -> None:
        """Wait until all is stored."""
        writes, quiet_ms = -1, 0
        while quiet_ms < REST_MS:
            self.live(_STEP_MS)
            before, writes = writes, self._board.chip.call("writes")
            quiet_ms = quiet_ms + _STEP_MS if writes == before else 0
