"""Quantities as text: the one door to pint.

Files, forms and the command line give numbers with their unit; everything inside is a
float whose name ends in its unit. The units of our own files are looked up in a small
table, because building pint's registry costs more than starting the program; any other
unit goes to pint, and a test holds the table against it.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from tawny.errors import N_, QuantityError

if TYPE_CHECKING:
    import pint


class _Unit(NamedTuple):
    dimension: str
    factor: float  # base units of the dimension in one of this
    shift: float = 0.0  # added before the factor: where this unit's zero lies


TABLE = {
    "degC": _Unit("temperature", 1.0),
    "degF": _Unit("temperature", 5.0 / 9.0, -32.0),
    "K": _Unit("difference", 1.0),
    "delta_degC": _Unit("difference", 1.0),
    "delta_degF": _Unit("difference", 5.0 / 9.0),
    "fraction": _Unit("fraction", 1.0),
    "%": _Unit("fraction", 0.01),
    "s": _Unit("time", 1.0),
    "ms": _Unit("time", 0.001),
    "min": _Unit("time", 60.0),
    "h": _Unit("time", 3600.0),
    "K/s": _Unit("ramp rate", 1.0),
    "K/min": _Unit("ramp rate", 1.0 / 60.0),
    "g": _Unit("mass", 1.0),
    "kg": _Unit("mass", 1000.0),
    "mm": _Unit("length", 1.0),
    "cm": _Unit("length", 10.0),
    "m": _Unit("length", 1000.0),
    "mm^2": _Unit("area", 0.01),
    "cm^2": _Unit("area", 1.0),
    "kN": _Unit("force", 1.0),
    "N": _Unit("force", 0.001),
    "bar": _Unit("pressure", 1.0),
    "kPa": _Unit("pressure", 0.01),
    "MPa": _Unit("pressure", 10.0),
    "W": _Unit("power", 1.0),
    "kW": _Unit("power", 1000.0),
    "A": _Unit("current", 1.0),
    "mV": _Unit("voltage", 1.0),
    "V": _Unit("voltage", 1000.0),
    "J/mol": _Unit("molar energy", 1.0),
    "kJ/mol": _Unit("molar energy", 1000.0),
    "J/K": _Unit("heat capacity", 1.0),
    "W/K": _Unit("conductance", 1.0),
    "J/kg/K": _Unit("specific heat", 1.0),
    "J/kg/K^2": _Unit("specific heat rise", 1.0),
    "W/m/K": _Unit("conductivity", 1.0),
    "W/m^2/K": _Unit("heat transfer", 1.0),
    "kg/m^3": _Unit("density", 1.0),
}
_ALIASES = {
    # Bare C and F are coulomb and farad to pint, which no file of ours means.
    **dict.fromkeys(("C", "°C", "ºC", "℃", "degree_Celsius"), "degC"),
    **dict.fromkeys(("F", "°F", "ºF", "℉", "degree_Fahrenheit"), "degF"),
    "kelvin": "K",
    "delta_degree_Celsius": "delta_degC",
    "delta_degree_Fahrenheit": "delta_degF",
    "percent": "%",
    "minute": "min",
    "hour": "h",
    "second": "s",
    "mm2": "mm^2",
    "mm²": "mm^2",
    "cm2": "cm^2",
    "cm²": "cm^2",
}
# pint would turn an absolute kelvin into degC, a difference into an absolute, and an angle
# or a count into a fraction. In these dimensions only the table's own units are taken.
_CLOSED = {"temperature", "difference", "fraction"}
_EXAMPLES = {
    "temperature": "180 degC",
    "difference": "2 K",
    "fraction": "8 %",
    "time": "4 min",
    "mass": "32 g",
}

_NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,4})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(.*)", re.DOTALL)
_COMMA = re.compile(r"[-+]?[0-9]*,[0-9]")
_NOT_FINITE = re.compile(r"[-+]?(?:nan|inf|infinity)\b", re.IGNORECASE)
# Factors joined by / * or ·, one-digit powers, no numbers: what pint would otherwise
# evaluate, up to powers of powers.
_FACTOR = r"[A-Za-zµμΔ°%][A-Za-z_µμΔ°]*(?:(?:\^|\*\*)-?[0-9])?"
_UNIT_TEXT = re.compile(rf"{_FACTOR}(?:[/*·]{_FACTOR}){{0,5}}")
_UNIT_LONGEST = 60
_OFFSET_FACTOR = re.compile(r"(?<!delta_)degree_")
_CLOCK = re.compile(r"(?:([0-9]{1,3}):)?([0-9]{1,3}):([0-5][0-9])")
_SPELT_TIME = re.compile(
    r"(?:([0-9]+)\s*h\s*)?(?:([0-9]+)\s*min\s*)?(?:([0-9]+(?:\.[0-9]+)?)\s*s)?"
)


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Return the one registry, built when it is first needed."""
    import pint  # noqa: PLC0415 - a third of a second that most commands do without

    return pint.UnitRegistry()


