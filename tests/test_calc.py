"""`tawny calc`: what it prints, and how it refuses."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tawny.cli.calc import group
from tawny.errors import InputError, QuantityError

DOSE = ("--reference", "180 degC", "--activation-energy", "100 kJ/mol")


def run(*arguments: str) -> Result:
    """Run one command of the group in this process."""
    return CliRunner().invoke(group, arguments)


def answer(*arguments: str) -> dict[str, object]:
    """Return the one JSON object a command prints."""
    result = run(*arguments, "--json")
    assert result.exception is None, result.output
    assert result.output.count("\n") == 1
    values = json.loads(result.output)
    assert isinstance(values, dict)
    return values


def refusal(*arguments: str) -> str:
    """Return the sentence of the error a command ends with."""
    result = run(*arguments)
    assert isinstance(result.exception, InputError), result.output
    assert result.output == ""
    assert str(result.exception).isprintable()
    return str(result.exception)


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    """A minute's ramp from 20 to 180 degC and 3 min hold, each quarter second."""
    rows = [f"{i / 4},{20 + 160 * i / 240}" for i in range(241)]
    path = tmp_path / "trace.csv"
    path.write_text("# Millbrook\nt_s,temperature_c\n" + "\n".join(rows) + "\n\n240,180\n")
    return path


def written(tmp_path: Path, text: str) -> str:
    """Write a trace file and return its path."""
    path = tmp_path / "trace.csv"
    path.write_bytes(text.encode())
    return str(path)


def test_calc_thermocouple_is_the_worked_example() -> None:
    """6.000 mV against a 25 degC junction is 171.492 degC, type K (ITS-90)."""
    values = answer(
        "thermocouple", "--type", "K", "--emf", "6.000 mV", "--cold-junction", "25 degC"
    )
    assert values["temperature_c"] == pytest.approx(171.492, abs=0.0005)
    assert values["emf_mv"] == 6.0


def test_calc_thermocouple_speaks_without_json() -> None:
    """One sentence, with the unit."""
    result = run("thermocouple", "--type", "k", "--emf", "6 mV", "--cold-junction", "77 °F")
    assert result.output == "171.492 degC: type K, 6 mV, cold junction 25 degC\n"


@pytest.mark.parametrize(
    ("emf", "cold", "sentence"),
    [
        ("6.000", "25 degC", 'has no unit: write for example "1.5 mV"'),
        ("6,000 mV", "25 degC", "has a comma"),
        ("nan mV", "25 degC", "not a finite number"),
        ("6 mV", "298 K", "could be a difference"),
        ("6 V", "25 degC", "outside type K, -6.458 to 54.886 mV"),
        ("6 mV", "2500 degC", "outside type K, -270.0 to 1372.0 degC"),
    ],
)
def test_calc_thermocouple_refuses(emf: str, cold: str, sentence: str) -> None:
    """Each bad value is named in one sentence."""
    arguments = ("thermocouple", "--type", "K", "--emf", emf, "--cold-junction", cold)
    assert sentence in refusal(*arguments)


def test_calc_thermocouple_refuses_another_type() -> None:
    """What there is, is named."""
    arguments = ("thermocouple", "--type", "N", "--emf", "6 mV", "--cold-junction", "25 degC")
    assert "is not one of K, J, T" in refusal(*arguments)


def test_calc_dose_is_the_worked_value(trace: Path) -> None:
    """20 to 180 degC in 1 min + 3 min: R0 701.0695, log 2.84576, 185.968 s at 180 degC."""
    values = answer("dose", "--trace", str(trace), *DOSE)
    assert values["severity_min"] == pytest.approx(701.0695, rel=1e-4)
    assert values["log10_severity"] == pytest.approx(2.84576, abs=5e-5)
    assert values["equivalent_s"] == pytest.approx(185.968, abs=1e-3)
    assert values["duration_s"] == 240.0


def test_calc_dose_speaks_without_json(trace: Path) -> None:
    """Three lines, the equivalent time with its temperature."""
    result = run("dose", "--trace", str(trace), *DOSE)
    assert result.output.splitlines() == [
        "242 samples over 240 s",
        "equivalent time 186.0 s at 180 degC",
        "severity 701.1 min, log10 2.846",
    ]


