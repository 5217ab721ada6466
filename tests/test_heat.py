"""Heat permitted or not: every doubt, every guard, the cut-off, the open mould."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from msgspec.structs import replace

from core_events import Play, hot
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.heat import heat_allowed
from tawny.core.messages import IN_OPEN
from tawny.core.names import AlarmState, LinkStatus, Phase, Quality
from tawny.core.snapshot import Code
from tawny.core.state import State

P = Phase


def _bad(play: Play) -> None:
    play.upper_c = None


def _bad_lower(play: Play) -> None:
    play.lower_c = None


def _no_reading(play: Play) -> None:
    play.lower_c = 900.0


def _stands_still(play: Play) -> None:
    play.counters_move = False
    play.run(1.2)


def _disarmed(play: Play) -> None:
    play.board["st"] = "ready"


def _tripped(play: Play) -> None:
    play.board |= {"st": "tripped", "fo": "overtemp"}


def _too_hot(play: Play) -> None:
    play.lower_c = 200.0
    play.frame()
    play.lower_c = 179.0


def _no_number(play: Play) -> None:
    loop = play.state.loop
    play.state = replace(
        play.state, loop=replace(loop, upper=replace(loop.upper, integral=math.nan))
    )


def _no_mean(play: Play) -> None:
    upper = replace(play.state.upper, sum_c=math.inf, count=1)
    play.state = replace(play.state, upper=upper)


def _ending(play: Play) -> None:
    play.ask(ask.Quit())


def _heat_off(play: Play) -> None:
    play.ask(ask.HeatOff())


def _open_too_long(play: Play) -> None:
    play.board["inputs"] |= IN_OPEN
    play.run(181.0)


def _lower_limit(play: Play) -> None:
    play.state = replace(play.state, link=replace(play.state.link, setpoint_most_c=175.0))


def _restarted(play: Play) -> None:
    play.boot += 1


def _nobody(play: Play) -> None:
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=60.0, viewers=0))


def _silent(play: Play) -> None:
    play.frames = False
    play.run(3.5)
    play.frames = True


DOUBTS: dict[str, Callable[[Play], None]] = {
    "upper bad": _bad,
    "lower bad": _bad_lower,
    "no reading of a mould": _no_reading,
    "stale": _stands_still,
    "not armed": _disarmed,
    "tripped": _tripped,
    "at the cut-off": _too_hot,
    "integral is no number": _no_number,
    "mean is no number": _no_mean,
    "ending": _ending,
    "heat off": _heat_off,
    "open too long": _open_too_long,
    "setpoint above the limit": _lower_limit,
    "another boot": _restarted,
    "nobody at the desk": _nobody,
    "silent": _silent,
}


@pytest.mark.parametrize("name", DOUBTS)
def test_heat_takes_both_duties_to_zero_on_any_doubt(name: str) -> None:
    """One doubt about either half, the board, the link or the people: no heat for both."""
    play = hot()
    DOUBTS[name](play)
    play.effects.clear()
    play.run(4.0)
    sent = play.take(fx.SendDuty)
    assert len(sent) == 10
    assert all((duty.upper, duty.lower) == (0.0, 0.0) for duty in sent)


def _half(**changes: object) -> Callable[[State], State]:
    return lambda state: replace(state, lower=replace(state.lower, **changes))


def _link(**changes: object) -> Callable[[State], State]:
    return lambda state: replace(state, link=replace(state.link, **changes))


def _whole(**changes: object) -> Callable[[State], State]:
    return lambda state: replace(state, **changes)


def _unwanted(state: State) -> State:
    return replace(state, cycle=replace(state.cycle, heat_wanted=False))


def _unarmed(state: State) -> State:
    assert state.tele is not None
    return replace(state, tele=replace(state.tele, st="ready"))


GUARDS: dict[str, Callable[[State], State]] = {
    "no heat wanted": _unwanted,
    "ending": _whole(ending=True),
    "nobody at the desk": _whole(desk_empty_s=60.0),
    "desk unknown": _whole(desk_empty_s=math.nan),
    "nothing read": _whole(tele=None),
    "not armed": _unarmed,
    "link stale": _link(status=LinkStatus.STALE),
    "link closed": _link(status=LinkStatus.CLOSED),
    "link refused": _link(status=LinkStatus.REFUSED),
    "setpoint above": _link(setpoint_most_c=179.9),
    "limit unknown": _link(setpoint_most_c=math.nan),
    "half stale": _half(quality=Quality.STALE),
    "half bad": _half(quality=Quality.BAD),
    "half cut": _half(cut=True),
    "half no number": _half(finite=False),
}


@pytest.mark.parametrize("name", GUARDS)
def test_heat_permits_heat_only_where_every_guard_does(name: str) -> None:
    """Each guard alone forbids heat, also where another would have noticed the same."""
    state = hot().state
    assert heat_allowed(state)
    assert not heat_allowed(GUARDS[name](state))


@pytest.mark.parametrize("status", [LinkStatus.CLOSED, LinkStatus.REFUSED])
def test_heat_asks_for_nothing_while_the_link_is_down(status: LinkStatus) -> None:
    """After the link is closed or refused no duty stands, and stray lines change nothing."""
    play = hot()
    refused = status is LinkStatus.REFUSED
    play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code("gone"), refused=refused))
    assert play.state.link.status is status
    assert (play.state.upper.duty, play.state.lower.duty) == (0.0, 0.0)
    assert not heat_allowed(play.state)
    play.effects.clear()
    play.upper_c = 10.0
    play.run(1.0)
    assert play.take(fx.SendDuty) == []
    assert play.state.link.status is status
    assert play.state.upper.value_c == 179.0


def test_heat_takes_no_line_before_the_board_is_known() -> None:
    """Telemetry before the identity is confirmed is nobody's."""
    play = Play(up=False)
    play.run(2.0)
    assert play.take(fx.SendDuty) == []
    assert play.state.tele is None


