"""The board's rules in C beside those of the simulated board: one history, one verdict."""

from __future__ import annotations

from collections import Counter
from typing import Any

from c_core import core
from safety_core import SOURCES
from tawny.core.names import FirstOut
from tawny.sim.limits import READ_MS
from tawny.sim.memory import HalfSlot
from tawny.sim.trips import HalfInput, Surroundings, Trips, Verdict

FIRST_OUTS = list(FirstOut)
SLOT = HalfSlot(rise=500, lag=200, heat_up=600)  # 0.5 K/s, 20 s, 10 min


def half(
    tenths: int = 1000,
    *,
    duty: int = 0,
    taken: int | None = None,
    setpoint: int = 0,
    raw: int = 0x01541900,
    good: bool = True,
) -> HalfInput:
    """Return what is judged of one half; what was taken is what is in force."""
    taken = duty if taken is None else taken
    return HalfInput(tenths=tenths, good=good, raw=raw, duty=duty, taken=taken, setpoint=setpoint)


def around(
    *,
    trip: int = 2150,
    armed: bool = True,
    closed: bool = True,
    contactor: bool = True,
    window: bool = False,
) -> Surroundings:
    """Return what is judged of the board as a whole."""
    return Surroundings(trip, armed, closed, contactor, window)


def name_of(verdict: Verdict | None) -> str:
    """Return the one word of a verdict, "" for none."""
    if verdict is None:
        return ""
    if verdict.trip is not None:
        return verdict.trip.value
    return "fall" if verdict.fall else "full"


class Twin:
    """Both makes of the rules, fed alike.

    Attributes:
        seen: How often each verdict came.
    """

    def __init__(self, halves: int) -> None:
        self.ffi, self.lib = core(*SOURCES)
        self.halves = halves
        self.now_ms = 0
        self.model = Trips(halves)
        self.rules: Any = self.ffi.new("struct rules *")
        size = self.ffi.sizeof("struct rules")
        self.ffi.memmove(self.rules, b"\xa5" * size, size)
        self.lib.rules_start(self.rules, halves)
        self.seen: Counter[str] = Counter()

    def set_mould(self, slots: tuple[HalfSlot | None, HalfSlot | None]) -> None:
        """Another mould is in use."""
        mould = self.ffi.new("struct rules_mould[2]")
        for each, slot in zip(mould, slots, strict=True):
            if slot is not None:
                each.rise, each.lag, each.up = slot.rise, slot.lag, slot.heat_up
        self.lib.rules_set_mould(self.rules, mould)
        self.model.set_mould(slots)

    def arm(self) -> None:
        """The board is armed."""
        self.lib.rules_arm(self.rules)
        self.model.arm(self.now_ms)

    def charge(self, tenths: tuple[int, int]) -> None:
        """A charge is announced."""
        self.lib.rules_charge(self.rules, list(tenths))
        self.model.charge(tenths[: self.halves])

    def age(self) -> None:
        """A read passes at which nothing is judged."""
        self.now_ms += READ_MS
        self.lib.rules_pause(self.rules)

    def read(self, halves: tuple[HalfInput, ...], board: Surroundings) -> str:
        """Judge one read by both; return the verdict's word."""
        self.now_ms += READ_MS
        expected = self.model.judge(self.now_ms, list(halves[: self.halves]), board)
        given = self.ffi.new("struct rules_half[2]")
        for each, one in zip(given, halves, strict=False):
            each.raw, each.tenths, each.good = one.raw, one.tenths, one.good
            each.duty, each.taken, each.setpoint = one.duty, one.taken, one.setpoint
        place = self.ffi.new(
            "struct rules_around *",
            (board.trip_tenths, board.armed, board.closed, board.contactor, board.charge_window),
        )
        found = self.lib.rules_judge(self.rules, given, place)
        wanted = (
            (0, 0, False, False)
            if expected is None
            else (
                FIRST_OUTS.index(expected.trip or FirstOut.NONE),
                expected.half,
                expected.fall,
                expected.full,
            )
        )
        assert (found.trip, found.half, found.fall, found.full) == wanted, (self.now_ms, expected)
        word = name_of(expected)
        self.seen[word] += 1
        return word

    def until(self, halves: tuple[HalfInput, ...], board: Surroundings, most: int) -> int:
        """Repeat one read until something is said; return how many it took, 0 where none did."""
        for count in range(1, most + 1):
            if self.read(halves, board):
                return count
        return 0


def armed_twin(slot: HalfSlot | None = SLOT, halves: int = 2) -> Twin:
    """Return armed rules that judge by one slot for both halves."""
    twin = Twin(halves)
    twin.set_mould((slot, slot))
    twin.arm()
    return twin