def parse(text: str, unit: str) -> float:
    """Return the quantity in a text as a number of the unit asked for.

    Args:
        text: A number with a point and its unit, such as "180 degC", "356 °F", "4 min",
            "8 %" or "110 bar"; for a time also "2 min 30 s" and "2:30" (minutes and
            seconds).
        unit: The unit of the answer. "fraction" for shares; "K" for a difference of two
            temperatures, "degC" for a temperature: neither is ever taken for the other.

    Raises:
        QuantityError: If the unit is missing, unknown or of another dimension, or the
            number has a comma or is not finite.
    """
    wanted = TABLE.get(unit)
    stripped = text.strip()
    if wanted is not None and wanted.dimension == "time":
        seconds = _compound_s(stripped)
        if seconds is not None:
            return seconds / wanted.factor
    number, name = _split(stripped, unit)
    name = _ALIASES.get(name, name)
    given = TABLE.get(name)
    if given is None or wanted is None:
        value = _by_pint(number, name, unit, stripped)
    elif given.dimension != wanted.dimension:
        raise _wrong_dimension(stripped, unit, given.dimension)
    else:
        value = _by_table(number, given, wanted)
    if not math.isfinite(value):
        raise QuantityError(N_('"{text}" is not a finite number of {unit}'), text=text, unit=unit)
    return value


def parse_difference_k(text: str) -> float:
    """Return a difference of two temperatures in K.

    Args:
        text: Written in K, delta_degC or delta_degF. degC is refused: 5 degC is a
            temperature, and a deadband read as one would be silently wrong.

    Raises:
        QuantityError: As `parse`.
    """
    return parse(text, "K")


def parse_number(text: str) -> float:
    """Return a plain finite number, written with a point, from a text such as a CSV field.

    Raises:
        QuantityError: If it is anything else.
    """
    stripped = text.strip()
    if not re.fullmatch(_NUMBER, stripped):
        raise _not_a_number(stripped, "0.5")
    value = float(stripped)
    if not math.isfinite(value):
        raise QuantityError(N_('"{text}" is too large'), text=_shown(text))
    return value


def format_quantity(value: float, unit: str) -> str:
    """Return a quantity in the form files use: "180 degC", "2.5 K", "8 %".

    Args:
        value: A finite number of `unit`; a fraction 0-1 where `unit` is "fraction".
        unit: As for `parse`, which reads the text back to 12 figures.

    Raises:
        QuantityError: If the value is not finite.
    """
    if not math.isfinite(value):
        raise QuantityError(
            N_("a value of {value} {unit} cannot be written: it is not a finite number"),
            value=value,
            unit=unit,
        )
    if unit == "fraction":
        value, unit = value * 100.0, "%"
    return f"{value + 0.0:.12g} {unit}"  # + 0.0 writes minus zero as zero


def _compound_s(text: str) -> float | None:
    """Return "2:30", "1:02:30" or "2 min 30 s" in seconds; None for any other text."""
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        h, m, s = (float(part or 0) for part in clock.groups())
        if clock[1] is not None and not m < 60:  # noqa: PLR2004 - minutes in an hour
            return None
        return h * 3600.0 + m * 60.0 + s
    spelt = _SPELT_TIME.fullmatch(text)
    if spelt is None or sum(part is not None for part in spelt.groups()) < 2:  # noqa: PLR2004
        return None
    h, m, s = (float(part or 0) for part in spelt.groups())
    return h * 3600.0 + m * 60.0 + s


