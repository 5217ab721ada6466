"""What a tap may do: once, not too soon, past the permissives; and what starts a day."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from core_events import (
    HEATED,
    RECIPE,
    Play,
    make_link_up,
    make_state,
)
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.messages import FIT_NEXT
from tawny.core.names import Phase
from tawny.core.snapshot import Code
from tawny.core.state import CycleState

P = Phase


@pytest.mark.parametrize("phase", [P.FILL, P.CLOSE, P.RELEASE, P.OPEN])
def test_tap_acts_once_a_phase(phase: Phase) -> None:
    """A second tap that still means the phase before is refused as out of date."""
    play = Play().to(phase)
    if phase is P.CLOSE:
        play.close()
    if phase is P.OPEN:
        play.open()
    assert play.tap() is None
    after = play.phase
    assert play.tap(seen=phase) == Code("stale_phase", {"phase": after.value})
    assert play.phase is after


def test_tap_refuses_taps_half_a_second_apart() -> None:
    """An elbow on the key does one thing, not two."""
    play = Play().to(P.FILL)
    assert play.tap() is None
    play.host_ms += 499
    assert play.ask(ask.Advance(seen=P.CLOSE)) == Code("too_soon")
    assert play.phase is P.CLOSE


@pytest.mark.parametrize("delay_ms", [250, 500, 660, 1000])
def test_tap_refuses_a_held_key(delay_ms: int) -> None:
    """A key held down sends its second character after a delay, then 30 a second: one advance."""
    play = Play().to(P.RELEASE)
    play.run(2.0)
    at_ms = play.host_ms
    assert play.ask(ask.Advance(seen=P.RELEASE)) is None
    play.open()
    refused = []
    for repeat in range(40):
        play.host_ms = at_ms + delay_ms + repeat * 33
        refusal = play.ask(ask.Advance(seen=play.phase))
        refused.append("" if refusal is None else refusal.code)
    assert play.phase is P.OPEN
    assert set(refused) <= {"held_key", "too_soon"}


def test_tap_takes_the_second_of_two_slow_taps() -> None:
    """Somebody who taps once a second gets on: a refusal does not start the wait anew."""
    play = Play().to(P.RELEASE)
    play.open()
    taken = [play.tap(wait_s=1.0) is None for _ in range(4)]
    assert taken == [True, False, True, False]


def test_tap_takes_a_press_of_the_button_at_the_board() -> None:
    """NEXT at the board does what a tap does, once for each press."""
    play = Play().to(P.FILL)
    play.press_next()
    assert play.phase is P.CLOSE
    play.run(3.0)
    assert play.phase is P.CLOSE


def test_tap_ignores_a_button_press_meant_for_the_phase_before() -> None:
    """A foot that comes down as the hold ends does not open the mould."""
    play = Play().to(P.HOLD)
    play.until(P.RELEASE)
    play.press_next(wait_s=0.2)
    assert play.phase is P.RELEASE
    play.press_next()
    assert play.phase is P.OPEN


def test_tap_takes_no_counter_of_another_session_for_presses() -> None:
    """After a new session or a restart the counter of NEXT is read anew."""
    play = Play().to(P.FILL)
    play.board["k"] = 5
    play.feed(make_link_up(play.host_ms))
    play.frame()
    assert play.phase is P.FILL


def test_tap_takes_a_jump_of_the_counter_for_a_fault() -> None:
    """More presses between two lines than a hand can make are none."""
    play = Play().to(P.FILL)
    play.run(2.0)
    play.board["k"] = 100
    play.frame()
    assert play.phase is P.FILL


def test_tap_names_what_is_missing_before_the_mould_is_hot() -> None:
    """A tap while heating up or soaking is refused with the permissive that fails."""
    play = Play().to(P.PREHEAT)
    refusal = play.tap()
    assert refusal is not None
    assert refusal.code == "permissive"
    assert refusal.fields["code"] == "in_band"
    play.to(P.SOAK)
    refusal = play.tap()
    assert refusal is not None
    assert refusal.fields["code"] == "soaked"
    assert refusal.fields["left_s"] == pytest.approx(42.8, abs=1.0)


def test_tap_soaks_for_a_time_scaled_to_the_mass() -> None:
    """3 kg a half soak 45 s (15 s a kilogram); leaving the band starts the time anew."""
    play = Play().to(P.SOAK)
    play.run(44.0)
    assert play.phase is P.SOAK
    play.set_c(170.0)
    play.run(0.4)
    assert play.phase is P.PREHEAT
    play.set_c(180.0)
    play.run(44.8)
    assert play.phase is P.SOAK
    play.run(1.0)
    assert play.phase is P.READY


def test_tap_soaks_only_with_the_halves_near_each_other() -> None:
    """Both in band but 3 K apart is not soaked."""
    play = Play().to(P.PREHEAT)
    play.set_c(181.5, 178.5)
    play.run(5.0)
    assert play.phase is P.PREHEAT
    play.set_c(181.0, 179.0)
    play.run(1.0)
    assert play.phase is P.SOAK
    play.set_c(182.0, 178.0)
    play.run(0.4)
    assert play.phase is P.PREHEAT


def test_tap_needs_the_mould_closed_before_it_breathes() -> None:
    """With a mould switch the tap on closing waits for the mould."""
    play = Play().to(P.CLOSE)
    assert play.tap() == Code("permissive", {"code": "mould_closed"})
    play.close()
    assert play.tap() is None


def test_tap_needs_the_mould_open_before_the_part_is_taken() -> None:
    """With a mould switch the tap on opening waits for it; closed again later is no hindrance."""
    play = Play().to(P.OPEN)
    assert play.tap() == Code("permissive", {"code": "mould_open"})
    play.open()
    assert play.tap() is None
    play.close()
    assert play.tap() is None
    assert play.phase is P.SOAK


def test_tap_without_a_switch_goes_by_the_taps() -> None:
    """Where no switch is fitted nobody waits for it, and closing counts from the tap."""
    play = Play(fitted=FIT_NEXT).to(P.READY)
    for _ in range(2):
        assert play.tap() is None
    assert play.phase is P.CLOSE
    assert play.tap() is None
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms == play.state.cycle.clock_ms


def test_tap_cleans_and_oils_when_due() -> None:
    """Oil every pressing, clean every third: each comes before the pressing it is due for."""
    recipe = replace(RECIPE, oil_every=1, clean_every=3, breaths=(), equivalent_s=1.0, least_s=1.0)
    play = Play(make_state(recipes=(recipe,), cycle=CycleState()))
    seen = []
    play.start()
    play.set_c(180.0)
    for _ in range(5):
        play.until(P.READY)
        while play.phase is not P.SOAK:
            seen.append(play.phase)
            if play.phase in (P.CLOSE, P.HOLD):
                play.close()
            if play.phase is P.OPEN:
                play.open()
            if play.phase is P.HOLD:
                play.until(P.RELEASE)
            else:
                play.tap()
        play.close()
    assert [one for one in seen if one in (P.CLEAN, P.OIL, P.FILL)] == [
        *(P.OIL, P.FILL, P.OIL, P.FILL, P.OIL, P.FILL),
        *(P.CLEAN, P.OIL, P.FILL, P.OIL, P.FILL),
    ]


def test_tap_oils_each_second_pressing_only() -> None:
    """Due after so many pressings since, not one sooner."""
    recipe = replace(RECIPE, oil_every=2)
    for since, phase in ((1, P.FILL), (2, P.OIL), (None, P.OIL)):
        play = Play(make_state(recipes=(recipe,), cycle=CycleState(since_oil=since))).to(P.READY)
        play.tap()
        assert play.phase is phase


def test_tap_does_not_take_a_pause_for_having_cleaned() -> None:
    """Leaving the cleaning by a pause leaves it due."""
    play = Play().to(P.CLEAN)
    play.ask(ask.Pause())
    assert play.state.cycle.since_clean == 99
    play.ask(ask.Resume())
    play.until(P.READY)
    assert play.tap() is None
    assert play.phase is P.CLEAN


@pytest.mark.parametrize("missing", ["empty", "dry", "let_down"])
def test_tap_prepares_only_with_all_three_seen(missing: str) -> None:
    """Empty, dry and let down: each alone missing stops the day."""
    seen = {"empty": True, "dry": True, "let_down": True} | {missing: False}
    play = Play()
    refusal = play.ask(ask.Prepare(**seen))
    assert refusal == Code("permissive", {"code": "confirmed_empty"})
    assert play.tap() == Code("permissive", {"code": "confirmed_empty"})
    assert play.take(fx.SendArm) == []


def test_tap_asks_the_board_only_once_it_is_ready() -> None:
    """A locked board's reason is given; a tripped one is latched; without one: not connected."""
    play = Play(up=False)
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    assert play.ask(ask.Arm()) == Code("not_connected")
    play.feed(make_link_up(play.host_ms))
    play.board["st"] = "locked"
    play.run(0.4)
    play.feed(
        ev.BoardStatus(
            host_ms=play.host_ms,
            why="mould",
            bad_lines=0,
            presence_left_s=0,
            window_left_s=0,
            operations=0,
        )
    )
    assert play.ask(ask.Arm()) == Code("not_ready", {"lock_reason": "mould"})
    play.board["st"] = "tripped"
    play.run(0.4)
    assert play.ask(ask.Arm()) == Code("not_ready", {"lock_reason": "latched"})
    play.board["st"] = "ready"
    play.run(0.4)
    assert play.ask(ask.Arm()) is None
    assert len(play.take(fx.SendArm)) == 1


