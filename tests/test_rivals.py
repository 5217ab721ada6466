"""The controllers that the loop is compared with, each on a plain plant of the tests' own."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simple_pid import PID

from rival_plant import (
    MINUTE,
    ROOM_C,
    SETPOINT_C,
    STEP_S,
    Plant,
    light,
    play,
    slow,
    temperatures_c,
)
from tawny.core.control import BarePid
from tawny.core.tuning_rules import (
    Process,
    Tuning,
    Ultimate,
    amigo_pid,
    simc,
    tyreus_luyben_pid,
)
from tawny.errors import InputError
from tawny.sim.heard import Heard
from tawny.sim.mould import Mould
from tawny.sim.rivals.choice import NAMES, rival
from tawny.sim.rivals.pair import Pair
from tawny.sim.rivals.relay import RelayTuned
from tawny.sim.rivals.simple import DIFFERENTIAL_K, Thermostat, tuned, untuned
from tawny.sim.rivals.step_response import processes


def test_rival_thermostat_cycles_as_its_differential_and_the_dead_time_say() -> None:
    """A pure dead time: the swing is the differential and what one dead time adds and takes."""
    plant = Plant(lag_s=0.0, dead_s=10.0)
    controller = Pair(Thermostat(), Thermostat())
    late_c = temperatures_c(play(controller, (plant, slow()), 90 * MINUTE))[60 * MINUTE :]
    # Up by (rise - loss) and down by loss for a dead time: together the rise; a step late at most.
    explained_k = DIFFERENTIAL_K + plant.rise_k_per_s * plant.dead_s
    swing_k = max(late_c) - min(late_c)
    assert explained_k <= swing_k <= explained_k + plant.rise_k_per_s * 2.5 * STEP_S
    assert min(late_c) < SETPOINT_C - DIFFERENTIAL_K / 2.0
    assert max(late_c) > SETPOINT_C + DIFFERENTIAL_K / 2.0


def test_rival_thermostat_is_on_or_off_and_stays_so_within_its_differential() -> None:
    """One switching where the line is crossed, none between the lines."""
    controller = Pair(Thermostat(), Thermostat())
    below, above = SETPOINT_C - 1.0, SETPOINT_C + 1.0
    given_c = [20.0, below + 0.1, above - 0.1, above, below + 0.1, below, above - 0.1]
    duties = [
        controller.decide(Heard(0, (c, 300.0), (SETPOINT_C, SETPOINT_C), 1.0, STEP_S))
        for c in given_c
    ]
    assert [upper for upper, _ in duties] == [1.0, 1.0, 1.0, 0.0, 0.0, 1.0, 1.0]
    assert {lower for _, lower in duties} == {0.0}


def test_rival_untuned_overshoots_more_than_the_thermostat() -> None:
    """The newcomer's gains fill the integral on the way up: worse than no controller at all."""
    plain = play(Pair(Thermostat(), Thermostat()), (slow(), slow()), 90 * MINUTE)
    copied = play(Pair(untuned(), untuned()), (slow(), slow()), 90 * MINUTE)
    plain_k = max(temperatures_c(plain)) - SETPOINT_C
    copied_k = max(temperatures_c(copied)) - SETPOINT_C
    assert 1.0 < plain_k < 6.0
    assert copied_k > 2.0 * plain_k


def test_rival_untuned_is_simple_pid_with_the_gains_of_its_own_example() -> None:
    """The library's PID(1, 0.1, 0.05), its output 0 to 100 read as percent."""
    example = PID(1, 0.1, 0.05, setpoint=SETPOINT_C, sample_time=None, output_limits=(0, 100))
    controller = Pair(untuned(), untuned())
    for c in (150.0, 151.0, 151.5, 155.0, 161.0, 159.0):
        heard = Heard(0, (c, 300.0), (SETPOINT_C, SETPOINT_C), 1.0, STEP_S)
        assert controller.decide(heard) == pytest.approx((example(c, dt=STEP_S) / 100.0, 0.0))


