"""The cold-junction-compensated, linear-slope type K converter: its 32-bit register.

The chip adds its own temperature to the thermocouple's voltage divided by one constant
slope, which reads about 1.4 K low at 180 degC. The correction undoes that sum and applies
the ITS-90 reference function; it needs both temperatures of the register, and it must never
be applied to a chip that linearises by itself.

Register (data sheet "Cold-Junction Compensated Thermocouple-to-Digital Converter"):
    31..18 thermocouple, signed, 0.25 K · 17 reserved 0 · 16 any fault
    15..4 cold junction, signed, 0.0625 K · 3 reserved 0 · 2 short to supply
    1 short to ground · 0 open
"""

from __future__ import annotations

import math
from bisect import bisect_right
from enum import StrEnum
from functools import cache
from typing import NamedTuple

import msgspec

from tawny.core import thermocouple
from tawny.errors import N_, InputError

SLOPE_MV_PER_K = 0.041276  # type K, data sheet; E(1000 degC) / 1000 of the reference function
THERMOCOUPLE_STEP_K = 0.25
COLD_JUNCTION_STEP_K = 0.0625
REGISTER_MOST = 0xFFFFFFFF

# What the data sheet says the chip can report of type K and of itself, in °C.
LEAST_C, MOST_C = -200.0, 1350.0
COLD_LEAST_C, COLD_MOST_C = -55.0, 127.0

_RESERVED_BITS = 0x0002_0008
_ANY_FAULT_BIT = 0x0001_0000
_CAUSE_BITS = 0x0000_0007
_NOT_GOOD_BITS = _RESERVED_BITS | _ANY_FAULT_BIT | _CAUSE_BITS
_COLD_LEAST_CODE = int(COLD_LEAST_C / COLD_JUNCTION_STEP_K)
_COLD_MOST_CODE = int(COLD_MOST_C / COLD_JUNCTION_STEP_K)


class Fault(StrEnum):
    """Why a register is no temperature; GOOD where it is one."""

    GOOD = "good"
    OPEN = "open"
    SHORT_GND = "short_gnd"
    SHORT_VCC = "short_vcc"
    ZERO = "zero"  # every bit 0: a dead data line looks like this, both junctions at 0.00 never
    ONES = "ones"  # every bit 1: no chip answers
    RESERVED = "reserved"  # a bit that must be 0, or the fault bit with no cause: line noise
    RANGE = "range"  # outside what the chip can report


_FAULT_REGISTERS = {
    Fault.OPEN: _ANY_FAULT_BIT | 0x1,
    Fault.SHORT_GND: _ANY_FAULT_BIT | 0x2,
    Fault.SHORT_VCC: _ANY_FAULT_BIT | 0x4,
    Fault.RESERVED: 0x8,
}


class Register(msgspec.Struct, frozen=True):
    """One register, taken apart.

    Attributes:
        thermocouple_c: As the chip reports it, linear; not the mould's temperature.
        cold_junction_c: The chip's own temperature.
        fault: What the bits say. The two numbers mean something only where it is GOOD.
    """

    thermocouple_c: float
    cold_junction_c: float
    fault: Fault


def decode(raw: int) -> Register:
    """Take a register apart.

    Args:
        raw: The 32 bits, most significant first, as an unsigned number.

    Raises:
        InputError: If it does not fit 32 bits.
    """
    fault = fault_of(raw)
    thermocouple_code, cold_code = _codes(raw)
    return Register(
        thermocouple_c=thermocouple_code * THERMOCOUPLE_STEP_K,
        cold_junction_c=cold_code * COLD_JUNCTION_STEP_K,
        fault=fault,
    )


def fault_of(raw: int) -> Fault:
    """Return why a register is no temperature, GOOD where it is one.

    The broadest cause comes first, since it makes the rest meaningless.

    Raises:
        InputError: If `raw` does not fit 32 bits.
    """
    if not 0 <= raw <= REGISTER_MOST:
        raise InputError(N_("register {raw:#x} does not fit 32 bits"), raw=raw)
    if raw & _NOT_GOOD_BITS:
        return _fault_in_bits(raw)
    if raw == 0:
        return Fault.ZERO
    table = _table()
    return Fault.GOOD if table.least_mv <= _table_emf_mv(raw) <= table.most_mv else Fault.RANGE


def encode(thermocouple_c: float, cold_junction_c: float, fault: Fault = Fault.GOOD) -> int:
    """Return the register the chip would hold, each temperature rounded to its step.

    Args:
        thermocouple_c: The linear reading, `linear_reading_c`; -2048 to 2047.75.
        cold_junction_c: -128 to 127.9375.
        fault: Sets its bits; ZERO and ONES override everything, RANGE sets nothing.

    Raises:
        InputError: If a temperature does not fit its field.
    """
    if fault is Fault.ZERO:
        return 0
    if fault is Fault.ONES:
        return REGISTER_MOST
    thermocouple_field = _field(thermocouple_c, THERMOCOUPLE_STEP_K, bits=14)
    cold_field = _field(cold_junction_c, COLD_JUNCTION_STEP_K, bits=12)
    return thermocouple_field << 18 | cold_field << 4 | _FAULT_REGISTERS.get(fault, 0)


