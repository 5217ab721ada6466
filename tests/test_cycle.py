"""A pressing from the switched-off press to the part, and every way it can go wrong."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from core_events import (
    HEATED,
    IN_HAND,
    RECIPE,
    Play,
    make_link_up,
    make_state,
)
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.loss import CLOSED_STEPS, OPEN_STEPS
from tawny.core.messages import FIT_NEXT, IN_BUTTON, IN_MAINS
from tawny.core.names import AlarmState, Phase, Result
from tawny.core.snapshot import Code
from tawny.core.state import CycleState

P = Phase


def _ended(play: Play) -> dict[str, object]:
    ends = play.take(fx.PressingEnded)
    assert len(ends) == 1
    return ends[0].figures


# A whole pressing.


def test_cycle_presses_a_part_by_taps_alone() -> None:
    """From the switched-off press to the part: each tap leads on, each phase comes once."""
    play = Play().to(P.DEMOULD)
    assert play.tap() is None
    walked = [one.payload["to"] for one in play.take(fx.Journal) if one.kind == "phase"]
    expected = [P.PREHEAT, P.SOAK, P.READY, P.FILL, P.CLOSE, P.BREATHE, P.HOLD, P.RELEASE]
    assert walked == [one.value for one in (*expected, P.OPEN, P.DEMOULD, P.SOAK)]
    assert play.state.cycle.pressing is None
    assert play.state.cycle.next_number == 2
    assert play.state.cycle.rescue is None


def test_cycle_seals_a_finished_pressing_with_its_figures() -> None:
    """Hold and dose count from closing to the end of the hold; the release is kept apart."""
    play = Play().to(P.DEMOULD)
    play.take(fx.PressingEnded)
    assert play.tap() is None
    figures = _ended(play)
    assert figures["result"] is Result.COMPLETE
    assert figures["phase_at_end"] is P.DEMOULD
    assert figures["hold_s"] == pytest.approx(120.0, abs=0.4)
    assert figures["equivalent_s"] == pytest.approx(120.0, abs=0.4)
    assert figures["release_equivalent_s"] == pytest.approx(2.0, abs=0.4)
    assert figures["mean_hold_c"] == pytest.approx(180.0)
    assert figures["upper_peak_c"] == 180.0
    assert (figures["dose_gap"], figures["gaps"]) == (False, ())
    assert figures["recipe"] == RECIPE
    assert (figures["alarms"], figures["reason"]) == ((), "")


def test_cycle_counts_energy_by_on_time_and_rated_power() -> None:
    """Two heaters of 750 W that were on for 100 s gave 150 kJ: 0.0416667 kWh."""
    play = Play().to(P.FILL)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    pressing = replace(pressing, upper_on_ms=100_000, lower_on_ms=100_000)
    play.state = replace(play.state, cycle=replace(play.state.cycle, pressing=pressing))
    play.take(fx.PressingEnded)
    play.ask(ask.HeatOff())
    assert _ended(play)["energy_kwh"] == pytest.approx(150e3 / 3.6e6)


def test_cycle_seals_the_next_pressing_under_the_next_number() -> None:
    """Numbers follow each other, also after a pressing that was lost."""
    play = Play().to(P.CLOSE)
    play.ask(ask.HeatOff())
    assert [one.number for one in play.take(fx.PressingEnded)] == [1]
    assert play.state.cycle.next_number == 2


# Taps.


@pytest.mark.parametrize("phase", [P.FILL, P.CLOSE, P.RELEASE, P.OPEN])
def test_cycle_acts_once_a_phase(phase: Phase) -> None:
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


def test_cycle_refuses_taps_half_a_second_apart() -> None:
    """An elbow on the key does one thing, not two."""
    play = Play().to(P.FILL)
    assert play.tap() is None
    play.host_ms += 499
    assert play.ask(ask.Advance(seen=P.CLOSE)) == Code("too_soon")
    assert play.phase is P.CLOSE


@pytest.mark.parametrize("delay_ms", [250, 500, 660, 1000])
def test_cycle_refuses_a_held_key(delay_ms: int) -> None:
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


def test_cycle_takes_the_second_of_two_slow_taps() -> None:
    """Somebody who taps once a second gets on: a refusal does not start the wait anew."""
    play = Play().to(P.RELEASE)
    play.open()
    taken = [play.tap(wait_s=1.0) is None for _ in range(4)]
    assert taken == [True, False, True, False]


def test_cycle_takes_a_press_of_the_button_at_the_board() -> None:
    """NEXT at the board does what a tap does, once for each press."""
    play = Play().to(P.FILL)
    play.press_next()
    assert play.phase is P.CLOSE
    play.run(3.0)
    assert play.phase is P.CLOSE


def test_cycle_ignores_a_button_press_meant_for_the_phase_before() -> None:
    """A foot that comes down as the hold ends does not open the mould."""
    play = Play().to(P.HOLD)
    play.until(P.RELEASE)
    play.press_next(wait_s=0.2)
    assert play.phase is P.RELEASE
    play.press_next()
    assert play.phase is P.OPEN


def test_cycle_takes_no_counter_of_another_session_for_presses() -> None:
    """After a new session or a restart the counter of NEXT is read anew."""
    play = Play().to(P.FILL)
    play.board["k"] = 5
    play.feed(make_link_up(play.host_ms))
    play.frame()
    assert play.phase is P.FILL


def test_cycle_takes_a_jump_of_the_counter_for_a_fault() -> None:
    """More presses between two lines than a hand can make are none."""
    play = Play().to(P.FILL)
    play.run(2.0)
    play.board["k"] = 100
    play.frame()
    assert play.phase is P.FILL


# Permissives.


def test_cycle_names_what_is_missing_before_the_mould_is_hot() -> None:
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


def test_cycle_soaks_for_a_time_scaled_to_the_mass() -> None:
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


def test_cycle_soaks_only_with_the_halves_near_each_other() -> None:
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


def test_cycle_needs_the_mould_closed_before_it_breathes() -> None:
    """With a mould switch the tap on closing waits for the mould."""
    play = Play().to(P.CLOSE)
    assert play.tap() == Code("permissive", {"code": "mould_closed"})
    play.close()
    assert play.tap() is None


def test_cycle_needs_the_mould_open_before_the_part_is_taken() -> None:
    """With a mould switch the tap on opening waits for it; closed again later is no hindrance."""
    play = Play().to(P.OPEN)
    assert play.tap() == Code("permissive", {"code": "mould_open"})
    play.open()
    assert play.tap() is None
    play.close()
    assert play.tap() is None
    assert play.phase is P.SOAK


def test_cycle_without_a_switch_goes_by_the_taps() -> None:
    """Where no switch is fitted nobody waits for it, and closing counts from the tap."""
    play = Play(fitted=FIT_NEXT).to(P.READY)
    for _ in range(2):
        assert play.tap() is None
    assert play.phase is P.CLOSE
    assert play.tap() is None
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms == play.state.cycle.clock_ms


def test_cycle_cleans_and_oils_when_due() -> None:
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


def test_cycle_oils_each_second_pressing_only() -> None:
    """Due after so many pressings since, not one sooner."""
    recipe = replace(RECIPE, oil_every=2)
    for since, phase in ((1, P.FILL), (2, P.OIL), (None, P.OIL)):
        play = Play(make_state(recipes=(recipe,), cycle=CycleState(since_oil=since))).to(P.READY)
        play.tap()
        assert play.phase is phase


def test_cycle_does_not_take_a_pause_for_having_cleaned() -> None:
    """Leaving the cleaning by a pause leaves it due."""
    play = Play().to(P.CLEAN)
    play.ask(ask.Pause())
    assert play.state.cycle.since_clean == 99
    play.ask(ask.Resume())
    play.until(P.READY)
    assert play.tap() is None
    assert play.phase is P.CLEAN


# Closing, breathing, holding.


def test_cycle_counts_closing_from_the_edge_of_the_switch() -> None:
    """The mould closes 5 s before the tap: the hold counts those 5 s."""
    play = Play().to(P.CLOSE)
    play.close()
    closed_ms = play.state.cycle.clock_ms
    play.run(3.0)
    assert play.tap() is None
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms == closed_ms
    assert pressing.equivalent_s == pytest.approx(5.0, abs=0.3)


def test_cycle_counts_closing_also_before_the_tap_on_filling() -> None:
    """Somebody who closes first and taps twice then loses nothing of the hold."""
    play = Play().to(P.FILL)
    play.open()
    play.run(5.0)
    play.close()
    closed_ms = play.state.cycle.clock_ms
    assert play.tap() is None
    assert play.tap() is None
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms == closed_ms
    assert pressing.equivalent_s == pytest.approx(4.0, abs=0.3)


def test_cycle_counts_from_the_last_closing() -> None:
    """Opened again before the pressure: least time and dose begin with the second closing."""
    play = Play().to(P.CLOSE)
    play.close()
    play.run(10.0)
    play.open()
    play.run(2.0)
    play.close()
    closed_ms = play.state.cycle.clock_ms
    assert play.tap() is None
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms == closed_ms
    assert pressing.equivalent_s == pytest.approx(2.0, abs=0.3)


def test_cycle_marks_breaths_by_key_and_by_button() -> None:
    """A mark by key, one by NEXT at the board: two breaths, then the hold."""
    play = Play().to(P.BREATHE)
    play.run(10.0)
    assert play.ask(ask.Mark()) is None
    assert play.ask(ask.Mark()) == Code("too_soon")
    assert play.phase is P.BREATHE
    play.press_next(wait_s=12.0)
    assert play.phase is P.HOLD
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.breaths_s == pytest.approx((12.0, 24.2), abs=0.5)


def test_cycle_does_not_pass_the_breaths_by_a_tap() -> None:
    """Until the last breath's time a tap is refused, and says how many are done."""
    play = Play().to(P.BREATHE)
    play.run(10.0)
    play.ask(ask.Mark())
    assert play.tap() == Code("permissive", {"code": "breaths_done", "done": 1, "wanted": 2})
    play.run(14.0)
    assert play.tap() is None
    assert play.phase is P.HOLD


