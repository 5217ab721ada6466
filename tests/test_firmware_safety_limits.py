"""The safety core in C: whatever takes heat away from an armed board, section 6.5 to 6.7."""

from __future__ import annotations

import pytest

from safety_core import SLOT, STATES, Core
from tawny.core import messages as m
from tawny.core.names import BoardState
from tawny.sim.memory import HalfSlot

# Conditions that end heat.


@pytest.mark.parametrize(
    ("bit", "on", "code"), [(m.IN_BUTTON, True, "disarmed"), (m.IN_MAINS, False, "mains")]
)
def test_core_disarms_when_button_or_mains_say_so(bit: int, on: bool, code: str) -> None:  # noqa: FBT001
    """Locked at once, named so, nothing latched; ready again when it is over."""
    core = Core().armed()
    core.set_inputs(bit, on=on)
    assert (core.state, core.latch, core.heard[-1]) == ("locked", "none", (code, 1000))
    assert core.cut
    assert not core.contactor
    core.passes(5).set_inputs(bit, on=not on)
    assert core.state == "ready"


@pytest.mark.parametrize("state", ["locked", "ready", "armed"])
def test_core_trips_when_a_limit_thermostat_opens(state: str) -> None:
    """In every state from locked on."""
    core = Core()
    {"locked": core.tested, "ready": core.ready, "armed": core.armed}[state]()
    core.set_inputs(m.IN_THERMOSTAT)

    assert (core.state, core.latch) == ("tripped", "chain")


def test_core_only_locks_where_a_thermostat_was_open_at_the_start() -> None:
    """Open at the start, or during the self-test: locked, not tripped."""
    core = Core()
    core.set_inputs(m.IN_THERMOSTAT)
    core.tested().call("open_session")
    core.passes(4)

    assert (core.state, core.why) == ("locked", "thermostat")


def test_core_trips_on_sensors_when_armed_and_locks_otherwise() -> None:
    """Whatever may not be decided on: trip `sensor` when armed, else locked."""
    core = Core().ready()
    core.sensors_good = False
    assert (core.passes(1).state, core.why) == ("locked", "sensor")
    assert core.lib.safety_is_hot(core.it)
    core = Core().armed()
    core.sensors_good = False
    core.tenths[1] = 1234
    assert (core.passes(4).state, core.latch) == ("tripped", "sensor")
    assert core.heard[-1] == ("trip", 1000)  # as last read before


@pytest.mark.parametrize("at_read", [False, True])
def test_core_trips_on_sensors_in_a_pass_as_in_a_read(at_read: bool) -> None:  # noqa: FBT001
    """What a read finds is acted on in the same read."""
    core = Core().armed()
    core.sensors_good = False
    if at_read:
        core.read()
    else:
        core.lib.safety_pass(core.it, False)  # noqa: FBT003 - C

    assert core.latch == "sensor"


def test_core_compares_the_mirror_after_200_ms() -> None:
    """A mirror that does not follow trips at the first pass after 200 ms, in both directions."""
    for arms in (True, False):
        core = Core().armed()
        if not arms:
            core.mirror_follows = False
            core.call("disarm")
        else:
            core = Core().ready()
            core.mirror_follows = False
            core.call("arm")
        assert core.passes(4).latch == "none"
        assert (core.passes(1).latch, core.state) == ("mirror", "tripped")


def test_core_trips_when_the_mirror_moves_by_itself() -> None:
    """A contactor that drops out of itself trips; one that comes back in time does not."""
    core = Core().armed()
    core.passes(10)
    core.mirror_follows = False
    core.set_inputs(m.IN_CONTACTOR, on=False)
    core.passes(3).set_inputs(m.IN_CONTACTOR)
    assert core.passes(20).latch == "none"
    core.set_inputs(m.IN_CONTACTOR, on=False)
    assert core.passes(5).latch == "mirror"