def linear_reading_c(true_c: float, cold_c: float) -> float:
    """Return what the chip reports, before rounding, in °C.

    Args:
        true_c: Temperature of the hot junction.
        cold_c: Temperature of the chip.

    Raises:
        InputError: If either is outside type K.
    """
    across_mv = thermocouple.emf_mv("K", true_c) - thermocouple.emf_mv("K", cold_c)
    return cold_c + across_mv / SLOPE_MV_PER_K


def corrected_c(raw: int) -> float | Fault:
    """Return the true temperature of the hot junction in °C, or why there is none.

    Undoes the chip's sum, V = slope · (thermocouple - cold junction), adds E(cold junction)
    and inverts E.

    Raises:
        InputError: If `raw` does not fit 32 bits.
    """
    fault = fault_of(raw)
    if fault is not Fault.GOOD:
        return fault
    return thermocouple.temperature_c("K", _emf_mv(raw))


def corrected_decidegc(raw: int) -> int:
    """Return the true temperature in tenths of a °C, rounded to the nearest, half up.

    The fast form of `corrected_c`, for each sample: one search in a table built at first use.

    Raises:
        InputError: If the register is no temperature; `fault_of` says why.
    """
    if not raw & _NOT_GOOD_BITS and 0 < raw <= REGISTER_MOST:
        emf_mv = _table_emf_mv(raw)
        table = _table()
        if table.least_mv <= emf_mv <= table.most_mv:
            return table.first + bisect_right(table.edges_mv, emf_mv)
    raise InputError(
        N_("register {raw:#010x} is no temperature ({fault}): heat must stay off"),
        raw=raw,
        fault=fault_of(raw).value,
    )


class _Table(NamedTuple):
    """What `corrected_decidegc` looks up.

    Attributes:
        cold_mv: E(cold junction) - slope · cold junction, by code from the lowest.
        edges_mv: E halfway between each tenth of a degree and the next.
        first: The tenths below the first edge.
        least_mv: E at the lowest temperature the chip can report.
        most_mv: E at the highest.
    """

    cold_mv: list[float]
    edges_mv: list[float]
    first: int
    least_mv: float
    most_mv: float


@cache
def _table() -> _Table:
    first, last = round(LEAST_C * 10), round(MOST_C * 10)
    cold_c = [code * COLD_JUNCTION_STEP_K for code in range(_COLD_LEAST_CODE, _COLD_MOST_CODE + 1)]
    return _Table(
        cold_mv=[thermocouple.emf_mv("K", value) - SLOPE_MV_PER_K * value for value in cold_c],
        edges_mv=[thermocouple.emf_mv("K", (n + 0.5) / 10.0) for n in range(first, last)],
        first=first,
        least_mv=thermocouple.emf_mv("K", LEAST_C),
        most_mv=thermocouple.emf_mv("K", MOST_C),
    )


def _codes(raw: int) -> tuple[int, int]:
    """Return the two signed fields."""
    thermocouple_code = raw >> 18
    if thermocouple_code & 0x2000:
        thermocouple_code -= 0x4000
    cold_code = raw >> 4 & 0xFFF
    if cold_code & 0x800:
        cold_code -= 0x1000
    return thermocouple_code, cold_code


def _emf_mv(raw: int) -> float:
    """Return the hot junction's voltage against 0 degC."""
    thermocouple_code, cold_code = _codes(raw)
    cold_c = cold_code * COLD_JUNCTION_STEP_K
    across_mv = SLOPE_MV_PER_K * (thermocouple_code * THERMOCOUPLE_STEP_K - cold_c)
    return across_mv + thermocouple.emf_mv("K", cold_c)


def _table_emf_mv(raw: int) -> float:
    """Return the same from the table; infinite where the cold junction is out of range."""
    thermocouple_code, cold_code = _codes(raw)
    if not _COLD_LEAST_CODE <= cold_code <= _COLD_MOST_CODE:
        return math.inf
    return (
        SLOPE_MV_PER_K * THERMOCOUPLE_STEP_K * thermocouple_code
        + _table().cold_mv[cold_code - _COLD_LEAST_CODE]
    )


def _fault_in_bits(raw: int) -> Fault:
    """Return which fault the flag and reserved bits tell; some bit of them is set."""
    if raw == REGISTER_MOST:
        return Fault.ONES
    # A cause counts even without the common fault bit: chips have been seen to leave it clear.
    if not raw & _RESERVED_BITS:
        for fault in (Fault.OPEN, Fault.SHORT_GND, Fault.SHORT_VCC):
            if raw & _FAULT_REGISTERS[fault] & _CAUSE_BITS:
                return fault
    return Fault.RESERVED


def _field(value_c: float, step_k: float, *, bits: int) -> int:
    """Return a temperature as a two's complement field of so many bits."""
    half = 1 << (bits - 1)
    if not -half - 0.5 <= value_c / step_k < half - 0.5:
        raise InputError(
            N_("{value_c} degC does not fit the converter's field, {least_c} to {most_c} degC"),
            value_c=value_c,
            least_c=-half * step_k,
            most_c=(half - 1) * step_k,
        )
    return math.floor(value_c / step_k + 0.5) & (2 * half - 1)
