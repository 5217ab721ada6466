"""What viewers see: the sentence, the figure, the time of being ready, alarms in order."""

from __future__ import annotations

import msgspec
import pytest
from msgspec.structs import replace

from core_events import RECIPE, Play, make_link_up, make_state
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.loop.guess import guessed
from tawny.core.messages import FIT_NEXT, IN_BUTTON, IN_MAINS
from tawny.core.names import AlarmState, BoardState, LinkStatus, Phase, Priority, Quality
from tawny.core.snapshot import Code, Figure, Permissive, Snapshot
from tawny.core.view import snapshot

P = Phase
UTC_MS = 1_770_000_000_000


def seen(play: Play) -> Snapshot:
    """Return the picture of this moment."""
    return snapshot(play.state, seq=1, utc_ms=UTC_MS + play.host_ms, simulated=True)


@pytest.mark.parametrize("phase", Phase)
def test_view_goes_through_json_and_back(phase: Phase) -> None:
    """The snapshot of every phase survives the desk's line."""
    play = Play().to(phase)
    picture = seen(play)
    assert msgspec.json.decode(msgspec.json.encode(picture), type=Snapshot) == picture
    play.ask(ask.HeatOff())
    picture = seen(play)
    assert msgspec.json.decode(msgspec.json.encode(picture), type=Snapshot) == picture


def test_view_says_that_a_mould_is_still_learned() -> None:
    """Without an accepted model it is heated with care, and the picture says so."""
    play = Play().to(P.PREHEAT)
    assert seen(play).learning
    half = guessed(play.state.mould.upper, play.state.mould.lower)
    trusted = replace(half, trusted=True)
    play.feed(ev.ThermalLearned(host_ms=play.host_ms, mould="another", thermal=trusted))
    assert seen(play).learning
    play.feed(ev.ThermalLearned(host_ms=play.host_ms, mould=play.state.mould.name, thermal=None))
    assert seen(play).learning
    play.feed(ev.ThermalLearned(host_ms=play.host_ms, mould=play.state.mould.name, thermal=trusted))
    assert not seen(play).learning


SENTENCES = {
    P.IDLE: Code("start_day"),
    P.READY: Code("ready"),
    P.CLEAN: Code("clean"),
    P.OIL: Code("oil"),
    P.FILL: Code("fill", {"cavities": 1, "charge_g": 38.0, "residue_g": 32.0, "water_g": 6.0}),
    P.CLOSE: Code("close", {"force": 140.0, "force_unit": "bar"}),
    P.HOLD: Code("hold", {"topup_force": 110.0, "force_unit": "bar"}),
    P.RELEASE: Code("release"),
    P.OPEN: Code("open"),
    P.DEMOULD: Code("demould_first_off"),
    P.COOL: Code("cool", {"hottest_c": 150.0}),
    P.PAUSED: Code("paused"),
}


@pytest.mark.parametrize("phase", SENTENCES)
def test_view_says_what_to_do_next(phase: Phase) -> None:
    """One sentence in each phase, with the values it names; times of day come on top."""
    said = seen(Play().to(phase)).sentence
    values = {name: one for name, one in said.fields.items() if not name.endswith("_utc_ms")}
    assert Code(said.code, values) == SENTENCES[phase]


def test_view_says_when_the_press_is_ready() -> None:
    """Heating up: a time of day; soaking: what is left."""
    play = Play().to(P.PREHEAT)
    picture = seen(play)
    assert picture.sentence.code == "preheat"
    assert picture.sentence.fields == {"ready_at_utc_ms": picture.ready_at_utc_ms}
    play.to(P.SOAK)
    picture = seen(play)
    ready_at_utc_ms = picture.utc_ms + 45_000
    fields = {"left_s": 45.0, "ready_at_utc_ms": ready_at_utc_ms}
    assert picture.sentence == Code("soak", fields)
    assert seen(play).figure == Figure("time_to_ready", 45.0)


