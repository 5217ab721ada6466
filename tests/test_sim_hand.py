"""The simulated hand, near and far, and the world it works in."""

from __future__ import annotations

import msgspec
import pytest

from sim_operator import SAUCER, Operator, operator
from tawny.core import messages as m
from tawny.core.names import BoardState, Half
from tawny.sim import commands as c
from tawny.sim.hand import NearHand
from tawny.sim.sensor import SensorFault
from tawny.sim.world import World


def test_sim_hand_world_is_the_same_for_the_same_seed() -> None:
    """Every byte repeats with the seed, and differs with another."""

    def lines(seed: int) -> bytes:
        world = World(SAUCER, seed=seed, start_c=150.0)
        world.apply(c.LineNoise(bit_error_rate=1e-4))
        world.advance(3000)
        for command in (c.OpenMould(), c.LoadCharge(residue_g=34.0, water_g=8.0), c.CloseMould()):
            assert world.apply(command).done
        world.advance(30_000)
        return world.take()

    assert lines(4) == lines(4)
    assert lines(4) != lines(5)


def test_sim_hand_world_heats_what_the_board_delivers() -> None:
    """The heaters' heat is on-time times power, to the last ms."""
    someone = operator(60.0)
    before, before_j = someone.tele, someone.world.mould.given_j
    someone.live(60.0, 400)
    someone.live(2.0)
    after = someone.tele
    upper_ms, lower_ms = after.uo - before.uo, after.lo - before.lo
    given_j = someone.world.mould.given_j - before_j

    assert upper_ms == pytest.approx(24_000, abs=600)
    assert given_j == pytest.approx((upper_ms + lower_ms) / 1000.0 * 900.0, rel=1e-9)


def test_sim_hand_steps_of_any_length_give_the_same_world() -> None:
    """Advancing in odd pieces or at once makes no difference."""

    def lines(pieces: list[int]) -> bytes:
        world = World(SAUCER, seed=3, start_c=100.0)
        for ms in pieces:
            world.advance(world.now_ms + ms)
        return world.take()

    assert lines([10_000]) == lines([7, 93, 1, 899, 4000, 5000]) == lines([50] * 200)


def test_sim_hand_near_commands_are_refused_with_their_reason() -> None:
    """What cannot be done at the press says why, and changes nothing."""
    hand = NearHand(World(SAUCER, start_c=100.0))

    assert hand.load_charge(residue_g=30.0, water_g=8.0).why == "mould_closed"
    assert hand.unload().why == "mould_closed"
    assert hand.open_mould().done
    assert hand.unload().why == "nothing_inside"
    loaded = hand.load_charge(residue_g=30.0, water_g=8.0)
    assert loaded.scene is not None
    assert loaded.scene.water_g == pytest.approx(8.0)
    assert hand.unload().done
    assert hand.press_arm(1000).done
    assert hand.press_arm().why == "already_down"


def test_sim_hand_buttons_come_up_by_themselves() -> None:
    """ARM and NEXT go down and come up after their time; NEXT counts."""
    someone = operator()
    before = someone.tele.k
    someone.hand.press_next(150)
    someone.live(0.8)
    assert someone.tele.k == before + 1
    someone.hand.press_arm(2000)
    someone.live(0.8)
    assert someone.tele.inputs & m.IN_ARM
    someone.live(2.0)
    assert not someone.tele.inputs & m.IN_ARM


def test_sim_hand_heat_off_and_mains_let_the_contactor_go() -> None:
    """Either lets the contactor go and ends the heat; nothing latches."""
    for deed in (
        lambda hand: hand.heat_off_button(pressed=True),
        lambda hand: hand.mains(on=False),
    ):
        someone = operator()
        someone.live(2.0, 300)
        deed(someone.hand)
        someone.live(0.8)
        assert someone.tele.st == "locked"
        assert not someone.tele.inputs & m.IN_CONTACTOR
        assert someone.tele.fo == "none"
        given_j = someone.world.mould.given_j
        someone.live(5.0)
        assert someone.world.mould.given_j == given_j


