"""The shortest recovery from a charge: the mould attains it, and no history beats it."""

from __future__ import annotations

import math
import random
from functools import cache
from typing import NamedTuple

import msgspec
import pytest

from tawny.sim import parameters
from tawny.sim.charge_cycle import hold_duties, rested
from tawny.sim.mould import STEP_S
from tawny.sim.parameters import MouldModel
from tawny.sim.recovery_bound import RecoveryBound, recovery_bound

OPEN_S = 20.0
LYING_S = 5.0


class Load(NamedTuple):
    """A charge and its hold."""

    residue_g: float
    water_g: float
    hold_s: float


LOADS = {
    "coupled-steel": Load(64.0, 16.0, 240.0),
    "heavy-steel": Load(90.0, 30.0, 300.0),
    "light-aluminium": Load(25.5, 4.5, 180.0),
    "offset-sensor": Load(56.0, 24.0, 240.0),
    "overpowered": Load(32.0, 8.0, 180.0),
    "saucer-160": Load(32.0, 8.0, 180.0),
    "underpowered": Load(48.0, 12.0, 240.0),
}


@cache
def bound_of(name: str) -> RecoveryBound:
    """The bound of a shipped mould with a charge that fits it."""
    model, load = parameters.load(name), LOADS[name]
    return found(model, load)


def found(model: MouldModel, load: Load, *, open_s: float = OPEN_S) -> RecoveryBound:
    """The bound at a mould's usual setpoint."""
    return recovery_bound(
        model,
        (model.heat_up_c, model.heat_up_c),
        open_s=open_s,
        hold_s=load.hold_s,
        residue_g=load.residue_g,
        water_g=load.water_g,
        cup_c=25.0,
        lying_s=LYING_S,
    )


class Course(NamedTuple):
    """What a history of duties did.

    Attributes:
        recovered_s: From closing until both tips were back for good; infinity: they were not.
        highest_k: Of both tips, from opening on.
        lowest_k: The same.
    """

    recovered_s: float
    highest_k: float
    lowest_k: float


def play(
    model: MouldModel,
    load: Load,
    starts_s: tuple[float, ...],
    duties: list[tuple[float, float]],
    within_k: float = 1.0,
) -> Course:
    """Open, load, close and hold the mould itself, with duties from those moments on."""
    wanted_c = model.heat_up_c
    mould = rested(model, (wanted_c, wanted_c))
    mould.open = True
    highest_k, lowest_k, outside_s = -math.inf, math.inf, -OPEN_S
    stretch = 0
    for step in range(round((OPEN_S + load.hold_s) / STEP_S)):
        now_s = step * STEP_S - OPEN_S
        if step == round((OPEN_S - LYING_S) / STEP_S):
            mould.load(load.residue_g, load.water_g, 25.0)
        if step == round(OPEN_S / STEP_S):
            mould.open = False
        while stretch + 1 < len(starts_s) and starts_s[stretch + 1] <= now_s + STEP_S / 2.0:
            stretch += 1
        upper, lower = duties[stretch]
        mould.step(upper * model.upper.heater_w * STEP_S, lower * model.lower.heater_w * STEP_S)
        low_k = min(mould.upper_tip_c, mould.lower_tip_c) - wanted_c
        highest_k = max(highest_k, mould.upper_tip_c - wanted_c, mould.lower_tip_c - wanted_c)
        lowest_k = min(lowest_k, low_k)
        if low_k < -within_k:
            outside_s = now_s + STEP_S
    recovered_s = max(0.0, outside_s)
    return Course(recovered_s if outside_s < load.hold_s - 1.0 else math.inf, highest_k, lowest_k)


