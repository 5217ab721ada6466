"""The simulated board: everything of `firmware/PROTOCOL.md`, on time that is given to it.

The board knows nothing of the mould: registers come from a function, switches from
`set_input`, and what it does shows in its lines, its outputs and its contactor command.
One function writes the state (`_move`); what the board does follows from the state.
"""

from __future__ import annotations

from typing import Final

from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut, ResetCause
from tawny.sim import limits as lim
from tawny.sim.boards import Read
from tawny.sim.build import Build
from tawny.sim.buttons import ArmButton, NextButton
from tawny.sim.commissioning import Commissioning
from tawny.sim.conditions import TESTING, may_commission, may_reset, mirror_after, why
from tawny.sim.memory import Memory
from tawny.sim.output import Output
from tawny.sim.requests import answer
from tawny.sim.sense import NEVER_GOOD, Reading
from tawny.sim.session import Arming, Session
from tawny.sim.states import Move, after
from tawny.sim.trips import HalfInput, Surroundings, Trips, Verdict
from tawny.sim.voice import Ear, Voice
from tawny.sim.windows import ChargeWindow, Holds

_BUTTONS: Final = m.IN_NEXT | m.IN_ARM | m.IN_BUTTON


class Board:
    """One board from its start to its next reset.

    Args:
        build: What is compiled in and fitted.
        memory: What lasts through resets.
        read: Reads a converter.
        cause: Why the board starts.
        clock_ms: What its clock shows then.
        inputs: Switches as they stand then, bits of `tele.in`.
        selftest_fails: The self-test finds something.

    Attributes:
        contactor: The board wants the contactor in.
    """

    def __init__(
        self,
        build: Build,
        memory: Memory,
        read: Read,
        *,
        cause: ResetCause = ResetCause.POWER,
        clock_ms: int = 0,
        inputs: int = m.IN_MAINS,
        selftest_fails: bool = False,
    ) -> None:
        self.build = build
        self.memory = memory
        self.cause = cause
        self.now_ms = clock_ms
        self.state = BoardState.BOOT
        self.contactor = False
        self.inputs = inputs
        self.session = Session()
        self.output = Output(
            window_ms=build.window_ms, least_ms=build.least_ms, cap=build.cap, now_ms=clock_ms
        )
        self.trips = Trips(build.zones)
        self.readings = [Reading() for _ in range(build.zones)]
        self.setpoints = [0, 0]
        self.arm_button = ArmButton()
        self.next_button = NextButton()
        self.commissioning = Commissioning()
        self.lamp = self.asked_sound = "off"
        self.charge_window = ChargeWindow()

        memory.contents.boots += 1
        self.boot = memory.contents.boots & lim.U16
        self.arming = Arming(f"{build.board} {memory.contents.boots}")
        self.mould_is_known = False  # R and lag of every half are stored for the mould in use
        self.judge_by_slot()
        self._read = read
        self.selftest_fails = selftest_fails
        self._selftest_ms = clock_ms + lim.SELFTEST_MS
        self._next_pass_ms = clock_ms + lim.PASS_MS
        self._passes = 0
        self.ear = Ear(clock_ms)
        self.voice = Voice(self)
        self.good_until_ms = NEVER_GOOD  # every half has good readings till then
        self.mirror = 0  # steps left to the mirror contact, 0: it has settled
        self.holds = Holds()  # what takes heat away without disarming
        self.holds.set_open(clock_ms, opened=bool(inputs & m.IN_OPEN))
        self._lingers_to_ms = 0  # the contactor stays in till then after a silence
        self._present_ms = clock_ms

        self.voice.say(m.Boot(self.boot, cause.value, build.build, memory.contents.latch.value))
        self._move(Move.STARTED)
        self.event("boot")

    # What the world does to the board, and sees of it.

    def advance(self, to_ms: int) -> None:
        """Run every pass up to a moment of the board's clock."""
        while self._next_pass_ms <= to_ms:
            self.now_ms = self._next_pass_ms
            self._next_pass_ms += lim.PASS_MS
            self._pass()
        self.now_ms = max(to_ms, self.now_ms)

    def receive(self, data: bytes, at_ms: int) -> None:
        """Take bytes from the line at a moment of the board's clock."""
        self.advance(at_ms)
        self.output.account(self.now_ms)
        for message in self.ear.hear(data, self.now_ms):
            self.voice.reply(answer, message)

    def take(self) -> bytes:
        """Return the bytes that the board has sent since the last call."""
        return self.voice.take()

    def set_input(self, bit: int, *, on: bool) -> None:
        """Set one switch, a bit of `tele.in`, as it stands from now on."""
        if bool(self.inputs & bit) == on:
            return
        self.inputs ^= bit
        self.output.account(self.now_ms)
        if on and bit & _BUTTONS and self.state is BoardState.ARMED:
            self._present_ms = self.now_ms
        if bit == m.IN_ARM:
            self._arm_moved(on=on)
        elif bit == m.IN_NEXT:
            if on:
                self.next_button.press(self.now_ms)
            else:
                self.next_button.release(self.now_ms)
        elif bit == m.IN_OPEN:
            self.holds.set_open(self.now_ms, opened=on)
            self._hold()
        elif bit == m.IN_CONTACTOR:
            self.mirror = self.mirror or lim.MIRROR_STEPS
        elif bit == m.IN_THERMOSTAT and on and self.state not in TESTING:
            self.trip(FirstOut.CHAIN)
        self.settle()

    # What the requests do.

    def settle(self) -> None:
        """Let state and contactor follow from the conditions as they stand."""
        clear = (reason := why(self)) == "none"
        if not clear and self.state is BoardState.ARMED:
            if reason == "sensor":
                self.trip(FirstOut.SENSOR, self.hottest())
                return
            self._leave_armed(reason)
        self._move(Move.CLEAR if clear else Move.NOT_CLEAR)
        if self.commissioning.half is not None and not may_commission(self):
            self.end_commissioning()
        if self.arming.until_ms is not None and self.state is not BoardState.READY:
            self.arming.end()
        self._drive_contactor()

    def disarm(self, code: str, tenths: int = 0, *, lingers: bool = False) -> None:
        """Leave armed for ready with an event; outputs off in any state."""
        self.output.cut()
        self._lingers_to_ms = 0
        if self.state is BoardState.ARMED:
            self._lingers_to_ms = self.now_ms + lim.LINGER_MS if lingers else 0
            self._move(Move.DISARM)
            self.event(code, tenths)
        self._drive_contactor()

    def announce_charge(self) -> None:
        """Open the charge window."""
        self.charge_window.announce(self.now_ms)
        self.holds.fallen = False
        self._hold()
        self.trips.charge(tuple(reading.tenths or 0 for reading in self.readings))
        self.event("charge", self.hottest())

    def judge_by_slot(self) -> None:
        """Judge by what is stored of the mould in use."""
        slot = self.memory.slot()
        self.trips.set_mould((slot.upper, slot.lower))
        halves = (slot.upper, slot.lower)[: self.build.zones]
        self.mould_is_known = all(half is not None for half in halves)

    def end_session(self) -> None:
        """Heat off, token free."""
        self.end_commissioning()
        self.session.close()
        self.arming.end()
        self._lingers_to_ms = 0
        self._hush()
        self.settle()

    def end_commissioning(self) -> None:
        """Cut commissioning heat."""
        if self.commissioning.half is not None:
            self.output.cut()
            self.commissioning.end()
            self._drive_contactor()

    def trip(self, cause: FirstOut, tenths: int = 0) -> None:
        """Everything off; the first cause is kept."""
        self.output.cut()
        self.commissioning.end()
        self._lingers_to_ms = 0
        if self.memory.contents.latch is FirstOut.NONE:
            self.memory.contents.latch = cause
            self._move(Move.TRIP)
            self.event("trip", tenths)
        else:
            self._move(Move.TRIP)
        self.settle()

    def event(self, code: str, tenths: int = 0) -> None:
        """Log an event and say it."""
        entry = self.memory.log(boot=self.boot, ms=self.now_ms & lim.U32, code=code, tenths=tenths)
        self.voice.say(m.Event(entry.number, entry.boot, entry.ms, entry.code, entry.tenths))

    def hottest(self) -> int:
        """Return the hottest half's last good reading, in tenths."""
        return max((reading.tenths or 0 for reading in self.readings), default=0)

    # One pass.

    def _pass(self) -> None:
        self._passes += 1
        self.output.account(self.now_ms)
        self._run_timers()
        if self._passes % (lim.READ_MS // lim.PASS_MS) == 0:
            self._take_readings()
            self.voice.send_telemetry()
        if self._passes % (lim.STAT_MS // lim.PASS_MS) == 0:
            self.voice.send_status()

    def _run_timers(self) -> None:
        now_ms = self.now_ms
        if self.state in TESTING:
            if now_ms >= self._selftest_ms:
                self._end_selftest()
            return
        if self.mirror:
            as_commanded = bool(self.inputs & m.IN_CONTACTOR) == self.contactor
            self.mirror = mirror_after(self.mirror, as_commanded=as_commanded)
            if not self.mirror and not as_commanded:
                self.trip(FirstOut.MIRROR)
        self._watch_host(now_ms)
        self._watch_press(now_ms)

    def _watch_host(self, now_ms: int) -> None:
        self._drive_contactor()  # what lingers ends by itself
        if self.session.token:
            silent_ms = now_ms - self.session.fed_ms
            if silent_ms >= lim.DISARM_MS:
                self._fall_silent(silent_ms)
        if self.arming.until_ms is not None and now_ms >= self.arming.until_ms:
            self.arming.end()
            self.event("refarm")
        self.charge_window.update(now_ms)

    def _watch_press(self, now_ms: int) -> None:
        if self.holds.becomes_too_long(now_ms):
            self._hold()
            if self.state is BoardState.ARMED:
                self.event("openoff", self.hottest())
        if self.commissioning.half is not None:
            self._watch_commissioning(self.commissioning.half)
        if self.state is BoardState.ARMED:
            if now_ms >= self.good_until_ms:
                self.settle()
            elif self.presence_left_ms <= 0:
                self.disarm("presence")

    def _fall_silent(self, silent_ms: int) -> None:
        self._hush()
        if self.state is BoardState.ARMED:
            self.disarm("silence", lingers=True)
        if silent_ms >= lim.RELEASE_MS:
            self.output.cut()
            self.end_session()
            self.event("released")

    def _watch_commissioning(self, half: int) -> None:
        tenths = self.readings[half].tenths
        if tenths is None or self.commissioning.is_over(self.now_ms, tenths):
            self.end_commissioning()
        elif self.commissioning.does_not_rise(half, tenths):
            self.trip(FirstOut.NORISE, tenths)

    def _end_selftest(self) -> None:
        if self.selftest_fails:
            self.trip(FirstOut.SELFTEST)
        elif self.memory.contents.latch is not FirstOut.NONE:
            self._move(Move.TRIP)
        else:
            self._move(Move.TESTED)
        self.settle()

    def _take_readings(self) -> None:
        inputs = []
        duties, taken = self.output.duties, self.output.taken
        for half, reading in enumerate(self.readings):
            good = reading.take(self._read(half), self.now_ms)
            inputs.append(
                HalfInput(
                    reading.tenths or 0,
                    good,
                    reading.raw,
                    duties[half],
                    taken[half],
                    self.setpoints[half],
                )
            )
        self.good_until_ms = min(reading.good_until_ms for reading in self.readings)
        if self.state in TESTING or self.state is BoardState.TRIPPED:
            self.trips.pause()
            return
        around = Surroundings(
            self.memory.contents.trip_tenths,
            self.state is BoardState.ARMED,
            not self.inputs & m.IN_OPEN,
            bool(self.inputs & m.IN_CONTACTOR),
            self.charge_window.is_open,
        )
        verdict = self.trips.judge(self.now_ms, inputs, around)
        if verdict is not None:
            self._carry_out(verdict, inputs[verdict.half].tenths)
        self.settle()

    def _carry_out(self, verdict: Verdict, tenths: int) -> None:
        if verdict.trip is not None:
            self.trip(verdict.trip, tenths)
        elif verdict.fall:
            self.holds.fallen = True
            self._hold()
            self.event("fall", tenths)
        elif verdict.full:
            self.disarm("full", tenths)

    # State, contactor, holds.

    def _move(self, move: Move) -> None:
        before, self.state = self.state, after(self.state, move)
        if self.state is before:
            return
        if before is BoardState.ARMED or self.state is BoardState.TRIPPED:
            self.output.cut()
        if self.state is BoardState.ARMED:
            self.holds.fallen = False
            self._lingers_to_ms = 0
            self._hold()
            self.trips.arm(self.now_ms)
            self._present_ms = self.now_ms
            self.event("armed")
        elif self.state is not BoardState.READY:
            self._lingers_to_ms = 0

    def _leave_armed(self, reason: str) -> None:
        """Say why armed is about to be left for locked."""
        code = {"mains": "mains", "button": "disarmed"}.get(reason)
        if code is not None:
            self.event(code, self.hottest())

    def _drive_contactor(self) -> None:
        stays = self.now_ms < self._lingers_to_ms or self.commissioning.half is not None
        wanted = self.state is BoardState.ARMED or stays
        if wanted != self.contactor:
            self.contactor = wanted
            self.mirror = lim.MIRROR_STEPS
            self.memory.contents.operations += wanted

    def _arm_moved(self, *, on: bool) -> None:
        if on:
            self.arm_button.press(self.now_ms, tripped=self.state is BoardState.TRIPPED)
            if self.arming.answered and self.state is BoardState.READY:
                self.arming.end()
                self._move(Move.ARM)
            return
        if self.arm_button.release(self.now_ms) and may_reset(self):
            self.memory.contents.latch = FirstOut.NONE
            self._move(Move.RESET)
            self.event("reset")
        self.end_commissioning()
        self.commissioning.end(released=True)

    def _hold(self) -> None:
        self.output.account(self.now_ms)
        self.output.hold(held=self.holds.held, mould_open=bool(self.inputs & m.IN_OPEN))

    def _hush(self) -> None:
        self.lamp = self.asked_sound = "off"

    @property
    def presence_left_ms(self) -> int:
        """Time to the end of the presence warning; means something only while armed."""
        return self._present_ms + lim.PRESENCE_MS + lim.PRESENCE_WARNING_MS - self.now_ms
