"""Boards for a whole simulated press: the compiled image and the pure C, and what they said."""

from __future__ import annotations

from functools import cache
from typing import Any

from board_rig import Bench
from core_rig import CAUSES, CoreRig, host_board
from elf_rig import image_of
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import Half, ResetCause
from tawny.sim.boards import AnyBoard, Boards, Read, Shown
from tawny.sim.build import Build, build_for
from tawny.sim.chip import Misuse
from tawny.sim.commission import Measure, measure
from tawny.sim.elf import CONVERSION_MS, WATCH_MS, ElfBoards, newest_state
from tawny.sim.parameters import MouldModel

measured = cache(measure)


class Said:
    """What a board has said, every line of it good.

    Attributes:
        teles, stats, events: In their order.
    """

    def __init__(self) -> None:
        self.teles: list[m.Tele] = []
        self.stats: list[m.Stat] = []
        self.events: list[m.Event] = []
        self.replies: list[m.FromBoard] = []
        self._rest = b""

    def hear(self, data: bytes) -> None:
        """Take what has come."""
        if not data:
            return
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            said = wire.decode_from_board(line)
            assert not isinstance(said, wire.Fault), line
            match said:
                case m.Tele():
                    self.teles.append(said)
                case m.Stat():
                    self.stats.append(said)
                case m.Event():
                    self.events.append(said)
                case _:
                    self.replies.append(said)

    def cut(self) -> None:
        """A reset: the line that was being sent stays unfinished."""
        self._rest = b""

    @property
    def codes(self) -> list[str]:
        """Every event so far."""
        return [event.code for event in self.events]


class Overheard:
    """A board with somebody who notes what it says."""

    def __init__(self, board: AnyBoard, said: Said) -> None:
        self._board, self._said = board, said

    def __getattr__(self, name: str) -> Any:
        return getattr(self._board, name)

    def take(self) -> bytes:
        """Return what it has sent since the last call."""
        data = self._board.take()
        self._said.hear(data)
        return data


class OverheardBoards:
    """Boards of one make, overheard.

    Attributes:
        said: What they have said.
    """

    def __init__(self, boards: Boards) -> None:
        self._boards = boards
        self.said = Said()
        self._board: AnyBoard | None = None

    def knows_a_mould(self) -> bool:
        """Return whether anything is stored of any mould."""
        return self._boards.knows_a_mould()

    def commission(self, measured: Measure, slot: int) -> None:
        """Store and use a mould."""
        self._boards.commission(measured, slot)

    def start(self, read: Read, cause: ResetCause, **options: Any) -> Overheard:
        """Start one."""
        if self._board is not None:
            self.said.hear(self._board.take())
        self.said.cut()
        self._board = self._boards.start(read, cause, **options)
        return Overheard(self._board, self.said)

    def misused(self) -> dict[str, int]:
        """Return what an image did that it must never do; nothing for a board that is none."""
        chip = getattr(self._board, "chip", None)
        if chip is None:
            return {}
        counts = {what.name: chip.call("misused", what) for what in Misuse}
        return {name: count for name, count in counts.items() if count}


class CoreBoards:
    """One board of the pure C, on this machine.

    Args:
        build: What is compiled in and fitted.
    """

    def __init__(self, build: Build) -> None:
        self._rig = CoreRig(build=build, commissioned=False)
        self._knows_a_mould = False

    def knows_a_mould(self) -> bool:
        """Return whether anything is stored of any mould."""
        return self._knows_a_mould

    def commission(self, measured: Measure, slot: int) -> None:
        """Store and use a mould over the line, with ARM held."""
        self._knows_a_mould = True
        bench = Bench(self._rig).greet()
        self._rig.set_input(m.IN_ARM, on=True)
        bench.run(0.3)
        for half in Half:
            found = measured.half(half)
            numbers = found.rise_k_per_s * 1000, found.lag_s * 10, found.heat_up_s
            ask = bench.request(m.StoreMould, slot, half.value, *map(round, numbers))
            assert bench.why(ask) == ""
            bench.run(0.3)
        self._rig.set_input(m.IN_ARM, on=False)
        assert bench.why(bench.request(m.Use, slot)) == ""
        bench.run(2.0)
        assert bench.why(bench.request(m.Bye)) == ""

    def start(
        self, read: Read, cause: ResetCause, *, clock_ms: int, inputs: int, selftest_fails: bool
    ) -> CoreBoard:
        """Start it, or start it again."""
        return CoreBoard(
            self._rig, read, cause, clock_ms=clock_ms, inputs=inputs, fails=selftest_fails
        )


