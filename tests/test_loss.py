"""Every way of losing heat, in every phase; the rescue card; gaps in what was seen."""

from __future__ import annotations

import pytest

from core_events import (
    HEATED,
    IN_HAND,
    Play,
    ended,
    make_state,
)
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.loss import CLOSED_STEPS, OPEN_STEPS, rescue_card
from tawny.core.messages import FIT_NEXT, IN_BUTTON, IN_MAINS
from tawny.core.names import AlarmState, Phase, Result
from tawny.core.snapshot import Code
from tawny.core.state import CycleState

P = Phase


def _in(phase: Phase) -> Play:
    play = Play().to(phase)
    if phase is P.PREHEAT:
        play.set_c(150.0)
        play.run(0.4)
    play.effects.clear()
    return play


@pytest.mark.parametrize("phase", HEATED)
def test_loss_heat_off_ends_everything_at_once(phase: Phase) -> None:
    """Disarmed and duty 0 with the answer; a pressing in hand is aborted, and its card shows."""
    play = _in(phase)
    effects = play.feed(ev.Asked(host_ms=play.host_ms, who="Ada", intent=ask.HeatOff()))
    assert fx.SendDisarm() in effects
    zero = fx.SendDuty(upper=0.0, upper_setpoint_c=0.0, lower=0.0, lower_setpoint_c=0.0)
    assert zero in effects
    assert effects[-1] == fx.Answered(accepted=True)
    assert play.phase is P.COOL
    _after_loss(play, phase, Result.ABORTED, "heat_off")
    assert play.alarm("interrupted") is AlarmState.NORMAL


def _after_loss(play: Play, phase: Phase, result: Result, cause: str) -> None:
    cycle = play.state.cycle
    assert (cycle.phase, cycle.heat_wanted, cycle.confirmed) == (P.COOL, False, False)
    assert cycle.pressing is None
    assert play.state.upper.duty == play.state.lower.duty == 0.0
    ends = play.take(fx.PressingEnded)
    if phase not in IN_HAND:
        assert ends == []
        assert cycle.rescue is None
        return
    assert len(ends) == 1
    assert ends[0].figures["result"] is result
    assert ends[0].figures["phase_at_end"] is phase
    assert ends[0].figures["reason"] == cause
    assert cycle.rescue is not None
    assert (cycle.rescue.pressing, cycle.rescue.phase) == ("1", phase)
    assert cycle.rescue.cause.code == cause


def _trip(play: Play) -> None:
    play.board |= {"st": "tripped", "fo": "norise"}
    play.frame()


def _silence(play: Play) -> None:
    play.frames = False
    play.run(3.5)


def _reset(play: Play) -> None:
    play.feed(ev.BoardRestarted(host_ms=play.host_ms, boot=play.boot + 1, cause="watchdog"))


def _reset_unheard(play: Play) -> None:
    play.boot += 1
    play.board_ms = 900
    play.board["st"] = "locked"
    play.frame()


def _mains(play: Play) -> None:
    play.board["st"] = "locked"
    play.board["inputs"] &= ~IN_MAINS
    play.frame()


def _button(play: Play) -> None:
    play.board["st"] = "locked"
    play.board["inputs"] |= IN_BUTTON
    play.frame()


def _nobody(play: Play) -> None:
    for empty_s in (5.0, 59.0, 60.0):
        play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=empty_s, viewers=0))


def _disarmed(play: Play) -> None:
    play.board["st"] = "ready"
    play.frame()


LOSSES = {
    "board_tripped": (_trip, "board_tripped"),
    "link_lost": (_silence, "link_lost"),
    "board_reset": (_reset, "board_reset"),
    "board_reset unheard": (_reset_unheard, "board_reset"),
    "mains_lost": (_mains, "mains_lost"),
    "heat_off_button": (_button, "heat_off_button"),
    "no_desk": (_nobody, "no_desk"),
    "disarmed": (_disarmed, "disarmed"),
}


@pytest.mark.parametrize("name", LOSSES)
@pytest.mark.parametrize("phase", HEATED)
def test_loss_seals_as_interrupted_when_heat_is_lost(phase: Phase, name: str) -> None:
    """Whatever takes the heat, in whatever phase: cool, sealed, the card with its cause."""
    lose, cause = LOSSES[name]
    play = _in(phase)
    lose(play)
    assert any(isinstance(one, fx.SendDisarm) for one in play.effects)
    _after_loss(play, phase, Result.INTERRUPTED, cause)
    wanted = AlarmState.ACTIVE if phase in IN_HAND else AlarmState.NORMAL
    assert play.alarm("interrupted") is wanted


@pytest.mark.parametrize("name", LOSSES)
def test_loss_names_the_alarm_that_ended_a_pressing(name: str) -> None:
    """The record of a pressing holds the alarm that cut it short."""
    lose, cause = LOSSES[name]
    play = _in(P.HOLD)
    lose(play)
    alarms = ended(play)["alarms"]
    assert isinstance(alarms, tuple)
    expected = {"no_desk": "desk_empty"}.get(cause, cause)
    assert expected in alarms or cause == "disarmed"
    assert len(set(alarms)) == len(alarms)


