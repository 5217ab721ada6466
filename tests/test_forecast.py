"""When the mould will be ready or touchable: closed forms, every shipped mould, what cannot be."""

from __future__ import annotations

import cProfile
import math
import pstats
from collections.abc import Callable
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from core_events import MOULD, PRESS, RECIPE, make_state
from tawny.core import forecast
from tawny.core.aim_state import AimState, DryOut
from tawny.core.loop.state import HalfLoop, Loop
from tawny.core.loop.thermal import HalfThermal, Thermal
from tawny.core.names import Phase, Quality
from tawny.core.snapshot import Code
from tawny.core.state import HalfState, State
from tawny.sim.lane import Lane
from tawny.sim.lane_commission import commissioned, uncommissioned
from tawny.sim.lane_drive import LoopDriver
from tawny.sim.parameters import MouldModel, load, shipped_moulds

P = Phase
ROOM_C = PRESS.ambient_c
# One node: heat arrives at once and evens out at once, as far as a model may have it.
NODE = HalfThermal(
    rise_k_per_s=0.25,
    heater_lag_s=1.0,
    spread_lag_s=2.0,
    dead_time_s=0.0,
    loss_per_s=5e-4,
    loss_rise_per_s_k=0.0,
    exchange_per_s=0.0,
)


def heating(upper_c: float, lower_c: float | None = None, **changes: object) -> State:
    """Return a press that has just begun to heat up."""
    state = make_state(**changes)
    cycle = replace(state.cycle, phase=P.PREHEAT, heat_wanted=True)
    return replace(state, cycle=cycle, **_halves(upper_c, lower_c))


def cooling(upper_c: float, lower_c: float | None = None, **changes: object) -> State:
    """Return a press whose heat was switched off."""
    state = make_state(**changes)
    return replace(state, cycle=replace(state.cycle, phase=P.COOL), **_halves(upper_c, lower_c))


def _halves(upper_c: float, lower_c: float | None) -> dict[str, HalfState]:
    lower_c = upper_c if lower_c is None else lower_c
    return {
        "upper": HalfState(quality=Quality.GOOD, value_c=upper_c),
        "lower": HalfState(quality=Quality.GOOD, value_c=lower_c),
    }


def of_nodes(**changes: float) -> dict[str, object]:
    """Return a mould of one node in each half, as a change of a state."""
    node = replace(NODE, **changes)
    return {"mould": replace(MOULD, thermal=Thermal(upper=node, lower=node, trusted=True))}


def after_s(found: forecast.Foreseen) -> float:
    """Return the time that was told."""
    assert found.why is None
    assert found.after_s is not None
    return found.after_s


@pytest.mark.parametrize("start_c", [60.0, 120.0, 180.0, 200.0])
@pytest.mark.parametrize("loss_per_s", [2e-4, 5e-4, 2e-3])
def test_forecast_cools_by_newtons_law(start_c: float, loss_per_s: float) -> None:
    """A body that loses in proportion to its excess: t = tau ln((T0 - Tr) / (45 - Tr)).

    Newton's law of cooling, as in any textbook of heat transfer (lumped capacity).
    """
    state = cooling(start_c, **of_nodes(loss_per_s=loss_per_s))
    wanted_s = math.log((start_c - ROOM_C) / (45.0 - ROOM_C)) / loss_per_s
    assert after_s(forecast.touchable(state)) == pytest.approx(wanted_s, rel=0.01, abs=3.0)


def test_forecast_cools_by_both_laws_of_loss() -> None:
    """With a loss that grows with the excess: dx/dt = -(a + b x) x, which integrates by parts."""
    a, b = 3e-4, 5e-6
    state = cooling(180.0, **of_nodes(loss_per_s=a, loss_rise_per_s_k=b))
    hot_k, cold_k = 180.0 - ROOM_C, 45.0 - ROOM_C
    wanted_s = (math.log(hot_k / (a + b * hot_k)) - math.log(cold_k / (a + b * cold_k))) / a
    assert after_s(forecast.touchable(state)) == pytest.approx(wanted_s, rel=0.003)


def test_forecast_waits_for_the_half_that_cools_last() -> None:
    """Touchable is both halves; apart from each other the hotter one counts."""
    node = of_nodes()
    both_s = after_s(forecast.touchable(cooling(180.0, **node)))
    assert after_s(forecast.touchable(cooling(60.0, 180.0, **node))) == pytest.approx(both_s)
    shared = of_nodes(exchange_per_s=0.005)
    assert after_s(forecast.touchable(cooling(60.0, 180.0, **shared))) < 0.9 * both_s


