"""The linear-slope converter's register and its correction."""

from __future__ import annotations

import math

import pytest
import thermocouple_its90
from hypothesis import given
from hypothesis import strategies as st

from tawny.core import converter
from tawny.core.converter import Fault
from tawny.errors import InputError

# Data sheet, tables of the two data formats (as remembered; they are two's complement).
THERMOCOUPLE_FIELDS = [
    (1600.00, "01100100000000"), (1000.00, "00111110100000"), (100.75, "00000110010011"),
    (25.00, "00000001100100"), (0.00, "00000000000000"), (-0.25, "11111111111111"),
    (-1.00, "11111111111100"), (-250.00, "11110000011000"),
]  # fmt: skip
COLD_FIELDS = [
    (127.0, "011111110000"), (100.5625, "011001001001"), (25.0, "000110010000"),
    (0.0625, "000000000001"), (0.0, "000000000000"), (-0.0625, "111111111111"),
    (-0.25, "111111111100"), (-1.0, "111111110000"), (-55.0, "110010010000"),
]  # fmt: skip

# slope 41.276 uV/K and the ITS-90 function of type K, cold junction 25 degC: true, reported.
ERROR_TABLE = [
    (100, 100.01), (150, 149.48), (180, 178.59), (200, 197.94), (220, 217.36), (250, 246.75),
    (300, 296.55),
]  # fmt: skip
# What is true when the chip shows the first, with the cold junction at 25 and at 40 degC.
TRUE_WHEN_SHOWN = [
    (150, 150.53, 150.34), (180, 181.45, 181.26), (200, 202.13, 201.94), (220, 222.71, 222.53),
    (250, 253.29, 253.10),
]  # fmt: skip


@pytest.mark.parametrize(("thermocouple_c", "bits"), THERMOCOUPLE_FIELDS)
def test_converter_thermocouple_field_is_as_in_the_data_sheet(
    thermocouple_c: float, bits: str
) -> None:
    """Bits 31 to 18, both ways."""
    raw = converter.encode(thermocouple_c, 25.0)
    assert f"{raw:032b}"[:14] == bits
    assert converter.decode(raw).thermocouple_c == thermocouple_c


@pytest.mark.parametrize(("cold_c", "bits"), COLD_FIELDS)
def test_converter_cold_junction_field_is_as_in_the_data_sheet(cold_c: float, bits: str) -> None:
    """Bits 15 to 4, both ways."""
    raw = converter.encode(25.0, cold_c)
    assert f"{raw:032b}"[16:28] == bits
    assert converter.decode(raw).cold_junction_c == cold_c


@given(
    thermocouple_code=st.integers(-8192, 8191),
    cold_code=st.integers(-2048, 2047),
    fault=st.sampled_from([Fault.GOOD, Fault.OPEN, Fault.SHORT_GND, Fault.SHORT_VCC]),
)
def test_converter_register_survives_the_round_trip(
    thermocouple_code: int, cold_code: int, fault: Fault
) -> None:
    """Every pair of codes comes back, whatever the fault bits are."""
    raw = converter.encode(thermocouple_code * 0.25, cold_code * 0.0625, fault)
    register = converter.decode(raw)
    assert register.thermocouple_c == thermocouple_code * 0.25
    assert register.cold_junction_c == cold_code * 0.0625
    if fault is not Fault.GOOD:
        assert register.fault is fault


@pytest.mark.parametrize(("true_c", "reported_c"), ERROR_TABLE)
def test_converter_reads_low_by_the_known_amount(true_c: float, reported_c: float) -> None:
    """What the chip shows with its own temperature at 25 degC, to 0.01 K."""
    assert converter.linear_reading_c(true_c, 25.0) == pytest.approx(reported_c, abs=0.0051)


@pytest.mark.parametrize(("shown_c", "true_25_c", "true_40_c"), TRUE_WHEN_SHOWN)
def test_converter_correction_gives_the_true_temperature(
    shown_c: float, true_25_c: float, true_40_c: float
) -> None:
    """Both junctions count: the same reading means 0.2 K less in a warmer box."""
    for cold_c, true_c in ((25.0, true_25_c), (40.0, true_40_c)):
        raw = converter.encode(shown_c, cold_c)
        assert converter.corrected_c(raw) == pytest.approx(true_c, abs=0.0051)
        assert converter.corrected_decidegc(raw) == pytest.approx(true_c * 10.0, abs=0.56)


def test_converter_correction_agrees_with_an_independent_package() -> None:
    """thermocouple-its90 compensates the same voltage to the same temperature."""
    other = thermocouple_its90.get("K")
    for shown_c in range(0, 301, 7):
        for cold_c in (-10, 0, 25, 40, 70):
            raw = converter.encode(shown_c, cold_c)
            measured_mv = converter.SLOPE_MV_PER_K * (shown_c - cold_c)
            if raw:
                expected_c = other.temperature(measured_mv, reference=cold_c)
                assert converter.corrected_c(raw) == pytest.approx(expected_c, abs=1e-4)


