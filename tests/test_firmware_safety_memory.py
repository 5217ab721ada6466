"""The safety core in C: counters, events, the seal over its memory, and what it never does."""

from __future__ import annotations

import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safety_core import Core
from tawny.core import messages as m

# Timers, events, the seal.


def test_core_counts_a_time_down_once() -> None:
    """It runs out with its last pass, once, and stays at 0."""
    core = Core()
    left = core.ffi.new("uint16_t *", 3)

    assert [core.lib.safety_runs_out(left) for _ in range(5)] == [False, False, True, False, False]
    assert left[0] == 0
    left[0] = 65535
    assert core.lib.safety_runs_out(left) is False
    assert left[0] == 65534


def test_core_drops_events_beyond_what_it_can_hold() -> None:
    """Six wait; more are lost, the oldest stay, in order."""
    core = Core()
    for _ in range(9):
        core.lib.safety_refuse_arm(core.it)
    core.lib.safety_fail_selftest(core.it)

    assert [code for code, _ in core.listen()] == ["refarm"] * 6
    assert core.lib.safety_is_intact(core.it)


def flips(core: Core) -> list[tuple[int, int]]:
    """Return every bit of the core's memory, as byte and mask."""
    size = core.ffi.sizeof("struct safety")
    return [(at, 1 << bit) for at in range(size) for bit in range(8)]


@pytest.mark.parametrize("halves", [1, 2])
def test_core_finds_every_bit_that_changed_by_itself(halves: int) -> None:
    """Each single bit of the whole core, while armed: at the next pass tripped and off."""
    core = Core(halves=halves).armed()
    core.fed(1)
    before = bytes(core.bytes())
    for at, mask in flips(core):
        core.bytes()[:] = before
        core.bytes()[at] = bytes([before[at] ^ mask])
        assert not core.lib.safety_is_intact(core.it), (at, mask)
        core.lib.safety_pass(core.it, True)  # noqa: FBT003 - C
        assert core.state == "tripped", (at, mask)
        assert core.latch != "none"
        assert core.it.cut
        assert not core.it.contactor
        assert not core.lib.safety_permits(core.it)
        assert core.it.halves in {1, 2}
        assert core.lib.safety_is_intact(core.it)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("end_selftest", (True,)),
        ("fail_selftest", ()),
        ("set_inputs", (m.IN_MAINS,)),
        ("pass", (True,)),
        ("open_session", ()),
        ("close_session", ()),
        ("take_duty", (True,)),
        ("arm", ()),
        ("disarm", ()),
        ("refuse_arm", ()),
        ("charge", ()),
        ("set_trip", (2000, True)),
        ("heat", (0, 1500, True)),
        ("release_arm", (False, True)),
        ("confirm_cut", ()),
    ],
)
def test_core_finds_a_changed_bit_in_every_function_that_writes(
    name: str, given: tuple[Any, ...]
) -> None:
    """Whatever is called next trips, keeps no session, and cannot be reset."""
    core = Core().ready()
    core.bytes()[core.ffi.offsetof("struct safety", "heats")] = b"\x01"
    core.call(name, *given)

    assert (core.state, core.latch) == ("tripped", "selftest")
    assert not core.permits
    core.sensors_good = True
    core.passes(4)
    core.call("release_arm", True, True)  # noqa: FBT003 - C
    assert core.latch == "selftest"


def sealed(core: Core) -> None:
    """Seal what stands in the core's memory, as its own end of a call would."""
    low, high = 0x5A, 0xA5
    for (byte,) in struct.iter_unpack("B", bytes(core.bytes())[2:]):
        low = (low + byte) & 0xFF
        high = (high + low) & 0xFF
    core.it.seal = high << 8 | low