def test_cycle_goes_on_to_the_hold_when_nobody_marks() -> None:
    """15 s after the last breath should be over the hold begins, with no breath marked."""
    play = Play().to(P.BREATHE)
    play.until(P.HOLD)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms is not None
    assert play.state.cycle.clock_ms - pressing.closed_ms == pytest.approx(42_000, abs=200)
    assert pressing.breaths_s == ()


def test_cycle_skips_breathing_where_the_recipe_has_none() -> None:
    """A recipe without breaths goes from closing to the hold."""
    play = Play(make_state(recipes=(replace(RECIPE, breaths=()),))).to(P.CLOSE)
    play.close()
    assert play.tap() is None
    assert play.phase is P.HOLD


@pytest.mark.parametrize(
    ("value_c", "hold_s"),
    [(180.0, 120.0), (195.0, 60.0), (150.0, 200.0), (184.0, None), (176.0, None)],
)
def test_cycle_ends_the_hold_by_dose_between_least_and_most(
    value_c: float, hold_s: float | None
) -> None:
    """At setpoint by dose; much hotter not before the least time, much colder at the most.

    In between by Arrhenius with 90 kJ/mol: exp(90000/8.314462618 (1/453.15 - 1/T)) times
    faster, 1.2322 at 184 degC and 0.8095 at 176 degC, worked apart from the package.
    """
    rate = {184.0: 1.2322, 176.0: 0.8095}.get(value_c)
    wanted_s = 120.0 / rate if rate is not None else hold_s
    play = Play().to(P.FILL)
    play.open()
    play.tap()
    play.set_c(value_c)
    play.close()
    play.tap()
    play.until(P.RELEASE)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.closed_ms is not None
    assert pressing.hold_ended_ms is not None
    held_s = (pressing.hold_ended_ms - pressing.closed_ms) / 1000.0
    assert held_s == pytest.approx(wanted_s, abs=0.4)


