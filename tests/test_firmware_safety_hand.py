"""The safety core in C: what needs a hand, sections 6.1, 6.5 and 6.8: heat, reset, trip point."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from safety_core import FIRST_OUTS, LIMITS, TRIPS, Core
from tawny.core import messages as m

TRIP_LEAST, CEILING = LIMITS["SAFETY_TRIP_LEAST"], LIMITS["SAFETY_CEILING"]


# Commissioning heat.


def heating(**build: Any) -> Core:
    """Return a ready core under commissioning heat of its upper half, which warms as it must."""
    core = Core(**build).ready()
    core.tenths[:] = [300, 300]
    core.passes(4)
    assert core.heat() == ""
    return core


def test_core_heats_by_hand_one_half() -> None:
    """Permitted while it runs, contactor in, event `comm` once for each half."""
    core = heating()
    assert core.permits
    assert core.contactor
    assert core.it.heats == 1
    assert core.heat() == ""
    assert core.heat(1) == ""
    assert core.it.heats == 2
    assert core.codes.count("comm") == 2


def test_core_refuses_to_heat_by_hand_without_one() -> None:
    """`hand`, `limit` and `state`, in the order of the page."""
    core = Core().ready()
    core.tenths[:] = [999, 1000]
    core.passes(4)
    assert core.heat(hand=False) == "hand"
    assert core.heat(1) == "limit"
    assert core.heat(2) == "limit"
    assert core.heat() == ""
    assert Core(halves=1).ready().heat(1) == "limit"
    locked = Core().tested()
    locked.tenths[:] = [300, 300]
    locked.passes(4)
    assert locked.heat() == "state"


def test_core_heats_by_hand_where_only_the_mould_is_unknown() -> None:
    """Locked for want of R and lag is no reason; anything before it is."""
    core = Core(slots=(None, None)).tested()
    core.call("open_session")
    core.tenths[:] = [300, 300]
    core.passes(4)
    assert (core.state, core.why) == ("locked", "mould")
    assert core.heat() == ""
    assert core.permits
    core.set_inputs(m.IN_MAINS, on=False)
    assert core.it.heats == 0
    assert not core.permits
    assert not core.contactor
    assert core.heat() == "state"


def test_core_permits_no_heat_by_hand_in_another_state() -> None:
    """Heat that is noted where it may not be, permits nothing."""
    core = Core().tested()
    core.it.heats = 1

    assert core.state == "locked"
    assert not core.permits


@pytest.mark.parametrize(
    ("expiry_ms", "passes"), [(0, 1), (49, 1), (100, 2), (1500, 30), (9999, 30)]
)
def test_core_ends_heat_by_hand_at_its_expiry(expiry_ms: int, passes: int) -> None:
    """On until `x` ms after the line, 1.5 s at most, and cut then."""
    core = heating()
    core.heat(expiry_ms=expiry_ms)
    core.call("confirm_cut")
    assert core.passes(passes - 1).it.heats == 1
    assert core.passes(1).it.heats == 0
    assert core.cut
    assert not core.contactor


def test_core_ends_heat_by_hand_at_100_degrees() -> None:
    """On at 99.9 degC, cut in the pass after 100.0 was read."""
    for tenths, heats in ((999, 1), (1000, 0)):
        core = heating()
        core.tenths[0] = tenths
        core.read()
        core.lib.safety_pass(core.it, True)  # noqa: FBT003 - C
        assert core.it.heats == heats


def test_core_ends_heat_by_hand_of_the_half_that_is_hot() -> None:
    """The lower one is judged by its own temperature, whatever the other's is."""
    core = heating()
    core.lib.safety_release_arm(core.it, False, True)  # noqa: FBT003 - C
    assert core.heat(1) == ""
    core.tenths[:] = [1500, 999]
    core.read()
    assert core.passes(1).it.heats == 2
    core.tenths[1] = 1000
    core.read()
    assert core.passes(1).it.heats == 0


def test_core_ends_heat_by_hand_after_10_min_until_arm_was_released() -> None:
    """10 min of one press, with pauses or not; a new press counts anew."""
    core = heating()
    for second in range(599):
        core.tenths[0] = 300 + second // 4
        core.heat()
        core.feed()
        core.passes(20)
    assert core.heat() == ""
    core.passes(20)
    assert core.it.heats == 0
    assert core.heat() == "state"
    core.call("release_arm", False, True)  # noqa: FBT003 - C
    assert core.heat() == ""


@pytest.mark.parametrize(("risen", "latch"), [(20, "none"), (19, "norise")])
def test_core_wants_2_k_in_each_120_s_of_heat_by_hand(risen: int, latch: str) -> None:
    """2.0 K in 120 s is enough, 1.9 K trips."""
    core = heating()
    for start in (300, 320):
        core.tenths[0] = start
        for second in range(120):
            if second == 100:
                core.tenths[0] = start + (20 if start == 300 else risen)
            core.heat()
            core.feed()
            core.passes(20)
    assert core.latch == latch


def test_core_ends_heat_by_hand_when_arm_comes_up() -> None:
    """Cut, released, and said only by the outputs."""
    core = heating()
    core.call("confirm_cut")
    core.call("release_arm", False, False)  # noqa: FBT003 - C
    assert core.it.heats == 0
    assert core.cut
    assert not core.contactor


@pytest.mark.parametrize("end", ["arm", "disarm", "close_session", "silence", "trip"])
def test_core_ends_heat_by_hand_with_whatever_ends_heat(end: str) -> None:
    """Arming, disarming, the session's end, silence and a trip end it."""
    core = heating()
    if end == "silence":
        for _ in range(20):
            core.heat()
            core.passes(10)
    elif end == "trip":
        core.set_inputs(m.IN_THERMOSTAT)
    else:
        core.call(end)
        core.passes(1)

    assert core.it.heats == 0
    assert core.contactor is (end == "arm")