@pytest.mark.parametrize(("own", "judged"), [(2, 0), (2, 1), (2, 3), (0, 0), (3, 3), (255, 255)])
def test_core_trips_where_no_half_would_be_judged(own: int, judged: int) -> None:
    """A count of halves that turned over while the core worked, and was sealed in with the rest."""
    core = Core().armed()
    sealed(core)
    assert core.lib.safety_is_intact(core.it)
    core.it.halves, core.it.rules.halves = own, judged
    sealed(core)
    core.lib.safety_pass(core.it, True)  # noqa: FBT003 - C

    assert (core.state, core.latch, core.permits) == ("tripped", "selftest", False)
    assert core.it.rules.halves == core.it.halves == 2


def test_core_says_nothing_out_of_a_memory_that_changed() -> None:
    """Events wait until the seal was looked at."""
    core = Core()
    core.lib.safety_refuse_arm(core.it)
    said = core.ffi.new("struct safety_said *")
    core.bytes()[core.ffi.offsetof("struct safety", "tenths")] = b"\x01"

    assert not core.lib.safety_take_said(core.it, said)


def test_core_starts_anew_whatever_its_memory_held() -> None:
    """A start forgets all but what was kept; three halves are two."""
    core = Core().armed()
    core.bytes()[:] = b"\xff" * len(core.bytes())
    kept = core.ffi.new("struct safety_kept *", {"trip": 2150})
    core.lib.safety_start(core.it, 3, kept, m.IN_MAINS)

    assert core.lib.safety_is_intact(core.it)
    assert core.it.halves == 2
    assert (core.state, core.contactor, core.permits) == ("selftest", False, False)


# Never.

_calls = st.one_of(
    st.tuples(st.just("pass"), st.booleans()),
    st.tuples(st.sampled_from(["open_session", "close_session", "arm", "disarm", "charge"])),
    st.tuples(st.just("take_duty"), st.booleans()),
    st.tuples(st.just("set_inputs"), st.integers(0, 0x7F)),
    st.tuples(st.just("release_arm"), st.booleans(), st.booleans()),
    st.tuples(st.just("set_trip"), st.sampled_from([600, 2000, 2150, 2300]), st.booleans()),
    st.tuples(st.just("heat"), st.integers(0, 2), st.integers(0, 65535), st.booleans()),
    st.tuples(st.sampled_from(["read"]), st.integers(200, 2400), st.booleans()),
    st.tuples(st.just("end_selftest"), st.booleans()),
    st.tuples(st.sampled_from(["come", "arm"])),
)


def carry_out(core: Core, name: str, given_: list[Any]) -> None:
    """Make one call; `come` brings the board to where it can be armed, `read` reads."""
    if name == "come":
        core.call("set_inputs", m.IN_MAINS | (m.IN_CONTACTOR if core.contactor else 0))
        core.call("open_session")
        core.call("pass", True)  # noqa: FBT003 - C
    elif name == "read":
        core.tenths[0], core.sensors_good = given_
        core.read()
    else:
        core.call(name, *given_)


@settings(max_examples=300)
@given(st.sampled_from([1, 2]), st.lists(_calls, max_size=60))
def test_core_never_heats_clears_or_arms_of_itself(
    halves: int, calls: list[tuple[Any, ...]]
) -> None:
    """No call but the right one arms, heats, or clears the latch, in any order of any calls."""
    core = Core(halves=halves).tested()
    for name, *given_ in calls:
        state, latch, heats = core.state, core.latch, core.it.heats
        trip = core.lib.safety_trip(core.it)
        carry_out(core, name, given_)
        reset = name == "release_arm" and given_ == [True, True]
        assert latch in {"none", core.latch} or (reset and core.latch == "none")
        assert core.state != "armed" or state == "armed" or name == "arm"
        assert core.it.heats in {0, heats} or (name == "heat" and given_[2])
        raised = core.lib.safety_trip(core.it) > trip
        assert not raised or (name == "set_trip" and given_[1] and state != "armed")
        assert core.it.cut or state != "armed" or core.state == "armed"
        assert core.permits == (core.state == "armed" or core.it.heats != 0)
        assert core.contactor == (core.permits or bool(core.it.lingers))
        assert core.state != "tripped" or (core.latch != "none" and not core.contactor)
        assert core.lib.safety_is_intact(core.it)
