"""The safety core in C beside the simulated board: the same intents, the same decisions."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from board_rig import register_of
from safety_core import EVENTS, SLOT
from safety_shadow import Shadow
from tawny.core import messages as m
from tawny.core.names import BoardState
from tawny.sim.memory import HalfSlot

BROKEN = 0x00010001  # a converter that says: open circuit
SWITCHES = (m.IN_MAINS, m.IN_BUTTON, m.IN_THERMOSTAT, m.IN_OPEN, m.IN_NEXT, m.IN_ARM)
# The others come at the start, with another slot, or after half an hour.
CODES = set(EVENTS) - {"boot", "used", "presence", "full"}

_temperatures = st.sampled_from([20.0, 44.9, 45.2, 99.9, 100.0, 160.0, 185.0, 194.9, 195.2, 215.2])
_counts = st.sampled_from([1, 2, 3, 4, 5, 8, 15, 20, 60, 61, 200]) | st.integers(1, 260)
_steps = st.one_of(
    st.tuples(st.just("wait"), _counts),
    st.tuples(st.just("work"), st.sampled_from([0, 1, 300, 800, 950, 1000]), _counts),
    st.tuples(st.just("warm"), st.sampled_from([0, 1]), _temperatures),
    st.tuples(st.just("break"), st.sampled_from([0, 1])),
    st.tuples(st.just("switch"), st.sampled_from(SWITCHES)),
    st.tuples(st.just("press"), st.sampled_from([1, 39, 40, 60, 100, 101])),
    st.tuples(st.just("hold")),
    st.tuples(st.just("arm")),
    st.tuples(st.just("ready")),
    st.tuples(st.sampled_from(["go", "go", "go", "fall"])),
    st.tuples(st.sampled_from(["wait in vain", "go", "go", "stand open"])),
    st.tuples(st.just("mirror"), st.booleans()),
    st.tuples(st.sampled_from(["hello", "disarm", "charge", "bye", "store"])),
    st.tuples(st.just("trip"), st.sampled_from([599, 600, 1999, 2150, 2151, 2300, 2301])),
    st.tuples(st.just("heat"), st.sampled_from(["upper", "lower"]), st.sampled_from([100, 1500])),
)


class Press:
    """Carries steps out on a shadowed board."""

    def __init__(self, halves: int, slots: tuple[HalfSlot | None, HalfSlot | None]) -> None:
        self.board = Shadow(slots, halves=halves)
        self.mirror_follows = True
        self.board.pass_by(25)

    def live(self, passes: int, duty: int | None = None) -> None:
        """Live so many passes, with a duty line each 0.4 s where one is given."""
        for at in range(passes):
            if self.mirror_follows:
                self.board.follow()
            if duty is not None and at % 8 == 0:
                self.board.duty(duty, duty, 1800)
            self.board.pass_by()

    def carry_out(self, what: str, *how: str | float) -> None:
        """Carry one step out."""
        board = self.board
        match what, how:
            case "wait", (passes,):
                self.live(passes)
            case "work", (duty, passes):
                self.live(passes, duty)
            case "warm", (half, temperature_c):
                board.registers[half] = register_of(temperature_c)
            case "break", (half,):
                board.registers[half] = BROKEN
            case "switch", (bit,):
                board.move(bit, on=not board.inputs & bit)
            case "press", (passes,):
                board.move(m.IN_ARM, on=True)
                self.live(passes, 0)
                board.move(m.IN_ARM, on=False)
            case "mirror", (follows,):
                self.mirror_follows = follows
            case "trip", (wanted,):
                board.ask(m.TripSet, wanted)
            case "heat", (half, expiry_ms):
                board.heat(half, 500, expiry_ms)
            case _:
                self._ask(what)

    def _ask(self, what: str) -> None:
        board = self.board
        match what:
            case "hello":
                board.ask(m.Hello)
            case "disarm":
                board.ask(m.Disarm)
            case "charge":
                board.ask(m.Charge)
            case "bye":
                board.ask(m.Bye)
            case "store":
                board.ask(m.StoreMould, 1, "upper", SLOT.rise, SLOT.lag, SLOT.heat_up)
            case _:
                self._do_more(what)

    def _do_more(self, what: str) -> None:
        board = self.board
        match what:
            case "hold":
                board.move(m.IN_ARM, on=True)
            case "arm":
                board.arm_as_two_do()
            case "go":
                self._make_ready()
                board.arm_as_two_do()
                self.live(20, 500)
            case "fall":
                self.live(108, 0)
                board.registers[0] = register_of(90.0)
                self.live(4, 0)
            case "wait in vain":
                board.ask(m.ArmAsk)
                self.live(201, 0)
            case "stand open":
                board.move(m.IN_OPEN, on=True)
                for _ in range(9):  # another register each 20 s: none is stuck
                    board.registers[:] = [raw ^ 0x10 for raw in board.registers]
                    self.live(401, 300)
            case "ready":
                self._make_ready()

    def _make_ready(self) -> None:
        """Do what a person and a host do to get going again."""
        board = self.board
        self.mirror_follows = True
        board.registers[:] = [register_of(100.0), register_of(100.0)]
        for bit in (m.IN_BUTTON, m.IN_THERMOSTAT, m.IN_ARM, m.IN_OPEN):
            board.move(bit, on=False)
        board.move(m.IN_MAINS, on=True)
        self.live(8)
        if board.state is BoardState.TRIPPED:
            self.carry_out("press", 50)
        if not board.session.token:
            board.ask(m.Hello)
        self.live(4, 0)


def play(
    halves: int, slots: tuple[HalfSlot | None, HalfSlot | None], steps: list[tuple[Any, ...]]
) -> set[str]:
    """Carry out a history; return what was seen of it."""
    press = Press(halves, slots)
    press.carry_out("ready")
    for step in steps:
        press.carry_out(*step)
    return press.board.seen


_slots = st.sampled_from([(SLOT, SLOT), (SLOT, SLOT), (None, None), (SLOT, None)])


@settings(max_examples=120)
@given(st.sampled_from([1, 2]), _slots, st.lists(_steps, max_size=30))
def test_core_decides_what_the_simulated_board_decides(
    halves: int,
    slots: tuple[HalfSlot | None, HalfSlot | None],
    steps: list[tuple[Any, ...]],
) -> None:
    """State, latch, reason, contactor, holds, lamps and events are the same after each step."""
    play(halves, slots, steps)


@pytest.mark.slow
def test_core_campaign_meets_every_event() -> None:
    """Hundreds of histories agree, and every state and event comes about."""
    # Rare by chance: nobody presses, and heat by hand on a cool half.
    cool = [("warm", 0, 44.9), ("warm", 1, 44.9), ("wait", 8)]
    seen = play(2, (SLOT, SLOT), [("wait in vain",), *cool, ("hold",), ("heat", "upper", 1500)])
    assert seen >= {"refarm", "comm"}

    @settings(max_examples=300, database=None)
    @given(st.sampled_from([1, 2]), _slots, st.lists(_steps, min_size=10, max_size=60))
    def campaign(
        halves: int,
        slots: tuple[HalfSlot | None, HalfSlot | None],
        steps: list[tuple[Any, ...]],
    ) -> None:
        seen.update(play(halves, slots, steps))

    campaign()
    assert seen >= CODES | {state.value for state in BoardState} - {"boot", "selftest"}, (
        CODES - seen
    )
