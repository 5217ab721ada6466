"""A board that goes quiet, comes back, or has started again meanwhile."""

from __future__ import annotations

from core_events import Play, hot, make_link_up
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.heat import heat_allowed
from tawny.core.names import AlarmState, LinkStatus, Phase, Quality
from tawny.core.snapshot import Code

P = Phase


def test_step_is_stale_after_a_second_and_says_so_in_time() -> None:
    """1.0 s of silence is still fresh; the alarm stands at most 1.5 s after the last line."""
    play = hot()
    play.tick(1000)
    assert play.state.link.status is LinkStatus.UP
    play.tick(250)
    assert play.state.link.status is LinkStatus.STALE
    assert play.state.upper.quality is play.state.lower.quality is Quality.STALE
    assert play.alarm("link_stale") is AlarmState.ACTIVE
    play.tick(250)
    assert play.alarm("link_lost") is AlarmState.NORMAL


def test_step_calls_the_link_lost_when_the_board_has_switched_off() -> None:
    """From 3.0 s on it is lost; the pressing is sealed only after 3.25 s, when heat is off."""
    play = Play().to(P.HOLD)
    play.frames = False
    play.run(2.75)
    assert play.alarm("link_lost") is AlarmState.NORMAL
    play.tick(250)
    assert play.alarm("link_lost") is AlarmState.ACTIVE
    play.tick(250)
    assert play.phase is P.HOLD
    play.tick(1)
    assert play.phase is P.COOL
    assert play.state.cycle.rescue is not None


def test_step_goes_on_after_a_short_silence() -> None:
    """2.5 s without a line: stale, no heat, and then on with the hold."""
    play = Play().to(P.HOLD)
    play.frames = False
    play.run(2.5)
    play.frames = True
    play.run(1.0)
    assert play.phase is P.HOLD
    assert play.state.link.status is LinkStatus.UP
    assert play.state.upper.duty > 0.0
    assert play.alarm("link_stale") is AlarmState.RETURNED


def test_step_knows_no_silence_of_a_board_that_never_was() -> None:
    """Without a board there is nothing to lose."""
    play = Play(up=False)
    play.frames = False
    play.run(20.0)
    assert play.state.alarms == ()


def test_step_takes_a_board_that_answers_and_then_says_nothing_for_silent() -> None:
    """A board that introduces itself and sends no telemetry is stale, then lost."""
    play = Play(up=False)
    play.feed(make_link_up(play.host_ms))
    play.frames = False
    play.run(1.5)
    assert play.alarm("link_stale") is AlarmState.ACTIVE
    play.run(2.0)
    assert play.alarm("link_lost") is AlarmState.ACTIVE


def test_step_shows_the_cause_of_a_restart_for_five_seconds_after_it_is_back() -> None:
    """The alarm is true until 5 s after the link is up again, then latched until it is reset."""
    play = hot()
    play.feed(ev.BoardRestarted(host_ms=play.host_ms, boot=42, cause="brownout"))
    assert play.alarm("board_reset") is AlarmState.ACTIVE
    play.frames = False
    play.run(20.0)
    assert play.alarm("board_reset") is AlarmState.ACTIVE
    play.boot, play.board_ms, play.frames = 42, 300, True
    play.board["st"] = "ready"
    play.feed(make_link_up(play.host_ms, boot=42, cause="brownout"))
    play.run(4.8)
    assert play.alarm("board_reset") is AlarmState.ACTIVE
    assert play.state.alarms[0].fields == {"reset_cause": "brownout"}
    play.run(0.4)
    assert play.alarm("board_reset") is AlarmState.LATCHED
    assert play.ask(ask.ResetAlarm(alarm="board_reset")) == Code("not_seen")
    assert play.ask(ask.Acknowledge(alarm="board_reset")) is None
    assert play.ask(ask.ResetAlarm(alarm="board_reset")) is None
    assert play.alarm("board_reset") is AlarmState.NORMAL


def test_step_shows_a_restart_also_where_nothing_was_heated() -> None:
    """At rest too the cause stands for its 5 s."""
    play = Play()
    play.feed(ev.BoardRestarted(host_ms=play.host_ms, boot=42, cause="watchdog"))
    play.boot, play.board_ms = 42, 300
    play.run(4.0)
    assert play.alarm("board_reset") is AlarmState.ACTIVE
    play.run(1.2)
    assert play.alarm("board_reset") is AlarmState.LATCHED


def test_step_notices_a_restart_found_at_reconnecting() -> None:
    """Another boot number when the link comes up again is a restart; the same one is not."""
    same, other = hot(), hot()
    for play, boot in ((same, 41), (other, 42)):
        play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code("gone")))
        play.feed(make_link_up(play.host_ms, boot=boot, cause="power"))
    assert same.alarm("board_reset") is AlarmState.NORMAL
    assert other.alarm("board_reset") is AlarmState.ACTIVE
    assert other.phase is P.COOL


def test_step_does_not_heat_on_the_word_of_the_last_session() -> None:
    """A new session begins disarmed: what was read in the old one permits nothing."""
    play = hot()
    play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code("gone")))
    play.feed(make_link_up(play.host_ms))
    assert play.state.tele is None
    assert not heat_allowed(play.state)
    play.board["st"] = "ready"
    play.run(0.4)
    assert play.phase is P.COOL


def test_step_host_clock_never_goes_back() -> None:
    """An event with an older host time is taken at the latest time known."""
    play = hot()
    before_ms = play.state.host_ms
    play.feed(ev.Tick(host_ms=before_ms - 5000))
    assert play.state.host_ms == before_ms
