"""An ordinary day latches nothing: the compiled image and the pure C with the mould, most of it
with the whole unmodified host. Each test also shows that its day happened.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from image_boards import MAKES as BOARDS
from image_boards import measured
from image_feeder import Feeder
from image_press import (
    DRY_C,
    SAUCER,
    Day,
    assert_no_trip,
    fastest_fall_k,
    lay_mould,
    lay_recipe,
    longest_still_s,
    openings,
    stands_s,
    with_halves,
)
from tawny.core.names import BoardState, LinkStatus, Phase, Result
from tawny.sim import commands as c
from tawny.sim import sensor
from tawny.sim.follower import HandFollower
from tawny.sim.hand import NearHand
from tawny.sim.parameters import load

MAKES = pytest.mark.parametrize("make", ["image", "core"])
SLOW_IMAGE = pytest.mark.parametrize(
    "make", [pytest.param("image", marks=pytest.mark.slow), "core"]
)
FALL_K = 5.0  # in 5 s: what the fall rule acts on outside a charge window
NEARLY_C = 179.0
PRESENCE_S = 32 * 60.0


@pytest.mark.slow
@MAKES
def test_day_of_60_hot_openings(make: str, tmp_path: Path) -> None:
    """30 pressings without a pause, the hot mould opened before and after each."""
    recipe = lay_recipe(tmp_path, "quick", hold_s=5.0)
    with Day(tmp_path, make, recipe=recipe, start_c=172.0, person=30) as day:
        assert day.lockstep.run(lambda: day.person.finished, 7200.0)
        day.run(1.0)
        parts = day.store.parts(result=Result.COMPLETE)
    assert len(parts) == 30
    assert openings(day.said) == 60
    assert_no_trip(day.boards)


@pytest.mark.slow
def test_day_of_60_hot_openings_at_the_pace_of_a_shop(tmp_path: Path) -> None:
    """The everyday recipe with its breaths, 30 parts in three hours, on the pure C."""
    with Day(tmp_path, "core", start_c=172.0, person=30) as day:
        assert day.lockstep.run(lambda: day.person.finished, 6 * 3600.0)
        assert day.lockstep.now_ms > 10_000_000
        parts = day.store.parts(result=Result.COMPLETE)
    assert len(parts) == 30
    assert openings(day.said) >= 60
    assert_no_trip(day.boards)


class ColdWetHand(NearHand):
    """A hand that fills in a charge from the cold store, much wetter than the recipe says."""

    def do(self, command: c.AnyCommand) -> c.Answer:
        """Carry out one command."""
        if isinstance(command, c.LoadCharge):
            command = replace(command, water_g=command.water_g + 40.0, temperature_c=2.0)
        return super().do(command)


@MAKES
def test_day_of_cold_wet_charges_on_a_light_mould(make: str, tmp_path: Path) -> None:
    """The charge takes more than 5 K in 5 s out of a half of 1 kg, as announced, and is pressed."""
    light = with_halves(load("light-aluminium"), mass_kg=1.0, heater_w=500.0)
    lay_mould(tmp_path, "light", light)
    recipe = lay_recipe(
        tmp_path, "wet", mould="light", setpoint_c=160.0, residue_g=40.0, water_g=40.0
    )
    with Day(tmp_path, make, model=light, recipe=recipe, person=2) as day:
        day.follower = HandFollower(ColdWetHand(day.world))
        assert day.lockstep.run(lambda: day.person.finished, 1800.0)
        parts = day.store.parts(result=Result.COMPLETE)
    assert len(parts) == 2
    assert day.said.codes.count("charge") >= 2
    assert fastest_fall_k(day.said) > FALL_K
    assert "fall" not in day.said.codes
    assert_no_trip(day.boards)


# A steel mould of 28 kg on a supply that carries half of its heaters: 75 minutes to 180 degC.
WEAK_SUPPLY = replace(
    with_halves(load("heavy-steel"), heater_w=1060.0), supply_cap=1.0, window_ms=1000.0
)


@SLOW_IMAGE
def test_day_of_a_75_minute_heat_up(make: str) -> None:
    """Full duty asked for more than an hour, half of it given: nothing is cut, 180 degC reached."""
    feeder = Feeder(make, WEAK_SUPPLY, setpoint_c=180.0)
    feeder.arm()
    began_ms = feeder.world.now_ms
    while feeder.lowest_c < NEARLY_C:
        assert feeder.world.now_ms - began_ms < 5400_000
        feeder.feed(60.0)
        feeder.be_present()
    assert feeder.world.now_ms - began_ms >= 75 * 60_000
    assert feeder.said.codes == ["boot", "armed"]
    assert_no_trip(feeder.boards)


@pytest.mark.slow
def test_day_of_a_75_minute_heat_up_under_the_host(tmp_path: Path) -> None:
    """The host shares the supply between the halves, reaches 180 degC and soaks, on the pure C."""
    lay_mould(tmp_path, "heavy", WEAK_SUPPLY)
    recipe = lay_recipe(tmp_path, "slow", mould="heavy")
    with Day(tmp_path, "core", model=WEAK_SUPPLY, recipe=recipe, start_c=None) as day:
        day.attended = True
        day.heat_up()
        began_ms = day.lockstep.now_ms
        day.until(Phase.SOAK, 5400.0)
        assert day.lockstep.now_ms - began_ms >= 70 * 60_000
        assert day.said.codes == ["boot", "armed"]
    assert_no_trip(day.boards)


@pytest.mark.slow
def test_day_of_an_hour_of_full_duty_asks_for_a_hand_and_latches_nothing(tmp_path: Path) -> None:
    """Weak heaters with all their supply: after 60 min the board wants a new arming, no more."""
    weak = with_halves(load("heavy-steel"), heater_w=532.0)
    lay_mould(tmp_path, "weak", weak)
    recipe = lay_recipe(tmp_path, "slow", mould="weak")
    with Day(tmp_path, "core", model=weak, recipe=recipe, start_c=None) as day:
        day.attended = True
        day.heat_up()
        day.until(Phase.COOL, 3700.0)
        assert day.said.codes == ["boot", "armed", "full"]
        day.heat_up()
        day.until(Phase.SOAK, 3600.0)
        assert day.said.codes == ["boot", "armed", "full", "armed"]
    assert_no_trip(day.boards)


@MAKES
def test_day_of_a_mould_change(make: str, tmp_path: Path) -> None:
    """Another mould in the press: its slot is used, a person arms anew, it heats by its own R."""
    light = replace(load("light-aluminium"), identity=0)
    saucer = replace(SAUCER, identity=0)
    lay_mould(tmp_path, "light", light, slot=2)
    recipe = lay_recipe(tmp_path, "plate", mould="light", setpoint_c=160.0)
    boards = BOARDS[make](saucer)
    boards.commission(measured(light), 2)
    boards.commission(measured(saucer), 1)
    with Day(tmp_path, make, model=saucer, boards=boards, start_c=170.0, person=1) as day:
        assert day.lockstep.run(lambda: day.person.finished, 1800.0)
        assert len(day.store.parts(result=Result.COMPLETE)) == 1
    with Day(tmp_path, make, model=light, boards=boards, recipe=recipe, start_c=100.0) as day:
        assert day.lockstep.run(lambda: day.press.state.link.mould_slot == 2, 10.0)
        day.run(15.0)
        assert day.said.codes[-1] == "used"
        assert day.state == BoardState.READY.value
        assert day.world.mould.given_j == 0.0
        day.heat_up()
        day.until(Phase.SOAK, 1800.0)
        assert day.said.codes[-2:] == ["used", "armed"]
    assert_no_trip(boards)


@MAKES
def test_day_of_a_quiet_sensor_on_a_steady_hold(
    make: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A register without noise stands for more than a minute: the host's duty step moves it.

    Each time in half an hour, and only then; later the loop itself moves it each 40 s.
    """
    monkeypatch.setattr(sensor, "COLD_SWING_K", 0.0)
    quiet = with_halves(SAUCER, sensor_noise_k=0.0)
    with Day(tmp_path, make, model=quiet, start_c=178.0) as day:
        day.heat_up()
        day.until(Phase.READY, 900.0)
        began, steps = len(day.said.teles), 0
        for _ in range(1800):
            stepped = day.press.state.upper.probe_ms
            day.run(1.0)
            steps += stepped == 0 < day.press.state.upper.probe_ms
        held = day.said.teles[began:]
    assert steps == len(stands_s(held, 55.0)) >= 1
    assert 55.0 < longest_still_s(held) < 90.0
    assert all(abs(float(tele.u) - 1800) <= 20 for tele in held)
    assert_no_trip(day.boards)