def test_rival_bare_pid_keeps_nothing_of_what_is_no_number() -> None:
    """simple-pid's integral would be lost for good by one NaN; nor does it put one out."""
    disturbed, calm = BarePid(0.01, 1e-3, 0.02), BarePid(0.01, 1e-3, 0.02)
    assert disturbed.output(150.0, 160.0, 0.4) == calm.output(150.0, 160.0, 0.4) > 0.0
    for told in ((math.nan, 160.0, 0.4), (150.0, math.inf, 0.4), (150.0, 160.0, 0.0)):
        assert disturbed.output(*told) == 0.0
    assert disturbed.output(151.0, 160.0, 0.4) == calm.output(151.0, 160.0, 0.4) > 0.0
    wild = BarePid(10.0, 0.0, 10.0)
    wild.output(-1.7e308, 0.0, 0.4)
    assert wild.output(-1e308, 0.0, 0.4) == 0.0  # proportional +inf, derivative -inf


def test_rival_with_a_derivative_does_not_throw_the_duty_at_a_sensors_step() -> None:
    """A quarter of a degree: at most 5 kp of it by the derivative's filter, not 100 kp."""
    loop = tuned(Tuning(kp=0.1, integral_s=400.0, derivative_s=40.0), start=0.5)
    controller = Pair(loop, untuned())
    calm = Heard(0, (SETPOINT_C, SETPOINT_C), (SETPOINT_C, SETPOINT_C), 1.0, STEP_S)
    before, _ = controller.decide(calm)
    after, _ = controller.decide(calm._replace(means_c=(SETPOINT_C - 0.25, SETPOINT_C)))
    assert before == pytest.approx(0.5)
    assert 0.05 < after - before <= 0.1 * 0.25 * 6.0


@pytest.mark.parametrize("rule", [simc, amigo_pid])
def test_rival_with_a_textbook_tuning_overshoots_once_and_settles(
    rule: Callable[[Process], Tuning],
) -> None:
    """Wound up by a rise of 140 K, it overshoots by several kelvin; then it holds to 0.05 K."""
    controller = Pair(tuned(rule(slow().process)), tuned(rule(slow().process)))
    values_c = temperatures_c(play(controller, (slow(), slow()), 120 * MINUTE))
    assert 3.0 < max(values_c) - SETPOINT_C < 40.0
    assert all(abs(value_c - SETPOINT_C) < 0.05 for value_c in values_c[-30 * MINUTE :])


def test_rival_with_a_tuning_begins_its_integral_where_it_is_told() -> None:
    """At the setpoint a loop that starts from the duty that holds does not move."""
    plant = slow()
    hold = plant.loss_per_s * (SETPOINT_C - ROOM_C) / plant.rise_k_per_s
    loop = tuned(simc(plant.process), start=hold)
    heard = Heard(0, (SETPOINT_C, SETPOINT_C), (SETPOINT_C, SETPOINT_C), 1.0, STEP_S)
    assert Pair(loop, tuned(simc(plant.process))).decide(heard) == pytest.approx((hold, 0.0))


def exact_ultimate(plant: Plant) -> Ultimate:
    """Return where a proportional controller of this plant just oscillates: python-control."""
    omega = np.geomspace(0.005, 1.0, 5_000)
    s = 1j * omega
    response = plant.rise_k_per_s / (s + plant.loss_per_s) / (1.0 + s * plant.lag_s)
    gain, _, crossing, _ = control.margin(control.frd(response * np.exp(-s * plant.dead_s), omega))
    return Ultimate(float(gain), float(2.0 * math.pi / crossing))


def test_rival_relay_tunes_itself_and_then_holds() -> None:
    """Within an hour and a half it has a PID of its own, and with it holds to 0.1 K."""
    upper, lower = RelayTuned(), RelayTuned()
    plants = slow(), Plant(lag_s=20.0, dead_s=6.0)
    history = play(Pair(upper, lower), plants, 120 * MINUTE)
    values_c = temperatures_c(history)
    assert max(values_c) - SETPOINT_C < 6.0  # its heat-up is the relay's: no wind-up
    for half in (upper, lower):
        assert half.tuning is not None
        assert half.tuning.derivative_s > 0.0
    for means_c, _ in history[-20 * MINUTE :]:
        assert all(abs(mean_c - SETPOINT_C) < 0.1 for mean_c in means_c)


