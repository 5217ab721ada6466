"""The safety core in C, with hands for tests: one board's decisions without a board."""

from __future__ import annotations

from typing import Any

from c_core import core, defines
from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut
from tawny.sim.memory import HalfSlot

SOURCES = ("rules", "safety", "safety_ask", "safety_seal", "safety_time")
LIMITS = defines("safety")
STATES = list(BoardState)
FIRST_OUTS = list(FirstOut)
# In the order in which PROTOCOL.md lists them.
WHYS = ["none", "session", "sensor", "mains", "button", "thermostat", "mould", "mirror", "selftest"]
WHYS.append("latched")
EVENTS = ["boot", "armed", "disarmed", "silence", "released", "trip", "reset", "charge", "openoff"]
EVENTS += ["fall", "full", "presence", "mains", "tripset", "stored", "used", "comm", "refarm"]
MOVES = ("started", "tested", "clear", "not_clear", "arm", "disarm", "trip", "reset")
CHARGES = ("", "state", "rate")
TRIPS = ("", "range", "state", "hand")
HEATS = ("", "limit", "state", "hand")
SLOT = HalfSlot(rise=500, lag=200, heat_up=600)

PASS_MS, READ_MS = LIMITS["SAFETY_PASS_MS"], LIMITS["SAFETY_READ_MS"]
OK_INPUTS = m.IN_MAINS


