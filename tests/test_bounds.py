"""The shortest heat-up physics allows: nothing beats it, an independent optimiser agrees."""

from __future__ import annotations

import copy
import math
import random

import msgspec
import numpy as np
import pytest
from scipy.optimize import linprog

from tawny.sim import parameters
from tawny.sim.heat_up_bound import HeatUpBound, heat_up_bound
from tawny.sim.mould import STEP_S, Mould
from tawny.sim.mould_linear import SENSORS, LinearMould
from tawny.sim.mould_rest import at_rest
from tawny.sim.parameters import MouldModel

SMALL = """
[model]
heat_up_to = "100 degC"
window = "1 s"
coupling = "{coupling} W/K"
emissivity = "0 %"
cavity_area = "100 cm^2"
supply_cap = "{cap} %"
[model.charge]
area = "134 cm^2"
[model.half]
heater = "300 W"
heater_capacity = "40 J/K"
heater_conductance = "5 W/K"
mass = "0.5 kg"
specific_heat = "900 J/kg/K"
body_conductance = "20 W/K"
outer_area = "300 cm^2"
platen_conductance = "0.3 W/K"
sensor_lag = "3 s"
sensor_delay = "1 s"
sensor_noise = "0 K"
[model.lower]
heater = "{lower} W"
"""
# One node in effect: 20 + 980 J/K that all but share one temperature, and nothing leaves it.
ONE_NODE = """
[model]
heat_up_to = "100 degC"
window = "1 s"
coupling = "10 W/K"
emissivity = "0 %"
cavity_area = "100 cm^2"
[model.charge]
area = "134 cm^2"
[model.half]
heater = "500 W"
heater_capacity = "20 J/K"
heater_conductance = "40 W/K"
mass = "1 kg"
specific_heat = "980 J/kg/K"
body_conductance = "800 W/K"
outer_area = "0 cm^2"
platen_conductance = "0 W/K"
sensor_lag = "0.5 s"
sensor_delay = "0 s"
sensor_noise = "0 K"
"""


def small(*, coupling: float = 5.0, lower_w: float = 300.0, cap: float = 2.0) -> MouldModel:
    """A small mould without radiation: exactly linear."""
    text = SMALL.format(coupling=coupling, lower=lower_w, cap=100.0 * cap)
    return parameters.parse(text, where="small")


def one_node(**half: float) -> MouldModel:
    """A mould whose figures a person can check."""
    model = parameters.parse(ONE_NODE, where="one node")
    halves = {name: msgspec.structs.replace(model.upper, **half) for name in ("upper", "lower")}
    return msgspec.structs.replace(model, **halves)


def tips(mould: Mould) -> tuple[float, float]:
    """What both thermocouples have."""
    return mould.upper_tip_c, mould.lower_tip_c


def programmed_s(model: MouldModel, setpoint_c: float, guess_s: int) -> int:
    """The shortest heat-up that a linear programme finds, with duties constant over each second."""
    grown, driven = LinearMould(model, (model.ambient_c, model.ambient_c)).step(1.0, is_open=False)
    delay = round(model.upper.sensor_delay_s)
    seconds = guess_s + 80
    answers = np.zeros((seconds + 1, 2, 2))  # of each tip to one second of each duty
    state = driven
    for second in range(1 + delay, seconds + 1):
        answers[second] = state[list(SENSORS)]
        state = grown @ state
    courses = np.zeros((seconds, 2, seconds, 2))
    for at in range(1, seconds + 1):
        for given in range(at):
            courses[at - 1, :, given] = answers[at - given]
    courses = courses.reshape(seconds, 2, 2 * seconds)
    excess_k = setpoint_c - model.ambient_c
    shared = np.kron(np.eye(seconds), np.ones(2))

    def possible(at: int) -> bool:
        answer = linprog(
            np.zeros(2 * seconds),
            A_ub=np.vstack([courses.reshape(-1, 2 * seconds), -courses[at - 1], shared]),
            b_ub=np.concatenate(
                [
                    np.full(2 * seconds, excess_k + 1.0),
                    np.full(2, 1.0 - excess_k),
                    np.full(seconds, model.supply_cap),
                ]
            ),
            bounds=(0.0, 1.0),
            method="highs",
        )
        return bool(answer.status == 0)

    low, high = guess_s - 30, guess_s + 20
    assert possible(high)
    assert not possible(low)
    while high - low > 1:
        middle = (low + high) // 2
        if possible(middle):
            high = middle
        else:
            low = middle
    return high


@pytest.mark.parametrize(
    "model",
    [
        small(),
        small(coupling=20.0, lower_w=220.0),
        small(coupling=0.0, lower_w=220.0),
        small(cap=1.2),
    ],
    ids=["equal", "coupled", "apart", "capped"],
)
def test_bounds_heat_up_is_what_a_linear_programme_finds(model: MouldModel) -> None:
    """On a linear mould both optimisers agree within the programme's step of 1 s."""
    bound = heat_up_bound(model, (100.0, 100.0))
    found_s = programmed_s(model, 100.0, round(bound.time_s))

    # It may only switch at whole seconds, so that it is hardly ever before the bound.
    assert bound.time_s - 0.15 <= found_s <= bound.time_s + 1.5