def test_forecast_heats_up_as_one_node_does() -> None:
    """T = Tr + (R/a)(1 - exp(-a t)): into the band at setpoint less 2 K, then the soak."""
    state = heating(22.0, **of_nodes())
    limit_k = NODE.rise_k_per_s / NODE.loss_per_s
    wanted_s = -math.log(1.0 - (178.0 - ROOM_C) / limit_k) / NODE.loss_per_s
    wanted_s += NODE.lag_s() + MOULD.soak_s()
    assert after_s(forecast.ready(state)) == pytest.approx(wanted_s, rel=0.01)


def test_forecast_counts_the_supply_in() -> None:
    """Where both halves together get 1.2 of full duty, each gets 0.6 of it."""
    state = heating(22.0, **of_nodes())
    state = replace(state, link=replace(state.link, supply_cap=1.2))
    limit_k = 0.6 * NODE.rise_k_per_s / NODE.loss_per_s
    wanted_s = -math.log(1.0 - (178.0 - ROOM_C) / limit_k) / NODE.loss_per_s
    wanted_s += NODE.lag_s() + MOULD.soak_s()
    assert after_s(forecast.ready(state)) == pytest.approx(wanted_s, rel=0.02)


@pytest.mark.parametrize("ramp", [0.5, 2.0, 5.0])
def test_forecast_counts_a_ramp_in(ramp: float) -> None:
    """As slow as the working setpoint rises."""
    state = heating(22.0, recipes=(replace(RECIPE, ramp_k_per_min=ramp),), **of_nodes())
    wanted_s = (180.0 - 22.0) / ramp * 60.0 + MOULD.soak_s()
    assert after_s(forecast.ready(state)) == pytest.approx(wanted_s, rel=0.03)


def test_forecast_counts_a_dry_out_in() -> None:
    """22 to 60, 90, 110 degC at 2 K/min, 20, 20 and 60 min held, then the usual way up.

    Time counts from 5 K below each stage: 2.5 min less for each, where the next rise follows.
    """
    state = heating(22.0, **of_nodes())
    state = replace(state, aim=AimState(dry=DryOut()))
    limit_k = NODE.rise_k_per_s / NODE.loss_per_s
    up_s = math.log((limit_k - 88.0) / (limit_k - 156.0)) / NODE.loss_per_s
    wanted_s = 100 * 60.0 + (110.0 - 22.0) / 2.0 * 60.0 - 3 * 150.0 + up_s + MOULD.soak_s()
    assert after_s(forecast.ready(state)) == pytest.approx(wanted_s, rel=0.03)
    late = replace(
        state, aim=AimState(dry=DryOut(stage=2, held_ms=3_000_000)), **_halves(110, None)
    )
    assert after_s(forecast.ready(late)) == pytest.approx(600.0 + up_s + 45.0, rel=0.05)


def test_forecast_of_a_soak_is_what_is_left_of_it() -> None:
    """In band both halves only have to stay there."""
    state = heating(180.0)
    cycle = replace(state.cycle, phase=P.SOAK, clock_ms=30_000, soaking_ms=10_000)
    assert after_s(forecast.ready(replace(state, cycle=cycle))) == 45.0 - 20.0


def test_forecast_says_which_half_has_too_little_power() -> None:
    """Never a time that cannot come: what it needs beside what it has."""
    weak = replace(NODE, rise_k_per_s=0.06)
    mould = replace(MOULD, thermal=Thermal(upper=NODE, lower=weak, trusted=True))
    found = forecast.ready(heating(22.0, mould=mould))
    assert found.after_s is None
    assert found.why is not None
    assert found.why.code == "never_ready"
    assert found.why.fields["half"] == "lower"
    assert found.why.fields["has_w"] == 750.0
    # (178 - 22) K at 5e-4/s of loss, by 0.06 K/s at 750 W: 975 W.
    assert found.why.fields["needs_w"] == pytest.approx(156.0 * 5e-4 / 0.06 * 750.0)


def test_forecast_says_when_the_supply_is_too_small() -> None:
    """Each half could be held alone, both together not."""
    state = heating(22.0, **of_nodes(rise_k_per_s=0.12))
    found = forecast.ready(replace(state, link=replace(state.link, supply_cap=1.0)))
    assert found.why is not None
    assert found.why.code == "never_ready_supply"
    assert found.why.fields["has_w"] == pytest.approx(750.0)


