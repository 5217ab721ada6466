"""Board, mould, hand and faults on one integer-millisecond clock; the same seed, the same world.

host bytes --> line --> board --> contactor, outputs --> heaters --> mould
host bytes <-- line <-- board <-- converters <-- thermocouples <------'
                           ^-- switches <-- hand
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from typing import Final

from tawny.core import messages as m
from tawny.core.names import Half, ResetCause
from tawny.sim.boards import AnyBoard, Boards
from tawny.sim.build import build_for
from tawny.sim.commands import Answer, AnyCommand, ContactorFault, HeaterFault, Scene
from tawny.sim.commission import measure
from tawny.sim.line import Line
from tawny.sim.memory import Memory
from tawny.sim.mould import STEP_MS, Mould
from tawny.sim.parameters import MouldModel
from tawny.sim.sensor import Converter, SensorFault
from tawny.sim.sim_boards import SimBoards
from tawny.sim.touch import touch

CONTACTOR_MS: Final = 20  # from coil to contact, either way
MEMORY_SLOT: Final = 1

_Deed = Callable[[], None]


class World:
    """A simulated press with its board.

    Args:
        model: The mould.
        seed: Of all chance: noise, drift, line errors.
        memory: The simulated board's lasting memory; None: a new one.
        commissioned: A new memory knows the mould's R and lag.
        clock_ms: What the board's clock shows at its first start.
        start_c: Temperature of the mould at the start; None: of the room.
        boards: Starts another board than the simulated one.

    Attributes:
        now_ms: Time since the world began.
    """

    def __init__(
        self,
        model: MouldModel,
        *,
        seed: int = 0,
        memory: Memory | None = None,
        commissioned: bool = True,
        clock_ms: int = 0,
        start_c: float | None = None,
        boards: Boards | None = None,
    ) -> None:
        source = random.Random(seed)  # noqa: S311 - noise, not secrets
        self.now_ms = 0
        self.mould = Mould(model, start_c)
        self.line = Line(source)
        self.memory = Memory() if memory is None else memory
        self._boards = SimBoards(build_for(model), self.memory) if boards is None else boards
        if commissioned and not self._boards.knows_a_mould():
            self._boards.commission(measure(model), MEMORY_SLOT)
        self._model = model
        self._watts = (model.upper.heater_w, model.lower.heater_w)
        self._converters = [
            Converter(noise_k=half.sensor_noise_k, room_c=model.ambient_c, source=source)
            for half in (model.upper, model.lower)
        ]
        self.heaters = [HeaterFault.GOOD, HeaterFault.GOOD]
        self.contactor_fault = ContactorFault.GOOD
        self.selftest_fails = False
        self._coil = self._contact = False
        self._delivered_ms: tuple[float, float] = (0, 0)
        self._collected_ms = 0
        self._pending_j = [0.0, 0.0]
        self._agenda: list[tuple[int, int, _Deed]] = []
        self._deeds = 0
        self._step_ms = STEP_MS
        self._started_ms = -clock_ms
        self.board = self._start(ResetCause.POWER, m.IN_MAINS)

    def advance(self, to_ms: int) -> None:
        """Let time pass up to a moment."""
        while True:
            next_ms = min(self._step_ms, self.now_ms + self.board.watch_ms)
            if self._agenda and self._agenda[0][0] < next_ms:
                next_ms = self._agenda[0][0]
            if next_ms > to_ms:
                break
            self._go_to(next_ms)
            while self._agenda and self._agenda[0][0] <= next_ms:
                heapq.heappop(self._agenda)[2]()
        if to_ms > self.now_ms:
            self._go_to(to_ms)

    def receive(self, data: bytes, at_ms: int) -> None:
        """Send bytes from the host towards the board, at a moment."""
        self.advance(at_ms)
        data = self.line.carry(data)
        if data:
            self.board.receive(data, self.board_ms)
            self._watch_coil()

    def take(self) -> bytes:
        """Return the bytes that reached the host since the last call."""
        return self.line.carry(self.board.take())

    def apply(self, command: AnyCommand) -> Answer:
        """Carry out what a hand does, now; the answer says how things stand after it."""
        self._collect()
        why = touch(self, command)
        self._watch_coil()
        return Answer(done=not why, why=why, scene=self.scene())

    def after(self, delay_ms: int, deed: _Deed) -> None:
        """Do something later."""
        self._deeds += 1
        heapq.heappush(self._agenda, (self.now_ms + delay_ms, self._deeds, deed))

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move one of the board's switches."""
        self.board.set_input(bit, on=on)
        self._watch_coil()

    def set_sensor(self, half: Half, fault: SensorFault) -> None:
        """Break or mend a thermocouple."""
        self._converters[half is Half.LOWER].fault = fault
        detached = fault is SensorFault.DETACHED
        if half is Half.UPPER:
            self.mould.upper_detached = detached
        else:
            self.mould.lower_detached = detached

    def set_contactor(self, fault: ContactorFault) -> None:
        """Break or mend the contactor."""
        self.contactor_fault = fault
        self._contactor_moves()

    def restart(self, cause: ResetCause) -> None:
        """Reset the board; its clock begins at 0 again."""
        self._started_ms = self.now_ms
        self.board = self._start(cause, self.board.inputs)
        self._delivered_ms = (0, 0)
        self._watch_coil()

    @property
    def board_ms(self) -> int:
        """The board's clock."""
        return self.now_ms - self._started_ms

    def scene(self) -> Scene:
        """Return how things stand."""
        charge = self.mould.charge
        shown = self.board.shown()
        return Scene(
            now_ms=self.now_ms,
            state=shown.state,
            first_out=shown.first_out,
            contactor=self._contact,
            lamp=shown.lamp,
            sound=shown.sound,
            hot=shown.hot,
            open=self.mould.open,
            plugged=self.line.plugged,
            upper_c=self.mould.upper_surface_c,
            lower_c=self.mould.lower_surface_c,
            core_c=charge.core_c if charge else None,
            water_g=charge.water_g if charge else 0.0,
        )

    def _start(self, cause: ResetCause, inputs: int) -> AnyBoard:
        return self._boards.start(
            self._read,
            cause,
            clock_ms=self.board_ms,
            inputs=inputs,
            selftest_fails=self.selftest_fails,
        )

    def _read(self, half: int) -> int:
        tip_c = self.mould.lower_tip_c if half else self.mould.upper_tip_c
        return self._converters[half].read(tip_c, self.now_ms)

    def _go_to(self, now_ms: int) -> None:
        self.now_ms = now_ms
        board_ms = now_ms - self._started_ms
        if now_ms == self._step_ms:
            self._step_ms += STEP_MS
            self._collect()
            self.mould.step(*self._pending_j)
            self._pending_j = [0.0, 0.0]
            self._watch_thermostats()
        self.board.advance(board_ms)
        self._watch_coil()

    def _collect(self) -> None:
        """Turn the on-time since the last time into heat that waits for the mould's next step."""
        elapsed_ms = self.now_ms - self._collected_ms
        self._collected_ms = self.now_ms
        delivered_ms, before_ms = self.board.delivered(self.board_ms), self._delivered_ms
        self._delivered_ms = delivered_ms
        if not (self._contact and self.board.inputs & m.IN_MAINS):
            return
        for half, fault in enumerate(self.heaters):
            given_ms: float = delivered_ms[half] - before_ms[half]
            if fault is HeaterFault.WELDED:
                given_ms = elapsed_ms
            elif fault is HeaterFault.OPEN:
                given_ms = 0
            self._pending_j[half] += self._watts[half] * given_ms / 1000.0

    def _watch_thermostats(self) -> None:
        limit_c = self._model.limit_thermostat_c
        if self.mould.upper_body_c >= limit_c or self.mould.lower_body_c >= limit_c:
            self.set_input(m.IN_THERMOSTAT, on=True)

    def _watch_coil(self) -> None:
        """Let the contactor follow its coil chain a moment later."""
        chain = m.IN_MAINS | m.IN_BUTTON | m.IN_THERMOSTAT
        coil = self.board.contactor and self.board.inputs & chain == m.IN_MAINS
        if coil != self._coil:
            self._coil = coil
            self.after(CONTACTOR_MS, self._contactor_moves)

    def _contactor_moves(self) -> None:
        self._collect()
        self._contact = {
            ContactorFault.GOOD: self._coil,
            ContactorFault.WELDED: True,
            ContactorFault.OPEN: False,
        }[self.contactor_fault]
        self.set_input(m.IN_CONTACTOR, on=self._contact)
