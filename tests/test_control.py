"""The loop of one half: simple-pid's traps closed, its gains, and what it does to a mould."""

from __future__ import annotations

import math
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from simple_pid import PID

from tawny.core.control import LoopStep, gains, loop_step, predicted_c
from tawny.core.equipment import HalfModel

AMBIENT_C = 22.0
MODEL = HalfModel(
    rise_k_per_s=0.25, lag_s=20.0, heat_up_s=800.0, loss_per_s=5e-4, heater_w=750.0, mass_kg=3.0
)


def call(model: HalfModel = MODEL, **given_values: float) -> LoopStep:
    """One good call near setpoint, but for what is given."""
    values = {
        "setpoint_c": 180.0,
        "process_value_c": 179.5,
        "lagged_duty": 0.3,
        "integral": 0.01,
        "dt_s": 0.4,
        "duty_most": 1.0,
        "ambient_c": AMBIENT_C,
        "window_s": 1.0,
    }
    return loop_step(model=model, **(values | given_values))


ARGUMENTS = (
    "setpoint_c",
    "process_value_c",
    "lagged_duty",
    "integral",
    "dt_s",
    "duty_most",
    "ambient_c",
    "window_s",
)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", ARGUMENTS)
def test_control_gives_no_duty_for_a_value_that_is_no_number(name: str, value: float) -> None:
    """NaN or infinity anywhere is duty 0, said so, and does not poison the next call.

    simple-pid 2.0.1 itself returns NaN for ever after one NaN.
    """
    before = call()
    step = call(**{name: value})
    assert (step.duty, step.integral, step.finite) == (0.0, 0.0, False)
    after = call(integral=step.integral)
    assert after.finite
    assert after.duty > 0.0
    assert call() == before


@pytest.mark.parametrize("value", [math.nan, math.inf, 0.0, -1.0])
@pytest.mark.parametrize("name", ["rise_k_per_s", "lag_s"])
def test_control_gives_no_duty_for_a_model_that_is_none(name: str, value: float) -> None:
    """A mould without a rise or a lag cannot be controlled: duty 0 instead of an exception."""
    fields = {field: getattr(MODEL, field) for field in MODEL.__struct_fields__}
    step = call(HalfModel(**(fields | {name: value})))
    assert (step.duty, step.finite) == (0.0, False)


@pytest.mark.parametrize("dt_s", [0.0, -0.4])
def test_control_gives_no_duty_when_no_time_has_passed(dt_s: float) -> None:
    """simple-pid raises for a time step of zero or less; here it is duty 0."""
    step = call(dt_s=dt_s)
    assert (step.duty, step.finite) == (0.0, False)


def test_control_gains_follow_simc() -> None:
    """Gains are those of the SIMC rule for a lag-dominant process, worked by hand.

    Skogestad 2003, J. Process Control 13:291: Kc = tau/(k (tc + t)), tI = min(tau, 4 (tc + t)),
    with tc = t, k = R/a and tau = 1/a. Here t = 0.35 x 1.3 x 20 s + 0.5 s + 0.2 s = 9.8 s:
    Kc = 1/(0.25 x 19.6) = 0.20408 per K, tI = min(2000 s, 78.4 s). Holding 180 degC takes
    5e-4 x 158/0.25 = 0.316.
    """
    tuning = gains(MODEL, 180.0, AMBIENT_C, 1.0)
    assert tuning.kp == pytest.approx(0.204082, abs=1e-6)
    assert tuning.ki == pytest.approx(0.204082 / 78.4, abs=1e-7)
    assert tuning.hold_duty == pytest.approx(0.316)


def test_control_integral_makes_the_round_trip_exactly() -> None:
    """Building simple-pid anew each time gives the integral of one that lives on, bit for bit."""
    tuning = gains(MODEL, 180.0, AMBIENT_C, 1.0)
    lasting = PID(
        tuning.kp,
        tuning.ki,
        0.0,
        setpoint=180.0,
        sample_time=None,
        output_limits=(-tuning.hold_duty, 1.0 - tuning.hold_duty),
        time_fn=lambda: 0.0,
    )
    integral = 0.0
    for count in range(20_000):
        value_c = 180.0 + 0.4 * math.sin(count / 37.0) + 0.25 * (count % 3 - 1)
        dt_s = 0.2 if count % 11 == 0 else 0.4
        lagged = tuning.hold_duty + integral
        step = call(process_value_c=value_c, lagged_duty=lagged, integral=integral, dt_s=dt_s)
        lasting(step.predicted_c, dt=dt_s)
        integral = step.integral
        assert integral == lasting.components[1]
    assert integral != 0.0


@pytest.mark.parametrize(("value_c", "duty_most"), [(20.0, 1.0), (20.0, 0.5), (178.5, 0.4)])
def test_control_does_not_wind_up_at_a_limit(value_c: float, duty_most: float) -> None:
    """An hour below setpoint at the most duty leaves the integral where it was."""
    integral = 0.02
    for _ in range(9000):
        step = call(
            process_value_c=value_c, lagged_duty=0.3, integral=integral, duty_most=duty_most
        )
        assert step.duty == duty_most
        integral = step.integral
    assert integral == 0.02


