"""Draws the enable circuit with the values of its netlist: `python hardware/draw_enable.py`."""

from __future__ import annotations

import re
import sys
from html import escape
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
NETLIST = FOLDER / "enable.cir"
DRAWING = FOLDER / "enable.svg"

INK = "#111111"
SIZE = (1300, 660)
WIRE_Y, FOOT_Y = 366, 490  # the way of the pulse train, and where what hangs from it ends
REFERENCE_X, STORE_X, COIL_X = 700, 735, 990
TITLE = "Enable circuit: a pulse train holds the relay, a level of either kind lets it go"
NOTES = (
    "C2 and C3 pass no level. R1 with C1 keeps what is faster than 7.8 kHz too small to pump.",
    "What is slower than 250 Hz pumps too little for the reference.",
    "All marks are A3's own, in the enclosure and in tables A3-R1, A3-D5 and so on.",
    "No wire leads from the coil back to the store: a relay that is in must not keep itself in.",
)
CAUTION = "Tried in simulation only, not certified. enable.md says what was shown and what was not."

Place = tuple[float, float]


def read_values(text: str) -> dict[str, str]:
    """Return the nominal value of each resistor and capacitor of the netlist, for people."""
    units = {"k": "kΩ", "n": "nF", "u": "µF"}
    circuit = text.split("* -- The circuit.")[1]
    found = re.findall(r"(?m)^([RC]\d|Rin) \w+ \w+ \{?(\d+)([knu])", circuit)
    return {part: f"{number} {units[unit]}" for part, number, unit in found}


