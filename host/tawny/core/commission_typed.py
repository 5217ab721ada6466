"""What a person types while commissioning: each answer holds, or fails its step with a sentence."""

from __future__ import annotations

from typing import Final, NamedTuple

from tawny.core.commission import (
    OPENS_ABOVE_C,
    OPENS_MOST_C,
    ROOM_WITHIN_K,
    Asked,
    Plan,
)
from tawny.core.limits import CEILING_C, SETPOINT_BELOW_TRIP_K, TRIP_LEAST_C
from tawny.core.names import Half
from tawny.core.snapshot import Code, Field
from tawny.core.units import parse
from tawny.errors import QuantityError

YES: Final = "yes"
# Asked for are only these: a dead part shows "off", which must be a wrong answer every time.
LAMPS: Final = ("on", "blink")
SOUNDS: Final = ("topup", "breathe")
TONES: Final = {"off": 0, "topup": 1, "breathe": 2}  # in a group: firmware/PROTOCOL.md 6.9
NAME_LEAST: Final = 2
NAME_MOST: Final = 80
ROOM_LEAST_C: Final = 0.0
ROOM_MOST_C: Final = 45.0  # a mould that is warmer is no witness of the room
TRIP_ABOVE_SETPOINT_K: Final = 20.0  # proposed; the board asks for 15

Typed = dict[str, Field] | Code


class Known(NamedTuple):
    """What an answer is judged by.

    Attributes:
        person: Who was named first; "" before.
        lamp, sound: What the board was asked to show.
        readings_c: Of each half that is fitted, by a fresh line; empty where there is none.
        ceiling_c: The board's compiled ceiling.
    """

    plan: Plan
    person: str
    lamp: str
    sound: str
    readings_c: dict[Half, float]
    ceiling_c: float


def proposed_trip_c(plan: Plan) -> float:
    """Return the trip point that suits a mould: as low as its recipes allow."""
    return plan.setpoint_c + TRIP_ABOVE_SETPOINT_K


def judge_typed(asked: Asked, text: str, known: Known) -> Typed:
    """Return the values of an answer, or why it fails the step."""
    text = " ".join(text.split())
    match asked:
        case Asked.PERSON | Asked.SECOND:
            return _name(asked, text, known)
        case Asked.YES:
            return {"said": YES} if text.lower() == YES else Code("not_yes")
        case Asked.LAMP:
            seen = text.lower()
            return {"lamp": seen} if seen == known.lamp else Code("other_lamp")
        case Asked.TONES:
            heard = str(TONES[known.sound])
            return {"tones": int(heard)} if text == heard else Code("other_tones")
        case Asked.ROOM:
            return _room(text, known)
        case Asked.OPENING:
            return _opening(text, known)
        case Asked.TRIP:
            return _trip(text, known)


def _name(asked: Asked, text: str, known: Known) -> Typed:
    if not NAME_LEAST <= len(text) <= NAME_MOST:
        return Code("no_name")
    if asked is Asked.SECOND and text.casefold() == known.person.casefold():
        return Code("same_name")
    return {"name": text}


def _degrees(text: str) -> float | Code:
    try:
        return parse(text, "degC")
    except QuantityError:
        return Code("no_temperature")


def _room(text: str, known: Known) -> Typed:
    room_c = _degrees(text)
    if isinstance(room_c, Code):
        return room_c
    if not ROOM_LEAST_C <= room_c <= ROOM_MOST_C:
        return Code("room_range", {"least_c": ROOM_LEAST_C, "most_c": ROOM_MOST_C})
    if not known.readings_c:
        return Code("no_link")
    for half, reading_c in known.readings_c.items():
        if not abs(reading_c - room_c) <= ROOM_WITHIN_K:
            return Code(
                "probe_off",
                {
                    "half": half.value,
                    "reading_c": reading_c,
                    "thermometer_c": room_c,
                    "within_k": ROOM_WITHIN_K,
                },
            )
    readings = {f"{half.value}_c": reading_c for half, reading_c in known.readings_c.items()}
    return {"room_c": room_c, **readings}


def _opening(text: str, known: Known) -> Typed:
    opens_c = _degrees(text)
    if isinstance(opens_c, Code):
        return opens_c
    most_c = min(OPENS_MOST_C, known.plan.rated_c)
    if not OPENS_ABOVE_C < opens_c <= most_c:
        return Code("opening_range", {"least_c": OPENS_ABOVE_C, "most_c": most_c})
    return {"opens_c": opens_c}


def _trip(text: str, known: Known) -> Typed:
    trip_c = _degrees(text) if text else proposed_trip_c(known.plan)
    if isinstance(trip_c, Code):
        return trip_c
    least_c = max(known.plan.setpoint_c + SETPOINT_BELOW_TRIP_K, TRIP_LEAST_C)
    most_c = min(known.ceiling_c, CEILING_C, known.plan.rated_c)
    if not least_c <= trip_c <= most_c:
        return Code(
            "trip_range",
            {"least_c": least_c, "most_c": most_c, "setpoint_c": known.plan.setpoint_c},
        )
    return {"trip_c": trip_c}
