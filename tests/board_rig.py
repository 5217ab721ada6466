"""A board on a bench: what the contract tests need of any implementation, and a host for it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Protocol, TypeVar

from tawny.core import converter, wire
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause
from tawny.sim.board import Board
from tawny.sim.build import Build
from tawny.sim.memory import HalfSlot, Memory, Slot

READ_MS = 200
DUTY_EACH_MS = 400
# Section 5: so long a board may take to act on a switch, and on an opened thermostat.
SWITCH_MS, THERMOSTAT_MS = 25, 150
COLD_C = 25.0
# R 0.5 K/s, lag 20 s, heat-up 10 min: what the contract tests reckon with.
SLOT = HalfSlot(rise=500, lag=200, heat_up=600)
Temperature = float | Callable[[int], float]
Reply = TypeVar("Reply", bound=m.Message)


class Rig(Protocol):
    """One board of any make, its pins within reach. Its memory is commissioned in slot 1."""

    now_ms: int  # the board's clock since its last start, not wrapped

    def advance(self, ms: int) -> None:
        """Let the board live so long."""

    def write(self, data: bytes) -> None:
        """Send bytes to the board, now."""

    def read(self) -> bytes:
        """Return what the board has sent since the last call."""

    def set_register(self, half: Half, raw: int) -> None:
        """Set what a converter holds."""

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move a switch, a bit of `tele.in`; the mirror contact among them."""

    def contactor(self) -> bool:
        """Return whether the board wants the contactor in."""

    def outputs(self) -> tuple[bool, bool]:
        """Return which heater outputs are on, upper and lower."""

    def sound(self) -> str:
        """Return the pattern of the buzzer."""

    def restart(self, cause: ResetCause, *, selftest_fails: bool = False) -> None:
        """Reset the board; its memory stays."""


class MakeRig(Protocol):
    """Makes a board of another build, memory or start than `rig`."""

    def __call__(
        self,
        *,
        build: Build | None = None,
        commissioned: bool = True,
        clock_ms: int = 0,
        inputs: int = m.IN_MAINS,
    ) -> Rig:
        """Start it."""