@pytest.mark.parametrize("name", LOADS)
def test_bounds_recovery_is_attained_by_the_mould_with_the_duties_found(name: str) -> None:
    """The duties lie within the limits, and bring the mould itself back when the bound says."""
    model, load, bound = parameters.load(name), LOADS[name], bound_of(name)
    for start_s, (upper, lower) in zip(bound.starts_s, bound.duties, strict=True):
        most = 0.5 if start_s < 0.0 else 1.0
        assert -1e-6 <= min(upper, lower) <= max(upper, lower) <= most + 1e-6
    assert bound.starts_s[0] == -OPEN_S
    assert 0.0 in bound.starts_s

    # A little more room than the band, for what linear and physical mould may differ by.
    course = play(model, load, bound.starts_s, list(bound.duties), within_k=1.02)
    assert bound.agreed_k < 0.02
    assert course.highest_k <= 1.05
    assert course.lowest_k == pytest.approx(bound.dip_k, abs=0.05)
    assert course.recovered_s == pytest.approx(bound.time_s, abs=1.5)


@pytest.mark.parametrize("name", LOADS)
def test_bounds_recovery_is_beaten_by_no_history_that_overheats_nothing(name: str) -> None:
    """Boosts of any length before and after closing, and what was found, shaken: none is sooner."""
    model, load, bound = parameters.load(name), LOADS[name], bound_of(name)
    source = random.Random(7)  # noqa: S311 - any histories will do
    hold = hold_duties(model, (model.heat_up_c, model.heat_up_c))
    tried = []
    for _ in range(40):
        from_s, until_s = source.uniform(-OPEN_S, 0.0), source.uniform(0.2, 1.3) * bound.time_s
        coast_s = source.choice([0.0, source.uniform(0.0, 60.0)])
        share = source.choice([1.0, 1.0, source.uniform(0.6, 1.0)])
        duties = []
        for start_s in bound.starts_s:
            most = 0.5 if start_s < 0.0 else 1.0
            boost, coast = from_s <= start_s < until_s, until_s <= start_s < until_s + coast_s
            pair = (most, share * most) if boost else (0.0, 0.0) if coast else hold
            duties.append((min(pair[0], most), min(pair[1], most)))
        tried.append(duties)
    for _ in range(40):
        size = source.choice([0.02, 0.1, 0.3])
        early = source.uniform(0.0, 0.2)  # more of it while it is not yet back
        duties = []
        for start_s, pair in zip(bound.starts_s, bound.duties, strict=True):
            most = 0.5 if start_s < 0.0 else 1.0
            more = early if start_s < 0.8 * bound.time_s else -early
            upper, lower = (one + more + source.uniform(-size, size) for one in pair)
            duties.append((min(max(upper, 0.0), most), min(max(lower, 0.0), most)))
        tried.append(duties)
    courses = [play(model, load, bound.starts_s, duties) for duties in tried]
    allowed = [course for course in courses if course.highest_k <= 1.0]

    # 1 s is the programme's own grid; the rest is what linear and physical mould may differ by.
    assert min(course.recovered_s for course in courses) < 1.5 * bound.time_s + 5.0
    assert len(allowed) >= 5
    assert min(course.recovered_s for course in allowed) >= bound.time_s - 1.5


@pytest.mark.parametrize("name", LOADS)
def test_bounds_recovery_begins_at_rest(name: str) -> None:
    """With what holds it a mould's tips stay at setpoint, also where these differ by 5 K."""
    model = parameters.load(name)
    for lower_k in (0.0, 5.0):
        wanted_c = (model.heat_up_c, model.heat_up_c - lower_k)
        mould = rested(model, wanted_c)
        upper, lower = hold_duties(model, wanted_c)
        for _ in range(6000):
            assert mould.upper_tip_c == pytest.approx(wanted_c[0], abs=0.01)
            assert mould.lower_tip_c == pytest.approx(wanted_c[1], abs=0.01)
            mould.step(upper * model.upper.heater_w * STEP_S, lower * model.lower.heater_w * STEP_S)


def test_bounds_recovery_from_nothing_takes_no_time() -> None:
    """A mould that is neither opened nor loaded stays where it is."""
    bound = found(parameters.load("saucer-160"), Load(0.0, 0.0, 60.0), open_s=0.0)

    assert bound.time_s == 0.0
    assert bound.dip_k == pytest.approx(0.0, abs=0.05)


