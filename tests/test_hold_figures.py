"""The figures of the benchmark of the hold, on invented courses with known answers."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from tawny.sim.hold_bounds import bounds, charge_g, too_weak
from tawny.sim.hold_copies import perturbed
from tawny.sim.hold_figures import (
    dose_rate,
    heat_up_s,
    holding,
    overshoot_k,
    recovery,
    variation,
)
from tawny.sim.lane import Row
from tawny.sim.parameters import load

SETPOINTS_C = (180.0, 160.0)


def course(
    upper_k: Callable[[float], float],
    lower_k: Callable[[float], float],
    until_s: float,
    shown_k: float = 0.0,
) -> list[Row]:
    """Rows of a course given as deviations from setpoint; what is shown is off by `shown_k`."""
    rows = []
    for step in range(1, round(until_s / 0.4) + 1):
        at_s = step * 0.4
        tips_c = (SETPOINTS_C[0] + upper_k(at_s), SETPOINTS_C[1] + lower_k(at_s))
        shown_c = (tips_c[0] + shown_k, tips_c[1] + shown_k)
        rows.append(Row(at_s, tips_c, shown_c, shown_c, tips_c, None, (0, 0), (0, 0)))
    return rows


def test_heat_up_ends_when_the_slower_half_arrives_for_good() -> None:
    """1 K a second from 100 K below, the lower half 20 s later: within 1 K at 119 s."""
    rows = course(lambda t: min(t - 100.0, 0.0), lambda t: min(t - 120.0, 0.0), 300.0)
    assert heat_up_s(rows, SETPOINTS_C) == pytest.approx(119.0, abs=0.41)


def test_heat_up_that_falls_again_has_not_ended() -> None:
    """A half that dips below its band at 200 s had not arrived before; one that stays low never."""
    dips = course(lambda t: -2.0 if t < 50.0 or 190.0 < t < 200.0 else 0.0, lambda _t: 0.0, 300.0)
    assert heat_up_s(dips, SETPOINTS_C) == pytest.approx(200.0, abs=0.41)
    low = course(lambda _t: 0.0, lambda _t: -1.5, 300.0)
    assert heat_up_s(low, SETPOINTS_C) is None


def test_overshoot_is_the_higher_halfs_peak() -> None:
    """3 K of the lower half; a course that never crosses has none."""
    rows = course(lambda _t: -0.5, lambda t: 3.0 * math.sin(t / 50.0), 400.0)
    assert overshoot_k(rows, SETPOINTS_C) == pytest.approx(3.0, abs=0.01)
    assert overshoot_k(course(lambda _t: -0.5, lambda _t: -0.1, 40.0), SETPOINTS_C) == 0.0


def test_holding_of_a_sine_and_an_offset() -> None:
    """A sine of amplitude a has deviation a / sqrt 2; an offset is error, no deviation."""
    rows = course(
        lambda t: 0.4 * math.sin(math.tau * t / 40.0), lambda _t: -0.3, 400.0, shown_k=0.2
    )
    found = holding(rows, SETPOINTS_C)
    assert found.std_k == pytest.approx(0.4 / math.sqrt(2.0), rel=0.01)
    assert found.worst_k == pytest.approx(0.4, rel=0.01)
    assert found.shown_worst_k == pytest.approx(0.6, rel=0.01)
    assert found.shown_std_k == pytest.approx(found.std_k)
    assert found.apart_k == pytest.approx(0.7, rel=0.01)


def test_recovery_counts_from_closing_to_the_last_moment_outside() -> None:
    """Closed at 40 s, down to -8 K, back at 100 s, above the band once more until 130 s."""

    def upper_k(at_s: float) -> float:
        if at_s < 40.0:
            return -0.5
        if at_s < 100.0:
            return -8.0
        return 1.2 if 120.0 < at_s < 130.0 else 0.2

    rows = course(upper_k, lambda _t: 0.0, 280.0)
    found = recovery(rows, SETPOINTS_C, 40.0)
    assert found.time_s == pytest.approx(90.0, abs=0.41)
    assert found.dip_k == pytest.approx(-8.0)


def test_recovery_that_never_comes_has_no_time() -> None:
    """Outside at the end; and one that never leaves the band takes none."""
    away = recovery(course(lambda _t: -1.5, lambda _t: 0.0, 100.0), SETPOINTS_C, 40.0)
    assert away.time_s is None
    still = recovery(course(lambda _t: 0.3, lambda _t: 0.1, 100.0), SETPOINTS_C, 40.0)
    assert still.time_s == pytest.approx(0.0, abs=0.41)
    assert still.dip_k == 0.0


def test_variation_is_that_of_a_sample() -> None:
    """9, 10, 11: deviation 1 of mean 10; one value has no spread."""
    assert variation([9.0, 10.0, 11.0]) == pytest.approx(0.1)
    assert variation([10.0]) is None


def test_dose_counts_one_at_setpoint_and_the_mean_of_both_faces() -> None:
    """At 180 degC and 90 kJ/mol 1 K is 5.4 %: exp(90000 / 8.314 · (1/453.15 - 1/454.15))."""
    assert dose_rate(SETPOINTS_C, SETPOINTS_C) == pytest.approx(1.0)
    one_k = dose_rate((181.0, 160.0), SETPOINTS_C) - 1.0
    assert one_k == pytest.approx(0.0540 / 2.0, rel=0.002)


def test_charge_is_a_part_of_2_4_mm_with_a_fifth_of_water() -> None:
    """201 cm² · 2.4 mm · 950 kg/m³ = 45.8 g dry, and a quarter of that as water."""
    dry_g, water_g = charge_g(load("saucer-160"))
    assert dry_g == pytest.approx(45.83, abs=0.01)
    assert water_g == pytest.approx(dry_g / 4.0)


def test_copies_are_the_same_by_number_and_within_their_ranges() -> None:
    """The same number, the same copy; each factor from 0.75 to 1.3, halves a little apart."""
    model = load("overpowered")
    assert perturbed(model, 0) is model
    assert perturbed(model, 7) == perturbed(model, 7)
    copies = [perturbed(model, number) for number in range(1, 60)]
    assert len({copy.upper.mass_kg for copy in copies}) == len(copies)
    for copy in copies:
        for half, own in ((copy.upper, model.upper), (copy.lower, model.lower)):
            assert 0.75 * 0.9 <= half.mass_kg / own.mass_kg <= 1.3 * 1.1
            assert 0.75 * 0.93 <= half.heater_w / own.heater_w <= 1.3 * 1.07
            assert 0.75 <= half.body_w_per_k / own.body_w_per_k <= 1.3
            assert 0.1 <= half.sensor_noise_k <= 0.3
        assert 120.0 <= copy.heat_up_c <= min(model.heat_up_c + 10.0, 200.0)
    spread = [copy.upper.sensor_lag_s / model.upper.sensor_lag_s for copy in copies]
    assert min(spread) < 0.85
    assert max(spread) > 1.2


def test_shortest_pulse_of_a_relay_is_told() -> None:
    """2 s of 1500 W into 3500 J/K are 0.86 K; a solid-state relay has no shortest pulse."""
    relay = bounds(load("overpowered"), with_recovery=False)
    assert relay.pulse_k == pytest.approx(0.857, abs=0.001)
    assert bounds(load("saucer-160"), with_recovery=False).pulse_k == 0.0


def test_mould_that_is_too_weak_says_what_it_takes() -> None:
    """No shipped mould is; a fifth of the power of the weakest is not enough for its setpoint."""
    from msgspec.structs import replace

    model = load("underpowered")
    assert too_weak(model) is None
    weak = too_weak(
        replace(
            model,
            upper=replace(model.upper, heater_w=model.upper.heater_w / 5.0),
            lower=replace(model.lower, heater_w=model.lower.heater_w / 5.0),
        )
    )
    assert weak is not None
    assert weak.needs_w[0] > weak.has_w[0]