def test_view_expects_to_be_ready_by_the_model_of_the_mould() -> None:
    """From 22 to 180 degC at 0.26 K/s, less 7.5e-4/s of loss, then the lag and 45 s of soaking.

    By hand: the limit is 22 + 0.26/7.5e-4 = 368.67 degC; ln(346.67/188.67)/7.5e-4 = 811.2 s;
    with 1.3 x 15 s and 45 s: 875.7 s. In band, 2 K below, it is somewhat sooner.
    """
    play = Play().to(P.PREHEAT)
    picture = seen(play)
    assert picture.figure.value == pytest.approx(875.7, rel=0.03)
    assert picture.ready_at_utc_ms == pytest.approx(
        picture.utc_ms + picture.figure.value * 1000, abs=1
    )
    assert picture.figure.kind == "time_to_ready"
    play.set_c(180.0, 100.0)
    play.run(2.0)
    left_s = seen(play).figure.value
    assert left_s is not None
    assert 300.0 < left_s < 600.0


def test_view_counts_the_supply_limit_into_being_ready() -> None:
    """Where both halves may sum to 1, each gets half and the way up is more than twice as long."""
    whole, half = Play().to(P.PREHEAT), Play(supply_cap=1.4).to(P.PREHEAT)
    whole_s, half_s = seen(whole).figure.value, seen(half).figure.value
    assert whole_s is not None
    assert half_s is not None
    assert half_s > whole_s / 0.7


@pytest.mark.parametrize("phase", [P.READY, P.CLOSE, P.DEMOULD])
def test_view_shows_how_hot_it_is_where_a_hand_comes_near(phase: P) -> None:
    """Where nothing is timed, the figure is the hotter half."""
    play = Play().to(phase)
    play.set_c(178.0, 179.0)
    play.run(2.0)
    assert seen(play).figure == Figure("temperature", pytest.approx(179.0, abs=0.2))


@pytest.mark.parametrize("phase", [P.RELEASE, P.OPEN])
def test_view_has_no_figure_while_steam_is_let_out(phase: P) -> None:
    """Nothing that could be read as leave to open."""
    assert seen(Play().to(phase)).figure == Figure("none")


def test_view_knows_no_time_for_a_setpoint_out_of_reach() -> None:
    """At half the supply this mould never gets to 200 degC: no time instead of a wrong one."""
    recipe = replace(RECIPE, setpoint_c=200.0)
    play = Play(make_state(recipes=(recipe,)), supply_cap=1.0).to(P.PREHEAT)
    picture = seen(play)
    assert picture.ready_at_utc_ms is None
    assert picture.sentence.code == "preheat_never_ready_supply"
    assert picture.figure == Figure("none")


def test_view_leads_through_the_breaths() -> None:
    """Wait, breathe, wait, breathe; the figure counts down to the next one."""
    play = Play().to(P.BREATHE)
    picture = seen(play)
    assert picture.sentence.code == "breathe_wait"
    assert picture.sentence.fields["next_s"] == pytest.approx(10.0, abs=0.3)
    assert picture.figure.kind == "time_to_breath"
    play.run(10.0)
    breath = Code("breathe", {"open_s": 2.0, "done": 0, "wanted": 2})
    assert seen(play).sentence == breath
    assert play.state.cycle.sound == "breathe"
    play.ask(ask.Mark())
    picture = seen(play)
    assert picture.sentence.code == "breathe_wait"
    assert picture.breathe is not None
    assert (picture.breathe.done, picture.breathe.wanted) == (1, 2)


def test_view_counts_the_hold_down_in_clock_seconds() -> None:
    """At setpoint the dose of 120 s takes 120 s; the figure is what is left of them."""
    play = Play().to(P.HOLD)
    picture = seen(play)
    assert picture.hold is not None
    assert picture.figure.kind == "time_left"
    assert picture.hold.elapsed_s + picture.hold.left_s == pytest.approx(120.0, abs=0.3)
    assert picture.hold.longer_s == pytest.approx(0.0, abs=0.3)
    assert picture.hold.equivalent_s == pytest.approx(picture.hold.elapsed_s, abs=0.3)


def test_view_says_how_much_longer_a_cool_mould_takes_and_why() -> None:
    """1 K cool for the whole hold: 5.4 % longer at 90 kJ/mol, and the mean deviation is -1 K.

    exp(90000/8.314462618 (1/452.15 - 1/453.15)) = 1.0542, worked apart from the package.
    """
    play = Play().to(P.CLOSE)
    play.set_c(179.0)
    play.close()
    play.tap()
    play.until(P.HOLD)
    hold = seen(play).hold
    assert hold is not None
    assert hold.longer_s == pytest.approx(120.0 * 0.0542, abs=0.5)
    assert hold.cause_k == pytest.approx(-1.0, abs=0.01)


