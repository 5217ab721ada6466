"""Faults told by the model: which, which half, how soon; and nothing on ordinary days."""

from __future__ import annotations

import math
from functools import cache

import pytest
from msgspec.structs import replace

from campaigns import faults as campaign
from core_events import MOULD, RECIPE, Play, make_state
from fault_lane import Day, at_rest
from tawny.core import effects as fx
from tawny.core import intents as ask
from tawny.core.conditions import conditions
from tawny.core.loop.faults import DOUBT_S, POWER_SHORT_DUTY
from tawny.core.loop.suspicion import Doubt, Fault, HalfDoubt, Suspicion
from tawny.core.loop.thermal import HalfThermal, Thermal
from tawny.core.names import AlarmState, Half, Phase
from tawny.core.snapshot import Code
from tawny.core.state import State
from tawny.sim.commands import HeaterFault
from tawny.sim.parameters import DEMO_MOULD, load, shipped_moulds
from tawny.words import sentences

# The longest that any of the seven moulds took in the campaign, and a third on top.
WITHIN_S = {
    ("detached", "cold"): 210.0,
    ("detached", "rising"): 6.0,
    ("detached", "hold"): 5.0,
    ("detached", "pressed"): 10.0,
    ("reversed", "cold"): 110.0,
    ("stuck", "cold"): 90.0,
    ("stuck", "rising"): 30.0,
    ("stuck", "hold"): 30.0,
    ("stuck", "pressed"): 30.0,
    ("open", "cold"): 190.0,
    ("open", "rising"): 190.0,
    ("open", "hold"): 280.0,
    ("open", "pressed"): 480.0,
    ("welded", "hold"): 290.0,
    ("welded", "pressed"): 900.0,
    ("swapped", "hold"): 820.0,
    ("swapped", "pressed"): 1400.0,
}
# An output that stays on does not show until the loop wants less than full duty; nor do halves
# that answer to each other's heat while both get all of it.
AFTER_HEAT_UP_S = 3600.0

# Alike halves in step may be exchanged for an hour of pressings: both get the same heat.
MISSED = {("underpowered", "swapped", "pressed")}

HALF_THERMAL = HalfThermal(
    rise_k_per_s=0.26,
    heater_lag_s=8.0,
    spread_lag_s=5.0,
    dead_time_s=2.0,
    loss_per_s=7.5e-4,
    loss_rise_per_s_k=0.0,
    exchange_per_s=0.002,
)
THERMAL = Thermal(upper=HALF_THERMAL, lower=HALF_THERMAL, trusted=True)


@cache
def known(mould: str) -> Thermal:
    """Return a shipped mould's fitted model."""
    return campaign.known(load(mould), 0)


def fitted_state(thermal: Thermal = THERMAL) -> State:
    """Return a press whose mould has a fitted model."""
    return make_state(mould=replace(MOULD, thermal=thermal))


@pytest.mark.slow
@pytest.mark.parametrize("phase", campaign.PHASES)
@pytest.mark.parametrize("mould", shipped_moulds())
def test_faults_are_named_rightly_within_their_time(mould: str, phase: str) -> None:
    """Each fault of a phase: the right kind, the right half, within the time stated here."""
    thermal = known(mould)
    half = Half.LOWER if len(mould) % 2 else Half.UPPER
    begun = campaign.led_to(load(mould), thermal, phase, 7)
    for broken in campaign.BROKEN:
        if broken == "reversed" and phase != "cold":
            continue
        told = campaign.tell(begun, (mould, 0), broken, phase, half)
        if told.doubt is None and (mould, broken, phase) in MISSED:
            continue
        assert told.right, told
        assert told.after_s is not None
        assert told.after_s <= WITHIN_S.get((broken, phase), AFTER_HEAT_UP_S), told


@pytest.mark.slow
@pytest.mark.parametrize("mould", shipped_moulds())
def test_faults_are_never_suspected_on_an_ordinary_day(mould: str) -> None:
    """Heat-up, rest, pressings, long openings, standby and mains up or down: not one doubt.

    The long form is `python -m campaigns.faults`.
    """
    day = campaign.quiet(mould, 3, 1.5)
    assert day.said == ()
    assert day.weak == 0.0


@pytest.mark.slow
def test_faults_are_never_suspected_on_an_ordinary_day_of_a_guessed_model() -> None:
    """What R and lag alone allow to think of a mould accuses nobody."""
    assert campaign.quiet(DEMO_MOULD, 0, 1.5, guess=True).said == ()