class SimRig:
    """The simulated board on the bench."""

    def __init__(
        self,
        *,
        build: Build | None = None,
        commissioned: bool = True,
        clock_ms: int = 0,
        inputs: int = m.IN_MAINS,
    ) -> None:
        """Start a board whose memory knows one mould."""
        self.memory = Memory()
        if commissioned:
            self.memory.contents.slots[1] = Slot(SLOT, SLOT)
            self.memory.contents.slot_in_use = 1
        self._build = build or Build()
        self._clock_ms = clock_ms
        self._registers = [0, 0]
        self.board = self._start(ResetCause.POWER, inputs)

    def _start(self, cause: ResetCause, inputs: int, *, fails: bool = False) -> Board:
        return Board(
            self._build,
            self.memory,
            lambda half: self._registers[half],
            cause=cause,
            clock_ms=self._clock_ms,
            inputs=inputs,
            selftest_fails=fails,
        )

    @property
    def now_ms(self) -> int:
        """The board's clock."""
        return self.board.now_ms

    def advance(self, ms: int) -> None:
        """Let the board live so long."""
        self.board.advance(self.board.now_ms + ms)

    def write(self, data: bytes) -> None:
        """Send bytes to the board, now."""
        self.board.receive(data, self.board.now_ms)

    def read(self) -> bytes:
        """Return what the board has sent since the last call."""
        return self.board.take()

    def set_register(self, half: Half, raw: int) -> None:
        """Set what a converter holds."""
        self._registers[half is Half.LOWER] = raw

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move a switch, a bit of `tele.in`."""
        self.board.set_input(bit, on=on)

    def contactor(self) -> bool:
        """Return whether the board wants the contactor in."""
        return self.board.contactor

    def outputs(self) -> tuple[bool, bool]:
        """Return which heater outputs are on."""
        self.board.output.account(self.board.now_ms)
        return self.board.output.on

    def sound(self) -> str:
        """Return the pattern of the buzzer."""
        return self.board.voice.sound

    def restart(self, cause: ResetCause, *, selftest_fails: bool = False) -> None:
        """Reset the board; its memory stays."""
        self.board = self._start(cause, self.board.inputs, fails=selftest_fails)


@cache
def register_of(temperature_c: float, cold_c: float = COLD_C) -> int:
    """Return the register of a good sensor at a temperature."""
    return converter.encode(converter.linear_reading_c(temperature_c, cold_c), cold_c)


def shown_tenths(temperature_c: float) -> int:
    """Return what the board makes of that register: a step of 0.25 K, corrected."""
    return converter.corrected_decidegc(register_of(temperature_c))


class Bench:
    """A host at a rig: one session, its sequence, and the temperatures of the mould.

    Attributes:
        upper_c, lower_c: Temperatures of the halves, or functions of the clock in ms.
        mirror_follows: The contactor's mirror does what the board commands.
    """

    def __init__(
        self, rig: Rig, upper_c: Temperature = 100.0, lower_c: Temperature = 100.0
    ) -> None:
        self.rig = rig
        self.upper_c, self.lower_c = upper_c, lower_c
        self.mirror_follows = True
        self.dither = True  # a sensor that never changes would look stuck
        self.token = "0000"  # noqa: S105 - the token of no session
        self.q = 100
        self.heard: list[m.FromBoard] = []
        self.setpoints = (1800, 1800)
        self._due_ms = 0

    # Time.

    def run(
        self,
        seconds: float,
        duty: tuple[int, int] | None = (0, 0),
        *,
        expiry_ms: int = 1500,
    ) -> None:
        """Live so long; with a duty, send it each 0.4 s."""
        end_ms = self.rig.now_ms + round(seconds * 1000)
        while self.rig.now_ms < end_ms:
            if duty is not None and self.rig.now_ms >= self._due_ms:
                self._due_ms = self.rig.now_ms + DUTY_EACH_MS
                self.duty(duty, expiry_ms=expiry_ms)
            self.step(min(50, end_ms - self.rig.now_ms))

    def step(self, ms: int) -> None:
        """Live a moment with registers and mirror kept up."""
        self.set_registers(self.rig.now_ms + ms)
        self.follow_contactor()
        self.rig.advance(ms)
        self.follow_contactor()
        self.listen()

    def notice(self) -> None:
        """Let the board notice a switch that was just moved."""
        self.step(SWITCH_MS)

    def set_registers(self, now_ms: int) -> None:
        """Put the halves' temperatures into the converters."""
        wobble_k = 0.0625 if self.dither and now_ms // 1000 % 2 else 0.0
        for half, value in ((Half.UPPER, self.upper_c), (Half.LOWER, self.lower_c)):
            temperature_c = value(now_ms) if callable(value) else value
            self.rig.set_register(half, register_of(temperature_c, COLD_C + wobble_k))

    def follow_contactor(self) -> None:
        """Let the mirror contact follow."""
        if self.mirror_follows:
            self.rig.set_input(m.IN_CONTACTOR, on=self.rig.contactor())

    # Lines.

    def listen(self) -> list[m.FromBoard]:
        """Return what the board has said since the last time; every line must be good."""
        new = []
        for line in self.rig.read().splitlines():
            message = wire.decode_from_board(line)
            assert not isinstance(message, wire.Fault), line
            new.append(message)
        self.heard += new
        return new

    def ask(self, message: m.ToBoard) -> m.FromBoard:
        """Send a request and return its one reply."""
        self.listen()
        self.rig.write(wire.encode(message))
        replies = [
            said
            for said in self.listen()
            if not isinstance(said, m.Tele | m.Stat | m.Event | m.Boot)
        ]
        assert len(replies) == 1, replies
        assert replies[0].q == message.q  # type: ignore[union-attr]
        return replies[0]

    def why(self, message: m.ToBoard) -> str:
        """Send a request; return why it was refused, "" if it was carried out."""
        reply = self.ask(message)
        return reply.why if isinstance(reply, m.Refused) else ""

    def next_q(self) -> int:
        """Return the next sequence number."""
        self.q = (self.q + 1) & 0xFFFF
        return self.q

    def request(self, kind: Callable[..., m.ToBoard], *fields: object) -> m.ToBoard:
        """Return a request of this session with the next number."""
        return kind(self.token, self.next_q(), *fields)

    def hello(self) -> m.FromBoard:
        """Ask for a session."""
        reply = self.ask(m.Hello(self.next_q(), m.PROTOCOL_MAJOR, "7a3c90de"))
        if isinstance(reply, m.Here):
            self.token = reply.s
        return reply

    def duty(self, duty: tuple[int, int], *, expiry_ms: int = 1500, echo: int | None = None) -> str:
        """Send a duty line; return why it was refused."""
        upper, lower = self.setpoints
        return self.why(
            self.request(
                m.Duty,
                duty[0],
                upper if any(duty) else 0,
                duty[1],
                lower if any(duty) else 0,
                self.tele.n if echo is None else echo,
                expiry_ms,
            )
        )

    # What was said.

    def last(self, kind: type[Reply]) -> Reply:
        """Return the newest line of a kind."""
        self.listen()
        return next(said for said in reversed(self.heard) if isinstance(said, kind))

    @property
    def tele(self) -> m.Tele:
        """The newest telemetry."""
        return self.last(m.Tele)

    @property
    def state(self) -> str:
        """The board's state as telemetry shows it now: lives until the next line."""
        count = self.tele.n
        while self.tele.n == count:
            self.step(50)
        return self.tele.st

    def lock_reason(self) -> str:
        """Return why the board is not ready: lives until the next status."""
        at_ms = self.rig.now_ms
        while not any(
            isinstance(said, m.Stat) and said.ms > at_ms for said in reversed(self.heard[-20:])
        ):
            self.step(50)
        return self.last(m.Stat).why

    def codes(self) -> list[str]:
        """Return the codes of all events so far."""
        self.listen()
        return [said.code for said in self.heard if isinstance(said, m.Event)]

    def forget(self) -> None:
        """Forget everything said so far but the newest telemetry."""
        self.heard = [self.tele]

    # Whole procedures.

    def greet(self) -> Bench:
        """Wait out the self-test and open a session."""
        self.run(1.6, None)
        assert isinstance(self.hello(), m.Here)
        self.run(0.4)
        return self

    def challenge(self) -> str:
        """Ask for arming; return the answer that is due."""
        reply = self.ask(self.request(m.ArmAsk))
        assert isinstance(reply, m.Challenge), reply
        return wire.arming_answer(reply.c, self.token)

    def press_arm(self, hold_s: float = 0.3, duty: tuple[int, int] | None = (0, 0)) -> None:
        """Press ARM/RESET and let go again."""
        self.rig.set_input(m.IN_ARM, on=True)
        self.run(hold_s, duty)
        self.rig.set_input(m.IN_ARM, on=False)
        self.follow_contactor()

    def arm(self) -> Bench:
        """Arm as a host and a hand do it together."""
        assert self.why(self.request(m.ArmAnswer, self.challenge())) == ""
        self.press_arm()
        assert self.state == "armed"
        return self

    def on_time(self, seconds: float, duty: tuple[int, int]) -> tuple[int, int]:
        """Live so long with a duty; return what each heater got in ms."""
        before = self.tele
        self.run(seconds, duty)
        after = self.tele
        return (after.uo - before.uo) & 0xFFFF, (after.lo - before.lo) & 0xFFFF


def armed(rig: Rig, upper_c: float = 100.0, lower_c: float = 100.0) -> Bench:
    """Return an armed board at rest."""
    return Bench(rig, upper_c, lower_c).greet().arm()


def tripped_by(bench: Bench) -> str:
    """Return what the board latched, "none" if nothing."""
    return bench.tele.fo


def ramp(start_ms: int, from_c: float, k_per_s: float) -> Callable[[int], float]:
    """Return a temperature that moves evenly from a moment on."""
    return lambda now_ms: from_c + k_per_s * max(0, now_ms - start_ms) / 1000.0


def step_c(at_ms: int, before_c: float, after_c: float) -> Callable[[int], float]:
    """Return a temperature that jumps at a moment."""
    return lambda now_ms: before_c if now_ms < at_ms else after_c
