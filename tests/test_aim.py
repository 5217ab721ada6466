"""The working setpoint: the recipe's, halves unlike each other, and ramps that wait."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from core_events import HALF, MOULD, PRESS, RECIPE, Play, make_state
from tawny.core import aim
from tawny.core import effects as fx
from tawny.core import intents as ask
from tawny.core.aim_state import AimState, DryOut, Manual
from tawny.core.heat import duty_most, setpoints_c
from tawny.core.names import AlarmState, Phase, Quality
from tawny.core.recipe import check_recipe
from tawny.core.view import snapshot
from tawny.errors import SettingsError
from warm_mould import FRAME_S, WarmMould, at_recipe

P = Phase
UNLIKE = replace(RECIPE, lower_setpoint_c=165.0)
SLOW = replace(RECIPE, ramp_k_per_min=5.0)


def working_c(play: Play) -> tuple[float, float]:
    """Return both working setpoints, known to be there."""
    upper_c, lower_c = setpoints_c(play.state)
    assert upper_c is not None
    assert lower_c is not None
    return upper_c, lower_c


def test_aim_is_the_recipe_where_nothing_else_was_asked_for() -> None:
    """Without ramp or standby the setpoints are the recipe's from the first duty line on."""
    play = Play(at_recipe(UNLIKE)).to(P.PREHEAT)
    play.run(0.4)
    sent = play.take(fx.SendDuty)[-1]
    assert (sent.upper_setpoint_c, sent.lower_setpoint_c) == (180.0, 165.0)
    assert aim.at_pressing_heat(play.state)


def test_aim_is_nothing_without_heat() -> None:
    """No heat wanted: no setpoint, whatever was left of an earlier heat-up."""
    state = replace(make_state(), aim=AimState(upper_c=180.0, lower_c=180.0, standby=True))
    assert setpoints_c(state) == (None, None)
    assert not aim.at_pressing_heat(state)


def test_halves_unlike_each_other_are_each_judged_by_their_own_setpoint() -> None:
    """Ready at 180 and 165 degC; each half's deviation, cut-off and screen go by its own."""
    play = Play(at_recipe(UNLIKE)).to(P.PREHEAT)
    play.set_c(180.0, 180.0)
    play.run(60.0)
    assert play.phase is P.PREHEAT, "the lower half is 15 K too hot"
    play.set_c(180.0, 165.0)
    play.until(P.READY)
    seen = snapshot(play.state, seq=1, utc_ms=0, simulated=True)
    assert (seen.upper.setpoint_c, seen.lower.setpoint_c) == (180.0, 165.0)
    assert (seen.upper.deviation_k, seen.lower.deviation_k) == (0.0, 0.0)
    assert (seen.setpoint_c, seen.lower_setpoint_c) == (180.0, 165.0)
    play.lower_c = 175.5
    play.run(6.0)
    assert play.alarm("deviation_high") is AlarmState.ACTIVE
    assert play.alarm("disagree") is AlarmState.NORMAL
    play.lower_c = 184.9
    play.run(0.4)
    assert not play.state.lower.cut
    play.lower_c = 185.0
    play.run(0.4)
    assert play.state.lower.cut, "165 degC + 20 K is this half's cut-off"
    assert not play.state.upper.cut


@pytest.mark.parametrize(("half_k", "alarms"), [(15.0, False), (15.2, True)])
def test_halves_unlike_each_other_disagree_by_their_deviations(
    half_k: float, *, alarms: bool
) -> None:
    """Values 15 K apart are no disagreement; deviations more than 15 K apart for 30 s are."""
    play = Play(at_recipe(UNLIKE)).to(P.PREHEAT)
    play.set_c(180.0, 165.0)
    play.until(P.READY)
    play.set_c(180.0 - half_k / 2, 165.0 + half_k / 2)
    play.run(31.0)
    assert (play.alarm("disagree") is AlarmState.ACTIVE) is alarms