def test_control_does_not_wind_down_far_above_setpoint() -> None:
    """An hour too hot at duty 0 leaves the integral where it was."""
    integral = 0.02
    for _ in range(9000):
        step = call(process_value_c=195.0, lagged_duty=0.0, integral=integral)
        assert step.duty == 0.0
        integral = step.integral
    assert integral == 0.02


_ANY = st.floats(allow_nan=True, allow_infinity=True)
_VALUE_C = st.floats(-50.0, 450.0) | _ANY
_CALLS = st.tuples(
    _VALUE_C,  # process value
    st.floats(0.0, 1.0) | _ANY,  # lagged duty
    st.floats(0.05, 1.0) | _ANY,  # dt
    st.sampled_from((0.0, 0.37, 0.5, 1.0)),  # most
    st.sampled_from((60.0, 150.0, 200.0)) | _ANY,  # setpoint
)


@given(st.lists(_CALLS, max_size=60), st.floats(-5.0, 5.0))
def test_control_duty_never_leaves_its_limits(
    history: list[tuple[float, float, float, float, float]], offset: float
) -> None:
    """No history of values, numbers or not, from any integral, gives a duty outside 0 to most."""
    integral = offset
    for value_c, lagged, dt_s, most, setpoint_c in history:
        step = call(
            process_value_c=value_c,
            lagged_duty=lagged,
            dt_s=dt_s,
            duty_most=most,
            setpoint_c=setpoint_c,
            integral=integral,
        )
        assert 0.0 <= step.duty <= most
        assert math.isfinite(step.integral)
        assert step.finite or step.duty == 0.0
        integral = step.integral


class Plant(NamedTuple):
    """A heater in a body: the simplest mould half, and none of the package's."""

    heater_w: float
    heater_j_per_k: float
    coupling_w_per_k: float
    body_j_per_k: float
    loss_w_per_k: float
    delay_s: float

    def rise_k_per_s(self) -> float:
        """Rise of both nodes at full power, by conservation of energy."""
        return self.heater_w / (self.heater_j_per_k + self.body_j_per_k)

    def lag_tau_s(self) -> float:
        """Time constant between the two nodes."""
        both = 1.0 / self.heater_j_per_k + 1.0 / self.body_j_per_k
        return 1.0 / (self.coupling_w_per_k * both)

    def model(self, *, rise: float = 1.0, lag: float = 1.0, loss: float = 1.0) -> HalfModel:
        """What commissioning would measure, each off by a factor."""
        total = self.heater_j_per_k + self.body_j_per_k
        half_rise_s = self.delay_s + self.lag_tau_s() * math.log(2.0)
        return HalfModel(
            rise_k_per_s=rise * self.rise_k_per_s(),
            lag_s=lag * half_rise_s,
            heat_up_s=900.0,
            loss_per_s=loss * self.loss_w_per_k / total,
            heater_w=self.heater_w,
            mass_kg=4.0,
        )


LIGHT = Plant(750.0, 90.0, 8.0, 2700.0, 1.2, 1.0)
HEAVY = Plant(1500.0, 250.0, 12.0, 6700.0, 3.0, 8.0)
WEAK = Plant(500.0, 150.0, 6.0, 4800.0, 1.9, 4.0)
PLANTS = {"light": LIGHT, "heavy": HEAVY, "weak": WEAK}
STEP_S = 0.1
PASSES = 4  # of 0.1 s to a control step
WINDOW_PASSES = 10


