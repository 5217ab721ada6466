"""The simulated board with the safety core in C beside it: what happens to one happens to both."""

from __future__ import annotations

from copy import copy
from typing import Any

from board_rig import register_of
from safety_core import CHARGES, EVENTS, HEATS, TRIPS, Core
from tawny.core import messages as m
from tawny.core.names import BoardState
from tawny.core.wire import arming_answer
from tawny.sim import limits as lim
from tawny.sim.board import Board
from tawny.sim.build import Build
from tawny.sim.conditions import TESTING, why
from tawny.sim.memory import HalfSlot, Memory, Slot
from tawny.sim.output import Output
from tawny.sim.requests import answer


class Noted(Output):
    """Outputs that note who cuts them from outside: not an expiry, not a duty of zero.

    Attributes:
        was_cut: Since this was last set to False.
    """

    was_cut = False

    def cut(self) -> None:
        """Note it."""
        super().cut()
        self.was_cut = True

    def account(self, now_ms: int) -> None:
        """An expiry is no cut."""
        before = self.was_cut
        super().account(now_ms)
        self.was_cut = before

    def take(self, now_ms: int, duties: tuple[int, int], expires_ms: int) -> None:
        """Nor is a duty of zero."""
        before = self.was_cut
        super().take(now_ms, duties, expires_ms)
        self.was_cut = before