@pytest.mark.parametrize(
    ("fault", "seconds", "first_out"),
    [
        (SensorFault.OPEN, 1.2, "sensor"),
        (SensorFault.REVERSED, 1.2, "sensor"),
        (SensorFault.DETACHED, 12.0, "fallfast"),
        (SensorFault.SHORTED, 12.0, "disagree"),
        (SensorFault.STUCK, 92.0, "stuck"),
    ],
)
@pytest.mark.parametrize("half", list(Half))
def test_sim_hand_sensor_faults_are_caught_by_the_board(
    half: Half, fault: SensorFault, seconds: float, first_out: str
) -> None:
    """Each fault trips by the limit that is there for it, in its time, and no heat follows."""
    someone = operator()
    someone.live(8.0, 260)
    assert someone.hand.sensor(half, fault).done
    someone.live(seconds, 260)

    assert someone.tele.fo == first_out
    given_j = someone.world.mould.given_j
    someone.live(10.0, 260)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_good_sensors_trip_nothing_in_an_hour_of_work() -> None:
    """With quiet hands and a steady duty no limit acts."""
    someone = operator(160.0)
    for _ in range(60):
        someone.live(60.0, 240)
        someone.hand.press_next()
    assert someone.tele.st == "armed"
    assert someone.tele.fo == "none"


def test_sim_hand_welded_heater_trips_and_the_contactor_ends_it() -> None:
    """A relay that stays on heats at duty 0 until the board sees it and lets the contactor go."""
    someone = operator(150.0)
    someone.hand.heater(Half.UPPER, c.HeaterFault.WELDED)
    someone.live(150.0)
    assert someone.tele.fo == "welded"
    given_j = someone.world.mould.given_j
    assert given_j > 60 * 900.0
    someone.live(30.0)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_open_heater_trips_for_want_of_a_rise() -> None:
    """Full duty into a broken heater."""
    someone = operator(30.0)
    for half in Half:
        someone.hand.heater(half, c.HeaterFault.OPEN)
    someone.live(200.0, 1000)
    assert someone.tele.fo == "norise"


def test_sim_hand_welded_contactor_trips_by_its_mirror() -> None:
    """It does not follow a disarming."""
    someone = operator()
    someone.hand.contactor(c.ContactorFault.WELDED)
    someone.request(m.Disarm)
    someone.live(0.8)
    assert someone.tele.fo == "mirror"


def test_sim_hand_limit_thermostat_stops_what_no_software_does() -> None:
    """Both heaters welded with the board's own trip out of reach: the chain opens at 245 °C."""
    model = msgspec.structs.replace(SAUCER, limit_thermostat_c=170.0)
    someone = Operator(World(model, seed=1, start_c=150.0)).arm()
    for half in Half:
        someone.hand.heater(half, c.HeaterFault.WELDED)
    someone.live(200.0, 300)
    assert someone.tele.fo == "chain"
    assert someone.hand.thermostat(opened=False).why == "too_hot"
    given_j = someone.world.mould.given_j
    someone.live(10.0)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_line_noise_spoils_lines_and_nothing_else() -> None:
    """Spoilt lines are dropped on both sides; none is taken for another."""
    someone = operator()
    someone.hand.line_noise(1e-3)
    someone.live(60.0, 200)
    stats = [said for said in someone.heard if isinstance(said, m.Stat)]
    assert stats[-1].bad > 10
    assert all(abs(int(said.u) - 1500) < 200 for said in someone.heard if isinstance(said, m.Tele))


def test_sim_hand_unplugged_line_is_silent_and_the_board_disarms() -> None:
    """Nothing arrives either way; the board helps itself within 3 s."""
    someone = operator()
    someone.live(2.0, 300)
    someone.hand.plug(plugged=False)
    someone.world.advance(someone.world.now_ms + 4000)
    assert someone.world.take() == b""
    assert someone.world.board.state is BoardState.READY
    someone.hand.plug(plugged=True)
    someone.world.advance(someone.world.now_ms + 400)
    assert someone.listen()


def test_sim_hand_reset_trip_is_three_seconds_of_reset() -> None:
    """It clears a trip whose cause is gone; a press of ARM does not."""
    someone = operator()
    someone.hand.thermostat(opened=True)
    someone.hand.thermostat(opened=False)
    someone.live(1.0)
    assert someone.tele.st == "tripped"
    someone.hand.press_arm()
    someone.live(1.0)
    assert someone.tele.st == "tripped"
    someone.hand.reset_trip()
    someone.live(4.0)
    assert someone.tele.st == "ready"
