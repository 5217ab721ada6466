"""The board's sensing: the correction against published tables, and what a good reading is."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from typing import Any

import pytest
import thermocouple_its90
from hypothesis import given
from hypothesis import strategies as st

from c_core import FIRMWARE, core
from tawny.core import converter
from tawny.core.converter import Fault
from tawny.errors import InputError
from tawny.sim import sense as sim

# NIST SRD 60 (ITS-90, the same as IEC 60584-1), type K, reference junction at 0 degC: mV at each
# 10 degC from 0 to 300, to the table's last digit. Written down from memory and compared with
# thermocouple-its90, whose constants were read from the NIST files, in the first test below.
NIST_TYPE_K_MV = (
    0.000, 0.397, 0.798, 1.203, 1.612, 2.023, 2.436, 2.851, 3.267, 3.682,
    4.096, 4.509, 4.920, 5.328, 5.735, 6.138, 6.540, 6.941, 7.340, 7.739,
    8.138, 8.539, 8.940, 9.343, 9.747, 10.153, 10.561, 10.971, 11.382, 11.795,
    12.209,
)  # fmt: skip
NIST_COLD_MV = {0: 0.000, 25: 1.000, 40: 1.612, 60: 2.436}
TABLE_DIGIT_MV = 0.0005
LEAST_SEEBECK_MV_PER_K = 0.039  # type K from 0 to 300 degC

NOT_GOOD_BITS = 0x0003000F
WRAP = 1 << 32
GOOD = converter.encode(converter.linear_reading_c(180.0, 25.0), 25.0)
COLD_OUT = converter.encode(converter.linear_reading_c(180.0, 70.0625), 70.0625)
BROKEN = GOOD | 0x00010001


def register(shown_code: int, cold_code: int) -> int:
    """Return the register with these two fields, in quarters and sixteenths of a kelvin."""
    return (shown_code & 0x3FFF) << 18 | (cold_code & 0xFFF) << 4


class Sense:
    """One half's `struct sense`."""

    def __init__(self) -> None:
        self.ffi, self.lib = core("sense")
        self.at = self.ffi.new("struct sense *")
        self.lib.sense_start(self.at)

    def take(self, raw: int, now_ms: int) -> bool:
        """Take a register at a moment of the clock, which wraps."""
        return bool(self.lib.sense_take(self.at, raw, now_ms % WRAP))

    def is_good(self, now_ms: int) -> bool:
        """Return whether heat may be decided on this half."""
        return bool(self.lib.sense_is_good(self.at, now_ms % WRAP))


@pytest.fixture
def half() -> Sense:
    """One half that has read nothing yet."""
    return Sense()


def correct(raw: int) -> tuple[int, int] | None:
    """Return what the board makes of one register: tenths of both junctions, or nothing."""
    ffi, lib = core("sense")
    tenths, cold = ffi.new("int16_t *", 12345), ffi.new("int16_t *", 12345)
    if lib.sense_correct(raw, tenths, cold):
        return tenths[0], cold[0]
    assert (tenths[0], cold[0]) == (12345, 12345)
    return None


def expected(raw: int) -> int | None:
    """Return what the host makes of it, within the board's range."""
    try:
        tenths = converter.corrected_decidegc(raw)
    except InputError:
        return None
    return tenths if sim.LEAST_TENTHS <= tenths <= sim.MOST_TENTHS else None


def differences(cold_codes: range) -> Iterator[tuple[int, int, int | None, int | None]]:
    """Yield each code pair where board and host do not agree, with both answers."""
    ffi, lib = core("sense")
    tenths, cold = ffi.new("int16_t *"), ffi.new("int16_t *")
    sense_correct: Any = lib.sense_correct
    for cold_code in cold_codes:
        for shown_code in range(-80, 1640):
            raw = register(shown_code, cold_code)
            found = tenths[0] if sense_correct(raw, tenths, cold) else None
            if found != expected(raw):
                yield shown_code, cold_code, found, expected(raw)


def test_firmware_sense_table_of_this_file_is_the_published_one() -> None:
    """NIST SRD 60 as another package has it, rounded to the printed digit."""
    other = thermocouple_its90.get("K")
    for step, published_mv in enumerate(NIST_TYPE_K_MV):
        assert round(other.emf(step * 10.0), 3) == published_mv
    for cold_c, published_mv in NIST_COLD_MV.items():
        assert round(other.emf(float(cold_c)), 3) == published_mv


