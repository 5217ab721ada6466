"""The loop of the mould on halves of its own: heating up, holding, wrong models, bad input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from loop_plant import LIGHT, PLANTS, ROOM_C, STEP_S, STRONG, Half, Rig, off_k, over_k
from tawny.core.loop.state import Given, Loop, Place
from tawny.core.loop.step import loop_step
from tawny.core.loop.thermal import HalfThermal, Thermal


def full_heat_s(plant: Half, to_c: float) -> float:
    """Time of one lump at full duty, by its closed solution: no heat-up can be shorter."""
    tau_s = plant.whole_j / plant.loss_g
    return -tau_s * math.log(1.0 - plant.hold_duty(to_c))


@pytest.mark.parametrize("name", PLANTS)
def test_loop_heats_up_without_overshoot_and_holds(name: str) -> None:
    """With the right model: at most 1 K over, then within 0.25 K at the duty of the loss."""
    plant = PLANTS[name]
    rig = Rig(plant)
    up = rig.run(1.2 * full_heat_s(plant, 179.0) + 200.0)
    assert over_k(up) <= 1.0
    within_s = next(n for n, pair in enumerate(up) if min(pair) >= 179.0) * STEP_S
    lags_s = plant.thermal().lag_s()
    assert within_s <= full_heat_s(plant, 179.0) + 3.5 * lags_s
    rig.run(600.0)
    rig.asked.clear()
    held = rig.run(1200.0)
    assert off_k(held) <= 0.25
    mean = sum(duties[0] for duties in rig.asked) / len(rig.asked)
    assert mean == pytest.approx(plant.hold_duty(180.0), abs=0.02)


def _wrong(plant: Half, rise: float, lag: float, loss: float) -> Thermal:
    own = plant.thermal(15.0)
    half = replace(
        own,
        rise_k_per_s=own.rise_k_per_s * rise,
        heater_lag_s=own.heater_lag_s * lag,
        spread_lag_s=max(own.spread_lag_s * lag, 2.0),
        loss_per_s=own.loss_per_s * loss,
    )
    return Thermal(upper=half, lower=half, trusted=True)


@pytest.mark.parametrize("name", ["light", "heavy", "weak"])
@pytest.mark.parametrize(
    ("rise", "lag", "loss"),
    [
        (1.5, 1.0, 1.0),
        (1 / 1.5, 1.0, 1.0),
        (1.0, 1.5, 1.0),
        (1.0, 1 / 1.5, 1.0),
        (1.0, 1.0, 1.5),
        (1.0, 1.0, 1 / 1.5),
        (1.5, 1 / 1.5, 1 / 1.5),
        (1 / 1.5, 1.5, 1.5),
    ],
)
def test_loop_stays_bounded_with_a_wrong_model(
    name: str, rise: float, lag: float, loss: float
) -> None:
    """Half as much again wrong: at most 2.5 K past setpoint, and at rest there."""
    plant = PLANTS[name]
    rig = Rig(plant, thermal=_wrong(plant, rise, lag, loss))
    assert over_k(rig.run(4500.0)) <= 2.5
    assert off_k(rig.run(900.0)) <= 0.25


@pytest.mark.parametrize(("rise", "lag"), [(1.2, 1.0), (1 / 1.2, 1.0), (1.0, 1.5)])
def test_loop_bounds_a_long_coast_with_a_wrong_model(rise: float, lag: float) -> None:
    """A strong half whose coast is foreseen wrong stays within a fifth of that coast."""
    rig = Rig(STRONG, thermal=_wrong(STRONG, rise, lag, 1.0))
    assert over_k(rig.run(2400.0)) <= 0.2 * STRONG.thermal().coast_k()
    assert off_k(rig.run(900.0)) <= 0.25


@pytest.mark.parametrize("name", PLANTS)
def test_loop_holds_from_a_warm_start(name: str) -> None:
    """Switched on again at 120 degC it heats on from there without more overshoot."""
    rig = Rig(PLANTS[name], start_c=120.0)
    assert over_k(rig.run(2400.0)) <= 1.0
    assert off_k(rig.run(300.0)) <= 0.4


def test_loop_counts_what_was_delivered_not_what_it_asked() -> None:
    """A board that gives a third of the duty is no dead heater: the model still fits."""
    rig = Rig(LIGHT)
    rig.run(900.0)
    seen = rig.loop.upper.seen
    assert seen is not None
    rig.heated = False
    rig.run(60.0)
    after = rig.loop.upper.seen
    assert after is not None
    assert after.arriving < 0.05
    assert after.surface_c == pytest.approx(rig.surface_c()[0], abs=0.5)


def test_loop_never_winds_up_against_a_mould_that_cannot_get_there() -> None:
    """An hour at full duty below setpoint, then the power is there: no overshoot from waiting."""
    plant = LIGHT._replace(heater_w=170.0)
    rig = Rig(plant, thermal=Rig(LIGHT).thermal)
    rig.run(3600.0)
    assert max(rig.surface_c()) < 170.0
    assert rig.duties == (1.0, 1.0)
    assert abs(rig.loop.upper.integral) <= 0.05
    rig.strength = [750.0 / 170.0] * 2
    assert over_k(rig.run(1800.0)) <= 6.0
    assert off_k(rig.run(300.0)) <= 0.5


def test_loop_holds_one_half_while_the_other_is_dead() -> None:
    """One dead heater: the good half comes to setpoint, the dead one gets what it may, no more."""
    rig = Rig(LIGHT)
    rig.strength[1] = 0.0
    assert over_k(rig.run(4500.0)) <= 1.0
    assert rig.surface_c()[0] == pytest.approx(180.0, abs=1.5)
    assert rig.surface_c()[1] < 175.0
    assert rig.duties[1] == 1.0


def test_loop_holds_the_reading_of_an_offset_sensor() -> None:
    """5 K too high read is 5 K too cool held: the loop cannot know, and stays calm."""
    rig = Rig(LIGHT)
    rig.offset_k = [5.0, 5.0]
    up = rig.run(1800.0)
    assert over_k(up, 175.0) <= 1.0
    assert off_k(rig.run(600.0), 175.0) <= 0.4


def test_loop_stays_calm_in_a_kelvin_of_noise() -> None:
    """Readings that jump by a kelvin: at most 1.5 K over, then within 0.75 K true."""
    rig = Rig(LIGHT, noise_k=1.0)
    assert over_k(rig.run(1500.0)) <= 1.5
    assert off_k(rig.run(900.0)) <= 0.75


def test_loop_bridges_missing_telemetry() -> None:
    """Half a second without lines each ten: nothing of it shows."""
    rig = Rig(LIGHT)
    up = []
    for _ in range(180):
        up += rig.run(9.6)
        rig.deaf = True
        up += rig.run(0.5)
        rig.deaf = False
    assert over_k(up) <= 1.0
    assert off_k(up[-3000:]) <= 0.4


def test_loop_begins_anew_after_a_long_silence() -> None:
    """A minute without lines, the heat off meanwhile: it believes what it reads, and holds."""
    rig = Rig(LIGHT)
    rig.run(1200.0)
    rig.deaf, rig.duties = True, (0.0, 0.0)
    rig.run(60.0)
    rig.deaf = False
    rig.run(2.0)
    seen = rig.loop.upper.seen
    assert seen is not None
    assert seen.surface_c == pytest.approx(rig.surface_c()[0], abs=0.5)
    assert over_k(rig.run(600.0)) <= 1.0
    assert off_k(rig.run(300.0)) <= 0.4


def test_loop_takes_no_notice_of_a_doubled_line() -> None:
    """The same step again with no time and nothing delivered changes next to nothing."""
    rig = Rig(LIGHT)
    rig.run(1200.0)
    before = rig.duties
    rig.samples = [[180.0], [180.0]]
    rig.control(dt_s=0.2)
    assert rig.duties == pytest.approx(before, abs=0.15)
    assert off_k(rig.run(300.0)) <= 0.4


def test_loop_begins_anew_where_readings_jump() -> None:
    """A reading 40 K off is no surprise to follow slowly: it is believed, at duty 0."""
    rig = Rig(LIGHT)
    rig.run(1200.0)
    rig.offset_k = [40.0, 40.0]
    rig.run(0.8)
    assert rig.duties == (0.0, 0.0)
    rig.offset_k = [0.0, 0.0]
    assert over_k(rig.run(300.0)) <= 1.0
    assert off_k(rig.run(300.0)) <= 0.5


def test_loop_follows_different_setpoints() -> None:
    """Halves 8 K apart, with heat flowing between them: each within half a kelvin of its own."""
    rig = Rig(LIGHT)
    rig.apart_k = 8.0
    rig.run(1800.0)
    assert rig.surface_c()[0] == pytest.approx(184.0, abs=0.5)
    assert rig.surface_c()[1] == pytest.approx(176.0, abs=0.5)


def test_loop_gives_up_an_approach_when_the_setpoint_falls() -> None:
    """At full duty to 180, then 120 wanted at once: no more heat than the new setpoint allows."""
    rig = Rig(STRONG)
    rig.run(150.0)
    assert rig.duties == (1.0, 1.0)
    rig.setpoint_c = rig.surface_c()[0] - 5.0
    rig.run(0.8)
    assert rig.duties == (0.0, 0.0)


def test_loop_stays_within_the_supply_limit() -> None:
    """Where both may sum to 1.2 they do, from the first step to the hold."""
    rig = Rig(LIGHT)
    rig.cap = 1.2
    rig.run(1800.0)
    assert max(sum(duties) for duties in rig.asked) == pytest.approx(1.2)
    assert off_k(rig.run(300.0)) <= 0.4


@pytest.mark.parametrize("window_s", [1.0, 2.0, 20.0])
def test_loop_allows_for_the_output_window(window_s: float) -> None:
    """A window of 20 s costs ripple, not stability."""
    rig = Rig(LIGHT, window_s=window_s)
    rig.run(1500.0)
    assert off_k(rig.run(900.0)) <= (0.25 if window_s < 5.0 else 1.5)


def test_loop_without_a_trusted_model_heats_carefully() -> None:
    """A guess for a strong half: less than full duty, and the coast stays below 1.5 K over."""
    own = STRONG.thermal(15.0)
    thermal = Thermal(upper=own, lower=own, trusted=False)
    rig = Rig(STRONG, thermal=thermal, setpoint_c=150.0)
    up = rig.run(2400.0)
    assert max(max(duties) for duties in rig.asked[:200]) < 1.0
    assert over_k(up, 150.0) <= 1.5
    assert off_k(rig.run(300.0), 150.0) <= 0.5


_ANY = st.floats(allow_nan=True, allow_infinity=True)
_HALF = st.builds(
    HalfThermal,
    rise_k_per_s=st.floats(0.02, 2.0) | _ANY,
    heater_lag_s=st.floats(1.0, 100.0) | _ANY,
    spread_lag_s=st.floats(2.0, 100.0) | _ANY,
    dead_time_s=st.floats(0.0, 40.0) | _ANY,
    loss_per_s=st.floats(0.0, 0.005) | _ANY,
    loss_rise_per_s_k=st.floats(0.0, 1e-5) | _ANY,
    exchange_per_s=st.floats(0.0, 0.1) | _ANY,
)
_PAIR_C = st.tuples(st.floats(-10.0, 400.0) | _ANY, st.floats(-10.0, 400.0) | _ANY)
_SHARES = st.tuples(st.floats(0.0, 1.0) | _ANY, st.floats(0.0, 1.0) | _ANY)
_GIVEN = st.builds(
    Given,
    thermal=st.builds(Thermal, upper=_HALF, lower=_HALF, trusted=st.booleans()),
    setpoints_c=st.none() | st.tuples(st.floats(40.0, 200.0), st.floats(40.0, 200.0)) | _PAIR_C,
    readings_c=_PAIR_C,
    shares=_SHARES,
    dt_s=st.floats(0.2, 2.0) | _ANY,
    most=st.sampled_from((0.0, 0.25, 0.5, 1.0)) | _ANY,
    cap=st.floats(1.0, 2.0) | _ANY,
    place=st.sampled_from(Place),
    charging=st.booleans(),
    charge=st.sampled_from(("a", "b")),
    teaches=st.booleans(),
    room_c=st.floats(-20.0, 50.0) | _ANY,
    window_s=st.floats(1.0, 60.0) | _ANY,
)


def _numbers(loop: Loop) -> list[float]:
    found = []
    for half in (loop.upper, loop.lower):
        found += [half.integral, half.duty]
        if half.seen is not None:
            seen = half.seen
            found += [seen.arriving, seen.body_c, seen.surface_c, seen.scale, seen.drift]
            found += [seen.taken, *seen.pipe]
    for rows in (*loop.demand.opened, *loop.demand.pressed):
        found += rows
    return found


@settings(max_examples=150, deadline=None)
@given(st.lists(_GIVEN, max_size=25))
def test_loop_lets_nothing_out_that_is_no_number(history: list[Given]) -> None:
    """No history, numbers or not, gives a duty outside 0 to most, or keeps what is not finite."""
    loop = Loop()
    for one in history:
        loop, duties = loop_step(loop, one)
        assert all(math.isfinite(duty) and 0.0 <= duty <= 1.0 for duty in duties)
        if math.isfinite(one.most):
            assert max(duties) <= max(one.most, 0.0)
        if math.isfinite(one.cap):
            assert sum(duties) <= max(one.cap, 0.0) + 1e-9
        assert all(map(math.isfinite, _numbers(loop)))
        if one.setpoints_c is None or not loop.finite:
            assert duties == (0.0, 0.0)


def test_loop_gives_no_heat_where_none_is_wanted() -> None:
    """Without a setpoint both duties are 0, and the observer goes on."""
    rig = Rig(LIGHT)
    rig.run(900.0)
    rig.heated = False
    rig.run(600.0)
    assert rig.duties == (0.0, 0.0)
    seen = rig.loop.upper.seen
    assert seen is not None
    assert seen.surface_c == pytest.approx(rig.surface_c()[0], abs=0.5)
    assert rig.surface_c()[0] > ROOM_C + 50.0
