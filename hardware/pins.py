"""The one table of the board's pins, and the header that the firmware compiles it from."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
TABLE = FOLDER / "pins.csv"
HEADER = FOLDER.parent / "firmware" / "pins.h"

PORTS = ("B", "C", "D")
DIRECTIONS = ("in", "out", "analogue")
LEVELS = ("low", "high", "pulses", "none")
COLUMNS = ["name", "pin", "direction", "active", "rest", "what"]
INSIDE = "pull-up in the controller"


class TableError(ValueError):
    """A row of a table that cannot be meant."""


@dataclass(frozen=True)
class Pin:
    """One pin of the controller.

    Attributes:
        pin: As the data sheet names it: PD0 to PC6, ADC6, ADC7.
        direction: Of the signal: `in`, `out` or `analogue`.
        active: Level that means what the name says; `pulses` and `none` where no level does.
        rest: What defines the level while the controller does not drive it.
        what: What it is there for.
    """

    name: str
    pin: str
    direction: str
    active: str
    rest: str
    what: str

    @property
    def port(self) -> str:
        """Letter of the port, or nothing for a pin that has none."""
        return self.pin[1] if re.fullmatch(r"P[BCD][0-7]", self.pin) else ""

    @property
    def bit(self) -> int:
        """Number within the port, or of the analogue channel."""
        return int(self.pin[-1])

    @property
    def is_digital(self) -> bool:
        """Whether the firmware reads or drives it: the reset pin is neither."""
        return self.direction in {"in", "out"} and self.name != "reset"

    @property
    def starts_high(self) -> bool:
        """Whether its bit of the first port write is set: outputs off, inner pull-ups on."""
        if self.direction == "out":
            return self.active == "low"
        return self.rest == INSIDE


def read_pins(table: Path = TABLE) -> list[Pin]:
    """Return the rows of the table.

    Raises:
        TableError: For the first row that cannot be meant.
    """
    with table.open(encoding="ascii", newline="") as file:
        rows = csv.DictReader(file, strict=True)
        if rows.fieldnames != COLUMNS:
            raise TableError(f"{table.name}: the columns are {rows.fieldnames}, not {COLUMNS}")
        pins = [Pin(**row) for row in rows]
    for pin in pins:
        if not re.fullmatch(r"[a-z]+(_[a-z]+)*", pin.name):
            raise TableError(f"{pin.name}: a name is lower-case words")
        if not re.fullmatch(r"P[BCD][0-7]|ADC[0-7]", pin.pin):
            raise TableError(f"{pin.name}: there is no pin {pin.pin}")
        if pin.direction not in DIRECTIONS or pin.active not in LEVELS:
            raise TableError(f"{pin.name}: {pin.direction}, {pin.active} is not known")
        if pin.direction == "out" and pin.active == "none":
            raise TableError(f"{pin.name}: an output needs the level at which it acts")
        if not (pin.rest and pin.what):
            raise TableError(f"{pin.name}: say what defines its level at rest, and what it is for")
    for kind in ("name", "pin"):
        seen = [getattr(pin, kind) for pin in pins]
        if len(set(seen)) != len(seen):
            raise TableError(f"a {kind} stands twice")
    return pins


def _mask(pins: list[Pin]) -> str:
    return f"0x{sum(1 << pin.bit for pin in pins):02x}u"


def _of_pin(pin: Pin) -> list[str]:
    stem = f"PIN_{pin.name.upper()}"
    lines = ["", f"/* {pin.pin}, {pin.direction}: {pin.what.split(';')[0]} */"]
    if not pin.port:
        return [*lines, f"#define {stem}_CHANNEL {pin.bit}u"]
    register = "PIN" if pin.direction == "in" else "PORT"
    lines += [
        f"#define {stem}_{register} {register}{pin.port}",
        f"#define {stem}_LETTER '{pin.port}'",
        f"#define {stem}_BIT {pin.bit}u",
        f"#define {stem}_MASK {_mask([pin])}",
    ]
    if pin.active in {"low", "high"}:
        lines.append(f"#define {stem}_ACTIVE {int(pin.active == 'high')}u")
    return lines


def _of_port(port: str, pins: list[Pin]) -> list[str]:
    ours = [pin for pin in pins if pin.port == port and pin.is_digital]
    inputs = [pin for pin in ours if pin.direction == "in"]
    masks = {
        "OUT": [pin for pin in ours if pin.direction == "out"],
        "PULLUP": [pin for pin in inputs if pin.starts_high],
        "START": [pin for pin in ours if pin.starts_high],
        "ACTIVE_LOW": [pin for pin in inputs if pin.active == "low"],
    }
    return ["", *(f"#define PINS_{port}_{kind} {_mask(of)}" for kind, of in masks.items())]


def header_text(pins: list[Pin]) -> str:
    """Return the header: each pin's register, bit and level, and each port's masks.

    Registers are named as avr-libc names them and are no numbers for a reader without it.
    """
    lines = [
        "/* Made by hardware/draw.py from hardware/pins.csv: change the table, not this file.",
        " *",
        " * _ACTIVE is the level that means what the name says. PINS_x_START is the first",
        " * port write, outputs off and inner pull-ups on; it comes before PINS_x_OUT goes to",
        " * the direction register. A port's inputs XOR PINS_x_ACTIVE_LOW have a bit set where",
        " * what the name says is true. */",
        "#ifndef PINS_H",
        "#define PINS_H",
    ]
    for pin in pins:
        if pin.is_digital or pin.direction == "analogue":
            lines += _of_pin(pin)
    for port in PORTS:
        lines += _of_port(port, pins)
    return "\n".join([*lines, "", "#endif", ""])