@pytest.mark.parametrize(("mould", "broken"), [(DEMO_MOULD, "reversed"), ("underpowered", "open")])
def test_faults_of_a_heat_up_from_cold_are_told_with_a_guess_too(mould: str, broken: str) -> None:
    """A first heat-up, before any fit: the coarse rules name the fault and the half.

    A dead half that the other one warms well is not told by them.
    """
    model = load(mould)
    day = campaign.led_to(model, campaign.known(model, 0, guess=True), "cold", 1)
    told = campaign.tell(day, (mould, 0), broken, "cold", Half.LOWER)
    assert told.right, told
    assert told.after_s is not None
    assert told.after_s < 250.0


@pytest.mark.parametrize(
    ("power", "weak"),
    [((1.0, 0.7), (0.0, 0.3)), ((0.75, 0.75), (0.25, 0.25)), ((0.92, 0.92), (0.0, 0.0))],
)
def test_faults_say_by_how_much_a_heater_is_weak(
    power: tuple[float, float], weak: tuple[float, float]
) -> None:
    """The share that is missing, of the half that lacks it; the mains 4 % low is nobody's fault."""
    model = load(DEMO_MOULD)
    day = Day(model, known(DEMO_MOULD), 5)
    day.mould.power = list(power)
    at_rest(day)
    assert day.said == []
    found = tuple(one.weak for one in day.suspicion.halves())
    assert found == pytest.approx(weak, abs=0.06)
    assert day.loop.setpoints_c is not None


def test_faults_take_no_silence_for_a_doubt() -> None:
    """Without a line a wet charge was pressed and taken out: what nobody saw accuses nobody."""
    day = Day(load(DEMO_MOULD), known(DEMO_MOULD), 5)
    at_rest(day)
    for _ in range(3):
        before_c = day.readings_c[0]
        day.lane.open(charging=True)
        day.mould.load(60.0, 40.0, 15.0)
        day.lane.close()
        day.silent(240.0)
        day.lane.open(charging=False)
        day.silent(60.0)
        day.lane.close()
        day.silent(2.0)
        day.run(2.0)
        assert day.readings_c[0] < before_c - 20.0
        day.run(600.0)
    assert day.said == []


def test_faults_begin_anew_after_what_is_no_number() -> None:
    """A reading that is no number leaves nothing behind that is none."""
    play = Play(fitted_state())
    play.run(2.0)
    loop = play.state.loop
    loop = replace(loop, suspicion=Suspicion(upper=HalfDoubt(last_c=math.nan)))
    play.state = replace(play.state, loop=replace(loop, finite=False))
    play.run(20.0)
    assert math.isfinite(play.state.loop.suspicion.upper.missing)


def falling(play: Play, by_k: float = 1.6) -> None:
    """Let the upper sensor fall as no metal does, until heat is off."""
    for _ in range(40):
        assert play.upper_c is not None
        play.upper_c = max(play.upper_c - by_k, 60.0)
        play.frame()


def ready() -> Play:
    """Return a press with a fitted model, ready, long enough after its last opening."""
    play = Play(fitted_state()).to(Phase.READY)
    play.effects.clear()
    return play


def test_faults_take_the_heat_off_and_open_the_contactor() -> None:
    """A sensor that leaves its place: no duty, disarmed, and the alarm says half and fall."""
    play = ready()
    assert play.state.cycle.heat_wanted
    falling(play)
    assert play.alarm("sensor_loose") is AlarmState.ACTIVE
    assert not play.state.cycle.heat_wanted
    assert play.state.cycle.lost == "sensor_loose"
    assert any(isinstance(one, fx.SendDisarm) for one in play.effects)
    last = play.take(fx.SendDuty)[-1]
    assert (last.upper, last.lower) == (0.0, 0.0)


def test_faults_keep_the_heat_off_until_seen_and_reset() -> None:
    """The board may be armed again: no duty before the alarm was seen and reset."""
    play = ready()
    falling(play)
    play.set_c(170.0)
    play.board["st"] = "ready"
    play.run(1.0)
    play.effects.clear()
    play.start()
    play.run(DOUBT_S)
    assert play.state.cycle.heat_wanted
    assert {one.upper + one.lower for one in play.take(fx.SendDuty)} == {0.0}
    assert play.ask(ask.Acknowledge()) is None
    play.run(2.0)
    assert play.ask(ask.ResetAlarm(alarm="sensor_loose")) is None
    play.run(2.0)
    assert play.take(fx.SendDuty)[-1].upper > 0.0


