"""The step: duty on time, within the supply limit, on the mean of the samples; its cost."""

from __future__ import annotations

import math
import time

import pytest
from msgspec.structs import replace

from core_events import RECIPE, Play, hot, make_frame, make_state
from tawny.core import effects as fx
from tawny.core.effects import AnyEffect
from tawny.core.messages import IN_MAINS
from tawny.core.names import Phase
from tawny.core.step import step

P = Phase
ZERO = fx.SendDuty(upper=0.0, upper_setpoint_c=0.0, lower=0.0, lower_setpoint_c=0.0)


@pytest.mark.parametrize("phase", Phase)
def test_step_sends_a_duty_with_each_second_line(phase: Phase) -> None:
    """One duty line each 0.4 s in every phase, also when both are 0."""
    play = Play().to(phase)
    play.effects.clear()
    for _ in range(20):
        play.frame()
    assert len(play.take(fx.SendDuty)) == 10


def test_step_names_each_half_its_own_setpoint() -> None:
    """Halves may be wanted at different temperatures; at rest the board hears 0."""
    recipe = replace(RECIPE, lower_setpoint_c=170.0)
    play = Play(make_state(recipes=(recipe,)))
    assert play.take(fx.SendDuty)[-1] == ZERO
    play.start()
    play.run(0.4)
    duty = play.take(fx.SendDuty)[-1]
    assert (duty.upper_setpoint_c, duty.lower_setpoint_c) == (180.0, 170.0)
    play.set_c(180.0, 170.0)
    play.until(P.SOAK)


def test_step_heats_with_both_halves_from_cold() -> None:
    """Preheating both halves ask for all they may have."""
    play = Play().to(P.PREHEAT)
    play.run(1.0)
    duty = play.take(fx.SendDuty)[-1]
    assert (duty.upper, duty.lower) == (1.0, 1.0)


def test_step_stays_within_the_supply_limit() -> None:
    """Where both duties may sum to 1.2, each gets 0.6, and neither winds up against that."""
    play = Play(supply_cap=1.2).to(P.PREHEAT)
    play.set_c(100.0)
    play.run(120.0)
    duty = play.take(fx.SendDuty)[-1]
    assert duty.upper == pytest.approx(0.6)
    assert duty.lower == pytest.approx(0.6)
    assert play.state.loop.upper.integral == play.state.loop.lower.integral == 0.0


def test_step_gives_what_is_left_to_the_half_that_needs_it() -> None:
    """With one half at setpoint the other gets the rest of the supply."""
    play = Play(supply_cap=1.2).to(P.PREHEAT)
    play.set_c(100.0, 195.0)
    play.run(4.0)
    duty = play.take(fx.SendDuty)[-1]
    assert (duty.upper, duty.lower) == (1.0, 0.0)


def test_step_permits_no_heat_without_a_supply_limit() -> None:
    """A limit of 0 or NaN permits nothing."""
    for cap in (0.0, math.nan):
        play = Play(supply_cap=cap).to(P.PREHEAT)
        play.run(1.0)
        duty = play.take(fx.SendDuty)[-1]
        assert (duty.upper, duty.lower) == (0.0, 0.0)


def test_step_controls_on_the_mean_of_both_samples() -> None:
    """Two samples 2 K apart act like their mean."""
    even, uneven = hot(), hot()
    for _ in range(50):
        even.set_c(179.0)
        even.run(0.4)
        for value_c in (178.0, 180.0):
            uneven.set_c(value_c)
            uneven.run(0.2)
    assert uneven.state.upper.mean_c == even.state.upper.mean_c == 179.0
    assert uneven.take(fx.SendDuty)[-1].upper == even.take(fx.SendDuty)[-1].upper


# Cost.


def _kinds(effects: list[AnyEffect]) -> set[type[AnyEffect]]:
    return {type(one) for one in effects}


def test_step_is_cheap_enough_for_a_thousandfold_pace() -> None:
    """5 Hz at a thousand simulated seconds a second leaves 200 us a frame; half is not used."""
    play = Play().to(P.HOLD)
    frames = [
        make_frame(
            play.host_ms + 200 * count,
            play.board_ms + 200 * count,
            count,
            u=1800,
            l=1800,
            ur=count,
            lr=count,
            uo=(play.on_ms + 80 * count) % 65536,
            lo=(play.on_ms + 80 * count) % 65536,
            st="armed",
            inputs=IN_MAINS,
        )
        for count in range(1, 301)
    ]
    state, effects = play.state, []
    best_s = math.inf
    for _ in range(5):
        state, effects = play.state, []
        start_s = time.perf_counter()
        for frame in frames:
            state, more = step(state, frame)
            effects += more
        best_s = min(best_s, (time.perf_counter() - start_s) / len(frames))
    assert state.cycle.phase is P.HOLD
    assert _kinds(effects) == {fx.SendDuty}
    assert best_s < 200e-6