def test_cycle_never_ends_a_hold_by_a_tap() -> None:
    """Key and button are refused all through the hold, and it lasts as long as without."""
    play = Play().to(P.HOLD)
    for _ in range(10):
        assert play.tap() == Code("not_allowed_now", {"phase": "hold"})
        play.press_next()
        assert play.phase is P.HOLD
    play.until(P.RELEASE)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.equivalent_s == pytest.approx(120.0, abs=0.3)


# Charge.


def test_cycle_announces_a_charge_on_filling_and_on_closing_a_minute_apart() -> None:
    """The board takes one a minute: the second is announced as soon as it is taken."""
    play = Play().to(P.READY)
    play.take(fx.SendCharge)
    assert play.tap() is None
    assert len(play.take(fx.SendCharge)) == 1
    play.open()
    play.run(38.0)
    assert play.tap() is None
    assert play.phase is P.CLOSE
    assert play.take(fx.SendCharge) == []
    play.close()
    play.tap()
    play.run(18.0)
    assert play.take(fx.SendCharge) == []
    play.run(2.0)
    assert len(play.take(fx.SendCharge)) == 1


# Scrap, pause, recipe, record.


@pytest.mark.parametrize("phase", IN_HAND)
def test_cycle_scraps_a_pressing_and_keeps_the_mould_hot(phase: Phase) -> None:
    """Scrapping leads to letting down, or to taking out; heat stays, the result is aborted."""
    play = Play().to(phase)
    play.take(fx.PressingEnded)
    assert play.ask(ask.Scrap(reason="spilt")) is None
    assert play.phase in (P.RELEASE, P.OPEN, P.DEMOULD)
    assert play.state.cycle.heat_wanted
    for _ in range(3):
        if play.phase is P.OPEN:
            play.open()
        if play.phase is not P.SOAK:
            assert play.tap() is None
    assert play.phase is P.SOAK
    figures = _ended(play)
    assert (figures["result"], figures["reason"]) == (Result.ABORTED, "spilt")
    assert play.state.cycle.rescue is None


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase not in IN_HAND])
def test_cycle_has_nothing_to_scrap_without_a_charge(phase: Phase) -> None:
    """Where nothing lies in the mould there is nothing to scrap."""
    play = Play().to(phase)
    assert play.ask(ask.Scrap()) == Code("not_allowed_now", {"phase": phase.value})


