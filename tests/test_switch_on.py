"""By when to switch on to press at a time: told, with a margin, and never done."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from core_events import Play, make_state
from plan_said import HOUR_MS, UTC_MS, ahead, cold, lines, say
from tawny.core import forecast_plan as plans
from tawny.core import intents as ask
from tawny.core.names import Phase, Quality
from tawny.core.state import HalfState

P = Phase


def test_switch_on_says_by_when_to_switch_on() -> None:
    """The time, less what it takes, less the margin: a tenth, at least five minutes."""
    play = cold()
    say(play, "press", 2 * HOUR_MS)
    view = ahead(play)
    assert [one.code for one in view.lines] == ["press_by"]
    assert view.switch_on_by_utc_ms is not None
    lead_s = plans.forecast.lead(play.state, plans.forecast.believed(play.state)).after_s
    assert lead_s is not None
    assert view.margin_s == 300.0
    wanted_ms = UTC_MS + play.host_ms + 2 * HOUR_MS - (lead_s + 300.0) * 1000
    assert view.switch_on_by_utc_ms == pytest.approx(wanted_ms, abs=2000)
    assert plans.margin_s(10_000.0) == 1000.0


def test_switch_on_lets_a_warm_mould_start_later_but_not_by_what_it_loses_until_then() -> None:
    """Warm now, it starts later than a cold one; hours off it is as good as cold."""

    def by_s(value_c: float, left_ms: int) -> float:
        half = HalfState(quality=Quality.GOOD, value_c=value_c)
        state = replace(make_state(), upper=half, lower=half)
        press = plans.press_at(state, state.host_ms + left_ms, None)
        assert press.by_ms is not None
        return (state.host_ms + left_ms - press.by_ms) / 1000.0

    assert by_s(150.0, 900_000) < by_s(22.0, 1_800_000) - 300.0
    assert by_s(150.0, 2 * HOUR_MS) == pytest.approx(by_s(22.0, 2 * HOUR_MS), rel=0.1)
    assert by_s(150.0, 12 * HOUR_MS) == pytest.approx(by_s(22.0, 12 * HOUR_MS), abs=1.0)


def test_switch_on_counts_a_dry_out_that_was_asked_for() -> None:
    """Damp heaters take hours longer."""
    play = cold()
    plain = plans.press_at(play.state, 10 * HOUR_MS, None)
    damp = replace(play.state, aim=replace(play.state.aim, dry_asked=True))
    slow = plans.press_at(damp, 10 * HOUR_MS, None)
    assert plain.by_ms is not None
    assert slow.by_ms is not None
    assert plain.by_ms - slow.by_ms > 2 * HOUR_MS


@pytest.mark.parametrize(
    ("after_ms", "code"),
    [(300_000, "press_late_off"), (1_000_000, "press_now"), (1_300_000, "press_by")],
)
def test_switch_on_says_when_it_is_high_time_or_too_late(after_ms: int, code: str) -> None:
    """858 s to be ready, 300 s to spare."""
    play = cold()
    say(play, "press", after_ms)
    assert lines(play) == [code]


def test_switch_on_says_while_heating_only_that_it_comes_too_late() -> None:
    """In time there is nothing to say beside when it is ready."""
    play = Play().to(P.PREHEAT)
    say(play, "press", HOUR_MS)
    assert lines(play) == []
    say(play, "press", 300_000)
    assert lines(play) == ["press_late"]
    play.to(P.READY)
    assert lines(play) == []


def test_switch_on_says_by_when_to_go_back_from_standby() -> None:
    """A mould that rests warm is to be heated again, in minutes."""
    play = Play().to(P.READY)
    assert play.ask(ask.Standby()) is None
    play.set_c(140.0)
    play.run(30.0)
    say(play, "press", HOUR_MS)
    assert lines(play) == ["press_by_rests"]
    by_utc_ms = ahead(play).switch_on_by_utc_ms
    assert by_utc_ms is not None
    assert by_utc_ms > UTC_MS + play.host_ms + HOUR_MS - 900_000


def test_switch_on_says_why_it_can_never_be_pressed() -> None:
    """A heater that is too weak is told before anybody waits for it."""
    weak = replace(make_state().mould.upper, rise_k_per_s=0.05)
    play = cold(mould=replace(make_state().mould, upper=weak))
    say(play, "press", 2 * HOUR_MS)
    assert lines(play) == ["never_ready"]
    assert ahead(play).switch_on_by_utc_ms is None