def test_bounds_heat_up_under_a_cap_with_unequal_heaters_is_near_the_programme() -> None:
    """There the share may change on the way: the programme gains no more than 3 %."""
    model = small(lower_w=220.0, cap=1.2)
    bound = heat_up_bound(model, (100.0, 100.0))
    found_s = programmed_s(model, 100.0, round(bound.time_s))

    assert 0.97 * bound.time_s <= found_s <= bound.time_s + 1.5


def arrival_s(model: MouldModel, history: list[tuple[float, float]]) -> tuple[float, float]:
    """When both tips come within 1 K of 100 °C, and the highest of both, for duties each second."""
    mould, reached_s, highest_c = Mould(model), math.inf, -math.inf
    for second in range(len(history) + 80):
        upper, lower = history[second] if second < len(history) else (0.0, 0.0)
        for tenth in range(10):
            mould.step(upper * model.upper.heater_w * STEP_S, lower * model.lower.heater_w * STEP_S)
            highest_c = max(highest_c, *tips(mould))
            if reached_s == math.inf and min(tips(mould)) >= 99.0:
                reached_s = second + (tenth + 1) * STEP_S
    return reached_s, highest_c


def test_bounds_heat_up_is_never_beaten() -> None:
    """Random histories, ended as late as their peak allows, all arrive after the bound."""
    model = small()
    bound = heat_up_bound(model, (100.0, 100.0))
    source = random.Random(5)  # noqa: S311 - any histories will do
    ratios = []
    for _ in range(60):
        history: list[tuple[float, float]] = []
        least = source.choice([0.0, 0.5, 0.95, 1.0])
        while len(history) < 400:
            pair = (source.uniform(least, 1.0), source.uniform(least, 1.0))
            history += [pair] * source.randint(1, 40)
        low, high = 0, len(history)
        while high - low > 1:
            middle = (low + high) // 2
            if arrival_s(model, history[:middle])[1] <= 101.0:
                low = middle
            else:
                high = middle
        # What is left of the second that would be too much, in twentieths.
        for part in range(20, 0, -1):
            cut = (history[low][0] * part / 20.0, history[low][1] * part / 20.0)
            if arrival_s(model, [*history[:low], cut])[1] <= 101.0:
                break
        reached_s, _ = arrival_s(model, [*history[:low], cut])
        ratios.append(reached_s / bound.time_s)

    assert min(ratios) >= 1.0 - 0.1 / bound.time_s
    assert min(ratios) < 1.01  # the histories are good enough to show a bound that is too long


def replayed(model: MouldModel, bound: HeatUpBound) -> tuple[Mould, list[tuple[float, float]]]:
    """The mould when the bound has been reached, and both tips until 200 s later."""
    mould, seen, arrived = Mould(model), [], Mould(model)
    for step in range(round((bound.time_s + 200.0) / STEP_S)):
        if step == round(bound.time_s / STEP_S):
            arrived = mould
            mould = copy.deepcopy(mould)
        on = [min(1.0, max(0.0, off_s / STEP_S - step)) for off_s in bound.off_s]
        mould.step(on[0] * model.upper.heater_w * STEP_S, on[1] * model.lower.heater_w * STEP_S)
        seen.append(tips(mould))
    return arrived, seen


@pytest.mark.parametrize("name", parameters.shipped_moulds())
def test_bounds_heat_up_of_a_shipped_mould_is_what_the_mould_does(name: str) -> None:
    """Run anew it arrives when it says, peaks 1 K above setpoint, and its books balance."""
    model = parameters.load(name)
    wanted_c = model.heat_up_c
    bound = heat_up_bound(model, (wanted_c, wanted_c))
    arrived, seen = replayed(model, bound)
    at = round(bound.time_s / STEP_S)

    assert bound.time_s < math.inf
    assert min(seen[at - 1]) >= wanted_c - 1.0
    assert min(seen[at - 2]) < wanted_c - 1.0
    for half in range(2):
        peak_c = max(pair[half] for pair in seen)
        # One half may coast on what the other would give it while held.
        assert peak_c == pytest.approx(wanted_c + 1.0, abs=0.15)
        assert bound.peaks_c[half] == pytest.approx(wanted_c + 1.0, abs=0.02)
    assert arrived.given_j == pytest.approx(bound.given_j, rel=2e-3)
    gained_j = arrived.given_j - arrived.lost_j
    assert abs(arrived.imbalance_j) < 1e-6 * arrived.given_j
    assert 0.5 * arrived.given_j < gained_j < arrived.given_j