class Core:
    """One core from its start on. It makes a mirror contact that follows, unless told otherwise.

    Attributes:
        it: `struct safety *`.
        tenths, duty, taken, setpoint, good: What each read gives of the halves.
        heard: Events since the start.
    """

    def __init__(
        self,
        *,
        halves: int = 2,
        latch: str = "none",
        trip: int = 2150,
        slots: tuple[HalfSlot | None, HalfSlot | None] = (SLOT, SLOT),
        inputs: int = OK_INPUTS,
        mirror_follows: bool = True,
    ) -> None:
        self.ffi, self.lib = core(*SOURCES)
        self.halves = halves
        self.it: Any = self.ffi.new("struct safety *")
        kept = self.ffi.new("struct safety_kept *")
        kept.latch = FIRST_OUTS.index(FirstOut(latch))
        kept.trip = trip
        self.ffi.memmove(kept.mould, self.mould(slots), self.ffi.sizeof(kept.mould))
        self.tenths, self.good = [1000, 1000], [True, True]
        self.duty, self.taken, self.setpoint = [0, 0], [0, 0], [0, 0]
        self.sensors_good = True
        self.mirror_follows = mirror_follows
        self.heard: list[tuple[str, int]] = []
        self._passes = 0
        self.lib.safety_start(self.it, halves, kept, inputs)
        self.listen()

    # What it shows.

    @property
    def state(self) -> str:
        """The state's word."""
        return STATES[self.it.state].value

    @property
    def latch(self) -> str:
        """The first-out's word."""
        return FIRST_OUTS[self.it.latch].value

    @property
    def why(self) -> str:
        """Why it is not ready."""
        return WHYS[self.lib.safety_reason(self.it)]

    @property
    def permits(self) -> bool:
        """Any heater may be on."""
        return bool(self.lib.safety_permits(self.it))

    @property
    def contactor(self) -> bool:
        """The contactor is wanted in."""
        return bool(self.it.contactor)

    @property
    def cut(self) -> bool:
        """Outputs are to be cut; confirms it."""
        cut = bool(self.it.cut)
        if cut:
            self.lib.safety_confirm_cut(self.it)
        return cut

    @property
    def codes(self) -> list[str]:
        """Codes of all events so far."""
        return [code for code, _ in self.heard]

    def listen(self) -> list[tuple[str, int]]:
        """Take the events since the last time."""
        said = self.ffi.new("struct safety_said *")
        new = []
        while self.lib.safety_take_said(self.it, said):
            new.append((EVENTS[said.code], said.tenths))
        self.heard += new
        return new

    def bytes(self) -> Any:
        """Return the core's memory, to be read or written."""
        return self.ffi.buffer(self.it)

    # What happens to it.

    def set_inputs(self, *bits: int, on: bool = True) -> Core:
        """Move switches."""
        inputs = self.it.inputs
        for bit in bits:
            inputs = inputs | bit if on else inputs & ~bit
        self.lib.safety_set_inputs(self.it, inputs)
        self.listen()
        return self

    def passes(self, count: int = 1) -> Core:
        """Live so many passes, with a read at each fourth."""
        for _ in range(count):
            self._passes += 1
            if self.mirror_follows and bool(self.it.inputs & m.IN_CONTACTOR) != self.contactor:
                self.set_inputs(m.IN_CONTACTOR, on=self.contactor)
            self.lib.safety_pass(self.it, self.sensors_good)
            if self._passes % (READ_MS // PASS_MS) == 0:
                self.read()
            self.listen()
        return self

    def seconds(self, seconds: float) -> Core:
        """Live so long."""
        return self.passes(round(seconds * 1000 / PASS_MS))

    def read(self) -> None:
        """One read as the halves stand; a register that never looks stuck."""
        half = self.ffi.new("struct rules_half[2]")
        for index in range(self.halves):
            half[index].raw = 16 * (self._passes + 1)
            half[index].tenths = self.tenths[index]
            half[index].good = self.good[index]
            half[index].duty = self.duty[index]
            half[index].taken = self.taken[index]
            half[index].setpoint = self.setpoint[index]
        self.lib.safety_read(self.it, half, self.sensors_good)

    def mould(self, slots: tuple[HalfSlot | None, HalfSlot | None]) -> Any:
        """Return what is stored of both halves as the core takes it."""
        mould = self.ffi.new("struct rules_mould[2]")
        for each, slot in zip(mould, slots, strict=True):
            if slot is not None:
                each.rise, each.lag, each.up = slot.rise, slot.lag, slot.heat_up
        return mould

    def set_mould(
        self, slots: tuple[HalfSlot | None, HalfSlot | None], code: str = "stored"
    ) -> None:
        """Another mould is in use."""
        self.call("set_mould", self.mould(slots), EVENTS.index(code))

    def feed(self, *, heats: bool = False) -> bool:
        """Take a duty line."""
        return bool(self.lib.safety_take_duty(self.it, heats))

    def fed(self, seconds: float) -> Core:
        """Live so long with a duty line each 0.4 s."""
        for at in range(round(seconds * 1000 / PASS_MS)):
            if at % 8 == 0:
                self.feed()
            self.passes()
        return self

    def call(self, name: str, *given: Any) -> Any:
        """Call `safety_<name>`; return what it returns."""
        result = getattr(self.lib, f"safety_{name}")(self.it, *given)
        self.listen()
        return result

    def heat(self, half: int = 0, expiry_ms: int = 1500, *, hand: bool = True) -> str:
        """Ask for commissioning heat; return why not."""
        return HEATS[self.call("heat", half, expiry_ms, hand)]

    def charge(self) -> str:
        """Announce a charge; return why not."""
        return CHARGES[self.call("charge")]

    def set_trip(self, wanted: int, *, hand: bool = False) -> str:
        """Change the trip point; return why not."""
        return TRIPS[self.call("set_trip", wanted, hand)]

    def tested(self) -> Core:
        """Let the self-test pass and end."""
        self.call("end_selftest", True)  # noqa: FBT003 - C
        return self.passes(20)

    def ready(self) -> Core:
        """Come to ready."""
        self.tested().call("open_session")
        self.passes(4)
        assert self.state == "ready", self.why
        return self

    def armed(self) -> Core:
        """Come to armed."""
        assert self.ready().call("arm")
        self.call("confirm_cut")
        self.passes(1)
        assert self.state == "armed"
        return self