class CoreBoard:
    """The pure C as a world sees a board; a line takes no time."""

    watch_ms = WATCH_MS

    def __init__(
        self,
        rig: CoreRig,
        read: Read,
        cause: ResetCause,
        *,
        clock_ms: int,
        inputs: int,
        fails: bool,
    ) -> None:
        self.ffi, self.lib = host_board()
        self._board = rig.board
        self._read = read
        self.inputs = inputs
        self._board.switches = inputs
        build = rig._build  # noqa: SLF001 - a rig's board under another hand
        self.lib.host_board_start(
            self._board, build, CAUSES.index(cause), clock_ms & 0xFFFF_FFFF, not fails
        )
        self._began_ms = self._now_ms = self._convert_ms = clock_ms
        self._on_before = tuple(self._board.on_ms)
        self._out = b""
        self._state, self._first_out = "boot", "none"
        self._buffer = self.ffi.new("uint8_t[65536]")

    def advance(self, to_ms: int) -> None:
        """Live up to a moment."""
        while self._convert_ms <= to_ms:
            self._run(self._convert_ms)
            for half in range(2):
                self._board.raw[half] = self._read(half)
            self._convert_ms += CONVERSION_MS
        self._run(to_ms)
        self._listen()

    def _run(self, to_ms: int) -> None:
        if to_ms > self._now_ms:
            self.lib.host_board_run(self._board, to_ms - self._now_ms)
            self._now_ms = to_ms

    def _listen(self) -> None:
        count = self.lib.host_board_said(self._board, self._buffer, 65536)
        if not count:
            return
        said = bytes(self.ffi.buffer(self._buffer, count))
        self._out += said
        state = newest_state(said.split(b"\n"))
        self._state, self._first_out = state or (self._state, self._first_out)

    @property
    def contactor(self) -> bool:
        """Whether the train would run."""
        return bool(self._board.permission_ms)

    def receive(self, data: bytes, at_ms: int) -> None:
        """Take bytes from the line."""
        self.advance(at_ms)
        self.lib.host_board_hear(self._board, data, len(data))
        self._listen()

    def take(self) -> bytes:
        """Return what it has sent since the last call."""
        data, self._out = self._out, b""
        return data

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move one switch."""
        self.inputs = self.inputs | bit if on else self.inputs & ~bit
        self._board.switches = self.inputs

    def delivered(self, now_ms: int) -> tuple[float, float]:
        """Return how long each heater was on since the start."""
        self.advance(now_ms)
        upper, lower = (
            now - before for now, before in zip(self._board.on_ms, self._on_before, strict=True)
        )
        return upper, lower

    def shown(self) -> Shown:
        """Return what it shows; lamp and buzzer are looked at elsewhere."""
        return Shown(self._state, self._first_out, "off", "off", hot=False)


def image_boards(model: MouldModel) -> OverheardBoards:
    """Return the compiled image that heats this mould."""
    build = build_for(model)
    return OverheardBoards(ElfBoards(image_of(build), build))


def core_boards(model: MouldModel) -> OverheardBoards:
    """Return the pure C as built for this mould."""
    return OverheardBoards(CoreBoards(build_for(model)))


MAKES = {"image": image_boards, "core": core_boards}