def test_calc_dose_takes_other_columns_a_byte_mark_and_crlf(tmp_path: Path) -> None:
    """What a spreadsheet writes: extra columns, BOM, CRLF, quotes."""
    header = '\ufeff"phase","temperature_c","t_s"\r\n'
    text = header + 'hold,180.0,0\r\n# note, with comma\r\nhold,"180",60\r\n'
    values = answer("dose", "--trace", written(tmp_path, text), *DOSE)
    assert values["equivalent_s"] == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "has no rows"),
        ("# only a note\n", "has no rows"),
        ("t_s,temperature_c\n", "has a header and no samples"),
        ("t_s,temperature_c\n0,180\n", "at least 2 samples, got 1"),
        ("t_s,temp\n0,180\n1,180\n", "has no column temperature_c: the header must name"),
        ("a,b\n0,180\n1,180\n", "has no column t_s, temperature_c"),
        ("t_s;temperature_c\n0;180\n1;180\n", "separate columns with a comma"),
        ("t_s,t_s,temperature_c\n0,0,180\n", "has the column t_s twice"),
        ("t_s,temperature_c\n0,180,5\n1,180\n", "line 2 has 3 fields where the header has 2"),
        ('t_s,temperature_c\n0,"180,5"\n1,180\n', 'line 2: "180,5" has a comma'),
        ("# note\nt_s,temperature_c\n0,180\n1\n", "line 4 has 1 fields"),
        (
            "t_s,temperature_c\n0,180\n2,180\n1,180\n",
            "line 4: time 1.0 s does not come after 2.0 s",
        ),
        ("t_s,temperature_c\n0,180\n0,180\n", "line 3: time 0.0 s does not come after 0.0 s"),
        ("t_s,temperature_c\n0,nan\n1,180\n", 'line 2: "nan" is not a finite number'),
        ("t_s,temperature_c\n0,180\ninf,180\n", 'line 3: "inf" is not a finite number'),
        ("t_s,temperature_c\n0,180\n1,1e999\n", 'line 3: "1e999" is too large'),
        ("t_s,temperature_c\n0,180\n1,\n", "line 3:"),
        ("t_s,temperature_c\n0,180\n1,180 degC\n", "line 3:"),
        ("t_s,temperature_c\n0,180\n1,1800\n", "1800.0 degC is outside -100 to 500 degC"),
        ('t_s,temperature_c\n0,"180\n1,180\n', "line 2 is not CSV"),
    ],
)
def test_calc_dose_refuses_a_bad_trace(tmp_path: Path, text: str, sentence: str) -> None:
    """Each fault of a file is named with its line."""
    assert sentence in refusal("dose", "--trace", written(tmp_path, text), *DOSE)


def test_calc_dose_refuses_what_it_cannot_read(tmp_path: Path) -> None:
    """No such file, a folder, and a file that is no text."""
    assert "cannot be read: No such file" in refusal(
        "dose", "--trace", str(tmp_path / "none.csv"), *DOSE
    )
    assert "cannot be read: Is a directory" in refusal("dose", "--trace", str(tmp_path), *DOSE)
    (tmp_path / "latin").write_bytes(b"t_s,temperature_c\n0,180 \xb0C\n")
    assert "is not text in UTF-8" in refusal("dose", "--trace", str(tmp_path / "latin"), *DOSE)


@pytest.mark.parametrize(
    ("reference", "activation", "sentence"),
    [
        ("453 K", "100 kJ/mol", "could be a difference"),
        ("1800 degC", "100 kJ/mol", "no mould reads that"),
        ("180 degC", "100 J/mol", "outside 1 to 500 kJ/mol"),
        ("180 degC", "100 kJ", "cannot be turned into J/mol"),
        ("180 degC", "100", "has no unit"),
    ],
)
def test_calc_dose_refuses_bad_options(
    trace: Path, reference: str, activation: str, sentence: str
) -> None:
    """Slipped units in the options are named."""
    arguments = ("--reference", reference, "--activation-energy", activation)
    assert sentence in refusal("dose", "--trace", str(trace), *arguments)


