"""The small circuits of the controller side, each drawn once for all that are like it."""

from __future__ import annotations

from sheet import Sheet
from symbols import box, lie, stand, transistor
from wiring import Net, Part


def circuits(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """Driver, sense, converter and input, with values.

    Args:
        parts: Those of the list, and those of these circuits.
        nets: Those of these circuits alone.
    """
    sheet = Sheet("Circuits of the controller side, with values", (1240, 1180), parts, nets)
    sheet.note(40, 1096, "Computed, not simulated, not built.", size=12)
    _driver(sheet)
    _sense(sheet)
    _converter(sheet)
    _input(sheet)
    return sheet


def _port(sheet: Sheet, end: str, x: float, y: float, *, side: str = "left") -> None:
    """Put down a terminal that leads out of the circuit, named outside of it."""
    part, name = end.split(".", 1)
    sheet.terminal(part, name, x, y)
    away = -8 if side == "left" else 8
    sheet.text(
        x + away, y + 4, end, size=12, bold=True, anchor="end" if side == "left" else "start"
    )


def _driver(sheet: Sheet) -> None:
    """One channel of A2."""
    y = 190.0
    sheet.text(40, 76, "A2, one of five channels", size=14, bold=True)
    sheet.note(40, 94, "the others alike: i1 R1 o1 (HOT lamp), i3 R3 o3 (lower heater),", size=11)
    sheet.note(40, 108, "i4 R5 o4 (call lamp), i5 R10 o5 (buzzer)", size=11)
    _port(sheet, "A2.i2", 80, y)
    stand(sheet, "R2", "resistor", 120, y, ("1", "2"))
    lie(sheet, "A2-R1", "resistor", 250, y, ("1", "2"))
    transistor(sheet, "A2-M1", 360, y, ("G", "D", "S"))
    sheet.label("A2-M1", 376, y + 4)
    stand(sheet, "A2-D1", "diode up", 470, y - 90, ("K", "A"), numbers=False)
    _port(sheet, "A2.o2", 570, y - 30, side="right")
    sheet.join("heater_upper", y=y)
    sheet.join("gate")
    sheet.join("upper_out", y=y - 30)
    sheet.flag("R2.2", "down")
    sheet.flag("A2-M1.S", "down")
    sheet.flag("A2-D1.K", "up")
    sheet.note(40, 296, "R2 sits here and not at A1: a lead from A1 that breaks leaves", size=11)
    sheet.note(40, 310, "the output off.", size=11)


def _sense(sheet: Sheet) -> None:
    """U1; U2 is the same."""
    y = 470.0
    sheet.text(40, 376, "U1, sense of the chain; U2 alike with R19", size=14, bold=True)
    _port(sheet, "U1.+", 80, y)
    lie(sheet, "U1-R1", "resistor", 130, y, ("1", "2"))
    lie(sheet, "U1-Z1", "zener left", 270, y, ("K", "A"))
    stand(sheet, "U1-R2", "resistor", 400, y, ("1", "2"), numbers=False)
    stand(sheet, "U1-D1", "diode up", 600, y, ("K", "A"), numbers=False)
    box(
        sheet,
        "U1-O1",
        780,
        y - 20,
        (110, 100),
        {"A": ("left", 20), "K": ("down", 20), "C": ("right", 20), "E": ("right", 80)},
    )
    _port(sheet, "U1.-", 80, y + 90)
    stand(sheet, "R18", "resistor", 1040, y - 60, ("2", "1"))
    _port(sheet, "U1.C", 1130, y, side="right")
    sheet.join("C1")
    sheet.join("sense_in")
    sheet.join("sense_led", y=y)
    sheet.join("M24", y=y + 90)
    sheet.join("mains", y=y)
    sheet.flag("R18.2", "up")
    sheet.flag("U1-O1.E", "right")
    sheet.note(110, y + 112, "dark below 8 V; at 20 V the optocoupler's diode gets 3.2 mA", size=11)


def _converter(sheet: Sheet) -> None:
    """U3; U4 is the same."""
    y = 740.0
    sheet.text(
        40, 640, "U3, converter module; U4 alike with R7 and select_lower", size=14, bold=True
    )
    _port(sheet, "U3.CS", 80, y)
    stand(sheet, "R6", "resistor", 120, y - 60, ("2", "1"))
    _port(sheet, "U3.CK", 80, y + 50)
    box(
        sheet,
        "U3-U3",
        380,
        y - 20,
        (110, 90),
        {
            "A1": ("left", 20),
            "A2": ("left", 70),
            "Y1": ("right", 20),
            "Y2": ("right", 70),
            "VCC": ("right", 45),
            "GND": ("left", 45),
        },
    )
    _port(sheet, "U3.DO", 80, y + 170)
    stand(sheet, "R8", "resistor", 120, y + 170, ("1", "2"))
    sheet.note(146, y + 232, "at A1", size=11)
    box(
        sheet,
        "U3-U4",
        380,
        y + 140,
        (110, 110),
        {
            "OE": ("left", 58),
            "Y": ("left", 30),
            "A": ("right", 30),
            "VCC": ("right", 86),
            "GND": ("left", 86),
        },
        label=False,
    )
    sheet.label("U3-U4", 380, y + 268)
    stand(sheet, "U3-R1", "resistor", 600, y + 170, ("1", "2"), numbers=False)
    box(
        sheet,
        "U3-U1",
        740,
        y - 20,
        (120, 220),
        {
            "CS": ("left", 20),
            "SCK": ("left", 70),
            "SO": ("left", 190),
            "T+": ("right", 20),
            "T-": ("right", 80),
            "VCC": ("right", 130),
            "GND": ("right", 190),
        },
    )
    stand(sheet, "U3-C1", "capacitor", 920, y, ("1", "2"), numbers=False)
    _port(sheet, "U3.T+", 1080, y, side="right")
    _port(sheet, "U3.T-", 1080, y + 60, side="right")
    sheet.join("select_upper", y=y, only=("U3.CS", "R6.1", "U3-U3.A1"))
    sheet.join("clock", only=("U3.CK", "U3-U3.A2"))
    sheet.join("data", y=y + 170)
    sheet.join("select_33")
    sheet.join("clock_33")
    sheet.join("data_33", y=y + 170)
    sheet.join("upper_p", y=y)
    sheet.join("upper_n", y=y + 60)
    sheet.flag("U3-U4.OE", "left", "select_upper")
    for end, side in (
        ("R6.2", "up"),
        ("R8.2", "down"),
        ("U3-R1.2", "down"),
        ("U3-U3.VCC", "right"),
        ("U3-U3.GND", "left"),
        ("U3-U4.VCC", "right"),
        ("U3-U4.GND", "left"),
        ("U3-U1.VCC", "right"),
        ("U3-U1.GND", "right"),
    ):
        sheet.flag(end, side)
    _supply(sheet, y + 170)


def _supply(sheet: Sheet, y: float) -> None:
    """The regulator of a converter, and the capacitors at supply pins."""
    box(
        sheet,
        "U3-U2",
        1010,
        y - 20,
        (100, 50),
        {"IN": ("left", 20), "OUT": ("right", 20), "GND": ("down", 50)},
    )
    sheet.flag("U3-U2.IN", "left")
    sheet.flag("U3-U2.OUT", "right")
    sheet.flag("U3-U2.GND", "down")
    for number, mark in enumerate(("U3-C2", "U3-C3", "U3-C4", "U3-C5", "U3-C6")):
        x = 660 + 120.0 * number
        stand(sheet, mark, "capacitor", x, y + 130, ("1", "2"), label="", numbers=False)
        sheet.text(x + 20, y + 158, mark, bold=True)
        sheet.text(x + 20, y + 172, sheet.parts[mark].rating, size=11)
        sheet.flag(f"{mark}.1", "up")
        sheet.flag(f"{mark}.2", "down")


def _input(sheet: Sheet) -> None:
    """One lead from outside the enclosure."""
    y, x = 220.0, 740.0
    sheet.text(x, 76, "input filter, one of seven leads", size=14, bold=True)
    sheet.note(
        x,
        94,
        "the others alike: S2, S3 behind X3, S4, K1's mirror (1 kohm each);",
        "identity and force with theirs",
        size=11,
    )
    stand(sheet, "S1", "opening", x + 50, y, ("21", "22"), label="")
    sheet.text(x + 28, y + 34, "S1", bold=True, anchor="end")
    stand(sheet, "R17", "resistor", x + 150, y - 60, ("2", "1"), label="left")
    lie(sheet, "A1-R1", "resistor", x + 230, y, ("1", "2"))
    stand(sheet, "A1-C1", "capacitor", x + 330, y, ("1", "2"), numbers=False)
    _port(sheet, "A1.PC2", x + 400, y, side="right")
    sheet.join("button_lead", y=y)
    sheet.join("button", y=y)
    sheet.flag("S1.22", "down")
    sheet.flag("R17.2", "up")
    sheet.flag("A1-C1.2", "down")