@MAKES
def test_day_of_a_strong_heater_that_coasts_after_a_cut(make: str) -> None:
    """Duty 0 in mid heat-up: a hot cartridge still warms the half by 5 K a minute later."""
    strong = with_halves(load("overpowered"), heater_w=2000.0, heater_j_per_k=600.0)
    strong = replace(strong, output="ssr", window_ms=1000.0, identity=1)
    feeder = Feeder(make, strong, setpoint_c=150.0)
    feeder.arm()
    feeder.feed(90.0, lambda _upper, _lower: (1000, 1000))
    feeder.feed(60.0, lambda _upper, _lower: (0, 0))
    minute_c = feeder.lowest_c
    feeder.feed(60.0, lambda _upper, _lower: (0, 0))
    assert feeder.lowest_c - minute_c >= 5.0, "too little of a coast to be taken for a weld"
    feeder.feed(180.0, lambda _upper, _lower: (0, 0))
    assert feeder.tele.st == BoardState.ARMED.value
    assert_no_trip(feeder.boards)


@MAKES
def test_day_of_a_mains_outage_with_the_board_on_usb(make: str, tmp_path: Path) -> None:
    """Mains gone and back: named so, nothing heats until a person has armed again."""
    with Day(tmp_path, make, start_c=178.0, person=1) as day:
        day.until(Phase.HOLD, 900.0)
        day.working = False
        day.hand.mains(on=False)
        day.run(5.0)
        assert "mains_lost" in day.alarms()
        assert day.said.codes[-1] == "mains"
        assert day.said.stats[-1].why == "mains"
        assert day.phase is Phase.COOL
        day.run(30.0)
        given_j = day.world.mould.given_j
        day.hand.mains(on=True)
        day.run(120.0)
        assert day.state == BoardState.READY.value
        assert not day.world.scene().contactor
        assert day.world.mould.given_j == given_j
        day.tidy_up()
        day.heat_up()
        day.until(Phase.READY, 900.0)
        assert day.world.mould.given_j > given_j
    assert day.said.codes.count("armed") == 2
    assert_no_trip(day.boards)