class Rig:
    """One half of a plant under the loop, with a 1 s output window and steps of 0.25 degC."""

    def __init__(self, plant: Plant, model: HalfModel, *, setpoint_c: float = 180.0) -> None:
        self.plant, self.model, self.setpoint_c = plant, model, setpoint_c
        self.heater_c = self.body_c = AMBIENT_C
        self.behind = [AMBIENT_C] * (round(plant.delay_s / STEP_S) + 1)
        self.lagged = self.integral = self.duty = 0.0
        self.passes = self.on_passes = 0
        self.owed = 0.0  # passes of on-time that did not fit the last window
        self.most = 1.0
        self.loss_factor = 1.0
        self.duties: list[float] = []

    def run(self, seconds: float) -> list[float]:
        """Return the true temperature of the body at each tenth of a second."""
        return [self._one() for _ in range(round(seconds / STEP_S))]

    def _one(self) -> float:
        if self.passes % PASSES == 0:
            self._control()
        if self.passes % WINDOW_PASSES == 0:
            self.owed += self.duty * WINDOW_PASSES
            self.on_passes = round(self.owed)
            self.owed -= self.on_passes
        on = self.passes % WINDOW_PASSES < self.on_passes
        self.passes += 1
        plant = self.plant
        across_w = plant.coupling_w_per_k * (self.heater_c - self.body_c)
        loss_w = self.loss_factor * plant.loss_w_per_k * (self.body_c - AMBIENT_C)
        self.heater_c += (
            STEP_S * ((plant.heater_w if on else 0.0) - across_w) / plant.heater_j_per_k
        )
        self.body_c += STEP_S * (across_w - loss_w) / plant.body_j_per_k
        share = 1.0 - math.exp(-STEP_S / self.model.ramp_lag_s())
        self.lagged += ((1.0 if on else 0.0) - self.lagged) * share
        self.behind.append(self.body_c)
        return self.body_c

    def _control(self) -> None:
        read_c = round(self.behind[-1 - round(self.plant.delay_s / STEP_S)] * 4.0) / 4.0
        step = loop_step(
            model=self.model,
            setpoint_c=self.setpoint_c,
            process_value_c=read_c,
            lagged_duty=self.lagged,
            integral=self.integral,
            dt_s=STEP_S * PASSES,
            duty_most=self.most,
            ambient_c=AMBIENT_C,
            window_s=STEP_S * WINDOW_PASSES,
        )
        self.integral, self.duty = step.integral, step.duty
        self.duties.append(step.duty)


def _off_k(values_c: list[float], setpoint_c: float = 180.0) -> float:
    return max(abs(value_c - setpoint_c) for value_c in values_c)


@pytest.mark.parametrize("name", PLANTS)
def test_control_heats_up_and_holds(name: str) -> None:
    """With the right model: at most 3 K past setpoint, then within 1 K, at the duty of the loss."""
    plant = PLANTS[name]
    rig = Rig(plant, plant.model())
    up_c = rig.run(3600.0)
    assert max(up_c) <= 183.0
    held_c = rig.run(1800.0)
    assert _off_k(held_c) <= 1.0
    wanted_duty = plant.loss_w_per_k * (180.0 - AMBIENT_C) / plant.heater_w
    assert sum(rig.duties[-2000:]) / 2000 == pytest.approx(wanted_duty, abs=0.02)
    # Not slower than a heater at full power until 10 K below, and 5 min to settle from there.
    within = next(count for count, value_c in enumerate(up_c) if value_c >= 179.0) * STEP_S
    full_s = math.log(1.0 / (1.0 - wanted_duty * 148.0 / 158.0)) / plant.model().loss_per_s
    assert within <= full_s + 300.0


@pytest.mark.parametrize("name", PLANTS)
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
def test_control_stays_bounded_with_a_wrong_model(
    name: str, rise: float, lag: float, loss: float
) -> None:
    """Half as much again wrong: at most 5 K past setpoint, and at rest there."""
    plant = PLANTS[name]
    rig = Rig(plant, plant.model(rise=rise, lag=lag, loss=loss))
    assert max(rig.run(4500.0)) <= 185.0
    assert _off_k(rig.run(900.0)) <= 1.0


@pytest.mark.parametrize("name", PLANTS)
def test_control_predicts_the_coast(name: str) -> None:
    """Cut at full rise, the body ends where the prediction said, to a fifth of the coast."""
    plant = PLANTS[name]._replace(loss_w_per_k=0.0)
    model = plant.model()
    rig = Rig(plant, model, setpoint_c=1000.0)
    rig.run(600.0)
    read_c = rig.behind[-1 - round(plant.delay_s / STEP_S)]
    ahead_c = predicted_c(model, read_c, rig.lagged, 0.0)
    rig.most = 0.0
    rest_c = rig.run(900.0)[-1]
    assert ahead_c - read_c == pytest.approx(rest_c - read_c, rel=0.2)


@pytest.mark.parametrize("name", PLANTS)
def test_control_recovers_from_a_cold_charge(name: str) -> None:
    """A body 10 K down is back within 1 K in 5 min and at most 3 K past setpoint."""
    plant = PLANTS[name]
    rig = Rig(plant, plant.model())
    rig.run(4500.0)
    rig.body_c -= 10.0
    back_c = rig.run(900.0)
    assert max(back_c) <= 183.0
    assert _off_k(back_c[3000:]) <= 1.0


@pytest.mark.parametrize("name", ["light", "heavy"])
def test_control_with_the_mould_open_does_not_wind_up(name: str) -> None:
    """Three minutes open at half duty, losing more than that gives: closed again, no overshoot."""
    plant = PLANTS[name]
    rig = Rig(plant, plant.model())
    rig.run(4500.0)
    rig.most, rig.loss_factor = 0.5, 4.0
    before = len(rig.duties)
    rig.run(180.0)
    assert max(rig.duties[before:]) == 0.5
    rig.most, rig.loss_factor = 1.0, 1.0
    back_c = rig.run(900.0)
    assert max(back_c) <= 183.0
    assert _off_k(back_c[-3000:]) <= 1.0
