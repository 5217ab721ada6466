"""The step test that two of the rivals are tuned by."""

from __future__ import annotations

from itertools import pairwise

import msgspec
import pytest

from rival_plant import light
from tawny.core.tuning_rules import two_point
from tawny.errors import InputError
from tawny.sim.parameters import HalfModel, MouldModel, load
from tawny.sim.rivals.step_response import processes, response_to_setpoint, step_response


def loss_w(model: MouldModel, half: HalfModel, above_k: float) -> float:
    """Return what a closed half loses so far above the room: by hand, from the textbook."""
    outer_m2 = half.outer_cm2 * 1e-4
    hot_k, room_k = (model.ambient_c + above_k + 273.15, model.ambient_c + 273.15)
    radiated_w = 5.670374e-8 * model.emissivity * outer_m2 * (hot_k**4 - room_k**4)
    return above_k * (outer_m2 * model.convection_w_per_m2_k + half.platen_w_per_k) + radiated_w


def test_rival_step_test_ends_at_the_setpoint_with_the_duty_that_covers_the_loss() -> None:
    """Both halves come to rest at the usual setpoint, at a duty that a heat balance confirms."""
    model = light()
    response = response_to_setpoint(model)
    above_k = model.heat_up_c - model.ambient_c
    lost_w = loss_w(model, model.upper, above_k) + loss_w(model, model.lower, above_k)
    assert response.duty == pytest.approx(
        lost_w / (model.upper.heater_w + model.lower.heater_w), rel=0.02
    )
    for rises in (response.upper_k, response.lower_k):
        assert rises[0] == 0.0
        assert rises[-1] == pytest.approx(above_k, abs=1.0)
        assert all(before <= after + 1e-9 for before, after in pairwise(rises))
        assert rises[-1] - rises[-601] < 0.001 * rises[-1]  # at rest
    assert response.times_s[1] == 1.0


def test_rival_step_test_of_two_unlike_halves_ends_about_the_setpoint() -> None:
    """One duty for both: half of what the stronger gets more flows over to the weaker."""
    model = load("coupled-steel")
    response = response_to_setpoint(model)
    upper_c, lower_c = (
        model.ambient_c + rises[-1] for rises in (response.upper_k, response.lower_k)
    )
    over_w = response.duty * (model.upper.heater_w - model.lower.heater_w) / 2.0
    assert upper_c - lower_c == pytest.approx(over_w / model.coupling_w_per_k, rel=0.2)
    assert (upper_c + lower_c) / 2.0 == pytest.approx(model.heat_up_c, abs=1.0)


def with_halves(model: MouldModel, **changed: float) -> MouldModel:
    """Return the mould with something else in both halves."""
    upper, lower = (msgspec.structs.replace(half, **changed) for half in (model.upper, model.lower))
    return msgspec.structs.replace(model, upper=upper, lower=lower)


def test_rival_step_test_of_a_mould_that_is_too_weak_is_made_at_full_duty() -> None:
    """60 W a half never reach 160 degC: the response to all there is still makes a model."""
    weak = with_halves(light(), heater_w=60.0)
    response = response_to_setpoint(weak)
    assert response.duty == 1.0
    assert response.upper_k[-1] < weak.heat_up_c - weak.ambient_c - 20.0
    assert all(process.gain > 0.0 for process in processes(weak))


def test_rival_step_test_of_a_sensor_that_sees_nothing_is_refused() -> None:
    """No rise, no model: an input error."""
    with pytest.raises(InputError):
        processes(with_halves(light(), sensor_low=1.0))


def test_rival_process_is_identified_once_and_knows_the_loops_own_delays() -> None:
    """Half an output window and 0.4 s of sampling are dead time too; like moulds share it."""
    model = light()
    found = processes(model)
    assert processes(load("light-aluminium")) is found
    slower = processes(msgspec.structs.replace(model, window_ms=11_000.0))
    for half in (0, 1):
        assert slower[half].dead_time_s - found[half].dead_time_s == pytest.approx(5.0)
        assert slower[half].lag_s == found[half].lag_s
    bare = step_response(model, response_to_setpoint(model).duty)
    own = two_point(bare.times_s, bare.upper_k, bare.duty)
    assert found[0].dead_time_s == pytest.approx(own.dead_time_s + 0.5 + 0.4)