class Shadow(Board):
    """A simulated board that asks the C core the same and compares after each step.

    Everything happens at a pass, as passes are all that the core counts.
    """

    def __init__(
        self, slots: tuple[HalfSlot | None, HalfSlot | None], *, halves: int, trip: int = 2150
    ) -> None:
        memory = Memory()
        memory.contents.trip_tenths = trip
        memory.contents.slots[1] = Slot(*slots)
        memory.contents.slot_in_use = 1
        self.core = Core(halves=halves, slots=slots, trip=trip)
        self.core.call("end_selftest", True)  # noqa: FBT003 - C
        self.said: list[tuple[str, int]] = []
        self.seen: set[str] = set()
        self.cuts = 0  # of the outputs, by the model and by the core
        self.registers = [register_of(100.0), register_of(100.0)]
        self.q = 0
        self.tele_count = 0
        build = Build(zones=halves)
        super().__init__(build, memory, lambda half: self.registers[half])
        self.output: Noted = Noted(
            window_ms=build.window_ms, least_ms=build.least_ms, cap=build.cap, now_ms=self.now_ms
        )
        self.said.clear()

    # What the model says, on its way out.

    def event(self, code: str, tenths: int = 0) -> None:
        """Log an event, and keep it to be compared."""
        super().event(code, tenths)
        self.said.append((code, tenths))

    # Each step, on both.

    def pass_by(self, count: int = 1) -> None:
        """Live so many passes."""
        for _ in range(count):
            self.advance(self.now_ms + lim.PASS_MS)
            self.voice.take()
            self.compare()

    def _run_timers(self) -> None:
        good = self.now_ms < self.good_until_ms
        super()._run_timers()
        if self.state not in TESTING:
            self.settle()  # the model does so at each read, the core at each pass
        self.core.lib.safety_pass(self.core.it, good)
        if ("refarm", 0) in self.said:
            self.core.lib.safety_refuse_arm(self.core.it)

    def _take_readings(self) -> None:
        self.tele_count += 1
        duties, taken = self.output.duties, self.output.taken
        super()._take_readings()
        half = self.core.ffi.new("struct rules_half[2]")
        for each, reading, duty, sent, setpoint in zip(
            half, self.readings, duties, taken, self.setpoints, strict=False
        ):
            each.raw, each.tenths = reading.raw, reading.tenths or 0
            each.good = reading.shown != "bad"
            each.duty, each.taken, each.setpoint = duty, sent, setpoint
        self.core.lib.safety_read(self.core.it, half, self.now_ms < self.good_until_ms)

    def move(self, bit: int, *, on: bool) -> None:
        """Move a switch, ARM and the mirror contact among them."""
        if bool(self.inputs & bit) == on:
            return
        arms = self.arming.answered and self.state is BoardState.READY
        asks = copy(self.arm_button).release(self.now_ms)
        idle = self.output.taken == (0, 0)
        self.set_input(bit, on=on)
        self.core.lib.safety_set_inputs(self.core.it, self.inputs)
        if bit == m.IN_ARM and on and arms:
            assert self.core.lib.safety_arm(self.core.it) == (self.state is BoardState.ARMED)
        elif bit == m.IN_ARM and not on:
            self.core.lib.safety_release_arm(self.core.it, asks, idle)
        self.compare()

    def arm_as_two_do(self) -> None:
        """Ask, answer, press; whatever is missing is missing."""
        reply = self.ask(m.ArmAsk)
        if isinstance(reply, m.Challenge):
            self.ask(m.ArmAnswer, arming_answer(reply.c, self.session.token))
        self.move(m.IN_ARM, on=True)

    def duty(self, upper: int, lower: int, setpoint: int, expiry_ms: int = 1500) -> None:
        """Send a duty line that answers the newest telemetry."""
        lower = lower if len(self.readings) > 1 else 0
        echo = (self.tele_count - 1) & lim.U16
        setpoints = (setpoint if upper else 0, setpoint if lower else 0)
        self.ask(m.Duty, upper, setpoints[0], lower, setpoints[1], echo, expiry_ms)

    def heat(self, half: str, duty: int, expiry_ms: int) -> None:
        """Ask for commissioning heat."""
        self.ask(m.CommissioningHeat, half, duty, (self.tele_count - 1) & lim.U16, expiry_ms)

    def follow(self) -> None:
        """Let the mirror contact follow the contactor."""
        self.move(m.IN_CONTACTOR, on=self.contactor)

    def ask(self, kind: Any, *fields: object) -> m.FromBoard:
        """Carry a request out on both; return the model's reply."""
        self.q += 1
        if kind is m.Hello:
            request = m.Hello(self.q, m.PROTOCOL_MAJOR, "7a3c90de")
        else:
            request = kind(self.session.token, self.q, *fields)
        held = self.arm_button.held
        reply = answer(self, request)
        self._ask_core(request, getattr(reply, "why", ""), hand=held)
        self.compare()
        return reply

    def _ask_core(self, request: m.ToBoard, refused: str, *, hand: bool) -> None:
        core = self.core
        if refused in {"token", "old", "echo", "busy", "slot", "wrong"}:
            return
        match request:
            case m.Hello():
                core.lib.safety_open_session(core.it)
            case m.Duty() if refused in {"", "state"}:
                heats = request.u > 0 or request.l > 0
                assert core.feed(heats=heats) == (not refused), request
            case m.Disarm():
                core.lib.safety_disarm(core.it)
            case m.Charge():
                assert CHARGES[core.lib.safety_charge(core.it)] == refused
            case m.TripSet():
                assert TRIPS[core.lib.safety_set_trip(core.it, request.c, hand)] == refused
            case m.CommissioningHeat() if refused != "range":
                half = 0 if request.h == "upper" else 1
                answered = HEATS[core.lib.safety_heat(core.it, half, request.x, hand)]
                # No reading yet is a limit to the core, a state to the page's table.
                assert answered == refused or self.readings[half].tenths is None
            case m.StoreMould() if not refused:
                slot = self.memory.slot()
                mould = core.mould((slot.upper, slot.lower))
                core.lib.safety_set_mould(core.it, mould, EVENTS.index("stored"))
            case m.Bye():
                core.lib.safety_close_session(core.it)
            case _:
                pass

    def compare(self) -> None:
        """Compare everything that the core decides."""
        core, lib = self.core, self.core.lib
        heard = core.listen()
        assert core.lib.safety_is_intact(core.it)
        wanted = (
            self.state.value,
            self.memory.contents.latch.value,
            why(self),
            self.contactor,
            self.holds.held,
            self.charge_window.is_open,
            (self.commissioning.half if self.commissioning.half is not None else -1) + 1,
            self.voice.hot,
            self.voice.sound == "alarm" and self.asked_sound != "alarm",
            self.memory.contents.trip_tenths,
        )
        found = (
            core.state,
            core.latch,
            core.why,
            core.contactor,
            bool(lib.safety_holds(core.it)),
            bool(core.it.window),
            core.it.heats,
            bool(lib.safety_is_hot(core.it)),
            bool(lib.safety_alarms(core.it)) and self.asked_sound != "alarm",
            lib.safety_trip(core.it),
        )
        assert found == wanted, self.now_ms
        assert sorted(heard) == sorted(self.said), self.now_ms
        left_ms = self.presence_left_ms if self.state is BoardState.ARMED else 0
        assert lib.safety_presence_left_s(core.it) == -(-left_ms // 1000)
        window_ms = self.charge_window.left_ms(self.now_ms)
        assert lib.safety_window_left_s(core.it) == -(-window_ms // 1000)
        # Whatever the model cuts, the core wants cut.
        assert core.cut == self.output.was_cut, self.now_ms
        self.cuts += self.output.was_cut
        self.output.was_cut = False
        permitted = self.state is BoardState.ARMED or self.commissioning.half is not None
        assert core.permits == permitted
        self.seen |= {self.state.value, *(code for code, _ in self.said)}
        self.seen.add(f"fo {self.memory.contents.latch.value}")
        self.said.clear()
