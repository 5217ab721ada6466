"""Which alarms come of what the press is like: code, fields, delay, and calm when all is well."""

from __future__ import annotations

import math
import time

import pytest
from msgspec.structs import replace

from core_events import IN_HAND, RECIPE, Play, hot, make_state
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.alarm_list import ALARMS
from tawny.core.conditions import conditions
from tawny.core.effects import Bell, Journal
from tawny.core.messages import IN_BUTTON, IN_MAINS, IN_THERMOSTAT
from tawny.core.names import AlarmState, Phase
from tawny.core.snapshot import Code, Field

P = Phase


def _fields(play: Play, code: str) -> dict[str, Field]:
    return next(one.fields for one in play.state.alarms if one.alarm == code)


def _status(play: Play, **changes: object) -> None:
    fields: dict[str, object] = {
        "why": "none",
        "bad_lines": 0,
        "presence_left_s": 1800,
        "window_left_s": 0,
        "operations": 0,
    }
    play.feed(ev.BoardStatus(host_ms=play.host_ms, **(fields | changes)))  # type: ignore[arg-type]


@pytest.mark.parametrize("phase", Phase)
def test_conditions_are_none_in_a_press_where_all_is_well(phase: Phase) -> None:
    """In no phase of an ordinary pressing is there an alarm."""
    play = Play()
    assert conditions(play.state, play.state.host_ms) == {}
    play.to(phase)
    play.run(20.0)
    assert play.take(Bell) == []


def test_conditions_cost_next_to_nothing_when_all_is_well() -> None:
    """Calm is the rule: looking at everything takes a few microseconds."""
    state = Play().to(P.HOLD).state
    best_s = math.inf
    for _ in range(7):
        start_s = time.perf_counter()
        for _ in range(500):
            conditions(state, state.host_ms)
        best_s = min(best_s, (time.perf_counter() - start_s) / 500)
    assert best_s < 15e-6


@pytest.mark.parametrize(
    ("upper_c", "lower_c", "half"),
    [(None, 179.0, "upper"), (179.0, None, "lower"), (None, None, "both")],
)
def test_conditions_name_the_half_without_a_good_reading(
    upper_c: float | None, lower_c: float | None, half: str
) -> None:
    """A bad sensor is named; where both are bad, both are. It stands after 0.5 s."""
    play = hot()
    play.upper_c, play.lower_c = upper_c, lower_c
    play.run(0.4)
    assert play.alarm("sensor_bad") is AlarmState.NORMAL
    play.run(0.6)
    assert play.alarm("sensor_bad") is AlarmState.ACTIVE
    assert _fields(play, "sensor_bad") == {"half": half}


@pytest.mark.parametrize(
    ("upper_c", "lower_c", "half", "value_c"),
    [
        (201.0, 179.0, "upper", 201.0),
        (179.0, 200.0, "lower", 200.0),
        (201.0, 204.0, "both", 204.0),
    ],
)
def test_conditions_name_the_half_at_the_cut_off(
    upper_c: float, lower_c: float, half: str, value_c: float
) -> None:
    """The hotter value and its limit, at once."""
    play = hot()
    play.set_c(upper_c, lower_c)
    play.frame()
    assert play.alarm("overtemp_host") is AlarmState.ACTIVE
    assert _fields(play, "overtemp_host") == {"half": half, "value_c": value_c, "limit_c": 200.0}


@pytest.mark.parametrize("way_out", ["charge", "heat_off"])
def test_conditions_tell_that_the_board_holds_the_heat_after_a_fast_fall(way_out: str) -> None:
    """The board heats no more until the next charge or arming, and its event is all it says."""
    play = Play().to(P.READY)
    play.feed(ev.BoardSaid(host_ms=play.host_ms, code="fall", value_c=171.0))
    assert play.alarm("fell_fast") is AlarmState.ACTIVE
    play.run(5.0)
    assert play.alarm("fell_fast") is AlarmState.ACTIVE
    if way_out == "charge":
        assert play.ask(ask.Advance(seen=P.READY)) is None
        assert play.phase is P.FILL
    else:
        play.ask(ask.HeatOff())
    play.run(1.0)
    assert play.alarm("fell_fast") is AlarmState.RETURNED


def test_conditions_count_deviations_only_once_the_setpoint_was_reached() -> None:
    """Heating up is no deviation; once in band, 11 K above for 5 s is, and 16 K below for 30 s."""
    play = Play().to(P.PREHEAT)
    play.set_c(100.0)
    play.run(60.0)
    assert play.state.alarms == ()
    play.set_c(180.0)
    play.run(1.0)
    play.set_c(191.0, 180.0)
    play.run(4.8)
    assert play.alarm("deviation_high") is AlarmState.NORMAL
    play.run(0.6)
    assert _fields(play, "deviation_high") == {"half": "upper", "deviation_k": 11}
    play.set_c(164.0)
    play.run(29.8)
    assert play.alarm("deviation_low") is AlarmState.NORMAL
    play.run(0.6)
    assert _fields(play, "deviation_low") == {"half": "both", "deviation_k": -16}