def test_rival_relay_reads_its_oscillation_on_the_slow_side() -> None:
    """Its hysteresis and filter lengthen the period, up to twice; the gain reads low with it.

    Beside python-control's exact ultimate point; a tuning from it is too tame, never too wild.
    """
    upper = RelayTuned()
    play(Pair(upper, RelayTuned()), (slow(), slow()), 90 * MINUTE)
    exact = exact_ultimate(slow())
    assert upper.tuning is not None
    period_s = upper.tuning.derivative_s * 6.3
    gain = upper.tuning.kp * 2.2
    assert upper.tuning == pytest.approx(tyreus_luyben_pid(Ultimate(gain, period_s)))
    assert exact.period_s < period_s < 2.0 * exact.period_s
    assert 0.3 * exact.gain < gain < exact.gain


def test_rival_relay_swings_to_both_sides_of_the_duty_that_holds() -> None:
    """Before it tunes, the middle of its two duties is what the loss asks for, to a tenth."""
    plant = slow()
    hold = plant.loss_per_s * (SETPOINT_C - ROOM_C) / plant.rise_k_per_s
    history = play(Pair(RelayTuned(), RelayTuned()), (plant, slow()), 60 * MINUTE)
    counts = Counter(duties[0] for _, duties in history)
    swings = [duty for duty, count in counts.items() if count > MINUTE and 0.0 < duty < 1.0]
    assert len(swings) == 1  # the lower of the two is 0, as less than half a duty holds
    assert swings[0] / 2.0 == pytest.approx(hold, rel=0.1)


def test_rival_relay_counts_no_cycle_in_which_it_had_less_than_it_asked_for() -> None:
    """With half duty at most it goes on holding as a relay and draws no conclusion."""
    upper = RelayTuned()
    controller = Pair(upper, RelayTuned())
    history = play(controller, (slow(), slow()), 120 * MINUTE, most=lambda _: 0.5)
    assert upper.tuning is None
    assert all(abs(c - SETPOINT_C) < 5.0 for c in temperatures_c(history)[-30 * MINUTE :])