def test_converter_fast_correction_is_the_exact_one_rounded() -> None:
    """Every code from 0 to 300 degC, with the cold junction each 1.25 K from -10 to 70 degC."""
    worst = 0.0
    for thermocouple_code in range(1201):
        for cold_code in range(-160, 1121, 20):
            raw = converter.encode(thermocouple_code * 0.25, cold_code * 0.0625)
            if raw == 0:
                continue
            exact_c = converter.corrected_c(raw)
            assert isinstance(exact_c, float)
            worst = max(worst, abs(converter.corrected_decidegc(raw) - exact_c * 10.0))
    assert worst <= 0.5 + 1e-7


@given(true_c=st.floats(0.0, 300.0), cold_c=st.floats(-10.0, 70.0))
def test_converter_never_misses_the_true_temperature_by_more_than_its_step(
    true_c: float, cold_c: float
) -> None:
    """Chip and correction together lose half a step of each junction and of the answer."""
    raw = converter.encode(converter.linear_reading_c(true_c, cold_c), cold_c)
    if raw:
        found_k = abs(converter.corrected_decidegc(raw) / 10.0 - true_c)
        assert found_k <= 0.125 * 1.06 + 0.03125 * 0.1 + 0.05


@pytest.mark.parametrize(
    ("raw", "fault"),
    [
        (0x00000000, Fault.ZERO),
        (0xFFFFFFFF, Fault.ONES),
        (0x0B401900 | 0x00010001, Fault.OPEN),
        (0x0B401900 | 0x00010002, Fault.SHORT_GND),
        (0x0B401900 | 0x00010004, Fault.SHORT_VCC),
        (0x0B401900 | 0x00000001, Fault.OPEN),
        (0x0B401900 | 0x00010007, Fault.OPEN),
        (0x0B401900 | 0x00020000, Fault.RESERVED),
        (0x0B401900 | 0x00000008, Fault.RESERVED),
        (0x0B401900 | 0x00010000, Fault.RESERVED),
        (0xFFFFFFFE, Fault.RESERVED),
        (converter.encode(1500.0, 25.0), Fault.RANGE),
        (converter.encode(-300.0, 25.0), Fault.RANGE),
        (converter.encode(25.0, -60.0), Fault.RANGE),
        (converter.encode(25.0, 127.0625), Fault.RANGE),
    ],
)
def test_converter_names_why_a_register_is_no_temperature(raw: int, fault: Fault) -> None:
    """A faulty register gives its reason and never a number."""
    assert converter.fault_of(raw) is fault
    assert converter.decode(raw).fault is fault
    assert converter.corrected_c(raw) is fault
    with pytest.raises(InputError, match=rf"no temperature \({fault.value}\)"):
        converter.corrected_decidegc(raw)


@given(raw=st.integers(0, 0xFFFFFFFF))
def test_converter_never_gives_a_number_with_a_fault_bit_set(raw: int) -> None:
    """Any 32 bits are either good, with no flag or reserved bit set, or have a reason."""
    corrected = converter.corrected_c(raw)
    if isinstance(corrected, Fault):
        assert corrected is not Fault.GOOD
        with pytest.raises(InputError):
            converter.corrected_decidegc(raw)
    else:
        assert raw & 0x0003000F == 0
        assert math.isfinite(corrected)
        assert abs(converter.corrected_decidegc(raw) - corrected * 10.0) <= 0.5 + 1e-7


@pytest.mark.parametrize("fault", [f for f in Fault if f not in {Fault.GOOD, Fault.RANGE}])
def test_converter_encodes_each_fault(fault: Fault) -> None:
    """A simulated chip can show every fault the decoder knows."""
    assert converter.fault_of(converter.encode(180.0, 25.0, fault)) is fault


def test_converter_holds_both_junctions_at_zero_for_a_dead_line() -> None:
    """An ice bath reads 0.00 with a warm chip and is good; both at 0.00 is not believed."""
    assert converter.corrected_c(converter.encode(0.0, 25.0)) == pytest.approx(0.0, abs=1.0)
    assert converter.corrected_c(converter.encode(0.0, 0.0)) is Fault.ZERO


@pytest.mark.parametrize("value_c", [2048.0, -2048.25, math.nan, math.inf])
def test_converter_refuses_what_its_fields_cannot_hold(value_c: float) -> None:
    """Nothing wraps round into another temperature."""
    with pytest.raises(InputError, match="does not fit"):
        converter.encode(value_c, 25.0)
    with pytest.raises(InputError, match="does not fit"):
        converter.encode(25.0, value_c)


@pytest.mark.parametrize("raw", [-1, 1 << 32])
def test_converter_refuses_more_than_32_bits(raw: int) -> None:
    """A register that is not 32 bits is an error of its reader."""
    with pytest.raises(InputError, match="32 bits"):
        converter.corrected_c(raw)
    with pytest.raises(InputError):
        converter.corrected_decidegc(raw)