@MAKES
def test_day_of_a_laptop_that_sleeps_for_10_minutes(make: str, tmp_path: Path) -> None:
    """Asleep in mid-hold: off after 3 s, released after 10, and a person begins anew."""
    with Day(tmp_path, make, start_c=178.0, person=1) as day:
        day.until(Phase.HOLD, 900.0)
        day.working = False
        day.sleep(20.0)
        assert day.said.codes[-2:] == ["silence", "released"]
        assert not day.world.scene().contactor
        given_j = day.world.mould.given_j
        day.sleep(580.0)
        assert day.world.mould.given_j == given_j
        day.run(30.0)
        assert day.press.state.link.status is LinkStatus.UP
        assert day.phase is Phase.COOL
        assert day.world.mould.given_j == given_j
        assert "interrupted" in day.alarms()
        day.tidy_up()
        day.heat_up()
        day.until(Phase.READY, 1800.0)
    assert day.said.codes.count("armed") == 2
    assert_no_trip(day.boards)


@pytest.mark.parametrize(
    ("make", "minutes"),
    [
        pytest.param("image", 40, marks=pytest.mark.slow),
        pytest.param("core", 180, marks=pytest.mark.slow),
    ],
)
def test_day_of_drying_out_a_damp_heater(make: str, minutes: int, tmp_path: Path) -> None:
    """A low steady setpoint for hours, somebody about: no rule minds it."""
    recipe = lay_recipe(tmp_path, "dry-out", setpoint_c=DRY_C)
    with Day(tmp_path, make, recipe=recipe, start_c=None) as day:
        day.attended = True
        day.heat_up()
        day.until(Phase.READY, 1800.0)
        began = len(day.said.teles)
        day.run(minutes * 60.0)
        held = day.said.teles[began:]
        assert day.said.codes == ["boot", "armed"]
    assert minutes * 60.0 > PRESENCE_S
    assert all(abs(float(tele.u) / 10.0 - DRY_C) < 2.0 for tele in held)
    assert {tele.st for tele in held} == {BoardState.ARMED.value}
    assert_no_trip(day.boards)