def test_faults_interrupt_a_pressing_and_leave_its_card() -> None:
    """A pressing in hand is sealed with the cause, and the rescue card tells what to do."""
    play = Play(fitted_state()).to(Phase.HOLD)
    falling(play, 6.0)
    assert play.state.cycle.rescue is not None
    assert play.state.cycle.rescue.cause.code in {"sensor_loose", "no_rise"}


@pytest.mark.parametrize("fault", Fault)
def test_faults_are_told_with_half_and_numbers(fault: Fault) -> None:
    """Each suspected fault is an alarm of its name, with words for what and what to do."""
    doubt = Doubt(fault, "upper", 12.34, 8.0)
    state = Play(fitted_state()).state
    state = replace(state, loop=replace(state.loop, suspicion=Suspicion(doubt=doubt)))
    found = conditions(state, state.host_ms)[fault.value]
    assert found == {"half": "upper", "amount_k": 12.3, "span_s": 8}
    words = sentences.alarm_words(fault.value, found)
    assert words.what.startswith("HEAT")
    if fault is not Fault.SWAPPED:
        assert "upper" in words.what
        assert ("12 K" if fault is not Fault.SENSOR_STUCK else "8 s") in words.what
    if fault is Fault.HEATS_UNASKED:
        assert words.do.startswith("Isolator off")
    assert sentences.cause(Code(fault.value, found))


@pytest.mark.parametrize(
    ("weak", "code", "fields"),
    [
        ((0.19, 0.22), "supply_weak", {"short_duty": 0.21}),
        ((0.0, 0.31), "heater_weak", {"half": "lower", "short_duty": 0.31}),
        ((0.40, 0.2), "heater_weak", {"half": "upper", "short_duty": 0.4}),
    ],
)
def test_faults_name_the_supply_where_both_halves_are_weak_alike(
    weak: tuple[float, float], code: str, fields: dict[str, object]
) -> None:
    """Both by the same: supply first. One alone: its heater and wires first. Heat goes on."""
    state = Play(fitted_state()).state
    suspicion = Suspicion(upper=HalfDoubt(weak=weak[0]), lower=HalfDoubt(weak=weak[1]))
    state = replace(state, loop=replace(state.loop, suspicion=suspicion))
    found = conditions(state, state.host_ms)
    assert found == {code: fields}
    words = sentences.alarm_words(code, found[code])
    assert f"{fields['short_duty']:.0%}".replace("%", " %") in words.what
    assert ("supply first" in words.do) == (code == "supply_weak")


@pytest.mark.parametrize(("loss_per_s", "told"), [(1.58e-3, False), (1.62e-3, True)])
def test_faults_say_what_power_a_setpoint_takes_that_is_out_of_reach(
    loss_per_s: float, *, told: bool
) -> None:
    """From a hold duty of 0.97 on: 158 K of excess lose 0.2560 K/s of a half that rises 0.26."""
    half = replace(HALF_THERMAL, loss_per_s=loss_per_s)
    play = Play(fitted_state(Thermal(upper=half, lower=HALF_THERMAL, trusted=True)))
    play.to(Phase.PREHEAT)
    play.run(12.0)
    need = loss_per_s * (RECIPE.setpoint_c - play.state.press.ambient_c) / half.rise_k_per_s
    assert (need > POWER_SHORT_DUTY) is told
    assert (play.alarm("power_short") is AlarmState.ACTIVE) is told
    if told:
        found = conditions(play.state, play.state.host_ms)["power_short"]
        assert found["half"] == "upper"
        assert found["power_w"] == pytest.approx(need * MOULD.upper.heater_w, abs=5.0)
        assert play.state.cycle.heat_wanted


def test_faults_see_an_output_that_stays_on_without_any_heat_wanted() -> None:
    """Cold, nothing ordered, one heater on: told before the half is hot to the touch by much."""
    day = Day(load(DEMO_MOULD), known(DEMO_MOULD), 5)
    day.run(10.0)
    day.mould.heaters[0] = HeaterFault.WELDED
    assert day.until_doubt(300.0)
    assert day.said[0][1].fault is Fault.HEATS_UNASKED
    assert day.said[0][1].half == "upper"
    assert day.mould.upper_surface_c < 45.0
