"""A converter's register as numbers that pack well, without loss."""

from __future__ import annotations

from typing import NamedTuple

from tawny.errors import N_, InputError


class RegisterFields(NamedTuple):
    """A converter's 32-bit register as three small numbers, which pack better apart."""

    thermocouple: int  # bits 31..18, signed, quarters of a kelvin
    cold_junction: int  # bits 15..4, signed, sixteenths of a kelvin
    bits: int  # the other six: 17, 16, 3, 2, 1, 0, highest first


def split_register(raw: int) -> RegisterFields:
    """Take a register apart without loss; `tawny.core.converter` says what the bits mean."""
    if not 0 <= raw < 1 << 32:
        raise InputError(N_("register {raw} does not fit 32 bits"), raw=raw)
    thermocouple, cold_junction = raw >> 18, raw >> 4 & 0xFFF
    return RegisterFields(
        thermocouple - (thermocouple >> 13 << 14),
        cold_junction - (cold_junction >> 11 << 12),
        raw >> 16 << 4 & 0x30 | raw & 0xF,
    )


def join_register(fields: RegisterFields) -> int:
    """Put a register back together."""
    thermocouple, cold_junction, bits = fields
    return (
        (thermocouple & 0x3FFF) << 18
        | (bits & 0x30) << 12
        | (cold_junction & 0xFFF) << 4
        | bits & 0xF
    )