def test_bounds_heat_up_of_one_node_is_power_over_heat_capacity() -> None:
    """1000 J/K and 500 W that nothing leaves: 79 K at 0.5 K/s make 158 s of heat, 77 K 154 s."""
    bound = heat_up_bound(one_node(), (100.0, 100.0))

    assert bound.off_s == pytest.approx((158.0, 158.0), abs=0.1)
    assert bound.peaks_c == pytest.approx((101.0, 101.0), abs=0.02)
    assert bound.hold_w == pytest.approx((0.0, 0.0), abs=1e-9)
    # Behind the mean by what crosses each conductance: 500 W less what is stored before it.
    heater_ahead_k = 0.5 * 980.0 / 40.0
    body_ahead_k = 0.5 * 0.3 * 980.0 / 800.0
    behind_k = 0.02 * heater_ahead_k + (0.02 + 0.7 * 0.98) * body_ahead_k + 0.5 * 0.5
    assert bound.time_s == pytest.approx(154.0 + behind_k / 0.5, abs=0.15)


def test_bounds_heat_up_that_is_out_of_reach_says_which_power_would_do() -> None:
    """1 W/K to the platen and 78 K above the room need 78 W: with 50 W it is never there."""
    model = one_node(platen_w_per_k=1.0, heater_w=50.0)
    bound = heat_up_bound(model, (100.0, 100.0))

    assert bound.time_s == math.inf
    assert bound.hold_w == pytest.approx((78.0, 78.0), rel=1e-9)
    assert bound.hold_duty == pytest.approx((1.56, 1.56), rel=1e-9)
    assert bound.peaks_c == pytest.approx((72.0, 72.0), abs=1.5)  # 22 + 50 / 1, long waited for


def test_bounds_heat_up_lets_a_strong_half_pull_a_weak_one() -> None:
    """30 W and 80 W/K from a half held at 101 °C bring the other to 100.4 °C, at full duty."""
    both = one_node(platen_w_per_k=1.0)
    weak = msgspec.structs.replace(
        both, coupling_w_per_k=80.0, lower=msgspec.structs.replace(both.lower, heater_w=30.0)
    )
    bound = heat_up_bound(weak, (100.0, 100.0))
    alone = heat_up_bound(msgspec.structs.replace(weak, coupling_w_per_k=1.0), (100.0, 100.0))

    assert 154.0 < bound.time_s < math.inf
    assert bound.off_s[1] == math.inf
    assert bound.hold_duty[1] > 1.0
    assert bound.peaks_c[0] == pytest.approx(101.0, abs=0.1)
    assert alone.time_s == math.inf


def test_bounds_heat_up_to_setpoints_that_cannot_both_stay_says_so() -> None:
    """A half that gets more from the other than it loses has a power below 0 and no bound."""
    bound = heat_up_bound(small(coupling=20.0), (80.0, 110.0))

    # 20 W/K times 30 K against 0.57 W/K times 58 K.
    assert bound.hold_w[0] < -500.0
    assert bound.time_s == math.inf
    assert bound.given_j == 0.0


def test_bounds_heat_up_of_a_tip_that_reads_low_is_in_terms_of_the_tip() -> None:
    """With 10 % of the excess missing, 78 K of the tip are 86.7 K of the mould."""
    bound = heat_up_bound(one_node(sensor_low=0.1), (100.0, 100.0))

    assert bound.off_s == pytest.approx((2.0 * 79.0 / 0.9,) * 2, abs=0.2)


def test_bounds_heat_up_from_warm_takes_what_is_left() -> None:
    """From 60 °C 41 K at 0.5 K/s are 82 s of heat; already there takes none."""
    assert heat_up_bound(one_node(), (100.0, 100.0), 60.0).off_s[0] == pytest.approx(82.0, abs=0.1)
    assert heat_up_bound(one_node(), (100.0, 100.0), 99.5).time_s == 0.0


def test_bounds_linear_mould_steps_as_the_mould_does() -> None:
    """Near rest, open and closed, the exact step and the mould's own short ones agree."""
    for name in parameters.shipped_moulds():
        model = parameters.load(name)
        wanted_c = model.heat_up_c
        linear = LinearMould(model, (wanted_c, wanted_c))
        rests = at_rest(model, (wanted_c, wanted_c))
        # An open mould leaves the neighbourhood of its rest soon.
        for is_open, length_s in ((False, 900.0), (True, 60.0)):
            moulds = [Mould(model, wanted_c) for _ in range(2)]
            for mould, more in zip(moulds, (0.0, 0.05), strict=True):
                mould.open = is_open
                mould.upper_heater_c, mould.upper_body_c, mould.upper_surface_c, _ = rests[0]
                mould.lower_heater_c, mould.lower_body_c, mould.lower_surface_c, _ = rests[1]
                for _ in range(round(length_s / STEP_S)):
                    mould.step(
                        (rests[0].power_w + more * model.upper.heater_w) * STEP_S,
                        rests[1].power_w * STEP_S,
                    )
            _, driven = linear.step(length_s, is_open=is_open)
            for column, attribute in (
                (0, "upper_heater_c"),
                (1, "upper_body_c"),
                (2, "upper_surface_c"),
                (6, "lower_surface_c"),
            ):
                moved_k = getattr(moulds[1], attribute) - getattr(moulds[0], attribute)
                assert 0.05 * driven[column, 0] == pytest.approx(moved_k, rel=0.02, abs=0.01)