@pytest.mark.parametrize("ramp", [0.5, 60.0, None])
def test_recipe_takes_a_ramp_within_its_limits(ramp: float | None) -> None:
    """Both limits are taken."""
    check_recipe(replace(RECIPE, ramp_k_per_min=ramp))


@pytest.mark.parametrize("ramp", [0.499, 60.01, 0.0, -5.0, math.nan, math.inf])
def test_recipe_refuses_a_ramp_outside_its_limits(ramp: float) -> None:
    """One step beside a limit, and no number at all, are refused."""
    with pytest.raises(SettingsError, match="ramp"):
        check_recipe(replace(RECIPE, ramp_k_per_min=ramp))


def test_ramp_begins_at_the_value_there_is_and_rises_no_faster() -> None:
    """5 K/min from 60 degC: 100 degC after 8 min, never more than a frame's share at once."""
    mould = WarmMould(Play(at_recipe(SLOW)).to(P.PREHEAT), start_c=60.0)
    mould.play.state = replace(mould.play.state, aim=AimState())
    mould.frame()
    start_c = working_c(mould.play)[0]
    assert start_c == pytest.approx(60.0, abs=0.1)
    seen = [start_c]
    for _ in range(round(480.0 / FRAME_S)):
        mould.frame()
        seen.append(working_c(mould.play)[0])
    assert all(
        0.0 <= after - before <= 5.0 / 60.0 * FRAME_S + 1e-9 for before, after in pairwise(seen)
    )
    assert seen[-1] == pytest.approx(100.0, abs=0.2)
    assert mould.play.upper_c == pytest.approx(100.0, abs=aim.BEHIND_FREE_K)


def test_ramp_is_ready_only_at_the_recipes_setpoint() -> None:
    """In band of the moving setpoint is not in band of the recipe: no soak on the way."""
    mould = WarmMould(Play(at_recipe(SLOW)).to(P.PREHEAT), start_c=160.0)
    mould.play.state = replace(mould.play.state, aim=AimState())
    mould.run(20.0)
    assert mould.play.state.upper.in_band
    assert mould.play.phase is P.PREHEAT
    mould.until(P.READY)
    assert working_c(mould.play) == (180.0, 180.0)
    assert mould.play.state.cycle.clock_ms >= 4 * 60_000, "20 K at 5 K/min, then soak"


def test_ramp_waits_for_a_half_that_cannot_follow() -> None:
    """A heater of a fifth: the setpoint never runs further than 25 K ahead, but than 20 K.

    20 K is where the board begins to judge that a half does not rise (PROTOCOL.md 6.5).
    """
    mould = WarmMould(Play(at_recipe(SLOW)).to(P.PREHEAT))
    mould.strength = [1.0, 0.2]
    mould.run(3600.0)
    assert mould.play.lower_c is not None
    ahead_k = working_c(mould.play)[1] - mould.play.lower_c
    assert 20.0 < ahead_k < 25.0
    assert mould.play.state.lower.duty >= 0.8, "what the board judges the rise by"
    assert mould.play.alarm("deviation_low") is AlarmState.NORMAL, "it is still on its way"


@pytest.mark.parametrize("together", [False, True])
def test_ramp_lets_the_halves_arrive_together_if_asked(*, together: bool) -> None:
    """A heater of a third of its power holds the other half back only where that was asked."""
    recipe = replace(RECIPE, ramp_k_per_min=10.0, ramp_together=together)
    mould = WarmMould(Play(at_recipe(recipe)).to(P.PREHEAT))
    mould.strength = [1.0, 0.35]
    mould.run(420.0)
    upper_c, lower_c = working_c(mould.play)
    if together:
        assert upper_c == pytest.approx(lower_c, abs=1e-6)
    else:
        assert upper_c > lower_c + 10.0