class Drawing:
    """Shapes in the order in which they are drawn."""

    def __init__(self, values: dict[str, str]) -> None:
        self.values = values
        self.shapes: list[str] = []

    def line(self, *points: Place, width: float = 1.4, dash: str = "") -> None:
        """Draw a line through points."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.shapes.append(
            f'<polyline points="{path}" fill="none" stroke="{INK}" stroke-width="{width:g}"'
            f"{dashed}/>"
        )

    def shape(self, *points: Place, fill: str = "white") -> None:
        """Draw a closed shape."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self.shapes.append(
            f'<polygon points="{path}" fill="{fill}" stroke="{INK}" stroke-width="1.4"/>'
        )

    def dot(self, x: float, y: float) -> None:
        """Mark a joint."""
        self.shapes.append(f'<circle cx="{x:g}" cy="{y:g}" r="3.4" fill="{INK}"/>')

    def text(
        self, x: float, y: float, said: str, *, size: float = 13, anchor: str = "start"
    ) -> None:
        """Write one line."""
        self.shapes.append(
            f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}">'
            f"{escape(said)}</text>"
        )

    def name(self, part: str, x: float, y: float, *, anchor: str = "start") -> None:
        """Write a part's mark and, below it, its value."""
        self.text(x, y, part, anchor=anchor)
        if part in self.values:
            self.text(x, y + 15, self.values[part], size=12, anchor=anchor)

    def ground(self, x: float, y: float) -> None:
        """End a wire at 0 V."""
        self.line((x, y), (x, y + 8))
        for half, below in ((11, 8), (7, 12), (3, 16)):
            self.line((x - half, y + below), (x + half, y + below))

    def supply(self, x: float, y: float) -> None:
        """End a wire at 5 V."""
        self.line((x, y), (x, y - 10))
        self.line((x - 9, y - 10), (x + 9, y - 10))
        self.text(x, y - 15, "5 V", size=12, anchor="middle")

    # Parts that stand between two heights, or lie between two widths.

    def resistor(self, part: str, x: float, top: float, bottom: float) -> None:
        """Draw a standing resistor."""
        middle = (top + bottom) / 2
        self.line((x, top), (x, bottom))
        self.shape(
            (x - 7, middle - 22), (x + 7, middle - 22), (x + 7, middle + 22), (x - 7, middle + 22)
        )
        self.name(part, x + 13, middle - 3)

    def lying_resistor(self, part: str, left: float, right: float, y: float) -> None:
        """Draw a lying resistor."""
        middle = (left + right) / 2
        self.line((left, y), (right, y))
        self.shape(
            (middle - 22, y - 7), (middle + 22, y - 7), (middle + 22, y + 7), (middle - 22, y + 7)
        )
        self.name(part, middle, y - 30, anchor="middle")

    def capacitor(self, part: str, x: float, top: float, bottom: float) -> None:
        """Draw a standing capacitor."""
        middle = (top + bottom) / 2
        self.line((x, top), (x, middle - 4))
        self.line((x, middle + 4), (x, bottom))
        for y in (middle - 4, middle + 4):
            self.line((x - 14, y), (x + 14, y), width=2.4)
        self.name(part, x + 20, middle - 3)

    def lying_capacitor(self, part: str, left: float, right: float, y: float) -> None:
        """Draw a lying capacitor."""
        middle = (left + right) / 2
        self.line((left, y), (middle - 4, y))
        self.line((middle + 4, y), (right, y))
        for x in (middle - 4, middle + 4):
            self.line((x, y - 14), (x, y + 14), width=2.4)
        self.name(part, middle, y - 37, anchor="middle")

    def diode(
        self, part: str, x: float, anode: float, cathode: float, *, left: bool = False
    ) -> None:
        """Draw a standing diode."""
        middle, way = (anode + cathode) / 2, 9 if cathode > anode else -9
        self.line((x, anode), (x, cathode))
        self.shape((x - 9, middle - way), (x + 9, middle - way), (x, middle + way))
        self.line((x - 9, middle + way), (x + 9, middle + way), width=2.4)
        self.name(part, x + (-14 if left else 15), middle + 4, anchor="end" if left else "start")

    def lying_diode(self, part: str, left: float, right: float, y: float) -> None:
        """Draw a diode that conducts to the right."""
        middle = (left + right) / 2
        self.line((left, y), (right, y))
        self.shape((middle - 9, y - 9), (middle - 9, y + 9), (middle + 9, y))
        self.line((middle + 9, y - 9), (middle + 9, y + 9), width=2.4)
        self.name(part, middle, y - 16, anchor="middle")

    def comparator(self, part: str, x: float, y: float, upper: str, lower: str) -> None:
        """Draw one half of the comparator; inputs 18 above and below y, output at x + 64."""
        self.shape((x, y - 36), (x, y + 36), (x + 64, y))
        self.text(x + 6, y - 13, upper, size=15)
        self.text(x + 6, y + 23, lower, size=15)
        self.text(x + 20, y + 5, part, size=12)

    def transistor(self, part: str, x: float, y: float, *, p_channel: bool) -> None:
        """Draw a field-effect transistor; gate at the left of (x, y), the channel's ends at x."""
        self.line((x - 44, y), (x - 18, y))
        self.line((x - 18, y - 16), (x - 18, y + 16), width=2)
        self.line((x - 12, y - 20), (x - 12, y + 20), width=2)
        for way in (-1, 1):
            self.line((x - 12, y + 14 * way), (x, y + 14 * way), (x, y + 34 * way))
        source = y - 14 if p_channel else y + 14
        tip = x - 11 if p_channel else x - 1
        tail = tip + 9 if p_channel else tip - 9
        self.shape((tip, source), (tail, source - 5), (tail, source + 5), fill=INK)
        self.text(x + 10, y + 4, part)


def draw_train(d: Drawing) -> None:
    """From the controller's pin to the store."""
    d.text(24, WIRE_Y - 52, "PD7, 1 kHz")
    steps: list[Place] = []
    for number in range(3):
        x = 28 + 20 * number
        steps += [(x, WIRE_Y - 16), (x, WIRE_Y - 36)]
        steps += [(x + 10, WIRE_Y - 36), (x + 10, WIRE_Y - 16)]
    d.line(*steps)
    d.line((24, WIRE_Y), (96, WIRE_Y))
    d.shape((46, WIRE_Y - 5), (56, WIRE_Y), (46, WIRE_Y + 5), fill=INK)
    d.resistor("Rin", 96, WIRE_Y, FOOT_Y)
    d.lying_resistor("R1", 96, 196, WIRE_Y)
    d.capacitor("C1", 196, WIRE_Y, FOOT_Y)
    d.lying_capacitor("C2", 196, 276, WIRE_Y)
    d.lying_capacitor("C3", 276, 350, WIRE_Y)
    d.diode("D1", 350, FOOT_Y, WIRE_Y)
    d.lying_diode("D2", 350, 440, WIRE_Y)
    d.capacitor("C4", 440, WIRE_Y, FOOT_Y)
    d.resistor("R2", 530, WIRE_Y, FOOT_Y)
    d.resistor("R3", 610, WIRE_Y, FOOT_Y)
    d.line((440, WIRE_Y), (STORE_X, WIRE_Y))
    d.text(546, WIRE_Y - 9, "store", size=12)
    for x in (96, 196, 350, 440, 530, 610):
        d.dot(x, WIRE_Y)
        d.ground(x, FOOT_Y)