@pytest.mark.parametrize("cold_c", NIST_COLD_MV)
def test_firmware_sense_agrees_with_the_nist_table(cold_c: int) -> None:
    """NIST SRD 60, 0 to 300 degC: the correction is wrong by its own rounding and no more.

    Required is 0.25 K. The code nearest to each tabulated point stands off it by up to half a
    quarter kelvin; that part is the chip's, so the table is read at the code's own voltage.
    """
    for step, table_mv in enumerate(NIST_TYPE_K_MV):
        shown_c = cold_c + (table_mv - NIST_COLD_MV[cold_c]) / converter.SLOPE_MV_PER_K
        code = round(shown_c / converter.THERMOCOUPLE_STEP_K)
        raw = register(code, cold_c * 16)
        if raw == 0:
            continue
        code_mv = (code * 0.25 - cold_c) * converter.SLOPE_MV_PER_K + NIST_COLD_MV[cold_c]
        low = min(step, len(NIST_TYPE_K_MV) - 2)
        mv_per_k = (NIST_TYPE_K_MV[low + 1] - NIST_TYPE_K_MV[low]) / 10.0
        table_c = step * 10.0 + (code_mv - table_mv) / mv_per_k
        rounding_k = 0.05 + 2.0 * TABLE_DIGIT_MV / LEAST_SEEBECK_MV_PER_K + 0.005
        found = correct(raw)
        assert found is not None
        assert rounding_k < 0.25
        assert found[0] / 10.0 == pytest.approx(table_c, abs=rounding_k)
        assert found[1] == cold_c * 10


@pytest.mark.parametrize("cold_c", NIST_COLD_MV)
def test_firmware_sense_agrees_with_an_independent_package(cold_c: int) -> None:
    """thermocouple-its90 gives the same for every code from 0 to 300 degC, to half a tenth."""
    other = thermocouple_its90.get("K")
    for code in range(1201):
        found = correct(register(code, cold_c * 16))
        if found is None:
            assert (code, cold_c) == (0, 0)
            continue
        measured_mv = converter.SLOPE_MV_PER_K * (code * 0.25 - cold_c)
        exact_c = other.temperature(measured_mv, reference=float(cold_c))
        assert found[0] / 10.0 == pytest.approx(exact_c, abs=0.0501)


def test_firmware_sense_corrects_every_code_as_the_host_does() -> None:
    """Both agree on all 2.1 million pairs, -10 to 400 degC and cold junctions of -10 to 70 degC."""
    assert not list(differences(range(sim.COLD_LEAST_CODE, sim.COLD_MOST_CODE + 1)))


def test_firmware_sense_is_one_tenth_off_in_four_codes_of_a_bad_cold_junction() -> None:
    """Of the 2.7 million pairs with a cold junction that is out of range, four differ."""
    beyond = [*differences(range(-881, sim.COLD_LEAST_CODE))]
    beyond += differences(range(sim.COLD_MOST_CODE + 1, 2034))
    pairs = [(shown, cold) for shown, cold, _, _ in beyond]
    assert pairs == [(82, -829), (1131, -779), (779, -427), (1047, 1530)]
    for _, _, found, wanted in beyond:
        assert found is not None
        assert wanted is not None
        assert abs(found - wanted) == 1


def test_firmware_sense_tables_are_those_the_script_prints() -> None:
    """What stands in flash comes from the reference function anew."""
    path = FIRMWARE / "its90_table.py"
    spec = importlib.util.spec_from_file_location("its90_table", path)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    source = "".join((FIRMWARE / "sense.c").read_text(encoding="ascii").split())
    pieces, guesses = "\n".join(script.lines()).split("static const", 2)[1:]
    assert "".join(pieces.split()) in source
    assert "".join(guesses.split()) in source


@given(raw=st.integers(0, WRAP - 1))
def test_firmware_sense_never_believes_what_the_host_would_not(raw: int) -> None:
    """Any 32 bits: a number on both sides, the same to a tenth, or on neither."""
    found, wanted = correct(raw), expected(raw)
    assert (found is None) == (wanted is None)
    if found is not None and wanted is not None:
        assert abs(found[0] - wanted) <= 1


@given(
    shown=st.integers(-80, 1640),
    cold=st.integers(-1024, 2047),
    bits=st.integers(1, NOT_GOOD_BITS).map(lambda bits: bits & NOT_GOOD_BITS).filter(bool),
)
def test_firmware_sense_never_believes_a_fault_or_reserved_bit(
    shown: int, cold: int, bits: int
) -> None:
    """Whatever the temperatures, one such bit is enough."""
    assert correct(register(shown, cold) | bits) is None


