"""Standby: resting warm between pressings and at breaks, and the way back."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from core_events import HEATED, IN_HAND, PRESS, RECIPE, Play
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.heat import setpoints_c
from tawny.core.names import AlarmState, Phase
from tawny.core.snapshot import Code
from tawny.core.view import snapshot
from warm_mould import WarmMould, at_recipe

P = Phase
RESTS = (P.PREHEAT, P.SOAK, P.READY, P.CLEAN, P.OIL, P.PAUSED)


def rested() -> WarmMould:
    """Return a mould that was ready and rests warm, still as hot as before."""
    play = Play().to(P.READY)
    assert play.ask(ask.Standby()) is None
    return WarmMould(play, start_c=180.0)


@pytest.mark.parametrize("phase", Phase)
def test_standby_is_taken_between_pressings_only(phase: Phase) -> None:
    """Where the mould is heated and empty; never with a charge in it, never without heat."""
    play = Play().to(phase)
    play.take(fx.SendDuty)
    refusal = play.ask(ask.Standby())
    play.run(1.0)
    if phase not in RESTS:
        assert refusal == Code("not_allowed_now", {"phase": phase.value})
        assert not play.state.aim.standby
        wanted = (180.0, 180.0) if phase in HEATED else (None, None)
        assert setpoints_c(play.state) == wanted
        return
    assert refusal is None
    assert play.phase is P.PAUSED
    assert setpoints_c(play.state) == (140.0, 140.0)
    assert play.take(fx.SendDuty)[-1].upper_setpoint_c == 140.0


def test_standby_never_has_a_charge_in_the_mould() -> None:
    """The phases of a pressing in hand have no way into it."""
    assert not set(RESTS) & set(IN_HAND)


def test_standby_is_asked_for_once() -> None:
    """Asked for again it changes nothing and says so."""
    mould = rested()
    assert mould.play.ask(ask.Standby()) == Code("not_allowed_now", {"phase": "paused"})
    assert mould.play.state.aim.standby


def test_standby_is_kept_in_the_record_with_its_setpoints() -> None:
    """The journal holds that the mould rested, and at what."""
    play = Play().to(P.READY)
    play.take(fx.Journal)
    play.ask(ask.Standby())
    kinds = {note.kind: note.payload for note in play.take(fx.Journal)}
    assert kinds["standby"] == {"upper_c": 140.0, "lower_c": 140.0}
    assert kinds["phase"] == {"from": "ready", "to": "paused"}


def test_standby_lets_the_mould_cool_and_holds_it_there() -> None:
    """No heat down to the standby setpoint, then held there; no alarm all the way."""
    mould = rested()
    play = mould.play
    while play.upper_c is not None and play.upper_c > 150.0:
        mould.frame()
        assert play.state.upper.duty == 0.0
        assert not play.state.alarms
    mould.run(1200.0)
    assert play.upper_c == pytest.approx(140.0, abs=1.0)
    assert play.state.upper.duty > 0.0
    assert not play.state.alarms
    assert play.phase is P.PAUSED


def test_standby_brings_the_cut_off_down_with_the_half() -> None:
    """180 degC + 20 K at first; as the half cools the cut-off follows, down to 140 + 20."""
    mould = rested()
    play = mould.play
    mould.frame()
    assert play.state.upper.cutoff_c == pytest.approx(190.0, abs=1.0)
    mould.run(900.0)
    assert play.state.upper.cutoff_c == 160.0
    play.upper_c = 159.9
    play.run(0.4)
    assert not play.state.upper.cut
    play.upper_c = 160.0
    play.run(0.4)
    assert play.state.upper.cut
    assert play.alarm("overtemp_host") is AlarmState.ACTIVE


@pytest.mark.parametrize("back", ["resume", "tap", "next"])
def test_standby_goes_back_to_pressing_heat_by_one_key(back: str) -> None:
    """Key, space bar or the button at the board: heat-up, soak, ready, as after any heat-up."""
    mould = rested()
    play = mould.play
    mould.run(1500.0)
    if back == "resume":
        assert play.ask(ask.Resume()) is None
    elif back == "tap":
        assert play.tap() is None
    else:
        play.press_next()
    mould.run(0.4)
    assert setpoints_c(play.state) == (180.0, 180.0)
    assert play.phase is P.PREHEAT, "140 degC is not ready"
    mould.until(P.READY)
    assert play.state.upper.value_c == pytest.approx(180.0, abs=2.0)
    assert not play.state.alarms


def test_standby_goes_back_by_the_recipes_ramp() -> None:
    """A recipe that rises by 5 K/min does so after a rest too, from the value there is."""
    recipe = replace(RECIPE, ramp_k_per_min=5.0)
    play = Play(at_recipe(recipe)).to(P.PREHEAT)
    play.state = replace(play.state, aim=replace(play.state.aim, upper_c=180.0, lower_c=180.0))
    play.set_c(180.0)
    play.until(P.READY)
    play.ask(ask.Standby())
    play.set_c(150.0)
    play.run(1.0)
    play.ask(ask.Resume())
    play.run(12.4)
    assert setpoints_c(play.state)[0] == pytest.approx(151.0, abs=0.1)


def test_standby_never_makes_a_mould_ready() -> None:
    """In band of 140 degC for as long as one likes is not soaked at 180 degC."""
    mould = rested()
    mould.run(3600.0)
    assert mould.play.state.upper.in_band
    assert mould.play.phase is P.PAUSED


def test_standby_leaves_the_rules_of_presence_and_desk_as_they_are() -> None:
    """Nobody at the desk for 60 s takes the heat; a board that disarms ends it; both as ever."""
    mould = rested()
    play = mould.play
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=60.0, viewers=0))
    assert play.phase is P.COOL
    mould = rested()
    mould.play.board["st"] = "ready"
    mould.frame()
    assert mould.play.phase is P.COOL
    mould.run(1.0)
    assert not mould.play.state.aim.standby
    assert setpoints_c(mould.play.state) == (None, None)


def test_standby_is_forgotten_when_heat_is_off() -> None:
    """The next heat-up goes to the recipe's setpoint."""
    mould = rested()
    play = mould.play
    play.ask(ask.HeatOff())
    play.board["st"] = "ready"
    play.run(1.0)
    play.start()
    play.run(0.4)
    assert setpoints_c(play.state) == (180.0, 180.0)


