"""Quantities as text: accepted forms, refusals, and the table against pint."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tawny.core import units
from tawny.errors import QuantityError

ACCEPTED = [
    ("180 degC", "degC", 180.0), ("180degC", "degC", 180.0), ("180 °C", "degC", 180.0),
    ("180 C", "degC", 180.0), ("180 celsius", "degC", 180.0), ("-5.5 degC", "degC", -5.5),
    ("356 °F", "degC", 180.0), ("356 degF", "degC", 180.0), ("32 degF", "degC", 0.0),
    ("4 min", "s", 240.0), ("90 s", "s", 90.0), ("1.5 h", "s", 5400.0), ("3 mins", "s", 180.0),
    ("2 min 30 s", "s", 150.0), ("2min30s", "s", 150.0), ("1 h 2 min 3.5 s", "s", 3723.5),
    ("2:30", "s", 150.0), ("1:02:30", "s", 3750.0), ("2:30", "min", 2.5), ("500 ms", "s", 0.5),
    ("32 g", "g", 32.0), ("0.032 kg", "g", 32.0), ("1 oz", "g", 28.349523125),
    ("8 %", "fraction", 0.08), ("8%", "fraction", 0.08), ("8 percent", "fraction", 0.08),
    ("6.000 mV", "mV", 6.0), ("6000 uV", "mV", 6.0), ("6000 µV", "mV", 6.0),
    ("100 kJ/mol", "J/mol", 100e3), ("23.9 kcal/mol", "J/mol", 99997.6),
    ("110 bar", "bar", 110.0), ("11 MPa", "bar", 110.0), ("1595.415 psi", "bar", 110.0),
    ("2 K/min", "K/s", 2.0 / 60.0), ("3.6 delta_degF/min", "K/s", 2.0 / 60.0),
    ("160 mm", "mm", 160.0), ("16 cm", "mm", 160.0), ("20 cm2", "cm^2", 20.0),
    ("98.0665 kN", "kN", 98.0665), ("2.2 kW", "W", 2200.0), (".5 g", "g", 0.5),
    ("1e3 g", "g", 1000.0), ("  32 g \n", "g", 32.0), ("5 N/mm", "kN/m", 5.0),
]  # fmt: skip
REFUSED = [
    ("180", "degC", 'has no unit: write for example "180 degC"'),
    ("0.08", "fraction", 'has no unit: write for example "8 %"'),
    ("nan degC", "degC", "not a finite number"),
    ("inf g", "g", "not a finite number"),
    ("1e999 g", "g", "not a finite number"),
    ("1e308 kg", "g", "not a finite number"),
    ("1e308 psi", "Pa", "not a finite number"),
    ("180,5 degC", "degC", "has a comma: write the number with a point"),
    ("1,000 g", "g", "has a comma"),
    (",5 g", "g", "has a comma"),
    ("32 gramm", "g", 'unit "gramm" is not known'),
    ("180 ℃℃", "degC", "is not known"),
    ("4 m", "s", 'cannot be turned into s: write for example "4 min"'),
    ("4 min", "g", "cannot be turned into g"),
    ("8 deg", "fraction", "turned into fraction"),
    ("1 rad", "fraction", "turned into fraction"),
    ("8 count", "fraction", "turned into fraction"),
    ("453 K", "degC", "could be a difference: write a temperature in degC"),
    ("453 kelvin", "degC", "could be a difference"),
    ("816 degR", "degC", "turned into degC"),
    ("453000 mK", "degC", "turned into degC"),
    ("160 delta_degC", "degC", "could be a difference"),
    ("2 degC/min", "K/s", "a temperature is written K"),
    ("4 celsius/min", "K/s", "a temperature is written K"),
    ("", "g", "does not begin with a number"),
    ("g", "g", "does not begin with a number"),
    ("about 4 min", "s", "does not begin with a number"),
    ("2 min 30", "s", "is not known"),
    ("2:75", "s", "is not known"),
    ("1:75:00", "s", "is not known"),
    ("-2:30", "s", "is not known"),
    ("2:30", "g", "is not known"),
    ("1_000 g", "g", "is not known"),
    ("٣ g", "g", "does not begin with a number"),
    ("4 s*9**9**9**9", "s", "is not known"),
    ("4 " + "s*" * 400 + "s", "s", "is not known"),
    ("4 g\x1b[31m", "g", "is not known"),
]


@pytest.mark.parametrize(("text", "unit", "value"), ACCEPTED)
def test_units_reads_what_people_write(text: str, unit: str, value: float) -> None:
    """Each form a file, a form or the command line may hold."""
    assert units.parse(text, unit) == pytest.approx(value, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("text", "unit", "sentence"), REFUSED)
def test_units_refuses_with_one_sentence(text: str, unit: str, sentence: str) -> None:
    """Whatever is wrong is named, in one printable line."""
    with pytest.raises(QuantityError) as caught:
        units.parse(text, unit)
    assert sentence in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    ("text", "value_k"),
    [
        ("5 K", 5.0),
        ("5 delta_degC", 5.0),
        ("9 delta_degF", 5.0),
        ("5 kelvin", 5.0),
        ("-2 Δ°C", -2.0),
    ],
)
def test_units_reads_a_difference(text: str, value_k: float) -> None:
    """A difference is a difference in each spelling, with no offset."""
    assert units.parse_difference_k(text) == pytest.approx(value_k, abs=1e-12)


@pytest.mark.parametrize("text", ["5 degC", "5 °C", "9 degF", "9 °F", "5 celsius", "5 C"])
def test_units_refuses_a_difference_written_as_a_temperature(text: str) -> None:
    """5 degC as a deadband would be 278 K to a units library."""
    with pytest.raises(QuantityError, match="is a temperature where a difference is wanted"):
        units.parse_difference_k(text)


@pytest.mark.parametrize("text", ["9 degR", "5", "5 s", "nan K", "5,5 K"])
def test_units_refuses_what_is_no_difference(text: str) -> None:
    """The same refusals as for any quantity."""
    with pytest.raises(QuantityError):
        units.parse_difference_k(text)


def test_units_table_agrees_with_pint() -> None:
    """The reference is pint: each pair of the table's units converts the same, to 12 figures."""
    quantity = units.registry().Quantity
    spellings = {"%": "percent", "fraction": "dimensionless"}
    pairs = 0
    for name, given_unit in units.TABLE.items():
        for wanted, wanted_unit in units.TABLE.items():
            if given_unit.dimension != wanted_unit.dimension:
                continue
            for number in (-40.0, 0.0, 1.0, 37.5, 356.0):
                expected = (
                    quantity(number, spellings.get(name, name))
                    .to(spellings.get(wanted, wanted))
                    .magnitude
                )
                got = units.parse(f"{number} {name}", wanted)
                assert got == pytest.approx(expected, rel=1e-12, abs=1e-9), (name, wanted)
                pairs += 1
    assert pairs > 5 * len(units.TABLE)


