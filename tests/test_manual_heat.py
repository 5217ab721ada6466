"""Heat by hand: a fixed duty with limits, cut like any other, and the way back to automatic."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from core_events import IN_HAND, Play
from tawny.core import effects as fx
from tawny.core import intents as ask
from tawny.core.aim import manual_duties
from tawny.core.heat import heat_allowed, setpoints_c
from tawny.core.names import Phase
from tawny.core.snapshot import Code
from tawny.core.view import snapshot
from test_heat import DOUBTS
from warm_mould import WarmMould

P = Phase
LIMITS = Code("manual_limits", {"most_duty": 0.5, "most_s": 1200.0})


def by_hand(
    upper: float = 0.2, lower: float = 0.3, minutes: float = 10.0, *, start_c: float = 120.0
) -> WarmMould:
    """Return a mould at 120 degC that is heated by hand."""
    play = Play().to(P.PREHEAT)
    play.set_c(start_c)
    play.run(1.0)
    assert play.ask(ask.ManualHeat(upper=upper, lower=lower, minutes=minutes)) is None
    return WarmMould(play, start_c=start_c)


def sent(play: Play) -> tuple[float, float]:
    """Return the duties of the last line."""
    duty = play.take(fx.SendDuty)[-1]
    return duty.upper, duty.lower


def test_manual_heat_gives_each_half_its_fixed_duty() -> None:
    """20 % and 30 %, whatever the loop would do; the setpoint sent is the ceiling."""
    mould = by_hand()
    for _ in range(10):
        mould.run(30.0)
        last = mould.play.take(fx.SendDuty)[-1]
        assert (last.upper, last.lower) == (0.2, 0.3)
        assert (last.upper_setpoint_c, last.lower_setpoint_c) == (180.0, 180.0)
    assert manual_duties(mould.play.state) == (0.2, 0.3)


@pytest.mark.parametrize("phase", Phase)
def test_manual_heat_is_taken_between_pressings_only(phase: Phase) -> None:
    """Heated and empty; with a charge in the mould never."""
    play = Play().to(phase)
    refusal = play.ask(ask.ManualHeat(upper=0.1, lower=0.1, minutes=5.0))
    taken = phase in (P.PREHEAT, P.SOAK, P.READY, P.CLEAN, P.OIL, P.PAUSED)
    assert (refusal is None) is taken
    assert (manual_duties(play.state) is not None) is taken
    assert not (taken and phase in IN_HAND)


@pytest.mark.parametrize(
    ("upper", "lower", "minutes"), [(0.5, 0.5, 20.0), (0.0, 0.0, 0.1), (0.0, 0.5, 20.0)]
)
def test_manual_heat_is_taken_at_its_limits(upper: float, lower: float, minutes: float) -> None:
    """50 % and 20 min are the most."""
    by_hand(upper, lower, minutes)


@pytest.mark.parametrize(
    ("upper", "lower", "minutes"),
    [
        (0.501, 0.0, 5.0),
        (0.0, 0.501, 5.0),
        (-0.001, 0.0, 5.0),
        (0.1, 0.1, 20.01),
        (0.1, 0.1, 0.0),
        (math.nan, 0.1, 5.0),
        (0.1, 0.1, math.nan),
        (0.1, math.inf, 5.0),
        (0.1, 0.1, math.inf),
    ],
)
def test_manual_heat_is_refused_beside_its_limits(
    upper: float, lower: float, minutes: float
) -> None:
    """One step beside a limit, and what is no number, changes nothing."""
    play = Play().to(P.READY)
    assert play.ask(ask.ManualHeat(upper=upper, lower=lower, minutes=minutes)) == LIMITS
    assert play.phase is P.READY
    assert manual_duties(play.state) is None


def test_manual_heat_ends_after_its_minutes() -> None:
    """The duty is 0 then and stays 0: nobody is heating, automatic does not come by itself."""
    mould = by_hand(minutes=5.0)
    mould.run(299.0)
    assert sent(mould.play) == (0.2, 0.3)
    mould.run(2.0)
    assert sent(mould.play) == (0.0, 0.0)
    assert _said(mould.play) == Code("manual_time")
    mould.run(1800.0)
    assert sent(mould.play) == (0.0, 0.0)
    assert mould.play.phase is P.PAUSED


@pytest.mark.parametrize("half", ["upper_c", "lower_c"])
def test_manual_heat_ends_at_the_recipes_setpoint(half: str) -> None:
    """One half at 180.0 degC: no heat for both, also when it has cooled again."""
    mould = by_hand(start_c=175.0)
    play = mould.play
    setattr(play, half, 179.9)
    play.run(0.8)
    assert sent(play) == (0.2, 0.3)
    setattr(play, half, 180.0)
    play.run(0.8)
    assert sent(play) == (0.0, 0.0)
    assert _said(play) == Code("manual_ceiling")
    play.set_c(150.0)
    play.run(10.0)
    assert sent(play) == (0.0, 0.0)


def test_manual_heat_ends_at_what_the_board_takes_where_that_is_less() -> None:
    """A trip point reduced to 185 degC: the ceiling is 170, not the recipe's 180."""
    mould = by_hand()
    play = mould.play
    play.state = replace(play.state, link=replace(play.state.link, setpoint_most_c=170.0))
    assert setpoints_c(play.state) == (170.0, 170.0)