def test_loss_names_mains_lost_only_where_it_took_the_heat() -> None:
    """Mains lost at work is an alarm; an isolator opened in the evening is not."""
    play = Play()
    play.board["inputs"] &= ~IN_MAINS
    play.run(1.0)
    assert play.alarm("mains_lost") is AlarmState.NORMAL
    play = _in(P.SOAK)
    _mains(play)
    play.run(1.0)
    assert play.alarm("mains_lost") is AlarmState.ACTIVE


@pytest.mark.parametrize("phase", IN_HAND)
def test_loss_card_asks_to_let_down_where_the_mould_may_be_closed(phase: Phase) -> None:
    """Closed, or nobody knows: stand aside and let down in steps. Open: take it out."""
    play = _in(phase)
    play.ask(ask.HeatOff())
    card = play.state.cycle.rescue
    assert card is not None
    # The play fills with the mould still closed, and takes out with it open.
    assert card.closed is (phase is not P.DEMOULD)
    assert card.steps == (CLOSED_STEPS if card.closed else OPEN_STEPS)


def test_loss_card_without_a_switch_goes_by_the_phase() -> None:
    """Filling and taking out are open; opening may still be closed."""
    closed = {}
    for phase in (P.FILL, P.CLOSE, P.OPEN, P.DEMOULD):
        play = Play(fitted=FIT_NEXT).to(P.READY)
        while play.phase is not phase:
            if play.phase in (P.BREATHE, P.HOLD):
                play.run(1.0)
            else:
                play.tap()
        play.ask(ask.HeatOff())
        assert play.state.cycle.rescue is not None
        closed[phase] = play.state.cycle.rescue.closed
    assert closed == {P.FILL: False, P.CLOSE: True, P.OPEN: True, P.DEMOULD: False}


def test_loss_card_counts_all_the_water_there_can_be() -> None:
    """6 g added and 15 % of 32 g residue: 10.8 g, at 1.70 L of free steam a gram."""
    play = _in(P.HOLD)
    play.ask(ask.HeatOff())
    card = play.state.cycle.rescue
    assert card is not None
    assert card.water_g == pytest.approx(10.8)
    # Ideal gas at 100 degC and 1 atm: 8.314462618 x 373.15/(101.325 x 18.015268) = 1.6997 L/g.
    assert card.steam_litres == pytest.approx(10.8 * 1.6997, rel=1e-4)


def test_loss_ticks_the_card_in_order() -> None:
    """A step out of turn is refused; taps and intents tick alike; the last one closes it."""
    play = _in(P.HOLD)
    play.ask(ask.HeatOff())
    play.board["st"] = "ready"
    play.run(1.0)
    assert play.ask(ask.RescueStep(step="look_cause")) == Code(
        "rescue_steps_left", {"step": "heat_stays_off"}
    )
    for count, step in enumerate(CLOSED_STEPS):
        card = play.state.cycle.rescue
        assert card is not None
        assert card.ticked == CLOSED_STEPS[:count]
        assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) == Code("rescue_first")
        if count % 2:
            assert play.tap() is None
        else:
            assert play.ask(ask.RescueStep(step=step)) is None
    assert play.state.cycle.rescue is None
    assert play.ask(ask.RescueStep(step="look_cause")) == Code("not_allowed_now", {"phase": "cool"})


def test_loss_card_stays_when_the_heat_is_switched_off_again() -> None:
    """A second heat-off takes nothing off the card."""
    play = _in(P.HOLD)
    _trip(play)
    assert play.ask(ask.RescueStep(step="heat_stays_off")) is None
    card = play.state.cycle.rescue
    assert play.ask(ask.HeatOff()) is None
    assert play.state.cycle.rescue == card


def test_loss_card_of_an_earlier_owner_is_worked_down_first() -> None:
    """A press that starts with a card left over heats only once it is done."""
    card = rescue_card(P.HOLD, "7", Code("owner_gone"), 10.8)
    play = Play(make_state(cycle=CycleState(since_oil=0, rescue=card)))
    assert play.alarm("interrupted") is AlarmState.ACTIVE
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) == Code("rescue_first")
    for _ in CLOSED_STEPS:
        assert play.tap() is None
    assert play.state.cycle.rescue is None
    play.start()
    assert play.phase is P.PREHEAT


def test_loss_does_not_tick_the_card_by_a_foot_already_on_its_way() -> None:
    """The pedal pressed as the heat goes ticks nothing."""
    play = _in(P.HOLD)
    play.run(1.0)
    _trip(play)
    play.press_next(wait_s=0.2)
    assert play.state.cycle.rescue is not None
    assert play.state.cycle.rescue.ticked == ()


