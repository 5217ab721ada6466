"""The safety core in C: its states, what it wants for ready, its sessions and silence."""

from __future__ import annotations

import pytest

from safety_core import FIRST_OUTS, MOVES, SLOT, STATES, Core
from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut
from tawny.sim.states import Move, after

# The states.


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("move", MOVES)
def test_core_leads_from_state_to_state_as_the_page_says(state: BoardState, move: str) -> None:
    """Every pair of state and move; a trip also leaves `boot`, where the page knows none."""
    core = Core()
    core.it.state = STATES.index(state)
    core.lib.core_change(core.it, MOVES.index(move))
    expected = after(state, Move(move))
    if (state, move) == (BoardState.BOOT, "trip"):
        expected = BoardState.TRIPPED

    assert core.state == expected.value
    if state is BoardState.ARMED and expected is not state:
        assert core.cut


@pytest.mark.parametrize("state", [6, 7, 255])
@pytest.mark.parametrize("move", range(len(MOVES)))
def test_core_takes_an_impossible_state_for_tripped(state: int, move: int) -> None:
    """A state that is none leads to tripped, whatever happens."""
    core = Core()
    core.it.state = state
    core.lib.core_change(core.it, move)

    assert core.state == "tripped"


def test_core_tests_itself_for_a_second() -> None:
    """Locked after 20 passes, not before; nothing opens a session's way around it."""
    core = Core()
    core.call("end_selftest", True)  # noqa: FBT003 - C
    assert core.passes(19).state == "selftest"
    assert core.why == "selftest"
    assert core.passes(1).state == "locked"
    assert core.heard == [("boot", 0)]


@pytest.mark.parametrize("ends", [(False,), (False, True), ()])
def test_core_trips_where_a_test_of_the_start_fails_or_does_not_end(ends: tuple[bool, ...]) -> None:
    """A failed test, also one that passes later, and one that never ends, trip `selftest`."""
    core = Core()
    for passed in ends:
        core.call("end_selftest", passed)
    core.passes(20)

    assert (core.state, core.latch, core.codes) == ("tripped", "selftest", ["boot", "trip"])


def test_core_trips_when_a_running_test_fails() -> None:
    """A test that runs all the time trips an armed board at once."""
    core = Core().armed()
    core.call("fail_selftest")

    assert (core.state, core.latch) == ("tripped", "selftest")
    assert core.cut
    assert not core.contactor


@pytest.mark.parametrize("latch", [cause.value for cause in FirstOut if cause is not FirstOut.NONE])
def test_core_starts_tripped_with_what_it_kept(latch: str) -> None:
    """A stored latch is back after the self-test, without a second event."""
    core = Core(latch=latch).tested()

    assert (core.state, core.latch, core.why, core.codes) == ("tripped", latch, "latched", ["boot"])


def test_core_starts_tripped_with_a_latch_that_is_none() -> None:
    """A stored word beyond the list latches `selftest`."""
    core = Core()
    kept = core.ffi.new("struct safety_kept *", {"latch": len(FIRST_OUTS), "trip": 2150})
    core.lib.safety_start(core.it, 2, kept, m.IN_MAINS)

    assert core.tested().latch == "selftest"
    assert core.state == "tripped"


def test_core_names_the_first_reason_that_holds() -> None:
    """Reasons fall away one by one, in the order of the page, until nothing is left."""
    inputs = m.IN_BUTTON | m.IN_THERMOSTAT | m.IN_CONTACTOR
    core = Core(latch="overtemp", slots=(SLOT, None), inputs=inputs)
    core.mirror_follows = False
    core.sensors_good = False
    core.call("end_selftest", True)  # noqa: FBT003 - C
    reasons = [core.why]
    core.it.latch = 0
    core.lib.core_close(core.it)
    reasons.append(core.why)
    core.passes(20)
    reasons.append(core.why)
    core.call("open_session")
    reasons.append(core.why)
    core.sensors_good = True
    core.passes(1)
    reasons.append(core.why)
    core.set_inputs(m.IN_MAINS)
    reasons.append(core.why)
    core.set_inputs(m.IN_BUTTON, on=False)
    reasons.append(core.why)
    core.set_inputs(m.IN_THERMOSTAT, on=False)
    reasons.append(core.why)
    core.set_inputs(m.IN_CONTACTOR, on=False)
    reasons.append(core.why)
    core.set_mould((SLOT, SLOT))
    reasons.append(core.why)

    assert reasons == [
        "latched",
        "selftest",
        "session",
        "sensor",
        "mains",
        "button",
        "thermostat",
        "mirror",
        "mould",
        "none",
    ]
    assert core.state == "ready"