@pytest.mark.parametrize("name", DOUBTS)
def test_manual_heat_is_cut_at_any_doubt(name: str) -> None:
    """What takes the heat from the loop takes it from the hand, and it does not come back."""
    mould = by_hand(start_c=179.0)
    play = mould.play
    play.run(1.0)
    assert sent(play) == (0.2, 0.3)
    DOUBTS[name](play)
    play.effects.clear()
    play.run(4.0)
    duties = [(one.upper, one.lower) for one in play.take(fx.SendDuty)]
    assert len(duties) == 10
    assert set(duties) == {(0.0, 0.0)}


def test_manual_heat_does_not_come_back_after_a_short_doubt() -> None:
    """A bad reading of 0.4 s ends it: whoever heats by hand looks first, then asks again."""
    mould = by_hand()
    play = mould.play
    play.upper_c = None
    play.run(0.4)
    play.upper_c = 120.0
    play.run(2.0)
    assert heat_allowed(play.state)
    assert sent(play) == (0.0, 0.0)
    assert _said(play) == Code("manual_doubt")


@pytest.mark.parametrize("lines", [1, 2])
def test_manual_heat_ends_at_one_bad_line(lines: int) -> None:
    """Also where it falls between two duty lines."""
    mould = by_hand()
    play = mould.play
    for _ in range(lines):
        play.frame()
    play.lower_c = None
    play.frame()
    play.lower_c = 120.0
    play.run(2.0)
    assert sent(play) == (0.0, 0.0)


def test_manual_heat_does_not_come_back_after_a_doubt_that_readings_do_not_show() -> None:
    """The board takes less than the recipe for a moment: over, also once it takes it again."""
    mould = by_hand()
    play = mould.play
    link = play.state.link
    play.state = replace(play.state, link=replace(link, setpoint_most_c=170.0))
    play.run(0.8)
    play.state = replace(
        play.state, link=replace(play.state.link, setpoint_most_c=link.setpoint_most_c)
    )
    play.run(2.0)
    assert heat_allowed(play.state)
    assert sent(play) == (0.0, 0.0)
    assert _said(play) == Code("manual_doubt")


def test_manual_heat_steps_a_still_register_down_only() -> None:
    """The test of a sensor that stands still takes 10 % away; it never adds to what was asked."""
    mould = by_hand(0.4, 0.3, 20.0)
    play = mould.play
    play.board["ur"] = 7
    play.run(62.0)
    assert play.state.upper.probe_ms > 0
    assert sent(play) == (pytest.approx(0.3), 0.3)


def test_manual_heat_keeps_to_the_supply_and_to_the_open_mould() -> None:
    """The supply's cap scales both; three minutes open and it is 0."""
    mould = by_hand(0.5, 0.3)
    play = mould.play
    play.state = replace(play.state, link=replace(play.state.link, supply_cap=0.4))
    play.run(0.8)
    assert sent(play) == pytest.approx((0.25, 0.15))
    mould = by_hand(0.5, 0.3)
    play = mould.play
    play.open()
    play.run(2.0)
    assert sent(play) == (0.5, 0.3)
    play.run(181.0)
    assert sent(play) == (0.0, 0.0)