def test_view_stops_the_hold_where_it_ended() -> None:
    """While the press is let down the hold's figures stand still."""
    play = Play().to(P.RELEASE)
    first = seen(play).hold
    play.run(20.0)
    assert seen(play).hold == first
    assert first is not None
    assert first.left_s == 0.0


def test_view_turns_the_filling_abnormal_when_it_takes_long() -> None:
    """Grams as the figure, over after the recipe's minute."""
    play = Play().to(P.FILL)
    assert seen(play).figure == Figure("grams", 38.0)
    play.run(61.0)
    assert seen(play).figure == Figure("grams", 38.0, over=True)
    assert seen(play).sentence.code == "fill_slow"


def test_view_shows_the_recipe_of_the_pressing_in_hand() -> None:
    """A recipe chosen in mid-pressing shows only with the next one."""
    other = replace(RECIPE, name="other", version=9, setpoint_c=160.0, residue_g=50.0, band_k=1.0)
    play = Play(make_state(recipes=(RECIPE, other))).to(P.FILL)
    assert play.ask(ask.ChooseRecipe(name="other")) is None
    picture = seen(play)
    assert (picture.recipe, picture.recipe_version) == ("grain-apple", 3)
    assert (picture.setpoint_c, picture.band_k) == (180.0, 2.0)
    assert picture.figure == Figure("grams", 38.0)
    assert picture.upper.setpoint_c == 180.0
    play.ask(ask.Scrap())
    play.tap()
    assert play.phase is P.SOAK
    assert seen(play).recipe == "other"


def test_view_leads_to_arming() -> None:
    """Look, ask, press ARM: and nothing says that the mould may be touched."""
    play = Play()
    assert seen(play).sentence == Code("start_day")
    play.ask(ask.Prepare(empty=True, dry=True, let_down=True))
    assert seen(play).sentence == Code("arm")
    play.feed(ev.Arming(host_ms=play.host_ms, step="press_arm"))
    assert seen(play).sentence == Code("press_arm")
    assert seen(play).board.arming == "press_arm"
    play.feed(ev.Arming(host_ms=play.host_ms, step="expired"))
    assert seen(play).sentence == Code("arm")


@pytest.mark.parametrize(
    ("upper_c", "lower_c", "sentence"),
    [
        (44.0, 60.0, Code("cool", {"hottest_c": 60.0})),
        (44.0, None, Code("cool")),
        (None, 44.0, Code("cool")),
        (None, None, Code("cool")),
    ],
)
def test_view_takes_a_half_that_nobody_can_read_for_hot(
    upper_c: float | None, lower_c: float | None, sentence: Code
) -> None:
    """Touchable needs both halves good and below 45 degC; an old value is no proof, nor shown."""
    play = Play().to(P.COOL)
    play.set_c(46.0, 44.0)
    play.run(0.4)
    play.upper_c, play.lower_c = upper_c, lower_c
    play.run(2.0)
    picture = seen(play)
    assert play.phase is P.COOL
    fields = dict(picture.sentence.fields)
    # Once both can be read, it is told how long that lasts.
    assert (fields.pop("touchable_utc_ms", None) is not None) is (None not in (upper_c, lower_c))
    assert Code(picture.sentence.code, fields) == sentence
    assert (picture.figure.kind == "temperature") is (lower_c == 60.0)


def test_view_says_what_is_wrong_with_the_board_before_the_phase() -> None:
    """No board, no mains, the button, a trip, silence: each in a sentence of its own."""
    play = Play(up=False)
    assert seen(play).sentence == Code("connect")
    play.feed(make_link_up(play.host_ms))
    assert seen(play).sentence == Code("connect", {"port": "/dev/ttyACM0"})
    play.run(0.4)
    for inputs, sentence in ((0, "mains_off"), (IN_BUTTON, "heat_off_button")):
        play.board["inputs"] = inputs
        play.run(0.4)
        assert seen(play).sentence == Code(sentence)
    play.board |= {"inputs": IN_MAINS, "st": "tripped", "fo": "welded"}
    play.run(0.4)
    assert seen(play).sentence == Code("tripped", {"first_out": "welded"})
    play.frames = False
    play.run(2.0)
    assert seen(play).sentence == Code("link_lost", {"silence_s": 2})
    play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code("version_refused"), refused=True))
    assert seen(play).sentence == Code("version_refused")