def test_forecast_tells_no_time_in_doubt() -> None:
    """Open, without a reading, or with a dry-out that failed: a reason, no time."""
    state = heating(100.0)
    opened = replace(state, cycle=replace(state.cycle, opened_ms=0))
    assert forecast.ready(opened) == (None, Code("never_open"))
    blind = replace(state, upper=replace(state.upper, quality=Quality.STALE))
    assert forecast.ready(blind) == (None, Code("no_readings"))
    stalled = replace(state, aim=AimState(dry=DryOut(cold_ms=7_200_001)))
    assert forecast.ready(stalled) == (None, Code("dry_out_stalled"))
    hot = cooling(100.0)
    blind = replace(hot, lower=replace(hot.lower, quality=Quality.BAD))
    assert forecast.touchable(blind) == (None, Code("no_readings"))
    warm = cooling(100.0, press=replace(PRESS, ambient_c=46.0))
    assert forecast.touchable(warm).why == Code("room_too_warm", {"room_c": 46.0})


@pytest.mark.parametrize("phase", [P.IDLE, P.READY, P.HOLD, P.PAUSED, P.COOL])
def test_forecast_of_ready_is_for_a_press_that_heats_up(phase: Phase) -> None:
    """Elsewhere there is nothing to tell."""
    state = make_state()
    assert forecast.ready(replace(state, cycle=replace(state.cycle, phase=phase))) == (None, None)


def _steps(look: Callable[[], forecast.Foreseen]) -> int:
    """Return in how many steps a forecast was worked out."""
    profile = cProfile.Profile()
    after_s(profile.runcall(look))
    return sum(
        calls
        for (file, _line, name), (_, calls, *_rest) in pstats.Stats(profile).stats.items()  # type: ignore[attr-defined]
        if name == "go" and file.endswith("forecast_steps.py")
    )


def test_forecast_takes_few_steps() -> None:
    """It is shown on a screen: a heat-up in 150 steps at most, hours of it in 700."""
    slow = heating(22.0, recipes=(replace(RECIPE, ramp_k_per_min=0.5),))
    damp = replace(heating(22.0), aim=AimState(dry=DryOut()))
    assert 10 < _steps(lambda: forecast.ready(heating(22.0))) <= 150
    assert 10 < _steps(lambda: forecast.ready(slow)) <= 700
    assert 10 < _steps(lambda: forecast.ready(damp)) <= 700
    assert 10 < _steps(lambda: forecast.touchable(cooling(200.0))) <= 300


_HALF = st.builds(
    HalfThermal,
    rise_k_per_s=st.floats(0.01, 2.0),
    heater_lag_s=st.floats(1.0, 300.0),
    spread_lag_s=st.floats(2.0, 300.0),
    dead_time_s=st.floats(0.0, 40.0),
    loss_per_s=st.floats(0.0, 1e-2),
    loss_rise_per_s_k=st.floats(0.0, 1e-5),
    exchange_per_s=st.floats(0.0, 0.05),
)
_TEMPERATURE = st.floats(-10.0, 250.0)


@settings(max_examples=60, deadline=None)
@given(_HALF, _HALF, _TEMPERATURE, _TEMPERATURE, st.floats(0.3, 2.0), st.sampled_from((None, 6.0)))
def test_forecast_never_tells_anything_but_a_time_or_a_reason(
    upper: HalfThermal,
    lower: HalfThermal,
    one_c: float,
    other_c: float,
    cap: float,
    ramp: float | None,
) -> None:
    """Whatever mould it is, and wherever it stands."""
    mould = replace(MOULD, thermal=Thermal(upper=upper, lower=lower, trusted=True))
    recipe = replace(RECIPE, ramp_k_per_min=ramp)
    state = heating(one_c, other_c, mould=mould, recipes=(recipe,))
    state = replace(state, link=replace(state.link, supply_cap=cap))
    for found in (forecast.ready(state), forecast.touchable(state)):
        assert (found.after_s is None) is (found.why is not None)
        assert found.after_s is None or 0.0 <= found.after_s <= 86_400.0 + 600.0