def test_core_locks_where_the_mirror_is_in_at_the_start() -> None:
    """In while released: not ready; it never armed, so nothing trips."""
    core = Core(inputs=m.IN_MAINS | m.IN_CONTACTOR)
    core.mirror_follows = False
    core.tested().call("open_session")
    core.passes(10)

    assert (core.state, core.why, core.latch) == ("locked", "mirror", "none")


@pytest.mark.parametrize("why", ["session", "mould"])
def test_core_locks_an_armed_board_for_any_other_reason(why: str) -> None:
    """No session, no R and lag: locked, cut, and no event but what the caller says."""
    core = Core().armed()
    if why == "session":
        core.it.session = False
        core.lib.core_settle(core.it)
    else:
        core.set_mould((SLOT, None))

    assert (core.state, core.why, core.latch) == ("locked", why, "none")
    assert core.it.cut
    assert not core.contactor
    assert not {"disarmed", "mains"} & set(core.codes)


# What a read finds.


@pytest.mark.parametrize("half", [0, 1])
def test_core_cuts_off_at_the_second_reading_over_the_trip_point(half: int) -> None:
    """Armed, the second reading in a row at the trip point cuts within the same read."""
    core = Core().armed()
    assert not core.cut
    core.tenths[half] = 2150
    core.read()
    assert (core.state, core.it.cut) == ("armed", False)
    core.read()
    assert (core.state, core.latch) == ("tripped", "overtemp")
    assert core.cut
    assert not core.contactor
    assert core.listen() == [("trip", 2150)]


def test_core_judges_over_temperature_in_every_state_from_locked_on() -> None:
    """Not during the self-test, and again from locked on."""
    core = Core()
    core.tenths[:] = [2300, 2300]
    core.call("end_selftest", True)  # noqa: FBT003 - C
    assert core.passes(19).latch == "none"
    assert core.passes(8).latch == "overtemp"


def test_core_takes_heat_away_after_a_fall_until_the_next_charge_or_arming() -> None:
    """A fall holds both duties at 0 and stays armed; a charge ends it, an arming too."""
    core = Core().armed()
    core.fed(5.2)
    for end in ("charge", "arm"):
        core.tenths[:] = [core.tenths[0] - 60, 1000]
        core.fed(0.2)
        if end == "arm":
            assert (core.state, core.latch) == ("tripped", "fallfast")
            break
        assert (core.state, core.heard[-1]) == ("armed", ("fall", 940))
        assert core.lib.safety_holds(core.it)
        assert core.charge() == ""
        assert not core.lib.safety_holds(core.it)
        core.fed(61)
        core.fed(5.2)
    core = Core().armed()
    core.fed(5.2)
    core.tenths[0] = 900
    core.fed(0.2)
    assert core.lib.safety_holds(core.it)
    core.call("disarm")
    assert core.call("arm") is True
    assert not core.lib.safety_holds(core.it)


def test_core_disarms_when_full_duty_lasts_too_long() -> None:
    """Event `full` with the half's temperature, ready, nothing latched."""
    core = Core(slots=(HalfSlot(500, 200, 60),) * 2).armed()
    core.duty, core.taken, core.setpoint = [1000, 0], [1000, 0], [1000, 0]
    core.fed(599)
    assert core.state == "armed"
    core.fed(2)
    assert (core.state, core.latch, core.heard[-1]) == ("ready", "none", ("full", 1000))
    assert core.cut


def test_core_knows_the_hottest_half_that_is_fitted() -> None:
    """The hotter of both, or the one there is; HOT above 45.0 degC."""
    for halves, upper, lower, hottest, hot in (
        (2, 450, 451, 451, True),
        (2, 450, 450, 450, False),
        (2, 460, 100, 460, True),
        (1, 450, 999, 450, False),
    ):
        core = Core(halves=halves).tested()
        core.tenths[:] = [upper, lower]
        core.passes(4)
        core.it.tenths[1] = lower
        assert core.lib.safety_hottest(core.it) == hottest
        assert core.lib.safety_is_hot(core.it) == hot