def test_calc_water_is_the_worked_value() -> None:
    """1000 g from 8 to 12 % wet basis takes 45.45 g, not 40 g."""
    arguments = ("water", "--mass", "1 kg", "--from", "8 %", "--to", "12 %")
    assert answer(*arguments)["water_g"] == pytest.approx(45.45, abs=0.005)
    assert run(*arguments).output == "add 45.45 g of water: 1045.45 g at 12 % wet basis\n"


def test_calc_water_refuses() -> None:
    """Too wet, no unit, and a difference of basis nobody can mean."""
    assert "dry it until it weighs" in refusal(
        "water", "--mass", "1 kg", "--from", "12 %", "--to", "8 %"
    )
    assert "has no unit" in refusal("water", "--mass", "1000", "--from", "8 %", "--to", "12 %")
    assert "outside 0 to 95 %" in refusal(
        "water", "--mass", "1 kg", "--from", "8 %", "--to", "120 %"
    )


def test_calc_steam_bounds_volume_and_force() -> None:
    """10 g is about 20.5 L at 180 degC; 180 mm gives 22.9 kN of steam (IAPWS-IF97)."""
    arguments = (
        *("steam", "--water", "10 g", "--temperature", "180 degC"),
        *("--mould-diameter", "180 mm"),
    )
    values = answer(*arguments)
    assert 20.5 <= float(str(values["steam_litres"])) <= 20.5 * 1.02
    steam_kn = float(str(values["steam_force_bound_kn"]))
    assert steam_kn == pytest.approx(22.9, abs=0.05)
    assert float(str(values["steam_and_air_force_bound_kn"])) > steam_kn
    assert "never a permission to open" in run(*arguments).output


def test_calc_steam_needs_a_temperature_for_a_force() -> None:
    """At an assumed 100 degC the bound would be nothing."""
    assert "--temperature" in refusal("steam", "--water", "10 g", "--mould-diameter", "180 mm")
    assert answer("steam", "--water", "10 g")["temperature_c"] == 100.0


def test_calc_converter_corrects_a_register() -> None:
    """180.00 shown with the junction at 25 degC is 181.45 degC."""
    values = answer("converter", "--raw", "0x0B401900")
    assert values["linear_c"] == 180.0
    assert values["cold_junction_c"] == 25.0
    assert values["corrected_c"] == pytest.approx(181.45, abs=0.0051)
    assert values["fault"] == "good"


def test_calc_converter_names_a_fault() -> None:
    """A faulty register has no corrected temperature."""
    values = answer("converter", "--raw", "0b411901")
    assert values["fault"] == "open"
    assert values["corrected_c"] is None
    assert "no temperature: open" in run("converter", "--raw", "0b411901").output


@pytest.mark.parametrize(
    "raw", ["", "0B40190", "0B4019000", "0x0B40_190", "-0B401900", "ggggggggg"]
)
def test_calc_converter_refuses_what_is_no_register(raw: str) -> None:
    """A digit lost in copying must not become another temperature."""
    assert "is not 8 hexadecimal digits" in refusal("converter", "--raw", raw)


def test_calc_raises_quantity_errors_as_themselves() -> None:
    """The root command maps them to one sentence and exit code 2."""
    result = run("water", "--mass", "1,5 kg", "--from", "8 %", "--to", "12 %")
    assert isinstance(result.exception, QuantityError)
    assert result.exception.exit_code == 2


def test_calc_help_loads_nothing_heavy() -> None:
    """The command line imports no sums, and no units library, until a command runs."""
    code = (
        "import sys; import tawny.cli.calc;"
        "bad = {'pint','numpy','scipy','textual','matplotlib','msgspec','tawny.core.dose',"
        "'tawny.core.units','tawny.core.converter'} & set(sys.modules);"
        "sys.exit(str(bad) if bad else 0)"
    )
    result = subprocess.run([sys.executable, "-c", code], check=False, timeout=60)
    assert result.returncode == 0