PAUSABLE = (P.PREHEAT, P.SOAK, P.READY, P.CLEAN, P.OIL)


@pytest.mark.parametrize("phase", Phase)
def test_cycle_pauses_between_steps_only(phase: Phase) -> None:
    """A pause keeps the mould at setpoint and leads back to soaking; never with a charge in."""
    play = Play().to(phase)
    refusal = play.ask(ask.Pause())
    if phase not in PAUSABLE:
        assert refusal == Code("not_allowed_now", {"phase": phase.value})
        assert play.phase is phase
        return
    assert refusal is None
    play.set_c(179.0)
    play.run(60.0)
    assert play.phase is P.PAUSED
    assert play.state.cycle.paused_from is phase
    assert play.state.upper.duty > 0.0
    assert play.ask(ask.Resume()) is None
    assert play.phase is P.SOAK


def test_cycle_presses_with_the_recipe_it_began_with() -> None:
    """A recipe chosen in mid-pressing is used from the next one on."""
    other = replace(
        RECIPE, name="other", setpoint_c=160.0, breaths=(), equivalent_s=30.0, band_k=1.0
    )
    play = Play(make_state(recipes=(RECIPE, other))).to(P.CLOSE)
    assert play.ask(ask.ChooseRecipe(name="other")) is None
    play.run(0.4)
    assert play.take(fx.SendDuty)[-1].upper_setpoint_c == 180.0
    play.close()
    assert play.tap() is None
    assert play.phase is P.BREATHE
    play.until(P.RELEASE)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert pressing.recipe == RECIPE
    assert pressing.equivalent_s >= 120.0
    play.tap()
    play.open()
    play.tap()
    play.take(fx.SendDuty)
    play.tap()
    assert _ended(play)["recipe"] == RECIPE
    play.run(0.4)
    assert play.take(fx.SendDuty)[-1].upper_setpoint_c == 160.0
    assert play.alarm("deviation_high") is AlarmState.NORMAL


def test_cycle_knows_no_other_recipe() -> None:
    """A recipe that is not in the list is refused by its name."""
    play = Play()
    assert play.ask(ask.ChooseRecipe(name="none")) == Code("unknown_recipe", {"name": "none"})