@pytest.mark.parametrize("phase", HEATED)
def test_tap_prepares_at_rest_only(phase: Phase) -> None:
    """Nobody confirms an empty mould in mid-cycle."""
    play = Play().to(phase)
    refusal = play.ask(ask.Prepare(empty=True, dry=True, let_down=True))
    assert refusal == Code("not_allowed_now", {"phase": phase.value})


def test_tap_asks_again_what_is_in_the_mould_ten_minutes_after_somebody_looked() -> None:
    """Confirmed in the morning is not confirmed at noon, unless it has been hot since."""
    play = Play()
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    play.run(590.0)
    assert play.ask(ask.Arm()) is None
    play.run(20.0)
    assert play.ask(ask.Arm()) == Code("permissive", {"code": "confirmed_empty"})
    play.board["st"] = "armed"
    play.run(2.0)
    assert play.phase is P.IDLE
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    play.run(1.0)
    assert play.phase is P.PREHEAT
    play.set_c(180.0)
    play.run(700.0)
    assert play.state.cycle.confirmed


def test_tap_arms_no_board_that_judges_by_another_mould() -> None:
    """R and lag of the mould in the press must be in use at the board before it is armed."""
    play = Play()
    play.feed(make_link_up(play.host_ms, mould_slot=2))
    play.run(0.4)
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    assert play.ask(ask.Arm()) == Code("permissive", {"code": "mould_in_use", "slot": 1})
    play.feed(ev.MouldSeen(host_ms=play.host_ms, slot=1))
    assert play.ask(ask.Arm()) is None


def test_tap_does_not_start_where_nobody_watches() -> None:
    """A minute without anybody at the desk: no arming and no start, until somebody sits down."""
    play = Play()
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=60.0, viewers=0))
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    assert play.ask(ask.Arm()) == Code("permissive", {"code": "desk_taken"})
    play.board["st"] = "armed"
    play.run(2.0)
    assert play.phase is P.IDLE
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="Ada", empty_s=0.0, viewers=1))
    play.run(0.4)
    assert play.phase is P.PREHEAT


def test_tap_does_not_heat_a_board_that_nobody_asked_to_arm() -> None:
    """Armed while idle and unconfirmed: no heat, and the board is disarmed again."""
    play = Play()
    play.take(fx.SendDuty)
    play.board["st"] = "armed"
    play.run(3.0)
    assert play.phase is P.IDLE
    sent = [one for one in play.effects if isinstance(one, fx.SendDuty)]
    assert sent
    assert all(one.upper == one.upper_setpoint_c == 0.0 for one in sent)
    assert len(play.take(fx.SendDisarm)) == 3