def _split(text: str, unit: str) -> tuple[float, str]:
    """Return the number and the unit's name, or refuse with the reason."""
    example = _example(unit)
    match = _QUANTITY.fullmatch(text)
    if match is None or _COMMA.match(text):
        raise _not_a_number(text, example)
    if not match[2]:
        raise QuantityError(
            N_('"{text}" has no unit: write for example "{example}"'),
            text=_shown(text),
            example=example,
        )
    return float(match[1]), match[2]


def _by_table(number: float, given: _Unit, wanted: _Unit) -> float:
    if given == wanted:
        return number
    return (number + given.shift) * given.factor / wanted.factor - wanted.shift


def _by_pint(number: float, name: str, unit: str, text: str) -> float:
    """Convert where either unit is not in the table."""
    import pint  # noqa: PLC0415 - see `registry`

    if len(name) > _UNIT_LONGEST or not _UNIT_TEXT.fullmatch(name):
        raise _unknown_unit(name, unit)
    try:
        given = registry().parse_units(name, as_delta=False)
    except (pint.errors.PintError, ValueError, TypeError, AssertionError) as error:
        raise _unknown_unit(name, unit) from error
    spelling = str(given)
    canonical = _ALIASES.get(spelling, spelling)
    wanted = TABLE.get(unit)
    closed = wanted is not None and wanted.dimension in _CLOSED
    if canonical in TABLE and wanted is not None:
        if TABLE[canonical].dimension != wanted.dimension:
            raise _wrong_dimension(text, unit, TABLE[canonical].dimension)
        return _by_table(number, TABLE[canonical], wanted)
    if closed:
        raise _wrong_dimension(text, unit, "")
    if _OFFSET_FACTOR.search(spelling):
        raise QuantityError(
            N_('"{text}": within a compound unit a temperature is written K, such as "2 K/min"'),
            text=_shown(text),
        )
    try:
        return float(registry().Quantity(number, given).to(unit).magnitude)
    except pint.DimensionalityError as error:
        raise _wrong_dimension(text, unit, "") from error
    except OverflowError:
        return math.inf


def _example(unit: str) -> str:
    known = TABLE.get(unit)
    return _EXAMPLES.get(known.dimension if known else "", f"1.5 {unit}")


def _shown(text: str) -> str:
    """Return what was typed, fit to stand inside one sentence."""
    printable = "".join(letter if letter.isprintable() else " " for letter in text[:200])
    short = " ".join(printable.split())
    return short if len(short) <= _UNIT_LONGEST else short[: _UNIT_LONGEST - 1] + "…"


def _not_a_number(text: str, example: str) -> QuantityError:
    shown = _shown(text)
    if _COMMA.match(text):
        return QuantityError(
            N_('"{text}" has a comma: write the number with a point, such as "180.5"'), text=shown
        )
    if _NOT_FINITE.match(text):
        return QuantityError(
            N_('"{text}" is not a finite number: write for example "{example}"'),
            text=shown,
            example=example,
        )
    return QuantityError(
        N_('"{text}" does not begin with a number: write for example "{example}"'),
        text=shown,
        example=example,
    )


def _unknown_unit(name: str, unit: str) -> QuantityError:
    return QuantityError(
        N_('unit "{name}" is not known: write for example "{example}"'),
        name=_shown(name),
        example=_example(unit),
    )


def _wrong_dimension(text: str, unit: str, given: str) -> QuantityError:
    wanted = TABLE[unit].dimension if unit in TABLE else unit
    shown = _shown(text)
    if (given, wanted) == ("temperature", "difference"):
        return QuantityError(
            N_('"{text}" is a temperature where a difference is wanted: write K or delta_degF'),
            text=shown,
        )
    if (given, wanted) == ("difference", "temperature"):
        return QuantityError(
            N_('"{text}" could be a difference: write a temperature in degC or degF'), text=shown
        )
    return QuantityError(
        N_('"{text}" cannot be turned into {unit}: write for example "{example}"'),
        text=shown,
        unit=unit,
        example=_example(unit),
    )