@pytest.mark.parametrize("back", ["resume", "tap"])
def test_manual_heat_goes_back_to_automatic_without_a_step(back: str) -> None:
    """From the value there is, by a ramp of 10 K/min, to the recipe's setpoint, then ready."""
    mould = by_hand(0.45, 0.45, 20.0)
    play = mould.play
    mould.run(120.0)
    assert play.upper_c is not None
    left_c = play.upper_c
    assert (play.ask(ask.Resume()) if back == "resume" else play.tap()) is None
    mould.run(0.4)
    setpoint_c = setpoints_c(play.state)[0]
    assert setpoint_c == pytest.approx(left_c, abs=0.5)
    mould.run(60.0)
    setpoint_c = setpoints_c(play.state)[0]
    assert setpoint_c == pytest.approx(left_c + 10.0, abs=1.0)
    mould.until(P.READY)
    assert setpoints_c(play.state) == (180.0, 180.0)
    assert not play.state.aim.easing


def test_manual_heat_is_taken_over_at_the_duty_it_had() -> None:
    """Held at 150 degC by hand at what it loses there, 37 %: automatic goes on from 37 %.

    0.00075/s x (150 - 22) K / 0.26 K/s = 0.369.
    """
    mould = by_hand(0.37, 0.37, 10.0, start_c=150.0)
    mould.run(300.0)
    assert mould.play.upper_c == pytest.approx(150.0, abs=0.5)
    assert mould.play.ask(ask.Resume()) is None
    mould.play.effects.clear()
    mould.run(1.2)
    for one in mould.play.take(fx.SendDuty):
        assert (one.upper, one.lower) == pytest.approx((0.37, 0.37), abs=0.12)


def test_manual_heat_can_be_changed_while_it_lasts() -> None:
    """Asked for again it goes by the new figures."""
    mould = by_hand()
    assert mould.play.ask(ask.ManualHeat(upper=0.1, lower=0.05, minutes=5.0)) is None
    mould.run(1.0)
    assert sent(mould.play) == (0.1, 0.05)


def test_manual_heat_is_noted_in_the_journal() -> None:
    """Duties, minutes and ceiling, with who asked."""
    play = Play().to(P.READY)
    play.take(fx.Journal)
    play.ask(ask.ManualHeat(upper=0.2, lower=0.3, minutes=10.0))
    notes = {note.kind: note.payload for note in play.take(fx.Journal)}
    assert notes["manual_heat"] == {
        "upper": 0.2,
        "lower": 0.3,
        "minutes": 10.0,
        "upper_c": 180.0,
        "lower_c": 180.0,
    }


def test_manual_heat_is_shown_with_what_is_left_of_it() -> None:
    """Sentence and screen say both duties and the time."""
    mould = by_hand()
    mould.run(60.0)
    said = _said(mould.play)
    assert said.code == "manual_heat"
    assert (said.fields["upper_duty"], said.fields["lower_duty"]) == (0.2, 0.3)
    assert said.fields["left_s"] == pytest.approx(540.0, abs=1.0)


@settings(max_examples=60, deadline=None)
@given(
    upper=st.floats(0.0, 0.5),
    lower=st.floats(0.0, 0.5),
    values=st.lists(
        st.tuples(
            st.one_of(st.none(), st.floats(20.0, 210.0)),
            st.one_of(st.none(), st.floats(20.0, 210.0)),
            st.booleans(),
        ),
        max_size=30,
    ),
)
def test_manual_heat_never_gives_more_than_was_asked_for(
    upper: float, lower: float, values: list[tuple[float | None, float | None, bool]]
) -> None:
    """Over random readings and an opening mould: at most its duty, none at or above 180 degC."""
    mould = by_hand(upper, lower)
    play = mould.play
    for upper_c, lower_c, opened in values:
        play.upper_c, play.lower_c = upper_c, lower_c
        (play.open if opened else play.close)()
        play.effects.clear()
        play.run(0.4)
        if play.state.aim.manual is None:
            break
        for one in play.take(fx.SendDuty):
            assert 0.0 <= one.upper <= upper
            assert 0.0 <= one.lower <= lower
            if upper_c is None or lower_c is None or max(upper_c, lower_c) >= 180.1:
                assert (one.upper, one.lower) == (0.0, 0.0)


def _said(play: Play) -> Code:
    return snapshot(play.state, seq=1, utc_ms=0, simulated=True).sentence