def draw_reference(d: Drawing) -> None:
    """What the store is compared with."""
    d.supply(60, 70)
    d.line((60, 70), (60, 140), (90, 140))
    d.dot(60, 80)
    d.lying_resistor("R8", 60, 440, 80)
    d.line((440, 80), (440, 140))
    d.lying_diode("D3", 90, 170, 140)
    d.lying_diode("D4", 170, 250, 140)
    d.lying_resistor("R4", 250, 440, 140)
    d.dot(440, 140)
    d.resistor("R5", 440, 140, 206)
    d.resistor("R9", 440, 206, 272)
    d.ground(440, 272)
    d.line((440, 140), (REFERENCE_X, 140))
    d.text(546, 131, "reference", size=12)


def draw_driver(d: Drawing) -> None:
    """The two halves of the comparator, the two transistors, the coil and its contact."""
    upper, lower, left, gates = 158, 348, 770, 880
    d.line((REFERENCE_X, 140), (left, 140))
    d.dot(REFERENCE_X, 140)
    d.line((REFERENCE_X, 140), (REFERENCE_X, lower - 18), (left, lower - 18))
    d.line((STORE_X, lower + 18), (STORE_X, upper + 18), (left, upper + 18))
    d.line((STORE_X, lower + 18), (left, lower + 18))
    d.dot(STORE_X, WIRE_Y)
    d.comparator("U1a", left, upper, "+", "−")
    d.comparator("U1b", left, lower, "−", "+")
    for number, said in enumerate(
        ("A3-U1: dual comparator,", "open collectors,", "C5 at its supply")
    ):
        d.text(left - 18, 226 + 15 * number, said, size=12)
    for y, resistor, transistor in ((upper, "R6", "M1"), (lower, "R7", "M2")):
        d.line((left + 64, y), (COIL_X - 44, y))
        d.dot(gates, y)
        d.supply(gates, y - 80)
        d.resistor(resistor, gates, y - 80, y)
        d.transistor(transistor, COIL_X, y, p_channel=transistor == "M1")
    d.supply(COIL_X, upper - 34)
    d.line((COIL_X, upper + 34), (COIL_X, 230))
    d.line((COIL_X, 276), (COIL_X, lower - 34))
    d.shape((COIL_X - 22, 230), (COIL_X + 22, 230), (COIL_X + 22, 276), (COIL_X - 22, 276))
    d.line((COIL_X - 22, 264), (COIL_X + 22, 242))
    d.text(COIL_X - 30, 258, "A3-K1", anchor="end")
    d.ground(COIL_X, lower + 34)
    for y in (206, 300):
        d.dot(COIL_X, y)
        d.line((COIL_X, y), (COIL_X + 62, y))
    d.diode("", COIL_X + 62, 300, 206)
    d.text(COIL_X + 77, 234, "D5")
    x = COIL_X + 150
    d.line((COIL_X + 22, 253), (x - 8, 253), dash="5 4", width=1)
    d.line((x, 190), (x, 232), width=2.2)
    d.line((x, 270), (x, 316), width=2.2)
    d.line((x, 270), (x - 16, 236), width=2.2)
    d.text(x + 8, 204, "11")
    d.text(x + 8, 312, "14")
    d.text(x - 40, 164, "coil chain, 24 V:", size=12)
    d.text(x - 40, 180, "from the start relay", size=12)
    d.text(x - 40, 336, "to the contactor's coil", size=12)


def draw() -> str:
    """Return the drawing."""
    d = Drawing(read_values(NETLIST.read_text(encoding="ascii")))
    draw_train(d)
    draw_reference(d)
    draw_driver(d)
    d.text(24, 26, TITLE, size=17)
    for number, said in enumerate((*NOTES, CAUTION)):
        d.text(24, 560 + 19 * number, said, size=12.5)
    width, height = SIZE
    body = "\n".join(d.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="sans-serif" fill="{INK}">\n'
        f"<title>{TITLE}</title>\n"
        f'<rect width="{width}" height="{height}" fill="white"/>\n{body}\n</svg>\n'
    )


def main() -> int:
    """Write the drawing."""
    DRAWING.write_text(draw(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