def test_units_table_holds_no_two_dimensions_pint_can_convert() -> None:
    """Units the table keeps apart are apart for pint too, but for the closed dimensions."""
    quantity = units.registry().Quantity
    closed = {"temperature", "difference", "fraction"}
    first = {unit.dimension: name for name, unit in reversed(units.TABLE.items())}
    names = [name for dimension, name in first.items() if dimension not in closed]
    for name in names:
        for other in names:
            assert quantity(1.0, name).is_compatible_with(other) == (name == other)


@given(
    value=st.floats(-1e9, 1e9, allow_subnormal=False),
    unit=st.sampled_from(["degC", "K", "s", "g", "fraction", "mV", "J/mol", "bar", "psi", "K/s"]),
)
@example(value=0.07, unit="fraction")
@example(value=-0.0, unit="degC")
def test_units_writes_what_it_reads_back(value: float, unit: str) -> None:
    """A written quantity comes back to 11 figures."""
    text = units.format_quantity(value, unit)
    assert units.parse(text, unit) == pytest.approx(value, rel=1e-11, abs=1e-300)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (180.0, "degC", "180 degC"),
        (2.5, "K", "2.5 K"),
        (0.08, "fraction", "8 %"),
        (0.07, "fraction", "7 %"),
        (4.0, "min", "4 min"),
        (-0.0, "degC", "0 degC"),
    ],
)
def test_units_writes_the_form_files_use(value: float, unit: str, text: str) -> None:
    """No trailing zeros, one space, ASCII units."""
    assert units.format_quantity(value, unit) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_units_never_writes_a_non_finite_number(value: float) -> None:
    """A file could not be read again."""
    with pytest.raises(QuantityError, match="not a finite number"):
        units.format_quantity(value, "degC")


@pytest.mark.parametrize(("text", "value"), [("0", 0.0), (" 180.25 ", 180.25), ("-1e-3", -0.001)])
def test_units_reads_a_plain_number(text: str, value: float) -> None:
    """A field of a CSV."""
    assert units.parse_number(text) == value


@pytest.mark.parametrize(
    "text", ["", "180,5", "nan", "inf", "1_0", "0x10", "1e999", "180 degC", "--", "1 2"]
)
def test_units_refuses_what_is_no_plain_number(text: str) -> None:
    """Nothing that Python's own float would let through besides."""
    with pytest.raises(QuantityError):
        units.parse_number(text)


@given(
    text=st.one_of(
        st.text(max_size=40),
        st.from_regex(r"[-+]?[0-9.,e]{1,6} ?[A-Za-z°%µ/*^0-9: ]{0,12}", fullmatch=True),
        st.builds(
            "{} {}".format,
            st.floats(),
            st.sampled_from(["degC", "K", "oz", "psi", "dB", "m**-9", "g/g", "[", "a", "km*h"]),
        ),
    ),
    unit=st.sampled_from(["degC", "K", "s", "g", "fraction", "bar", "J/mol", "m/s"]),
)
def test_units_never_lets_anything_but_a_finite_number_or_a_refusal_out(
    text: str, unit: str
) -> None:
    """Any text at all: a finite float, or a QuantityError in one line."""
    value, sentence = 0.0, ""
    try:
        value = units.parse(text, unit)
    except QuantityError as error:
        sentence = str(error)
    assert math.isfinite(value)
    assert sentence.isprintable()


def test_units_reads_our_own_files_without_pint() -> None:
    """The table is what keeps start-up fast: nothing common imports pint."""
    code = (
        "import sys; from tawny.core import units;"
        "[units.parse(t, u) for t, u in (('180 degC','degC'),('356 °F','degC'),('2 K','K'),"
        "('4 min','s'),('2:30','s'),('2 min 30 s','s'),('32 g','g'),('8 %','fraction'),"
        "('110 bar','bar'),('6.000 mV','mV'),('100 kJ/mol','J/mol'))];"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