@pytest.mark.parametrize("bit", [bit for bit in range(32) if NOT_GOOD_BITS >> bit & 1])
def test_firmware_sense_refuses_each_bit_alone(half: Sense, bit: int) -> None:
    """Bits 17 and 3, the fault bit and each cause: bad at once, and the last value stays."""
    assert half.take(GOOD, 1000)
    assert not half.take(GOOD | 1 << bit, 1200)
    assert not half.at.shown_good
    assert half.at.raw == GOOD | 1 << bit
    assert (half.at.tenths, half.at.cold_tenths, half.at.count) == (expected(GOOD), 250, 1)


@pytest.mark.parametrize("cold_code", [-880, -160, 0, 400, 1120, 2032])
def test_firmware_sense_never_believes_what_no_thermocouple_shows(cold_code: int) -> None:
    """All 16384 codes of the hot junction: those far out of range wrap round into nothing."""
    for shown_code in range(-8192, 8192):
        raw = register(shown_code, cold_code)
        found, wanted = correct(raw), expected(raw)
        assert (found and found[0]) == wanted


@pytest.mark.parametrize("raw", [0x00000000, 0xFFFFFFFF])
def test_firmware_sense_refuses_a_dead_line(half: Sense, raw: int) -> None:
    """Exact 0 of both junctions, and all ones; both junctions near 0 are believed."""
    assert not half.take(raw, 1000)
    assert not half.is_good(1000)
    assert correct(raw) is None
    assert correct(register(1, 0)) == (3, 0)
    assert correct(register(0, 1)) is not None


@pytest.mark.parametrize(
    ("tenths", "good"),
    [(-102, False), (-101, False), (-100, True), (4000, True), (4001, False), (4002, False)],
)
def test_firmware_sense_range_ends_where_the_contract_says(tenths: int, *, good: bool) -> None:
    """-10.0 and 400.0 degC are good, the next tenth is not, at whatever cold junction shows it."""
    seen = 0
    for cold_code in range(sim.COLD_LEAST_CODE, sim.COLD_MOST_CODE + 1):
        shown_c = converter.linear_reading_c(tenths / 10.0, cold_code / 16.0)
        raw = converter.encode(shown_c, cold_code / 16.0)
        if converter.corrected_decidegc(raw) == tenths:
            seen += 1
            assert (correct(raw) is not None) == good
    assert seen > 100


@pytest.mark.parametrize(
    ("cold_code", "good"), [(-881, False), (-880, True), (2032, True), (2033, False)]
)
def test_firmware_sense_refuses_a_cold_junction_no_chip_reports(
    cold_code: int, *, good: bool
) -> None:
    """The data sheet's -55 to 127 degC; what lies beyond is no reading at all."""
    assert (correct(register(720, cold_code)) is not None) == good


@given(cold_code=st.integers(-880, 2032))
def test_firmware_sense_shows_the_cold_junction_in_tenths(cold_code: int) -> None:
    """Rounded half up, as the simulated board does."""
    found = correct(register(720, cold_code))
    assert found is not None
    reading = sim.Reading()
    reading.take(register(720, cold_code), 0)
    assert found[1] == reading.cold


def test_firmware_sense_starts_with_nothing_good(half: Sense) -> None:
    """Before the first reading heat may not be decided, whatever the clock says."""
    for now_ms in (0, 1, 749, 750, WRAP - 1):
        assert not half.is_good(now_ms)
    assert (half.at.tenths, half.at.count, half.at.shown_good) == (0, 0, False)


@pytest.mark.parametrize("start_ms", [0, 5000, WRAP - 1, WRAP - 750, WRAP - 749, WRAP - 400])
@pytest.mark.parametrize(("age_ms", "good"), [(0, True), (749, True), (750, False), (751, False)])
def test_firmware_sense_goes_stale_after_750_ms(
    half: Sense, start_ms: int, age_ms: int, *, good: bool
) -> None:
    """A half without a good reading for 750 ms may not be heated on, also across the wrap."""
    assert half.take(GOOD, start_ms)
    assert not half.take(BROKEN, start_ms + min(age_ms, 200))
    assert half.is_good(start_ms + age_ms) == good


@pytest.mark.parametrize("start_ms", [0, 5000, WRAP - 1, WRAP - 2000, WRAP - 1999, WRAP - 900])
@pytest.mark.parametrize(
    ("age_ms", "good"), [(1999, True), (2000, False), (2001, False), (90_000, False)]
)
def test_firmware_sense_bears_a_cold_junction_out_of_range_for_2_s(
    half: Sense, start_ms: int, age_ms: int, *, good: bool
) -> None:
    """Readings go on and are shown as good; from 2 s on heat may not be decided on them."""
    for at_ms in (*range(0, age_ms - 1, 200), age_ms - 1):
        assert half.take(COLD_OUT, start_ms + at_ms)
    assert half.is_good(start_ms + age_ms) == good
    assert half.at.shown_good


