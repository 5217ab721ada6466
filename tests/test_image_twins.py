"""One random script on the compiled image and on the pure C of this machine: the same history."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from board_rig import Bench, MakeRig
from core_rig import CoreRig
from elf_rig import ElfRig
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import ResetCause

STEPS = 60
LATE_MOST_MS = 80  # what the lines of one step take on the image
# Far from every time limit, since a line takes its time on one of the two and none on the other.
SPANS_S = (0.6, 1.2, 2.2, 4.4, 6.6, 11.4)
TEMPERATURES_C = (22.0, 44.9, 45.2, 99.5, 100.5, 180.0, 194.7, 195.3, 214.7, 215.3, 229.0)
SWITCHES = (m.IN_OPEN, m.IN_BUTTON, m.IN_MAINS, m.IN_NEXT, m.IN_THERMOSTAT)
TRIPS = (599, 600, 1999, 2000, 2149, 2150, 2151, 2300, 2301, "bad")
CAUSES = (ResetCause.POWER, ResetCause.BUTTON, ResetCause.WATCHDOG, ResetCause.BROWNOUT)


class Twin:
    """A board that follows a script and notes what came of it."""

    def __init__(self, make: MakeRig) -> None:
        self.bench = Bench(make(), 100.0, 100.0)
        self.notes: list[Any] = []
        self.bench.greet()

    def note(self, *what: object) -> None:
        """Note what was answered, and how things stand."""
        self.bench.listen()
        tele = self.bench.tele
        events = [(one.code, one.val, one.boot) for one in self._events()]
        shown = (tele.st, tele.fo, tele.u, tele.l, tele.inputs, tele.k)
        self.notes.append((what, shown, events, self.bench.rig.contactor()))

    def _events(self) -> list[m.Event]:
        return [said for said in self.bench.heard if isinstance(said, m.Event)]

    def ask(self, kind: Any, *fields: object) -> None:
        """Ask for something."""
        reply = self.bench.ask(self.bench.request(kind, *fields))
        self.note(kind.__name__, getattr(reply, "why", type(reply).__name__))

    def arm(self, hold_s: float) -> None:
        """Arm as far as the board lets itself be armed."""
        reply = self.bench.ask(self.bench.request(m.ArmAsk))
        if isinstance(reply, m.Challenge):
            self.ask(m.ArmAnswer, wire.arming_answer(reply.c, self.bench.token))
        self.bench.press_arm(hold_s)
        self.bench.run(0.6)
        self.note("arm", getattr(reply, "why", ""))

    def follow(self, rng: Random) -> None:
        """Do one step of a script."""
        bench = self.bench
        deed = rng.choice(("live", "live", "live", "heat", "heat", "switch", "ask", "arm", "arm",
                           "silence", "restart", "hello", "warm"))  # fmt: skip
        span_s, duty = rng.choice(SPANS_S), rng.choice((0, 1, 200, 201, 500, 950, 1000))
        bit, cause, number = rng.choice(SWITCHES), rng.choice(CAUSES), rng.randrange(10)
        warm, trip = rng.choice(TEMPERATURES_C), rng.choice(TRIPS)
        hold_s = rng.choice((0.3, 0.3, 0.3, 3.0))
        asks = ((m.Charge,), (m.Disarm,), (m.TripSet, trip), (m.Use, number % 4), (m.LimitsAsk,),
                (m.MouldAsk, number), (m.Signal, "on", "soon"), (m.Bye,),
                (m.StoreMould, 1, "upper", 500, 200, 600))  # fmt: skip
        ask = rng.choice(asks)
        if deed == "live":
            bench.run(span_s)
        elif deed == "heat":
            bench.run(min(span_s, 4.4), (duty, duty))
        elif deed == "switch":
            bench.rig.set_input(bit, on=True)
            bench.run(0.6)
            self.note("on")
            bench.rig.set_input(bit, on=False)
            if bit == m.IN_MAINS:
                bench.run(0.6)
                bench.rig.set_input(bit, on=True)
            bench.run(0.6)
        elif deed == "ask":
            self.ask(*ask)
        elif deed == "arm":
            self.arm(hold_s)
        elif deed == "silence":
            bench.run(span_s, None)
        elif deed == "restart":
            bench.rig.restart(cause)
            bench.heard = [said for said in bench.heard if not isinstance(said, m.Tele)]
            bench._due_ms = 0  # noqa: SLF001 - the board's clock has begun anew
            bench.run(1.6, None)
        elif deed == "hello":
            reply = bench.hello()
            self.note("hello", getattr(reply, "why", ""))
            bench.run(0.6)
        else:
            bench.upper_c = bench.lower_c = warm
            bench.run(0.6)
        bench.run(0.4)
        self._keep_step()
        self.note(deed)

    def _keep_step(self) -> None:
        """Wait for a whole second: both twins then stand at the same one."""
        bench = self.bench
        until_ms = (bench.rig.now_ms + 1000 - LATE_MOST_MS) // 1000 * 1000 + 1000
        while bench.rig.now_ms < until_ms:
            bench.step(min(50, until_ms - bench.rig.now_ms))
        bench._due_ms = until_ms  # noqa: SLF001 - the next duty line goes at once


@pytest.mark.parametrize("seed", range(6))
def test_twins_live_the_same_life(seed: int) -> None:
    """States, causes, events, refusals, readings and contactor agree after each step."""
    image, core = Twin(ElfRig), Twin(CoreRig)
    for step in range(STEPS):
        for twin in (image, core):
            twin.follow(Random(seed * 1000 + step))  # noqa: S311 - chance, not secrets
        assert image.notes[-3:] == core.notes[-3:], step
    assert image.notes == core.notes
    assert len({shown[0] for _, shown, _, _ in image.notes}) >= 3, "a dull life"