# The latch.


def test_core_keeps_the_first_cause() -> None:
    """For every pair of causes the first stays."""
    core = Core()
    causes = range(len(FIRST_OUTS))
    for latched, found in itertools.product(causes, causes):
        assert core.lib.safety_first(latched, found) == (latched or found)


def test_core_says_a_trip_once() -> None:
    """A second cause changes neither latch nor log."""
    core = Core().armed()
    core.set_inputs(m.IN_THERMOSTAT)
    core.call("fail_selftest")

    assert core.latch == "chain"
    assert core.codes.count("trip") == 1


def tripped(latch: str = "overtemp", **build: Any) -> Core:
    """Return a core that is tripped, cool and with a session."""
    core = Core(latch=latch, **build).tested()
    core.call("open_session")
    return core.passes(4)


def test_core_is_reset_by_hand_when_cool_and_idle() -> None:
    """The latch goes, event `reset`, ready and never armed."""
    core = tripped()
    core.call("release_arm", True, True)  # noqa: FBT003 - C

    assert (core.state, core.latch, core.codes[-1]) == ("ready", "none", "reset")
    assert not core.contactor


@pytest.mark.parametrize("what", ["asks", "idle", "warm", "unknown"])
def test_core_is_not_reset_while_anything_is_wrong(what: str) -> None:
    """Another press, a duty that still stands, 19.9 K below the trip point, no readings."""
    core = tripped()
    if what == "warm":
        core.tenths[1] = 1951
        core.passes(4)
    if what == "unknown":
        core.sensors_good = False
        core.passes(1)
    core.call("release_arm", what != "asks", what != "idle")
    assert (core.state, core.latch) == ("tripped", "overtemp")
    core.sensors_good = True
    core.tenths[1] = 1950
    core.passes(4)
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == "none"


@pytest.mark.parametrize(("latch", "bit"), [("chain", m.IN_THERMOSTAT), ("mirror", m.IN_CONTACTOR)])
def test_core_is_not_reset_while_its_cause_stands(latch: str, bit: int) -> None:
    """An open thermostat, a contactor still in: its own cause must be gone, not another."""
    core = tripped(latch)
    core.mirror_follows = False
    core.set_inputs(bit)
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == latch
    core.set_inputs(bit, on=False)
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == "none"
    other = tripped("overtemp", inputs=m.IN_MAINS | bit, mirror_follows=False)
    other.call("release_arm", True, True)  # noqa: FBT003 - C
    assert (other.latch, other.state) == ("none", "locked")


def test_core_is_not_reset_with_a_self_test_that_failed_this_time() -> None:
    """A self-test that failed since the start stays; one from before may be reset."""
    core = tripped("selftest")
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == "none"
    core.call("fail_selftest")
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == "selftest"


def test_core_takes_no_reset_for_another_state() -> None:
    """A press like that means nothing while armed."""
    core = Core().armed()
    core.call("release_arm", True, True)  # noqa: FBT003 - C

    assert core.state == "armed"
    assert "reset" not in core.codes


# The trip point.


@pytest.mark.parametrize("present", [600, 601, 1999, 2150, 2299, 2300])
def test_core_only_reduces_the_trip_point_without_a_hand(present: int) -> None:
    """Refused, never clipped; upwards only with a hand and not armed; never past the ceiling."""
    core = Core()
    near = {
        present - 1,
        present,
        present + 1,
        599,
        600,
        2300,
        2301,
        -(2**31),
        2**31 - 1,
        65536 + 600,
    }
    for wanted, armed, hand in itertools.product(near, (False, True), (False, True)):
        answer = TRIPS[core.lib.safety_judge_trip(present, wanted, armed, hand)]
        if not TRIP_LEAST <= wanted <= CEILING:
            assert answer == "range"
        elif wanted <= present:
            assert answer == ""
        elif armed:
            assert answer == "state"
        else:
            assert answer == ("" if hand else "hand")


def test_core_sets_the_trip_point() -> None:
    """Taken at once, said with its value; armed it only goes down; the setpoint follows."""
    core = Core().armed()
    assert core.lib.safety_setpoint_most(core.it) == 2000
    assert core.set_trip(2000) == ""
    assert core.heard[-1] == ("tripset", 2000)
    assert core.lib.safety_trip(core.it) == 2000
    assert core.lib.safety_setpoint_most(core.it) == 1850
    assert core.set_trip(2001, hand=True) == "state"
    core.call("disarm")
    assert core.set_trip(2001) == "hand"
    assert core.set_trip(2300, hand=True) == ""
    assert core.set_trip(2301, hand=True) == "range"
    assert core.lib.safety_trip(core.it) == 2300


def test_core_takes_the_lowest_trip_point_where_its_copies_differ() -> None:
    """Any single bit of either copy, and any value out of range in both, means 60.0 degC."""
    core = Core()
    for field, bit in itertools.product(("trip", "trip_inverted"), range(16)):
        core.it.trip, core.it.trip_inverted = 2150, ~2150
        flipped = (getattr(core.it, field) ^ (1 << bit)) + 32768 & 0xFFFF
        setattr(core.it, field, flipped - 32768)
        assert core.lib.safety_trip(core.it) == 600
    for value in (599, 2301, -1, 32767):
        core.it.trip, core.it.trip_inverted = value, ~value
        assert core.lib.safety_trip(core.it) == 600
    assert core.lib.safety_setpoint_most(core.it) == 450