def test_heat_gives_heat_back_when_a_short_doubt_has_passed() -> None:
    """A bad reading of 0.4 s costs that long of heat, not what was learned or the phase."""
    play = hot()
    play.run(60.0)
    before = play.state.loop.upper.seen
    assert before is not None
    assert before.drift != 0.0
    play.upper_c = None
    play.run(0.4)
    assert play.state.upper.duty == play.state.lower.duty == 0.0
    assert play.phase is P.PREHEAT
    play.upper_c = 179.0
    play.run(0.8)
    assert play.state.upper.duty > 0.0
    after = play.state.loop.upper.seen
    assert after is not None
    assert after.drift == pytest.approx(before.drift, abs=0.01)
    assert after.surface_c == pytest.approx(before.surface_c, abs=0.3)


def test_heat_keeps_the_cut_off_until_its_alarm_is_reset() -> None:
    """Cooled down is not enough: seen, gone and reset brings the heat back."""
    play = hot()
    play.upper_c = 200.0
    play.run(0.4)
    assert play.alarm("overtemp_host") is AlarmState.ACTIVE
    assert play.ask(ask.Acknowledge(alarm="overtemp_host")) is None
    assert play.ask(ask.ResetAlarm(alarm="overtemp_host")) == Code("alarm_true")
    play.upper_c = 179.0
    play.run(30.0)
    assert play.alarm("overtemp_host") is AlarmState.LATCHED_SEEN
    assert play.state.upper.duty == play.state.lower.duty == 0.0
    # Another alarm standing beside it changes nothing about that.
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=False, reason=Code("store_full")))
    assert play.ask(ask.ResetAlarm(alarm="overtemp_host")) is None
    play.run(0.8)
    assert play.state.upper.duty > 0.0


def test_heat_never_takes_a_shelf_for_a_cut_off() -> None:
    """The alarm of the cut-off cannot be made quiet."""
    play = hot()
    play.upper_c = 205.0
    play.run(0.4)
    assert play.ask(ask.Shelve(alarm="overtemp_host", minutes=5.0)) == Code("not_shelvable")


def test_heat_heats_again_after_a_value_that_was_no_number() -> None:
    """Once its alarm is seen and reset the half heats on: nothing was poisoned."""
    play = hot()
    _no_number(play)
    play.run(0.4)
    assert play.alarm("non_finite") is AlarmState.ACTIVE
    play.run(1.0)
    assert play.ask(ask.Acknowledge()) is None
    assert play.ask(ask.ResetAlarm()) is None
    play.run(0.8)
    assert play.state.upper.duty > 0.0
    assert math.isfinite(play.state.loop.upper.integral)


def test_heat_moves_the_duty_of_a_register_that_stands_still() -> None:
    """The duty steps by 0.1 and stays there till the board's 90 s are over or it has answered."""
    play = hot()
    play.set_c(179.0)
    play.run(60.0)
    play.board["ur"] = 7
    play.run(53.6)
    still = play.take(fx.SendDuty)[-1].upper
    assert 0.2 < still < 0.9
    play.run(0.8)
    play.take(fx.SendDuty)
    play.run(34.8)
    duties = [sent.upper for sent in play.take(fx.SendDuty)]
    assert len(duties) == 87
    assert duties == pytest.approx([still + 0.1] * 87, abs=0.01), "the loop must not take it back"
    play.board["ur"] = 8
    play.run(0.8)
    assert play.take(fx.SendDuty)[-1].upper < still
    assert play.state.upper.still_duty is None


def test_heat_gives_half_the_duty_with_the_mould_open_and_none_after_three_minutes() -> None:
    """Open: at most 0.5 for 180 s, then 0; closed again it heats on at once."""
    play = hot()
    play.set_c(150.0)
    play.open()
    play.run(1.0)
    assert play.take(fx.SendDuty)[-1].upper == 0.5
    play.run(178.0)
    assert play.take(fx.SendDuty)[-1].upper == 0.5
    play.run(2.0)
    assert play.take(fx.SendDuty)[-1].upper == 0.0
    assert play.alarm("mould_left_open") is AlarmState.ACTIVE
    play.close()
    play.run(0.4)
    assert play.take(fx.SendDuty)[-1].upper == 1.0
    assert play.alarm("mould_left_open") is AlarmState.RETURNED


def test_heat_takes_the_mould_for_open_at_work_where_no_switch_is_fitted() -> None:
    """Without a switch filling is at half duty, and closing ends it."""
    play = Play(fitted=0).to(P.READY)
    assert play.tap() is None
    play.set_c(150.0)
    play.run(1.0)
    assert play.phase is P.FILL
    assert play.take(fx.SendDuty)[-1].upper == 0.5
    play.run(180.0)
    assert play.take(fx.SendDuty)[-1].upper == 0.0
    assert play.tap() is None
    play.run(0.4)
    assert play.take(fx.SendDuty)[-1].upper == 1.0
