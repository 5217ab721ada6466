"""Requests built from a person's units; token and sequence number are filled in when sent.

Each refuses what the wire cannot carry or the protocol forbids, so that nothing is clipped.
"""

from __future__ import annotations

import math
from typing import Final

from tawny.core import messages as m
from tawny.core.limits import CEILING_C, DUTY_EXPIRY_MS, TRIP_LEAST_C
from tawny.core.names import Half
from tawny.core.wire_fields import LAMPS, SETP, SOUNDS, U16
from tawny.errors import N_, InputError

NO_TOKEN: Final = "0000"  # noqa: S105 - the number of no session, not a secret
SLOTS: Final = 8
RISE_MOST_MK_PER_S: Final = 5000
LAG_MOST_TENTHS_S: Final = 3000
HEAT_UP_LEAST_S: Final = 60
HEAT_UP_MOST_S: Final = 7200


def duty(
    upper: float,
    upper_setpoint_c: float,
    lower: float,
    lower_setpoint_c: float,
    echo: int,
) -> m.Duty:
    """Return a duty line.

    Args:
        upper: Duty of the upper half, 0 to 1.
        upper_setpoint_c: Its setpoint, 0 where no heat is wanted.
        lower: Duty of the lower half, 0 to 1.
        lower_setpoint_c: Its setpoint, 0 where no heat is wanted.
        echo: The telemetry counter that the duty was computed from.

    Raises:
        InputError: A duty is not within 0 to 1, or a setpoint not within the wire's range.
    """
    return m.Duty(
        NO_TOKEN,
        0,
        _per_mille(upper),
        _setpoint(upper_setpoint_c),
        _per_mille(lower),
        _setpoint(lower_setpoint_c),
        echo,
        DUTY_EXPIRY_MS,
    )


def heat_off(echo: int) -> m.Duty:
    """Return the duty line that wants no heat."""
    return m.Duty(NO_TOKEN, 0, 0, 0, 0, 0, echo, DUTY_EXPIRY_MS)


def heat(half: Half, duty: float, echo: int) -> m.CommissioningHeat:
    """Return the line that heats one half while ARM is held.

    Args:
        half: Which one.
        duty: Its duty, 0 to 1; 0 brings the contactor in and heats nothing.
        echo: The telemetry counter that the line was decided from.

    Raises:
        InputError: The duty is not within 0 to 1.
    """
    return m.CommissioningHeat(NO_TOKEN, 0, half.value, _per_mille(duty), echo, DUTY_EXPIRY_MS)


def store_mould(
    slot: int, half: Half, rise_k_per_s: float, lag_s: float, heat_up_s: float
) -> m.StoreMould:
    """Return the request that stores one half's commissioned values.

    Raises:
        InputError: A value is outside what the board takes.
    """
    return m.StoreMould(
        NO_TOKEN,
        0,
        _slot(slot),
        half.value,
        _whole(
            N_("rise at full duty"),
            rise_k_per_s,
            1000.0,
            least=1,
            most=RISE_MOST_MK_PER_S,
            unit="K/s",
        ),
        _whole(N_("lag"), lag_s, 10.0, least=1, most=LAG_MOST_TENTHS_S, unit="s"),
        _whole(
            N_("heat-up time"), heat_up_s, 1.0, least=HEAT_UP_LEAST_S, most=HEAT_UP_MOST_S, unit="s"
        ),
    )


def use_mould(slot: int) -> m.Use:
    """Return the request that selects a stored slot."""
    return m.Use(NO_TOKEN, 0, _slot(slot))


def read_mould(slot: int) -> m.MouldAsk:
    """Return the request that reads a slot; 0 is the one in use."""
    return m.MouldAsk(NO_TOKEN, 0, slot if slot == 0 else _slot(slot))


def read_log(entry: int) -> m.LogAsk:
    """Return the request that reads one entry of the event log, by its number on the wire."""
    return m.LogAsk(NO_TOKEN, 0, entry % (U16.most + 1))


def trip(trip_c: float) -> m.TripSet:
    """Return the request for another trip point.

    Raises:
        InputError: It is outside the least trip point and the compiled ceiling.
    """
    if not TRIP_LEAST_C <= trip_c <= CEILING_C:
        raise InputError(
            N_(
                "trip point {trip_c} degC is outside {least_c} to {most_c} degC; "
                "give one within these limits"
            ),
            trip_c=trip_c,
            least_c=TRIP_LEAST_C,
            most_c=CEILING_C,
        )
    return m.TripSet(NO_TOKEN, 0, round(10.0 * trip_c))


def signal(lamp: str, sound: str) -> m.Signal:
    """Return the request for a call lamp and buzzer pattern.

    Raises:
        InputError: The protocol has no such word.
    """
    for word, known in ((lamp, LAMPS), (sound, SOUNDS)):
        if word not in known:
            raise InputError(
                N_("the board has no signal {word}; use one of {known}"),
                word=word,
                known=", ".join(known),
            )
    return m.Signal(NO_TOKEN, 0, lamp, sound)


def _per_mille(duty: float) -> int:
    if not 0.0 <= duty <= 1.0:
        raise InputError(
            N_("duty {duty} is outside 0 to 1; heat is commanded off instead"), duty=duty
        )
    return round(1000.0 * duty)


def _setpoint(setpoint_c: float) -> int:
    most_c = SETP.most / 10.0
    if not 0.0 <= setpoint_c <= most_c:
        raise InputError(
            N_(
                "setpoint {setpoint_c} degC is outside 0 to {most_c} degC; "
                "heat is commanded off instead"
            ),
            setpoint_c=setpoint_c,
            most_c=most_c,
        )
    return round(10.0 * setpoint_c)


def _slot(slot: int) -> int:
    if not 1 <= slot <= SLOTS:
        raise InputError(
            N_("mould slot {slot} is outside 1 to {most}; choose one of them"),
            slot=slot,
            most=SLOTS,
        )
    return slot


def _whole(what: str, value: float, scale: float, *, least: int, most: int, unit: str) -> int:
    scaled = scale * value
    if not (math.isfinite(scaled) and least <= round(scaled) <= most):
        raise InputError(
            N_(
                "{what} {value} {unit} is outside {least} to {most} {unit}; "
                "commission the mould again"
            ),
            what=what,
            value=value,
            unit=unit,
            least=least / scale,
            most=most / scale,
        )
    return round(scaled)