def test_rival_relay_begins_anew_when_the_setpoint_moves() -> None:
    """A setpoint that moves every five minutes is never tuned for; one that stays is."""
    restless, once = RelayTuned(), RelayTuned()
    play(
        Pair(restless, RelayTuned()),
        (slow(), slow()),
        120 * MINUTE,
        setpoint_c=lambda step: 150.0 + 2.0 * (step // (5 * MINUTE) % 2),
    )
    history = play(
        Pair(once, RelayTuned()),
        (slow(), slow()),
        120 * MINUTE,
        setpoint_c=lambda step: 140.0 if step < 15 * MINUTE else SETPOINT_C,
    )
    assert restless.tuning is None
    assert once.tuning is not None
    assert all(abs(c - SETPOINT_C) < 0.1 for c in temperatures_c(history)[-20 * MINUTE :])


def test_rival_relay_begins_anew_when_its_swing_no_longer_carries_the_half() -> None:
    """Centred on a quarter of the duty, a draught that asks for two thirds makes it start over."""
    upper, plant = RelayTuned(), slow()

    def draught(step: int) -> float:
        plant.loss_per_s = 5e-4 if step < 15 * MINUTE else 13e-4
        return 1.0

    history = play(Pair(upper, RelayTuned()), (plant, slow()), 120 * MINUTE, most=draught)
    assert upper.tuning is not None
    assert all(abs(c - SETPOINT_C) < 0.1 for c in temperatures_c(history)[-20 * MINUTE :])


@pytest.mark.parametrize("name", ["simc", "amigo"])
def test_rival_tuned_by_a_step_test_settles_on_its_mould(name: str) -> None:
    """On the shipped light mould: wound up on the way, 5 to 20 K over; then within 0.1 K."""
    model = light()
    controller, mould = rival(name, model), Mould(model)
    rule = simc if name == "simc" else amigo_pid
    first = Heard(0, (model.heat_up_c - 1.0,) * 2, (model.heat_up_c,) * 2, 1.0, STEP_S)
    gains = [rule(process) for process in processes(model)]
    by_rule = [tuning.kp + tuning.ki * STEP_S for tuning in gains]
    assert rival(name, model).decide(first) == pytest.approx(by_rule, rel=1e-9)
    duties, tips_c = (0.0, 0.0), []
    for step in range(90 * MINUTE):
        for _ in range(4):
            mould.step(
                model.upper.heater_w * duties[0] * 0.1, model.lower.heater_w * duties[1] * 0.1
            )
        tips_c.append((mould.upper_tip_c, mould.lower_tip_c))
        wanted_c = (model.heat_up_c, model.heat_up_c)
        duties = controller.decide(Heard(step * 400, tips_c[-1], wanted_c, 1.0, STEP_S))
    assert 5.0 < max(map(max, tips_c)) - model.heat_up_c < 20.0
    for pair in tips_c[-20 * MINUTE :]:
        assert pair == pytest.approx((model.heat_up_c, model.heat_up_c), abs=0.1)


numbers = st.one_of(
    st.floats(0.0, 250.0),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([1e308, -1e308, math.nan]),
)
histories = st.lists(
    st.builds(
        Heard,
        now_ms=st.integers(-(10**9), 10**9),
        means_c=st.tuples(numbers, numbers),
        setpoints_c=st.tuples(numbers, numbers),
        duty_most=st.one_of(st.sampled_from([0.0, 0.5, 1.0, math.nan]), st.floats(-1.0, 1.0)),
        dt_s=st.one_of(st.just(STEP_S), st.sampled_from([0.0, -1.0, math.nan, 1e-300, 1e300])),
    ),
    max_size=40,
)


@pytest.mark.parametrize("name", NAMES)
@given(history=histories)
@settings(max_examples=60)
def test_rival_never_leaves_what_the_press_allows(name: str, history: list[Heard]) -> None:
    """Whatever it hears, each duty lies from 0 to what is allowed, and doubt is 0."""
    controller = rival(name, light())
    for heard in history:
        for half, duty in enumerate(controller.decide(heard)):
            assert 0.0 <= duty <= (max(heard.duty_most, 0.0) if duty else 0.0)
            told = heard.means_c[half], heard.setpoints_c[half], heard.duty_most, heard.dt_s
            if not all(map(math.isfinite, told)):
                assert duty == 0.0


@pytest.mark.parametrize("name", NAMES)
@given(history=histories)
@settings(max_examples=30)
def test_rival_decides_the_same_of_the_same(name: str, history: list[Heard]) -> None:
    """Two fresh controllers, one history, one row of duties."""
    first, second = rival(name, light()), rival(name, light())
    assert [first.decide(heard) for heard in history] == [second.decide(heard) for heard in history]


@pytest.mark.parametrize("name", NAMES)
def test_rival_forgets_what_it_could_not_understand(name: str) -> None:
    """A step of which one half is no number costs that half the step, the other nothing."""
    disturbed, calm = rival(name, light()), rival(name, light())
    good = Heard(0, (100.0, 158.0), (SETPOINT_C, SETPOINT_C), 1.0, STEP_S)
    for controller in (disturbed, calm):
        controller.decide(good)
    upper, lower = disturbed.decide(good._replace(means_c=(math.nan, 158.0)))
    assert (upper, lower) == (0.0, calm.decide(good)[1])
    after, before = disturbed.decide(good), calm.decide(good)
    assert after[1] == before[1]
    assert after[0] > 0.0


def test_rival_of_no_such_name_is_refused() -> None:
    """The sentence names those there are."""
    with pytest.raises(InputError, match="thermostat, untuned, simc, amigo, relay"):
        rival("best", light())