def test_loss_takes_the_mould_for_not_empty_after_an_interruption() -> None:
    """The card done, the day begins again: somebody must look, and the board is armed anew."""
    play = _in(P.HOLD)
    _trip(play)
    play.board |= {"st": "ready", "fo": "none"}
    play.run(1.0)
    for step in CLOSED_STEPS:
        assert play.ask(ask.RescueStep(step=step)) is None
    play.board["st"] = "armed"
    play.run(2.0)
    assert play.phase is P.COOL
    assert play.tap() == Code("permissive", {"code": "confirmed_empty"})
    play.board["st"] = "ready"
    play.run(1.0)
    play.start()
    assert play.phase is P.PREHEAT


def test_loss_goes_from_cool_to_idle_once_both_halves_are_known_to_be_cold() -> None:
    """Below 45 degC is cold; a half that nobody can read is not."""
    play = Play().to(P.COOL)
    play.set_c(45.0, 44.9)
    play.run(1.0)
    assert play.phase is P.COOL
    play.upper_c, play.lower_c = 30.0, None
    play.run(2.0)
    assert play.phase is P.COOL
    play.set_c(44.9)
    play.run(1.0)
    assert play.phase is P.IDLE


def test_loss_at_rest_takes_the_confirmation_back() -> None:
    """Heat off before anything was heated: somebody must look into the mould again."""
    play = Play()
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    assert play.ask(ask.HeatOff()) is None
    play.board["st"] = "armed"
    play.run(1.0)
    assert play.phase is P.IDLE


def test_loss_stops_the_buzzer_when_heat_is_gone() -> None:
    """A pattern that was sounding for the pressing ends with it."""
    play = _in(P.BREATHE)
    play.run(12.0)
    assert play.take(fx.SendSignal)[-1].sound == "breathe"
    play.ask(ask.HeatOff())
    play.run(1.0)
    assert play.take(fx.SendSignal)[-1] == fx.SendSignal(lamp="off", sound="off")


def _dose_s(play: Play) -> float:
    pressing = play.state.cycle.pressing
    assert pressing is not None
    return pressing.equivalent_s


def test_loss_marks_a_gap_and_makes_its_dose_unknown() -> None:
    """2 s without telemetry in a hold: the dose waits, the gap is noted, the sum is unknown."""
    play = _in(P.HOLD)
    dose_s = _dose_s(play)
    began_ms = play.state.cycle.pressing.began_ms if play.state.cycle.pressing else 0
    start_ms = play.state.cycle.clock_ms - began_ms
    play.host_ms += 1800
    play.board_ms += 1800
    play.frame()
    assert _dose_s(play) == dose_s
    play.run(1.0)
    assert _dose_s(play) == pytest.approx(dose_s + 1.0, abs=0.01)
    play.until(P.RELEASE)
    play.tap()
    play.open()
    play.tap()
    play.tap()
    figures = ended(play)
    assert figures["result"] is Result.COMPLETE
    assert (figures["dose_gap"], figures["equivalent_s"]) == (True, None)
    assert figures["severity_min"] is None
    assert figures["gaps"] == ((start_ms, start_ms + 2000),)


def test_loss_of_the_dose_where_the_mould_is_opened_in_mid_hold() -> None:
    """A late breath costs nothing; a mould that stands open makes the dose unknown."""
    play = _in(P.HOLD)
    play.open()
    play.run(4.0)
    play.close()
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert not pressing.dose_gap
    play.open()
    play.run(6.0)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.dose_gap
    assert play.phase is P.HOLD


def test_loss_lets_the_dose_wait_when_the_board_clock_steps_back() -> None:
    """A negative step of the board's clock is a gap: nothing is counted, nothing goes back."""
    play = _in(P.HOLD)
    dose_s, clock_ms = _dose_s(play), play.state.cycle.clock_ms
    play.board_ms -= 60_000
    play.frame()
    assert (_dose_s(play), play.state.cycle.clock_ms) == (dose_s, clock_ms)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.dose_gap
    play.frame()
    assert play.state.cycle.clock_ms == clock_ms + 200
    assert play.phase is P.HOLD


def test_loss_bridges_one_bad_reading_with_the_last_good_one() -> None:
    """A single bad sample costs neither the dose nor its being known; more than 1 s does."""
    play = _in(P.HOLD)
    dose_s = _dose_s(play)
    play.lower_c = None
    play.run(0.8)
    play.lower_c = 180.0
    play.run(0.2)
    assert _dose_s(play) == pytest.approx(dose_s + 1.0, abs=0.01)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert not pressing.dose_gap
    play.lower_c = None
    play.run(2.0)
    assert _dose_s(play) == pytest.approx(dose_s + 2.0, abs=0.21)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.dose_gap


def test_loss_counts_the_same_whatever_the_rate_of_lines() -> None:
    """A line every second counts for a second."""
    play = _in(P.HOLD)
    dose_s = _dose_s(play)
    for _ in range(10):
        play.host_ms += 800
        play.board_ms += 800
        play.counter += 1
        play.frame()
    assert _dose_s(play) == pytest.approx(dose_s + 10.0, abs=0.01)