@pytest.mark.parametrize(
    ("cold_code", "good"),
    [(-161, False), (-160, True), (1120, True), (1121, False)],
)
def test_firmware_sense_cold_junction_range_ends_where_the_contract_says(
    half: Sense, cold_code: int, *, good: bool
) -> None:
    """-10 and 70 degC are in range, a sixteenth beyond is not."""
    raw = register(720, cold_code)
    for now_ms in range(0, 2400, 200):
        assert half.take(raw, now_ms)
    assert half.is_good(2200) == good


def test_firmware_sense_cold_junction_that_comes_back_begins_anew(half: Sense) -> None:
    """One reading with it in range ends the 2 s."""
    for now_ms in range(0, 1801, 200):
        half.take(COLD_OUT, now_ms)
    half.take(GOOD, 2000)
    assert half.is_good(2000)
    half.take(COLD_OUT, 2200)
    assert half.is_good(2200 + 749)


def test_firmware_sense_never_finds_an_old_reading_new(half: Sense) -> None:
    """Its times are kept in 16 bits: after 65.5 s the same numbers come again."""
    for start_ms in (1000, WRAP - 30_000):
        half.take(GOOD, start_ms)
        for age_ms in range(1, 140_000):
            if age_ms % 200 == 0:
                half.take(BROKEN, start_ms + age_ms)
            assert half.is_good(start_ms + age_ms) == (age_ms < 750)


def test_firmware_sense_never_forgets_a_cold_junction_out_for_minutes(half: Sense) -> None:
    """Out for longer than 16 bits count it is still out, and not new; also after broken reads."""
    for start_ms, between in ((1000, COLD_OUT), (WRAP - 30_000, COLD_OUT), (1000, BROKEN)):
        for now_ms in range(start_ms, start_ms + 2001, 200):
            half.take(COLD_OUT, now_ms)
        for now_ms in range(start_ms + 2200, start_ms + 140_000, 200):
            half.take(between, now_ms)
            assert not half.is_good(now_ms)
        half.take(COLD_OUT, start_ms + 140_000)
        assert not half.is_good(start_ms + 140_000)
        half.take(GOOD, start_ms + 140_200)
        assert half.is_good(start_ms + 140_200)


REGISTERS = st.one_of(
    st.sampled_from([GOOD, COLD_OUT, BROKEN, 0, WRAP - 1, register(1620, 400), register(-70, 400)]),
    st.builds(register, st.integers(-80, 1640), st.sampled_from([-161, -160, 400, 1120, 1121])),
)
STEPS_MS = st.sampled_from([1, 50, 199, 200, 201, 549, 550, 551, 749, 750, 751, 1999, 2000, 2001])


@given(
    start_ms=st.sampled_from([0, WRAP - 1, WRAP - 2000, WRAP - 5000]),
    takes=st.lists(st.tuples(STEPS_MS, REGISTERS, STEPS_MS), max_size=40),
)
def test_firmware_sense_does_what_the_simulated_board_does(
    start_ms: int, takes: list[tuple[int, int, int]]
) -> None:
    """Any registers at any times: the same values, counts and readiness to heat."""
    half, other, now_ms = Sense(), sim.Reading(), start_ms
    for step_ms, raw, later_ms in takes:
        now_ms += step_ms
        assert half.take(raw, now_ms) == other.take(raw, now_ms)
        assert (half.at.tenths if half.at.shown_good else "bad") == other.shown
        assert (half.at.cold_tenths if half.at.shown_good else "bad") == other.cold
        assert (half.at.count, half.at.raw) == (other.count, other.raw)
        for moment_ms in (now_ms, now_ms + later_ms):
            assert half.is_good(moment_ms) == (moment_ms < other.good_until_ms)


def test_firmware_sense_counts_modulo_65536(half: Sense) -> None:
    """The counter of good readings wraps as the wire's does."""
    for number in range(1, 65538):
        half.take(GOOD, number * 200)
        assert half.at.count == number % 65536


@pytest.mark.parametrize("fault", [f for f in Fault if f not in {Fault.GOOD, Fault.RANGE}])
def test_firmware_sense_refuses_each_fault_that_a_chip_tells(fault: Fault) -> None:
    """Open, shorted, dead and noisy registers as the simulated chip gives them."""
    assert correct(converter.encode(180.0, 25.0, fault)) is None