class HeatUp:
    """A shipped mould from cold into the band in a lane, and what was foreseen on the way."""

    def __init__(self, name: str, thermal: Thermal, setpoint_c: float) -> None:
        self.model = load(name)
        self.setpoint_c = setpoint_c
        self.driver = LoopDriver(thermal, self.model, (setpoint_c, setpoint_c))
        self.lane = Lane(self.model, seed=5)
        self.seen: list[tuple[float, State]] = []

    def run(self) -> float:
        """Heat up; return when it was ready, soak included."""
        while not self._in_band():
            assert self.lane.now_ms < 4 * 3_600_000, "not heated up in four hours"
            self.lane.run(self.driver, self.lane.now_ms + 2000)
            self.seen.append((self.lane.now_ms / 1000.0, self.state(P.PREHEAT)))
        return self.seen[-1][0] + self.seen[-1][1].mould.soak_s()

    def cool(self) -> float:
        """Switch the heat off and cool; return how long it took to be touchable."""
        self.driver.setpoints_c = None
        self.seen.clear()
        begin_ms = self.lane.now_ms
        while max(self.lane.rows[-1].readings_c) >= 45.0:
            assert self.lane.now_ms - begin_ms < 8 * 3_600_000, "not cold in eight hours"
            self.lane.run(self.driver, self.lane.now_ms + 60_000)
            self.seen.append(((self.lane.now_ms - begin_ms) / 1000.0, self.state(P.COOL)))
        return self.seen[-1][0]

    def _in_band(self) -> bool:
        if not self.lane.rows:
            return False
        upper_k, lower_k = (c - self.setpoint_c for c in self.lane.rows[-1].readings_c)
        return max(abs(upper_k), abs(lower_k), abs(upper_k - lower_k)) <= RECIPE.band_k

    def state(self, phase: Phase) -> State:
        """Return the press that would know what the lane's loop knows."""
        model, (upper_c, lower_c) = self.model, self.lane.rows[-1].readings_c
        mould = replace(
            MOULD,
            thermal=self.driver.thermal,
            upper=replace(MOULD.upper, mass_kg=model.upper.mass_kg),
            lower=replace(MOULD.lower, mass_kg=model.lower.mass_kg),
        )
        recipe = replace(RECIPE, setpoint_c=self.setpoint_c)
        state = heating(upper_c, lower_c, mould=mould, recipes=(recipe,), loop=self.driver.loop)
        window_s = model.window_ms / 1000.0
        return replace(
            state,
            cycle=replace(state.cycle, phase=phase, heat_wanted=phase is P.PREHEAT),
            press=replace(PRESS, ambient_c=model.ambient_c),
            link=replace(state.link, supply_cap=model.supply_cap, window_s=window_s),
        )


@cache
def _fitted(name: str) -> Thermal:
    return commissioned(load(name), seed=1).thermal


def _setpoint_c(model: MouldModel) -> float:
    return 180.0 if model.upper.heater_w > 0.0 else 0.0


@pytest.mark.slow
@pytest.mark.parametrize("name", shipped_moulds())
def test_forecast_is_within_a_twentieth_from_half_way_on(name: str) -> None:
    """Ready, soak included, of every shipped mould with its fitted model: within 5 % of it all."""
    assert _fitted(name).trusted
    heat_up = HeatUp(name, _fitted(name), _setpoint_c(load(name)))
    whole_s = heat_up.run()
    later = [(at_s, state) for at_s, state in heat_up.seen if at_s >= whole_s / 2.0][::10]
    assert len(later) > 3
    for at_s, state in later:
        told_s = at_s + after_s(forecast.ready(state))
        assert told_s == pytest.approx(whole_s, rel=0.05), f"at {at_s:.0f} s of {whole_s:.0f} s"
    whole_s = heat_up.cool()
    for at_s, state in heat_up.seen[len(heat_up.seen) // 2 : -1]:
        told_s = at_s + after_s(forecast.touchable(state))
        assert told_s == pytest.approx(whole_s, rel=0.05), f"cooling, at {at_s:.0f} s"


@pytest.mark.slow
@pytest.mark.parametrize("name", shipped_moulds())
def test_forecast_by_a_guess_is_no_wild_one(
    name: str, record_property: pytest.RecordProperty
) -> None:
    """Without a fitted model no accuracy is promised; how far off it is, is noted."""
    heat_up = HeatUp(name, uncommissioned(load(name)), _setpoint_c(load(name)))
    whole_s = heat_up.run()
    at_s, state = next(one for one in heat_up.seen if one[0] >= whole_s / 2.0)
    off = (at_s + after_s(forecast.ready(state)) - whole_s) / whole_s
    record_property("off", f"{off:+.3f}")
    assert abs(off) < 0.25


def test_forecast_uses_what_the_loop_believes() -> None:
    """Heat that is already on its way, and a heater that is weaker than its model."""
    state = heating(100.0, **of_nodes(heater_lag_s=60.0))
    seen = forecast.believed(state)[0]
    hot, weak = replace(seen, arriving=1.0), replace(seen, scale=-0.2)

    def told_s(one: object) -> float:
        half = HalfLoop(seen=one)  # type: ignore[arg-type]
        return after_s(forecast.ready(replace(state, loop=Loop(upper=half, lower=half))))

    assert told_s(hot) < told_s(seen) - 40.0
    assert told_s(weak) > told_s(seen) * 1.15