def test_ramp_of_unlike_halves_arrives_at_both_setpoints_at_once() -> None:
    """From one temperature to 180 and 165 degC in step: the shorter way is gone slower."""
    recipe = replace(UNLIKE, ramp_k_per_min=10.0, ramp_together=True)
    mould = WarmMould(Play(at_recipe(recipe)).to(P.PREHEAT), start_c=100.0)
    mould.play.state = replace(mould.play.state, aim=AimState())
    mould.run(240.0)
    upper_c, lower_c = working_c(mould.play)
    assert upper_c == pytest.approx(140.0, abs=1.5)
    done = (upper_c - 100.0) / 80.0
    assert (lower_c - 100.0) / 65.0 == pytest.approx(done, abs=0.02)


def test_ramp_stands_over_a_gap_and_without_a_reading() -> None:
    """What nobody saw does not move the setpoint: a jump of the clock, a bad reading."""
    mould = WarmMould(Play(at_recipe(SLOW)).to(P.PREHEAT))
    mould.run(60.0)
    before = working_c(mould.play)
    mould.play.board_ms += 600_000
    mould.frame()
    assert working_c(mould.play) == before
    mould.play.upper_c = None
    for _ in range(20):
        mould.play.frame()
    assert working_c(mould.play)[0] == pytest.approx(before[0], abs=0.1)
    assert mould.play.state.upper.duty == mould.play.state.lower.duty == 0.0


def test_ramp_does_not_begin_without_a_reading() -> None:
    """No good value, no setpoint, no heat."""
    play = Play(at_recipe(SLOW)).to(P.PREHEAT)
    play.set_c(None)
    play.run(0.4)
    play.state = replace(play.state, aim=AimState())
    play.run(2.0)
    assert setpoints_c(play.state) == (None, None)
    assert play.take(fx.SendDuty)[-1].upper_setpoint_c == 0.0
    play.set_c(40.0)
    play.run(1.0)
    assert working_c(play)[0] == pytest.approx(40.0, abs=0.5)


def test_ramp_tells_of_a_half_that_runs_above_it() -> None:
    """A heater that stays on: 10 K above the moving setpoint for 5 s is an alarm."""
    mould = WarmMould(Play(at_recipe(SLOW)).to(P.PREHEAT), start_c=60.0)
    mould.play.state = replace(mould.play.state, aim=AimState())
    mould.run(30.0)
    assert mould.play.state.upper.reached
    assert mould.play.upper_c is not None
    mould.play.upper_c += 13.0
    mould.play.run(6.0)
    assert mould.play.alarm("deviation_high") is AlarmState.ACTIVE


def test_ramp_makes_the_forecast_no_sooner_than_itself() -> None:
    """Ready in at least the ramp's own time and the soak."""
    play = Play(at_recipe(SLOW)).to(P.PREHEAT)
    play.run(1.0)
    seen = snapshot(play.state, seq=1, utc_ms=0, simulated=True)
    assert seen.ready_at_utc_ms is not None
    ramp_s = (180.0 - 22.0) / 5.0 * 60.0
    assert seen.figure.value is not None
    assert seen.figure.value >= ramp_s + MOULD.soak_s() - 30.0
    assert seen.aim is not None
    assert (seen.aim.kind, seen.aim.rising, seen.aim.upper_goal_c) == ("press", True, 180.0)


_VALUE = st.one_of(st.none(), st.floats(-5.0, 230.0))
_HALVES = st.builds(
    lambda value_c, good: replace(
        make_state().upper,
        value_c=value_c,
        quality=Quality.GOOD if good and value_c is not None else Quality.BAD,
    ),
    _VALUE,
    st.booleans(),
)