def test_view_puts_the_rescue_card_before_all_else() -> None:
    """What lies in the press comes first, also with the board tripped or gone."""
    play = Play().to(P.HOLD)
    play.board |= {"st": "tripped", "fo": "norise"}
    play.run(1.0)
    lost_ms = play.host_ms
    picture = seen(play)
    assert picture.sentence == Code("rescue")
    assert picture.rescue is not None
    assert picture.rescue.pressing == "1"
    assert picture.rescue.since_utc_ms == pytest.approx(UTC_MS + lost_ms, abs=1200)
    play.frames = False
    play.run(5.0)
    assert seen(play).sentence == Code("rescue")
    assert seen(play).figure == Figure("none")


def test_view_shows_the_alarm_to_look_at_first() -> None:
    """Not seen before seen, then by priority, then the first of its group, then the oldest."""
    play = Play().to(P.RELEASE)
    play.run(61.0)
    play.board["inputs"] |= IN_BUTTON
    play.board["st"] = "tripped"
    play.run(0.4)
    order = [one.alarm for one in seen(play).alarms]
    # The trip, the button and the interruption are high, the late release medium and gone.
    assert order[-1] == "hold_too_long"
    assert order[0] == "board_tripped"
    assert seen(play).alarms[0].first_out
    play.ask(ask.Acknowledge(alarm="board_tripped"))
    picture = seen(play)
    assert picture.alarms[-1].alarm == "board_tripped"
    assert picture.alarms[-1].state is AlarmState.ACKNOWLEDGED
    assert picture.alarms[-1].priority is Priority.HIGH
    assert (picture.alarms[-1].latching, picture.alarms[-1].shelvable) == (True, False)


def test_view_says_until_when_an_alarm_is_quiet() -> None:
    """A shelved alarm stays on the list with the time of its return."""
    play = Play()
    play.board["inputs"] = IN_BUTTON
    play.run(0.4)
    play.ask(ask.Shelve(alarm="heat_off_button", minutes=10.0))
    alarm = seen(play).alarms[0]
    assert alarm.state is AlarmState.SHELVED
    assert alarm.quiet_until_utc_ms == UTC_MS + play.host_ms + 600_000


def test_view_shows_each_half_with_its_quality() -> None:
    """A bad half shows its last good value and no deviation; a good one both."""
    play = Play().to(P.SOAK)
    play.set_c(181.5, 180.0)
    play.run(0.4)
    play.lower_c = None
    play.run(0.4)
    picture = seen(play)
    assert (picture.upper.quality, picture.upper.deviation_k) == (Quality.GOOD, 1.5)
    assert (picture.lower.quality, picture.lower.deviation_k) == (Quality.BAD, None)
    assert picture.lower.process_value_c == 180.0
    assert not picture.heat


def test_view_is_armed_only_on_the_word_of_a_board_that_is_heard() -> None:
    """The last word of a silent board is no proof."""
    play = Play().to(P.SOAK)
    assert seen(play).armed
    play.frames = False
    play.run(2.0)
    picture = seen(play)
    assert not picture.armed
    assert picture.link.status is LinkStatus.STALE
    assert picture.link.silence_s == 2.0


def test_view_knows_no_mould_switch_where_none_is_fitted() -> None:
    """Open or closed is not known without a switch."""
    assert seen(Play(fitted=FIT_NEXT)).board.mould_open is None
    play = Play()
    assert seen(play).board.mould_open is False
    play.open()
    assert seen(play).board.mould_open is True


def test_view_lists_what_must_be_true_first() -> None:
    """The permissives of the next tap, met or not, with where it leads."""
    picture = seen(Play().to(P.CLOSE))
    assert picture.next_phase is P.BREATHE
    assert picture.permissives == (Permissive("mould_closed", met=False),)
    picture = seen(Play().to(P.HOLD))
    assert picture.next_phase is None
    picture = seen(Play().to(P.READY))
    assert picture.next_phase is P.FILL
    assert all(one.met for one in picture.permissives)
    assert {one.code for one in picture.permissives} == {
        "in_band",
        "recording",
        "sensors_good",
        "cut_off_reset",
    }


def test_view_of_a_press_without_a_board_shows_nothing_invented() -> None:
    """Before the first line there is no temperature, no switch, no arming."""
    picture = seen(Play(up=False))
    assert picture.upper.process_value_c is None
    assert picture.figure == Figure("none")
    assert picture.board.state is BoardState.BOOT
    assert picture.link.silence_s == 0.0
    assert picture.ready_at_utc_ms is None