def test_bounds_recovery_takes_longer_from_more() -> None:
    """More residue, or more water, is never back sooner, and dips no less."""
    model = parameters.load("saucer-160")
    loads = [Load(10.0, 2.0, 180.0), Load(20.0, 4.0, 180.0), Load(32.0, 8.0, 180.0)]
    bounds = [found(model, load) for load in (*loads, Load(32.0, 14.0, 180.0))]
    times_s, dips_k = [bound.time_s for bound in bounds], [bound.dip_k for bound in bounds]

    assert times_s == sorted(times_s)
    assert times_s[-1] > times_s[0] + 20.0
    assert dips_k[0] > dips_k[1] > dips_k[2] >= dips_k[3] - 0.02


def test_bounds_recovery_that_the_hold_is_too_short_for_says_how_near_it_comes() -> None:
    """30 s before it could be back, the best end is colder than the band, and no better is had."""
    model, whole = parameters.load("heavy-steel"), bound_of("heavy-steel")
    short = found(model, LOADS["heavy-steel"]._replace(hold_s=whole.time_s - 30.0))
    # Long enough for what was boosted to come through: too much of it would be seen.
    long = found(model, LOADS["heavy-steel"]._replace(hold_s=whole.time_s + 90.0))

    assert short.time_s == math.inf
    assert 1.0 < short.end_k < 8.0
    assert long.time_s == pytest.approx(whole.time_s, abs=1.0)
    full = play(
        model,
        LOADS["heavy-steel"]._replace(hold_s=whole.time_s - 30.0),
        (-OPEN_S, 0.0),
        [(0.5, 0.5), (1.0, 1.0)],
    )
    assert full.recovered_s == math.inf


def test_bounds_recovery_waits_for_what_the_supply_gives() -> None:
    """With a cap the duties sum to no more, and it takes longer."""
    model, free = parameters.load("coupled-steel"), bound_of("coupled-steel")
    capped = found(msgspec.structs.replace(model, supply_cap=1.2), LOADS["coupled-steel"])

    assert max(sum(pair) for pair in free.duties) > 1.5
    assert max(sum(pair) for pair in capped.duties) <= 1.2 + 1e-6
    assert free.time_s + 5.0 < capped.time_s < math.inf


ONE_NODE = """
[model]
heat_up_to = "100 degC"
window = "1 s"
coupling = "20 W/K"
emissivity = "0 %"
cavity_area = "100 cm^2"
[model.charge]
area = "134 cm^2"
specific_heat = "1500 J/kg/K"
specific_heat_rise = "0 J/kg/K^2"
[model.half]
heater = "50 W"
heater_capacity = "4 J/K"
heater_conductance = "8 W/K"
mass = "0.2 kg"
specific_heat = "980 J/kg/K"
body_conductance = "160 W/K"
outer_area = "0 cm^2"
platen_conductance = "0 W/K"
sensor_lag = "0.5 s"
sensor_delay = "0 s"
sensor_noise = "0 K"
"""


def test_bounds_recovery_of_one_node_is_heat_over_power() -> None:
    """20 g of 1500 J/kgK from 25 to 99 °C take 2220 J; 1 K of 400 J/K is left out; 100 W: 18 s."""
    model = parameters.parse(ONE_NODE, where="one node")
    by_hand_s = (0.020 * 1500.0 * 74.0 - 1.0 * 400.0) / 100.0
    bound = found(model, Load(20.0, 0.0, 60.0), open_s=0.0)

    assert by_hand_s == pytest.approx(18.2, abs=0.05)
    # The heat comes through 0.5 s of heater, 0.5 s of thermocouple and some of the charge.
    assert by_hand_s - 1.0 <= bound.time_s <= by_hand_s + 3.0
    assert bound.dip_k > -2220.0 / 400.0