@settings(max_examples=300, deadline=None)
@given(
    ramp=st.one_of(st.none(), st.floats(0.5, 60.0)),
    together=st.booleans(),
    lower_c=st.one_of(st.none(), st.floats(60.0, 200.0)),
    standby=st.booleans(),
    dry=st.booleans(),
    drop_k=st.floats(10.0, 60.0),
    frames=st.lists(st.tuples(_HALVES, _HALVES, st.integers(0, 1000)), min_size=1, max_size=30),
)
def test_aim_never_asks_for_more_than_the_recipe(
    *, ramp: float | None, together: bool, lower_c: float | None, standby: bool, dry: bool,
    drop_k: float, frames: list[tuple[object, object, int]],
) -> None:  # fmt: skip
    """Whatever is asked for and read: at most the recipe's setpoint, at most the full duty."""
    recipe = replace(RECIPE, lower_setpoint_c=lower_c, ramp_k_per_min=ramp, ramp_together=together)
    state = Play(at_recipe(recipe, standby_drop_k=drop_k)).to(P.PREHEAT).state
    begun = replace(state.aim, dry_asked=dry, standby=standby)
    state = replace(state, aim=replace(aim.begun(replace(state, aim=begun)), standby=standby))
    for upper, lower, dt_ms in frames:
        state = replace(state, upper=upper, lower=lower)
        before = setpoints_c(state)
        state = aim.follow(state, dt_ms)
        after = setpoints_c(state)
        for one_c, was_c, most_c in zip(after, before, recipe.setpoints_c(), strict=True):
            if one_c is None:
                continue
            assert math.isfinite(one_c)
            assert 0.0 < one_c <= most_c
            if ramp is not None and was_c is not None and one_c < most_c:
                assert one_c - was_c <= ramp / 60.0 * dt_ms / 1000.0 + 1e-9
        assert 0.0 <= duty_most(state) <= (PRESS.dry_duty if dry and not standby else 1.0)


def test_aim_with_a_charge_in_hand_is_the_recipe_whatever_the_state_says() -> None:
    """No road leads there; but a state that held a rest or heat by hand would not act on it."""
    state = Play().to(P.HOLD).state
    for one in (
        AimState(standby=True, upper_c=140.0, lower_c=140.0),
        AimState(dry=DryOut(), upper_c=60.0, lower_c=60.0),
        AimState(manual=Manual(upper=0.5, lower=0.5, until_ms=1 << 40)),
    ):
        held = replace(state, aim=one)
        assert setpoints_c(held) == (180.0, 180.0)
        assert aim.manual_duties(held) is None
        assert duty_most(held) == 1.0


def test_aim_leaves_room_for_what_the_board_judges() -> None:
    """The distance at which a ramp stands lies beyond the 20 K of the board's no-rise rule."""
    assert aim.BEHIND_MOST_K > 20.0
    assert aim.BEHIND_FREE_K < 15.0, "a half that follows well stays below the low alarm"
    assert HALF.rise_k_per_s > 0.0


def test_aim_follows_a_recipe_that_asks_for_less_at_once() -> None:
    """A cooler recipe is a cooler setpoint at once; a hotter one is gone to by its ramp."""
    cool = replace(SLOW, name="cool", setpoint_c=150.0)
    play = Play(make_state(recipes=(SLOW, cool))).to(P.PREHEAT)
    play.state = replace(play.state, aim=AimState(upper_c=180.0, lower_c=180.0))
    play.set_c(180.0)
    play.until(P.READY)
    assert play.ask(ask.ChooseRecipe(name="cool")) is None
    assert working_c(play) == (150.0, 150.0)
    play.set_c(150.0)
    play.run(1.0)
    assert play.ask(ask.ChooseRecipe(name=SLOW.name)) is None
    play.run(12.0)
    assert working_c(play)[0] == pytest.approx(151.0, abs=0.1)


def test_halves_too_far_apart_are_told_once_it_has_lasted() -> None:
    """A half that stays above its band at duty 0, the other held: said after ten minutes."""
    play = Play(at_recipe(UNLIKE)).to(P.PREHEAT)
    play.set_c(180.0, 169.0)
    play.run(aim.WARMED_S - 5.0)
    assert snapshot(play.state, seq=1, utc_ms=0, simulated=True).sentence.code == "preheat"
    play.run(10.0)
    said = snapshot(play.state, seq=1, utc_ms=0, simulated=True).sentence
    assert (said.code, said.fields["half"]) == ("half_warmed", "lower")
    assert said.fields["above_k"] == pytest.approx(4.0)
    play.set_c(180.0, 166.0)
    play.run(0.4)
    assert aim.warmed_half(play.state) == ""