def test_core_lights_hot_while_it_tests_itself() -> None:
    """On through the self-test, however cold it is, off with it."""
    core = Core()
    core.tenths[:] = [200, 200]
    core.call("end_selftest", True)  # noqa: FBT003 - C
    core.passes(19)
    assert core.it.sensors_good
    assert core.lib.safety_is_hot(core.it)
    core.passes(1)
    assert not core.lib.safety_is_hot(core.it)
    core.it.state = STATES.index(BoardState.BOOT)
    assert core.lib.safety_is_hot(core.it)


@pytest.mark.parametrize(("latch", "alarms"), [("none", False), ("stuck", True)])
def test_core_sounds_its_alarm_when_tripped(latch: str, alarms: bool) -> None:  # noqa: FBT001
    """Tripped, whatever the cause; not when locked."""
    core = Core(latch=latch).tested()

    assert core.lib.safety_alarms(core.it) == alarms


# Charge, open mould, presence.


def test_core_opens_a_charge_window_once_a_minute() -> None:
    """Open for 60 s; another one only after it; only while armed."""
    core = Core().ready()
    assert core.charge() == "state"
    core.call("arm")
    assert core.charge() == ""
    assert core.heard[-1] == ("charge", 1000)
    core.fed(59.9)
    assert core.it.window
    assert core.lib.safety_window_left_s(core.it) == 1
    assert core.charge() == "rate"
    core.fed(0.1)
    assert not core.it.window
    assert core.lib.safety_window_left_s(core.it) == 0
    assert core.charge() == ""


@pytest.mark.parametrize("armed", [True, False])
def test_core_holds_heat_after_3_min_with_the_mould_open(armed: bool) -> None:  # noqa: FBT001
    """Both duties 0 from the 3600th pass until it closes; said only while armed."""
    core = Core().armed() if armed else Core().ready()
    core.set_inputs(m.IN_OPEN)
    core.fed(179.95)
    assert not core.lib.safety_holds(core.it)
    core.fed(0.05)
    assert core.lib.safety_holds(core.it)
    assert ("openoff" in core.codes) is armed
    assert core.fed(60).lib.safety_holds(core.it)
    assert core.codes.count("openoff") <= 1
    core.set_inputs(m.IN_OPEN, on=False)
    assert not core.lib.safety_holds(core.it)
    core.set_inputs(m.IN_OPEN)
    assert not core.fed(60).lib.safety_holds(core.it)


def test_core_disarms_when_nobody_is_there() -> None:
    """30 min, a warning of 2 min, then ready with the event `presence`."""
    core = Core().armed()
    core.fed(1799.9)
    assert not core.lib.safety_alarms(core.it)
    assert core.lib.safety_presence_left_s(core.it) == 121
    core.fed(0.05)
    assert core.lib.safety_alarms(core.it)
    assert core.lib.safety_presence_left_s(core.it) == 120
    core.fed(119.95)
    assert core.state == "armed"
    core.fed(0.05)
    assert (core.state, core.codes[-1]) == ("ready", "presence")
    assert core.lib.safety_presence_left_s(core.it) == 0
    assert not core.lib.safety_alarms(core.it)


@pytest.mark.parametrize("bit", [m.IN_NEXT, m.IN_ARM])
def test_core_takes_a_press_for_presence(bit: int) -> None:
    """A press begins 32 min anew; a release, or a mould that opens, does not."""
    core = Core().armed()
    core.fed(100)
    core.set_inputs(bit)
    assert core.lib.safety_presence_left_s(core.it) == 1920
    core.fed(100)
    core.set_inputs(bit, on=False)
    core.set_inputs(m.IN_OPEN)
    assert core.lib.safety_presence_left_s(core.it) == 1820


def test_core_counts_no_presence_while_nothing_can_heat() -> None:
    """A press in state ready begins nothing; arming does."""
    core = Core().ready()
    core.set_inputs(m.IN_NEXT)
    assert core.it.present == 0
    core.call("arm")
    assert core.lib.safety_presence_left_s(core.it) == 1920
