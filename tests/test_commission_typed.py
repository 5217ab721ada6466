"""What a person types while commissioning, judged at its limits and one step beside."""

from __future__ import annotations

import math

import msgspec
import pytest

from commission_rig import Rig, plan_for
from tawny.core.commission import Asked, Outcome, Plan
from tawny.core.commission_typed import LAMPS, SOUNDS, TONES, Known, judge_typed, proposed_trip_c
from tawny.core.names import Half
from tawny.core.snapshot import Code
from tawny.sim.parameters import load


def known(
    plan: Plan,
    *,
    readings_c: tuple[float, ...] = (22.0, 22.0),
    ceiling_c: float = 230.0,
    lamp: str = "on",
    sound: str = "topup",
) -> Known:
    """Return what an answer is judged by."""
    halves = dict(zip(Half, readings_c, strict=False))
    return Known(plan, "Ada Reed", lamp, sound, halves, ceiling_c)


def plan(*, rated_c: float = 400.0, setpoint_c: float = 180.0) -> Plan:
    """Return a plan."""
    return plan_for(load("saucer-160"), setpoint_c=setpoint_c)._replace(rated_c=rated_c)


def code_of(asked: Asked, text: str, judged_by: Known) -> str:
    """Return the code of an answer that fails; "" for one that holds."""
    found = judge_typed(asked, text, judged_by)
    return found.code if isinstance(found, Code) else ""


@pytest.mark.parametrize(
    ("text", "rated_c", "code"),
    [
        # hardware/parts.csv, T1: above 240 degC and below the weakest part; 350 is our own bound.
        ("240.0 degC", 400.0, "opening_range"),
        ("240.1 degC", 400.0, ""),
        ("350.0 degC", 400.0, ""),
        ("350.1 degC", 400.0, "opening_range"),
        ("260.0 degC", 260.0, ""),
        ("260.1 degC", 260.0, "opening_range"),
        ("349 degC", 270.0, "opening_range"),
        ("241 degC", 210.0, "opening_range"),  # no thermostat suits such a mould
        ("209 degC", 210.0, "opening_range"),
        ("250", 400.0, "no_temperature"),
        ("nan degC", 400.0, "no_temperature"),
    ],
)
def test_typed_opening_of_a_limit_thermostat(text: str, rated_c: float, code: str) -> None:
    """Above the ceiling with its tolerance, and not above what the mould's weakest part bears."""
    assert code_of(Asked.OPENING, text, known(plan(rated_c=rated_c))) == code


@pytest.mark.parametrize(
    ("text", "readings_c", "code"),
    [
        ("0.0 degC", (0.0, 0.0), ""),
        ("-0.1 degC", (0.0, 0.0), "room_range"),
        ("45.0 degC", (45.0, 45.0), ""),
        ("45.1 degC", (45.0, 45.0), "room_range"),
        ("22 degC", (26.0, 18.0), ""),
        ("22 degC", (26.1, 22.0), "probe_off"),
        ("22 degC", (22.0, 17.9), "probe_off"),
        ("22 degC", (math.nan, 22.0), "probe_off"),
        ("22 degC", (26.0,), ""),  # one zone
        ("22 degC", (), "no_link"),
        ("295 K", (22.0, 22.0), "no_temperature"),
    ],
)
def test_typed_room_against_the_probes(text: str, readings_c: tuple[float, ...], code: str) -> None:
    """Between 0 and 45 degC, each probe within 4 K; no reading is no agreement."""
    assert code_of(Asked.ROOM, text, known(plan(), readings_c=readings_c)) == code


@pytest.mark.parametrize(
    ("text", "setpoint_c", "ceiling_c", "rated_c", "code"),
    [
        # core/limits.py: 15 K above the setpoint at least, the compiled ceiling at most.
        ("195.0 degC", 180.0, 230.0, 400.0, ""),
        ("194.9 degC", 180.0, 230.0, 400.0, "trip_range"),
        ("230.0 degC", 180.0, 230.0, 400.0, ""),
        ("230.1 degC", 180.0, 230.0, 400.0, "trip_range"),
        ("60.0 degC", 40.0, 230.0, 400.0, ""),
        ("59.9 degC", 40.0, 230.0, 400.0, "trip_range"),
        ("220.0 degC", 180.0, 220.0, 400.0, ""),
        ("220.1 degC", 180.0, 220.0, 400.0, "trip_range"),
        ("230.0 degC", 180.0, 250.0, 400.0, ""),
        ("230.1 degC", 180.0, 250.0, 400.0, "trip_range"),
        ("210.0 degC", 180.0, 230.0, 210.0, ""),
        ("225 degC", 180.0, 230.0, 210.0, "trip_range"),
        ("", 180.0, 230.0, 200.0, ""),  # what is proposed
        ("", 180.0, 230.0, 199.9, "trip_range"),
        ("", 180.0, math.nan, 400.0, "trip_range"),
        ("200", 180.0, 230.0, 400.0, "no_temperature"),
    ],
)
def test_typed_trip_point(
    text: str, setpoint_c: float, ceiling_c: float, rated_c: float, code: str
) -> None:
    """Above the setpoint, below the board's own ceiling, and not above what the mould bears."""
    asked = known(plan(rated_c=rated_c, setpoint_c=setpoint_c), ceiling_c=ceiling_c)

    assert code_of(Asked.TRIP, text, asked) == code


def test_typed_trip_point_that_is_proposed_is_20_k_above_the_setpoint() -> None:
    """As hardware/commissioning.md, 7.8, has it: working setpoint + 20 K or more."""
    assert proposed_trip_c(plan(setpoint_c=180.0)) == 200.0


def test_typed_trip_point_goes_by_the_ceiling_of_the_board_at_hand() -> None:
    """A board built with a lower one: what it would refuse is told before it is asked."""
    rig = Rig(step="trip_point")
    rig.run(0.3)
    limits = rig.commissioner._board.limits  # noqa: SLF001
    assert limits is not None
    assert limits.ceil == 2300
    rig.commissioner._board.limits = msgspec.structs.replace(limits, ceil=1990)  # noqa: SLF001
    rig.until_outcome(Outcome.FAILED, 30.0)

    assert rig.codes("failed") == ["trip_range"]
    assert next(one for one in rig.said if one.kind == "failed").code.fields["most_c"] == 199.0


@pytest.mark.parametrize("lamp", ["on", "blink"])
@pytest.mark.parametrize("sound", ["topup", "breathe"])
def test_typed_signal_of_a_dead_part_is_never_right(lamp: str, sound: str) -> None:
    """Of all that the board may be asked to show, a dead lamp and a dead buzzer show nothing."""
    asked = known(plan(), lamp=lamp, sound=sound)

    assert code_of(Asked.LAMP, "off", asked) == "other_lamp"
    assert code_of(Asked.TONES, "0", asked) == "other_tones"
    assert code_of(Asked.LAMP, f" {lamp.upper()} ", asked) == ""
    assert code_of(Asked.TONES, str(TONES[sound]), asked) == ""
    assert set(LAMPS) == {"on", "blink"}
    assert set(SOUNDS) == {"topup", "breathe"}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("B", "no_name"),
        ("Bo", ""),
        ("B" * 80, ""),
        ("B" * 81, "no_name"),
        ("ADA  reed", "same_name"),
        ("Ada Reed jun.", ""),
    ],
)
def test_typed_second_name(text: str, code: str) -> None:
    """2 to 80 letters, and another one than the first."""
    assert code_of(Asked.SECOND, text, known(plan())) == code
