"""The slow first heat-up for heaters that may be damp."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from core_events import HALF, PRESS, RECIPE, Play
from tawny.core import effects as fx
from tawny.core import intents as ask
from tawny.core.aim import DRY_COLD_MOST_S, DRY_STAGES, DRY_WARM_K
from tawny.core.aim_state import DryOut
from tawny.core.heat import setpoints_c
from tawny.core.names import AlarmState, Phase
from tawny.core.snapshot import Code
from tawny.core.view import snapshot
from warm_mould import WarmMould, at_recipe

P = Phase
HOUR_S = 3600.0


def drying(recipe: object = RECIPE, **press: object) -> WarmMould:
    """Return a cold press that was asked to dry its heaters out, and armed."""
    play = Play(at_recipe(recipe, **press))  # type: ignore[arg-type]
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True, dry_out=True)) is None
    play.board["st"] = "armed"
    play.frame()
    assert play.phase is P.PREHEAT
    return WarmMould(play)


def test_dry_out_is_asked_for_before_heating_and_noted() -> None:
    """Only the three looks with the fourth tick begin one; the journal says so."""
    play = Play()
    play.take(fx.Journal)
    play.ask(ask.Prepare(empty=True, dry=True, let_down=True, dry_out=True))
    assert play.take(fx.Journal)[0].payload["dry_out"] is True
    play = Play()
    play.start()
    assert play.state.aim.dry is None
    assert setpoints_c(play.state) == (180.0, 180.0)


def test_dry_out_that_was_asked_for_is_taken_back_by_the_next_look() -> None:
    """Whoever starts the day again without it gets the usual heat-up."""
    play = Play()
    play.ask(ask.Prepare(empty=True, dry=True, let_down=True, dry_out=True))
    play.start()
    assert play.state.aim.dry is None


def test_dry_out_goes_through_its_stages_slowly_at_low_duty_then_heats_up() -> None:
    """60, 90 and 110 degC, each held; at most 2 K/min and 40 % duty; then ready at 180 degC."""
    mould = drying()
    play = mould.play
    reached: dict[int, float] = {}
    fastest_k = highest = 0.0
    last_c = setpoints_c(play.state)[0]
    for _ in range(round(5 * HOUR_S / 0.2)):
        mould.frame()
        if play.state.aim.dry is None:
            break
        now_c = setpoints_c(play.state)[0]
        assert now_c is not None
        if last_c is not None:
            fastest_k = max(fastest_k, now_c - last_c)
        last_c = now_c
        highest = max(highest, play.state.upper.duty, play.state.lower.duty)
        assert play.upper_c is not None
        reached[play.state.aim.dry.stage] = play.upper_c
        assert play.phase is P.PREHEAT
    assert [round(value_c) for value_c in reached.values()] == [60, 90, 110]
    assert fastest_k <= 2.0 / 60.0 * 0.2 + 1e-9
    assert 0.2 < highest <= PRESS.dry_duty
    lasted_s = play.state.cycle.clock_ms / 1000.0
    held_s = sum(hold_s for _c, hold_s in DRY_STAGES) + PRESS.dry_hold_s
    risen_s = (110.0 - 22.0 - 3 * DRY_WARM_K) / 2.0 * 60.0  # each stage counts from 5 K below it
    assert lasted_s == pytest.approx(held_s + risen_s, abs=60.0)
    assert not play.state.alarms
    mould.until(P.READY)
    assert play.upper_c == pytest.approx(180.0, abs=2.0)


def test_dry_out_counts_only_the_time_when_both_halves_are_warm() -> None:
    """A half that falls behind by more than 5 K stops the clock of its stage."""
    mould = drying()
    play = mould.play
    play.state = replace(play.state, aim=replace(play.state.aim, upper_c=60.0, lower_c=60.0))
    play.set_c(55.0)
    play.run(10.0)
    dry = play.state.aim.dry
    assert dry is not None
    held_ms = dry.held_ms
    assert held_ms == pytest.approx(10_000, abs=400)
    play.set_c(60.0, 54.9)
    play.run(10.0)
    dry = play.state.aim.dry
    assert dry is not None
    assert dry.held_ms == pytest.approx(held_ms, abs=200)


def test_dry_out_with_the_mould_open_keeps_to_its_own_duty() -> None:
    """Open allows half the duty; the dry-out allows 40 %, and the less of both counts."""
    mould = drying()
    play = mould.play
    play.state = replace(play.state, aim=replace(play.state.aim, upper_c=60.0, lower_c=60.0))
    play.open()
    play.run(2.0)
    assert play.state.upper.duty == PRESS.dry_duty
    assert play.state.lower.duty == PRESS.dry_duty
    play.run(180.0)
    assert play.state.upper.duty == play.state.lower.duty == 0.0


def test_dry_out_never_goes_above_the_recipe() -> None:
    """A recipe of 80 degC is dried out at 60 and 80, not at 110."""
    mould = drying(replace(RECIPE, setpoint_c=80.0))
    play = mould.play
    play.state = replace(play.state, aim=replace(play.state.aim, dry=DryOut(stage=2)))
    for _ in range(round(2 * HOUR_S / 0.2)):
        mould.frame()
        if play.state.aim.dry is None:
            break
        setpoint_c = setpoints_c(play.state)[0]
        assert setpoint_c is not None
        assert setpoint_c <= 80.0
    assert play.state.aim.dry is None


def test_dry_out_that_does_not_get_warm_ends_without_heat_and_says_so() -> None:
    """Two hours at the low duty and not there: no heat is asked for, an alarm tells why."""
    mould = drying(dry_duty=0.1)
    play = mould.play
    play.state = replace(play.state, aim=replace(play.state.aim, dry=DryOut(stage=2)))
    mould.run(DRY_COLD_MOST_S - 1.0)
    assert play.state.upper.duty == 0.1
    assert play.alarm("dry_out_stalls") is AlarmState.NORMAL
    mould.run(2.0)
    assert play.take(fx.SendDuty)[-1] == fx.SendDuty(0.0, 0.0, 0.0, 0.0)
    assert play.alarm("dry_out_stalls") is AlarmState.ACTIVE
    assert _seen(play) == Code("dry_out_stalled")
    mould.run(HOUR_S)
    assert play.state.upper.duty == play.state.lower.duty == 0.0


def test_dry_out_can_be_ended_for_the_normal_heat_up() -> None:
    """Somebody whose insulation test was good goes on; noted, with the stage it was at."""
    mould = drying()
    play = mould.play
    mould.run(60.0)
    play.take(fx.Journal)
    assert play.ask(ask.EndDryOut()) is None
    assert play.take(fx.Journal)[0].payload == {"stage": 1}
    mould.run(1.0)
    assert setpoints_c(play.state) == (180.0, 180.0)
    assert play.ask(ask.EndDryOut()) == Code("not_allowed_now", {"phase": "preheat"})


def test_dry_out_takes_neither_standby_nor_heat_by_hand() -> None:
    """Both could hurry it or leave it; a pause holds it where it is."""
    mould = drying()
    play = mould.play
    refused = Code("not_allowed_now", {"phase": "preheat"})
    assert play.ask(ask.Standby()) == refused
    assert play.ask(ask.ManualHeat(upper=0.1, lower=0.1, minutes=5.0)) == refused
    mould.run(60.0)
    assert play.ask(ask.Pause()) is None
    mould.run(60.0)
    assert play.state.upper.duty <= PRESS.dry_duty
    assert play.ask(ask.Resume()) is None
    mould.run(1.0)
    assert play.phase is P.PREHEAT
    assert play.state.aim.dry is not None


def test_dry_out_is_gone_after_heat_off() -> None:
    """It has to be asked for again, and begins again at its first stage."""
    mould = drying()
    mould.run(60.0)
    mould.play.ask(ask.HeatOff())
    mould.play.board["st"] = "ready"
    mould.run(1.0)
    assert mould.play.state.aim.dry is None


def test_dry_out_says_its_stage_and_what_to_stop_for() -> None:
    """Stage, temperature and the minutes left; a residual-current device that trips is named."""
    mould = drying()
    mould.run(60.0)
    said = _seen(mould.play)
    assert said == Code("dry_out", {"stage": 1, "stages": 3, "goal_c": 60.0})
    seen = snapshot(mould.play.state, seq=1, utc_ms=0, simulated=True)
    assert seen.figure.kind == "drying"
    assert seen.figure.value == pytest.approx(100 * 60 + 44 * 60, abs=240)
    assert seen.ready_at_utc_ms is not None
    assert seen.ready_at_utc_ms / 1000.0 > 60.0 + 100 * 60 + 40 * 60, "dry first, then ready"


def test_dry_out_needs_no_more_than_its_duty_on_the_mould_of_these_tests() -> None:
    """Held at 110 degC by what it loses: 0.00075/s x 88 K / 0.26 K/s is 25 %, below 40 %."""
    assert HALF.loss_per_s * (110.0 - 22.0) / HALF.rise_k_per_s == pytest.approx(0.254, abs=0.001)
    assert PRESS.dry_duty == 0.4


def _seen(play: Play) -> Code:
    return snapshot(play.state, seq=1, utc_ms=0, simulated=True).sentence