@pytest.mark.parametrize("halves", [1, 2])
def test_core_wants_r_and_lag_of_every_half(halves: int) -> None:
    """Ready only with what is stored of all halves that are fitted."""
    core = Core(halves=halves, slots=(SLOT, None)).tested()
    core.call("open_session")

    assert core.why == ("none" if halves == 1 else "mould")


# Silence and session.


def test_core_disarms_after_3_s_of_silence_and_releases_after_10() -> None:
    """Armed until the 60th pass; the contactor stays in until the 200th, then the token is free."""
    core = Core().armed()
    core.feed(heats=True)
    assert core.passes(59).state == "armed"
    assert not core.lib.safety_is_silent(core.it)
    assert core.passes(1).state == "ready"
    assert core.cut
    assert core.lib.safety_is_silent(core.it)
    assert core.contactor
    assert not core.permits
    assert core.passes(139).contactor
    assert core.it.session
    assert not core.passes(1).contactor
    assert not core.it.session
    assert core.why == "session"
    assert core.codes[-2:] == ["silence", "released"]


def test_core_begins_silence_anew_with_a_taken_line_only() -> None:
    """A taken line feeds; heat asked for while not armed is refused and does not."""
    core = Core().ready()
    assert core.passes(40).feed(heats=True) is False
    assert core.it.silent == 44
    assert core.feed() is True
    assert core.it.silent == 0
    core.call("close_session")
    assert core.feed() is False


def test_core_does_not_count_silence_without_a_session() -> None:
    """Without a session nothing is silent that could be released."""
    core = Core().tested()

    assert core.passes(400).codes == ["boot"]
    assert core.lib.safety_is_silent(core.it)


@pytest.mark.parametrize("end", ["mains", "close_session"])
def test_core_releases_at_once_what_lingers_when_ready_ends(end: str) -> None:
    """In after a disarming by silence, the contactor goes with the state ready."""
    core = Core().armed()
    assert core.passes(60).state == "ready"
    assert core.contactor
    if end == "mains":
        core.set_inputs(m.IN_MAINS, on=False)
    else:
        core.call(end)

    assert core.state == "locked"
    assert not core.contactor


def test_core_takes_heat_away_with_the_session() -> None:
    """`bye` disarms with its event and locks."""
    core = Core().armed()
    core.call("close_session")

    assert (core.state, core.codes[-1]) == ("locked", "disarmed")
    assert core.cut
    assert not core.contactor


def test_core_cuts_when_a_session_opens_or_the_host_disarms() -> None:
    """Both cut; only what was armed is said to be disarmed."""
    core = Core().ready()
    assert core.cut
    core.call("disarm")
    assert core.cut
    assert core.codes == ["boot"]
    core.call("arm")
    core.call("disarm")
    assert (core.state, core.codes[-1]) == ("ready", "disarmed")


def test_core_arms_from_ready_alone() -> None:
    """Not from locked, tripped, armed, nor where a condition has just failed."""
    core = Core().tested()
    assert core.call("arm") is False
    core.call("open_session")
    core.passes(1)
    assert not core.permits
    assert core.call("arm") is True
    assert core.permits
    assert core.call("arm") is False
    core.set_inputs(m.IN_THERMOSTAT)
    assert core.call("arm") is False
    assert core.state == "tripped"


def test_core_says_that_a_challenge_ran_out() -> None:
    """Event `refarm`."""
    core = Core().ready()
    core.call("refuse_arm")

    assert core.codes[-1] == "refarm"