def test_conditions_expect_a_mould_open_at_work_to_cool() -> None:
    """Filling with the mould open is allowed to cost 20 K."""
    play = Play().to(P.FILL)
    play.open()
    play.set_c(160.0)
    play.run(60.0)
    assert play.alarm("deviation_low") is AlarmState.NORMAL


def test_conditions_find_halves_that_disagree() -> None:
    """Deviations 16 K apart for 30 s, the mould closed; open, they may differ."""
    recipe = replace(RECIPE, lower_setpoint_c=170.0)
    play = Play(make_state(recipes=(recipe,))).to(P.PREHEAT)
    play.set_c(180.0, 170.0)
    play.run(1.0)
    play.set_c(188.0, 162.0)
    play.run(29.8)
    assert play.alarm("disagree") is AlarmState.NORMAL
    play.run(0.6)
    assert _fields(play, "disagree") == {"apart_k": 16}
    play.open()
    play.run(11.0)
    assert play.alarm("disagree") is AlarmState.RETURNED


def test_conditions_name_what_the_board_says() -> None:
    """The button, a limit thermostat, and a trip with its cause."""
    play = Play()
    play.board["inputs"] = IN_BUTTON
    play.run(0.4)
    assert play.alarm("heat_off_button") is AlarmState.ACTIVE
    play.board["inputs"] = IN_THERMOSTAT
    play.run(0.4)
    assert play.alarm("limit_chain") is AlarmState.ACTIVE
    play.board |= {"inputs": IN_MAINS, "st": "tripped", "fo": "welded"}
    play.run(0.4)
    assert _fields(play, "board_tripped") == {"first_out": "welded"}
    firsts = [one.alarm for one in play.state.alarms if one.first_out]
    assert firsts == ["heat_off_button"]


def test_conditions_never_reset_the_board_by_resetting_the_alarm() -> None:
    """The board's latch is its own: while it is tripped the host's alarm cannot be reset."""
    play = hot()
    play.board |= {"st": "tripped", "fo": "norise"}
    play.run(1.0)
    assert play.ask(ask.Acknowledge()) is None
    assert play.ask(ask.ResetAlarm(alarm="board_tripped")) == Code("alarm_true")
    play.board |= {"st": "ready", "fo": "none"}
    play.run(1.0)
    assert play.alarm("board_tripped") is AlarmState.LATCHED_SEEN
    assert play.ask(ask.ResetAlarm(alarm="board_tripped")) is None


def test_conditions_ask_for_presence_in_the_last_two_minutes() -> None:
    """120 s before presence ends, while armed."""
    play = hot()
    _status(play, presence_left_s=121)
    assert play.alarm("presence_due") is AlarmState.NORMAL
    _status(play, presence_left_s=120)
    assert _fields(play, "presence_due") == {"left_s": 120}
    _status(play, presence_left_s=1920)
    assert play.alarm("presence_due") is AlarmState.RETURNED


def test_conditions_count_an_empty_desk_only_where_there_is_heat() -> None:
    """10 s without anybody is an alarm with the buzzer; at rest it is nobody's business."""
    rest, work = Play(), hot()
    for play in (rest, work):
        for empty_s in (9.9, 10.0):
            play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=empty_s, viewers=1))
    assert rest.alarm("desk_empty") is AlarmState.NORMAL
    assert work.alarm("desk_empty") is AlarmState.ACTIVE
    assert work.state.cycle.sound == "off"
    work.run(0.4)
    assert work.state.cycle.sound == "alarm"


@pytest.mark.parametrize(
    ("reason", "code"),
    [
        (Code("store_full"), "store_full"),
        (Code("store_stalled", {"waiting": 40}), "store_stalled"),
        (Code("whatever"), "store_failed"),
        (None, "store_failed"),
    ],
)
def test_conditions_name_why_nothing_is_recorded(reason: Code | None, code: str) -> None:
    """Full, stalled, or failed for another reason."""
    play = Play()
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=False, reason=reason))
    assert play.alarm(code) is AlarmState.ACTIVE
    assert [one.alarm for one in play.state.alarms] == [code]


def test_conditions_notice_a_refused_duty_only_when_it_lasts() -> None:
    """One duty line refused is an accident of the line; for a second it is an alarm."""
    play = hot()
    play.feed(ev.Refusal(host_ms=play.host_ms, kind="duty", why="limit"))
    play.run(4.0)
    assert play.alarm("duty_refused") is AlarmState.NORMAL
    for _ in range(4):
        play.feed(ev.Refusal(host_ms=play.host_ms, kind="duty", why="limit"))
        play.run(0.4)
    assert _fields(play, "duty_refused") == {"why": "limit"}
    assert [one for one in play.take(Journal) if one.kind == "refused"] == []