@pytest.mark.parametrize(
    ("setpoint_c", "drop_k", "standby_c"),
    [(180.0, 10.0, 170.0), (180.0, 60.0, 120.0), (90.0, 60.0, 60.0), (60.0, 40.0, 60.0)],
)
def test_standby_lies_its_drop_below_the_recipe_and_not_below_60_degc(
    setpoint_c: float, drop_k: float, standby_c: float
) -> None:
    """Both limits of the drop; a cool recipe is never raised by it."""
    recipe = replace(RECIPE, setpoint_c=setpoint_c)
    play = Play(at_recipe(recipe, standby_drop_k=drop_k)).to(P.PREHEAT)
    play.ask(ask.Standby())
    play.run(0.4)
    assert setpoints_c(play.state) == (standby_c, standby_c)


def test_standby_keeps_halves_unlike_each_other_apart() -> None:
    """Each half rests the drop below its own setpoint."""
    play = Play(at_recipe(replace(RECIPE, lower_setpoint_c=170.0))).to(P.PREHEAT)
    play.ask(ask.Standby())
    play.run(0.4)
    assert setpoints_c(play.state) == (140.0, 130.0)


def test_standby_is_offered_after_its_time_at_ready_and_never_taken_by_itself() -> None:
    """15 min at ready with nothing pressed: the sentence offers it; the mould stays hot."""
    play = Play().to(P.READY)
    play.run(PRESS.standby_offer_s - 1.0)
    assert _said(play).code == "ready"
    play.run(2.0)
    assert _said(play) == Code("ready_standby", {"idle_s": pytest.approx(900.0, abs=2.0)})
    play.run(600.0)
    assert setpoints_c(play.state) == (180.0, 180.0)
    assert play.tap() is None
    assert play.phase is P.FILL
    assert _said(play).code == "fill"


def test_standby_is_shown_plainly() -> None:
    """The sentence names it and its temperature, the screen both setpoints."""
    mould = rested()
    mould.run(1.0)
    assert _said(mould.play) == Code("standby", {"goal_c": 140.0})
    seen = snapshot(mould.play.state, seq=1, utc_ms=0, simulated=True)
    assert seen.aim is not None
    assert (seen.aim.kind, seen.aim.upper_goal_c, seen.setpoint_c) == ("standby", 140.0, 180.0)
    assert seen.upper.setpoint_c == 140.0
    assert seen.figure.kind == "temperature"


def _said(play: Play) -> Code:
    return snapshot(play.state, seq=1, utc_ms=0, simulated=True).sentence