def test_cycle_refuses_a_recipe_above_what_the_board_takes() -> None:
    """190 degC where the board takes 185: refused when chosen, and the old one stays."""
    hot = replace(RECIPE, name="hot", setpoint_c=190.0)
    play = Play(make_state(recipes=(RECIPE, hot)), trip_c=200.0, setpoint_most_c=185.0)
    refusal = play.ask(ask.ChooseRecipe(name="hot"))
    wanted = {"code": "setpoint_taken", "setpoint_c": 190.0, "limit_c": 185.0}
    assert refusal == Code("permissive", wanted)
    assert play.state.recipe == RECIPE


def test_cycle_does_not_start_above_what_the_board_takes() -> None:
    """The recipe at hand may be too hot for this board: no arming, no heat, the reason said."""
    play = Play(trip_c=190.0, setpoint_most_c=175.0)
    assert play.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
    assert play.take(fx.SendArm) == []
    refusal = play.ask(ask.Arm())
    assert refusal is not None
    assert refusal.fields["code"] == "setpoint_taken"
    play.board["st"] = "armed"
    play.run(2.0)
    assert play.phase is P.IDLE
    assert all(duty.upper == duty.lower == 0.0 for duty in play.take(fx.SendDuty))


@pytest.mark.parametrize("phase", [P.READY, P.CLEAN, P.OIL])
def test_cycle_begins_no_pressing_that_would_not_be_recorded(phase: Phase) -> None:
    """A failed record stops the tap before filling; mended, the tap is taken."""
    play = Play().to(phase)
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=False, reason=Code("store_full")))
    assert play.tap() == Code("permissive", {"code": "recording"})
    assert play.alarm("store_full") is AlarmState.ACTIVE
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=True))
    assert play.tap() is None


def test_cycle_finishes_the_pressing_in_hand_without_a_record() -> None:
    """A failed record never keeps a part in a hot mould."""
    play = Play().to(P.CLOSE)
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=False, reason=Code("store_failed")))
    play.close()
    assert play.tap() is None
    play.until(P.RELEASE)
    assert play.tap() is None
    play.open()
    assert play.tap() is None
    assert play.tap() is None
    assert play.phase is P.SOAK
    play.until(P.READY)
    assert play.tap() == Code("permissive", {"code": "recording"})


# Starting.


@pytest.mark.parametrize("missing", ["empty", "dry", "let_down"])
def test_cycle_prepares_only_with_all_three_seen(missing: str) -> None:
    """Empty, dry and let down: each alone missing stops the day."""
    seen = {"empty": True, "dry": True, "let_down": True} | {missing: False}
    play = Play()
    refusal = play.ask(ask.Prepare(**seen))
    assert refusal == Code("permissive", {"code": "confirmed_empty"})
    assert play.tap() == Code("permissive", {"code": "confirmed_empty"})
    assert play.take(fx.SendArm) == []


def test_cycle_asks_the_board_only_once_it_is_ready() -> None:
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
def test_cycle_prepares_at_rest_only(phase: Phase) -> None:
    """Nobody confirms an empty mould in mid-cycle."""
    play = Play().to(phase)
    refusal = play.ask(ask.Prepare(empty=True, dry=True, let_down=True))
    assert refusal == Code("not_allowed_now", {"phase": phase.value})


def test_cycle_does_not_heat_a_board_that_nobody_asked_to_arm() -> None:
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


# Losing heat.


def _in(phase: Phase) -> Play:
    play = Play().to(phase)
    if phase is P.PREHEAT:
        play.set_c(150.0)
        play.run(0.4)
    play.effects.clear()
    return play


@pytest.mark.parametrize("phase", HEATED)
def test_cycle_heat_off_ends_everything_at_once(phase: Phase) -> None:
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
def test_cycle_seals_as_interrupted_when_heat_is_lost(phase: Phase, name: str) -> None:
    """Whatever takes the heat, in whatever phase: cool, sealed, the card with its cause."""
    lose, cause = LOSSES[name]
    play = _in(phase)
    lose(play)
    assert any(isinstance(one, fx.SendDisarm) for one in play.effects)
    _after_loss(play, phase, Result.INTERRUPTED, cause)
    wanted = AlarmState.ACTIVE if phase in IN_HAND else AlarmState.NORMAL
    assert play.alarm("interrupted") is wanted


