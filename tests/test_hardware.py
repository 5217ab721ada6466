"""What a maker builds from: tables, header and drawings agree; no page lacks its cautions."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

import pins
from c_core import defines

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"
FIRMWARE = HOUSE / "firmware"


def test_pins_header_is_made_from_the_table() -> None:
    """The firmware's header is, byte for byte, what the table of pins gives."""
    assert (FIRMWARE / "pins.h").read_text(encoding="ascii") == pins.header_text(pins.read_pins())


@pytest.mark.parametrize(
    ("port", "out", "pullup", "start", "active_low"),
    [
        ("B", 0b100111, 0b001000, 0b001110, 0b000000),
        ("C", 0b000001, 0b111110, 0b111110, 0b011010),
        ("D", 0b11110010, 0b00001100, 0b00001110, 0b00001001),
    ],
)
def test_pins_first_port_write_is_the_off_level(
    port: str, out: int, pullup: int, start: int, active_low: int
) -> None:
    """Heaters, pulse train, lamps and buzzer start low, both chip selects and the line high."""
    header = defines("pins")

    assert header[f"PINS_{port}_OUT"] == out
    assert header[f"PINS_{port}_PULLUP"] == pullup
    assert header[f"PINS_{port}_START"] == start
    assert header[f"PINS_{port}_ACTIVE_LOW"] == active_low


def test_pins_header_compiles_for_the_board(tmp_path: Path) -> None:
    """Every name of the header is a register or a number of this controller."""
    if shutil.which("avr-gcc") is None:
        pytest.skip("avr-gcc is not installed")
    lines = []
    for pin in pins.read_pins():
        stem = f"PIN_{pin.name.upper()}"
        if pin.direction == "analogue":
            lines.append(f"ADMUX = {stem}_CHANNEL;")
        elif pin.direction == "out":
            lines.append(
                f"{stem}_PORT |= {stem}_MASK; {stem}_PORT &= (uint8_t)~(1u << {stem}_BIT);"
            )
        elif pin.is_digital:
            lines.append(f"GPIOR0 = ({stem}_PIN & {stem}_MASK) != 0;")
    lines += [
        f"PORT{port} = PINS_{port}_START; DDR{port} = PINS_{port}_OUT;" for port in pins.PORTS
    ]
    source = tmp_path / "all.c"
    source.write_text(
        '#include <avr/io.h>\n#include "pins.h"\nint main(void) {\n' + "\n".join(lines) + "\n}\n",
        encoding="ascii",
    )
    flags = ["-std=gnu11", "-Os", "-mmcu=atmega328p", "-Wall", "-Wextra", "-Wconversion", "-Werror"]

    subprocess.run(
        ["avr-gcc", *flags, f"-I{FIRMWARE}", "-c", source, "-o", tmp_path / "all.o"], check=True
    )


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("heater_upper,PD5,out,high,,switch", "at rest"),
        ("heater_upper,PD5,out,none,pull-down outside,switch", "level"),
        ("heater_upper,PE5,out,high,pull-down outside,switch", "no pin PE5"),
        ("heater_upper,PD5,into,high,pull-down outside,switch", "not known"),
        ("heater_upper,PD5,out,high,pull-down outside,a\na,PD5,in,low,b,c", "twice"),
        ("Heater,PD5,out,high,pull-down outside,switch", "lower-case"),
    ],
)
def test_pins_table_refuses_a_row_that_cannot_be_meant(
    tmp_path: Path, row: str, complaint: str
) -> None:
    """A slip in the table is an error, never a pin that does something else."""
    table = tmp_path / "pins.csv"
    table.write_text(f"{','.join(pins.COLUMNS)}\n{row}\n", encoding="ascii")

    with pytest.raises(pins.TableError, match=complaint):
        pins.read_pins(table)