def test_conditions_notice_many_spoilt_lines_in_one_second() -> None:
    """Three of five lines lost in a second; a restarted counter is no spoilt line."""
    play = hot()
    _status(play, bad_lines=500)
    play.run(1.0)
    play.ask(ask.Acknowledge())
    for bad in (502, 504, 0, 2):
        _status(play, bad_lines=bad)
    play.run(15.0)
    assert play.alarm("bad_lines") is AlarmState.NORMAL
    _status(play, bad_lines=5)
    assert play.alarm("bad_lines") is AlarmState.ACTIVE


def test_conditions_notice_a_computer_that_keeps_the_press_waiting() -> None:
    """More than a second without any event at work; the same at rest is nobody's business."""
    play = hot()
    play.tick(1000)
    assert play.alarm("loop_late") is AlarmState.NORMAL
    play.frame()
    play.tick(1001)
    assert play.alarm("loop_late") is AlarmState.ACTIVE
    rest = Play()
    rest.tick(3_600_000)
    assert rest.alarm("loop_late") is AlarmState.NORMAL


def test_conditions_notice_a_release_that_does_not_come() -> None:
    """A minute after the hold ended somebody should have let the press down."""
    play = Play().to(P.RELEASE)
    play.run(59.4)
    assert play.alarm("hold_too_long") is AlarmState.NORMAL
    play.run(1.0)
    assert play.alarm("hold_too_long") is AlarmState.ACTIVE


@pytest.mark.parametrize(
    ("code", "alarm"),
    [
        ("wrong_device", "wrong_device"),
        ("version_refused", "version_refused"),
        ("odd", "wrong_device"),
    ],
)
def test_conditions_name_a_device_that_is_not_used(code: str, alarm: str) -> None:
    """A wrong device and a wrong version each have their alarm."""
    play = Play(up=False)
    play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code(code), refused=True))
    assert [one.alarm for one in play.state.alarms] == [alarm]


def test_conditions_keep_an_interruption_until_the_card_is_done() -> None:
    """Interrupted is true while the card is open, then latched; a heat-off by hand is none."""
    play = Play().to(P.HOLD)
    play.board |= {"st": "tripped", "fo": "norise"}
    play.run(1.0)
    assert _fields(play, "interrupted") == {"pressing": "1"}
    card = play.state.cycle.rescue
    assert card is not None
    for one in card.steps:
        assert play.ask(ask.RescueStep(step=one)) is None
    assert play.alarm("interrupted") is AlarmState.LATCHED


@pytest.mark.parametrize("phase", IN_HAND)
def test_conditions_of_a_pressing_are_noted_with_it_once(phase: Phase) -> None:
    """An alarm that comes twice in a pressing stands once in its figures."""
    play = Play().to(phase)
    for _ in range(2):
        play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=False, reason=Code("store_full")))
        play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=True))
        play.run(3.0)
        play.ask(ask.Acknowledge())
    pressing = play.state.cycle.pressing
    if pressing is not None:
        assert pressing.alarms == ("store_full",)


def test_conditions_journal_every_event_of_an_alarm() -> None:
    """Raised, refused, acknowledged, cleared: a row each, the refused one without a next state."""
    play = Play()
    play.board["inputs"] = IN_BUTTON
    play.run(0.4)
    play.ask(ask.ResetAlarm(alarm="heat_off_button"))
    play.ask(ask.Acknowledge(alarm="heat_off_button"))
    play.ask(ask.Acknowledge(alarm="heat_off_button"))
    play.board["inputs"] = IN_MAINS
    play.run(0.4)
    rows = [one.payload for one in play.take(Journal) if one.kind == "alarm_event"]
    assert [(row["event"], row["from"], row["to"]) for row in rows] == [
        ("raise", "normal", "active"),
        ("reset", "active", None),
        ("acknowledge", "active", "acknowledged"),
        ("acknowledge", "acknowledged", None),
        ("clear", "acknowledged", "normal"),
    ]


def test_conditions_refuse_what_cannot_be_done_to_an_alarm() -> None:
    """Each refusal says why."""
    play = Play()
    assert play.ask(ask.Acknowledge()) == Code("unknown_alarm")
    assert play.ask(ask.Acknowledge(alarm="link_lost")) == Code("unknown_alarm")
    assert play.ask(ask.Shelve(alarm="nonsense")) == Code("unknown_alarm")
    play.board["inputs"] = IN_BUTTON
    play.run(0.4)
    assert play.ask(ask.Shelve(alarm="heat_off_button", minutes=math.nan)) == Code("not_shelvable")
    assert play.ask(ask.Shelve(alarm="heat_off_button", minutes=5.0)) is None
    assert play.alarm("heat_off_button") is AlarmState.SHELVED
    assert play.ask(ask.Acknowledge(alarm="heat_off_button")) == Code("already_seen")


def test_conditions_have_every_alarm_of_the_list() -> None:
    """No alarm stands in the list that nothing can raise: each code is written in a condition."""
    import inspect

    from tawny.core import conditions as module

    source = inspect.getsource(module)
    assert [code for code in ALARMS if f'"{code}"' not in source] == []