@pytest.mark.parametrize("name", LOSSES)
def test_cycle_names_the_alarm_that_ended_a_pressing(name: str) -> None:
    """The record of a pressing holds the alarm that cut it short."""
    lose, cause = LOSSES[name]
    play = _in(P.HOLD)
    lose(play)
    alarms = _ended(play)["alarms"]
    assert isinstance(alarms, tuple)
    expected = {"no_desk": "desk_empty"}.get(cause, cause)
    assert expected in alarms or cause == "disarmed"
    assert len(set(alarms)) == len(alarms)


def test_cycle_names_mains_lost_only_where_it_took_the_heat() -> None:
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
def test_cycle_card_asks_to_let_down_where_the_mould_may_be_closed(phase: Phase) -> None:
    """Closed, or nobody knows: stand aside and let down in steps. Open: take it out."""
    play = _in(phase)
    play.ask(ask.HeatOff())
    card = play.state.cycle.rescue
    assert card is not None
    # The play fills with the mould still closed, and takes out with it open.
    assert card.closed is (phase is not P.DEMOULD)
    assert card.steps == (CLOSED_STEPS if card.closed else OPEN_STEPS)


def test_cycle_card_without_a_switch_goes_by_the_phase() -> None:
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


def test_cycle_card_counts_all_the_water_there_can_be() -> None:
    """6 g added and 15 % of 32 g residue: 10.8 g, at 1.70 L of free steam a gram."""
    play = _in(P.HOLD)
    play.ask(ask.HeatOff())
    card = play.state.cycle.rescue
    assert card is not None
    assert card.water_g == pytest.approx(10.8)
    # Ideal gas at 100 degC and 1 atm: 8.314462618 x 373.15/(101.325 x 18.015268) = 1.6997 L/g.
    assert card.steam_litres == pytest.approx(10.8 * 1.6997, rel=1e-4)


def test_cycle_ticks_the_card_in_order() -> None:
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


def test_cycle_does_not_tick_the_card_by_a_foot_already_on_its_way() -> None:
    """The pedal pressed as the heat goes ticks nothing."""
    play = _in(P.HOLD)
    play.run(1.0)
    _trip(play)
    play.press_next(wait_s=0.2)
    assert play.state.cycle.rescue is not None
    assert play.state.cycle.rescue.ticked == ()


def test_cycle_takes_the_mould_for_not_empty_after_an_interruption() -> None:
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


def test_cycle_goes_from_cool_to_idle_once_both_halves_are_known_to_be_cold() -> None:
    """Below 45 degC is cold; a half that nobody can read is not."""
    play = Play().to(P.COOL)
    play.set_c(44.9, 45.0)
    play.run(1.0)
    assert play.phase is P.COOL
    play.upper_c, play.lower_c = 30.0, None
    play.run(2.0)
    assert play.phase is P.COOL
    play.set_c(44.9)
    play.run(1.0)
    assert play.phase is P.IDLE


def test_cycle_stops_the_buzzer_when_heat_is_gone() -> None:
    """A pattern that was sounding for the pressing ends with it."""
    play = _in(P.BREATHE)
    play.run(12.0)
    assert play.take(fx.SendSignal)[-1].sound == "breathe"
    play.ask(ask.HeatOff())
    play.run(1.0)
    assert play.take(fx.SendSignal)[-1] == fx.SendSignal(lamp="off", sound="off")


# Gaps.


def _dose_s(play: Play) -> float:
    pressing = play.state.cycle.pressing
    assert pressing is not None
    return pressing.equivalent_s


def test_cycle_marks_a_gap_and_makes_its_dose_unknown() -> None:
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
    figures = _ended(play)
    assert figures["result"] is Result.COMPLETE
    assert (figures["dose_gap"], figures["equivalent_s"]) == (True, None)
    assert figures["severity_min"] is None
    assert figures["gaps"] == ((start_ms, start_ms + 2000),)


def test_cycle_lets_the_dose_wait_when_the_board_clock_steps_back() -> None:
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


def test_cycle_bridges_one_bad_reading_with_the_last_good_one() -> None:
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


def test_cycle_counts_the_same_whatever_the_rate_of_lines() -> None:
    """A line every second counts for a second."""
    play = _in(P.HOLD)
    dose_s = _dose_s(play)
    for _ in range(10):
        play.host_ms += 800
        play.board_ms += 800
        play.counter += 1
        play.frame()
    assert _dose_s(play) == pytest.approx(dose_s + 10.0, abs=0.01)
