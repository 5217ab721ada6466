"""The sheets at low voltage: the controller with all its pins on two, and the NEXT/MARK box."""

from __future__ import annotations

from pins import Pin
from sheet import Sheet
from symbols import box, stand
from wiring import Net, Part

ROW = 30.0
LEFT, PINS_X, DEVICE_X, DEVICE_W = 60.0, 200.0, 520.0, 280.0
AT_CONTROLLER_X, AT_DEVICE_X = PINS_X + 130, DEVICE_X - 120

Devices = tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...]

# Each device: its terminals towards the controller, then those on its other side.
DRIVEN: Devices = (
    ("A4", ("TX", "RX"), ("USB", "5V", "GND")),
    ("X6", ("5", "4", "3", "1"), ("2", "6")),
    ("U3", ("CS", "CK", "DO"), ("T+", "T-", "5V", "GND")),
    ("U4", ("CS", "CK", "DO"), ("T+", "T-", "5V", "GND")),
    ("A2", ("i1", "i2", "i3", "i4", "i5"), ("o1", "o2", "o3", "o4", "o5", "5V", "GND")),
    ("A3", ("in",), ("11", "14", "5V", "GND")),
)
READ: Devices = (
    ("S4", ("1",), ("2",)),
    ("X3", ("1",), ("2", "3", "4")),
    ("S2", ("13",), ("14",)),
    ("S1", ("21",), ("22",)),
    ("U1", ("C",), ("E", "+", "-")),
    ("U2", ("C",), ("E", "+", "-")),
    ("K1", ("21",), ("22",)),
    ("X11", ("1",), ("2",)),
    ("R21", ("1",), ("2",)),
    ("B3", ("out",), ("5V", "GND")),
)


def controller(parts: dict[str, Part], nets: dict[str, Net], pins: list[Pin]) -> Sheet:
    """The pins that drive, the ports and the converters."""
    sheet, y = _pins("Controller: outputs, converters, ports", DRIVEN, parts, nets, pins)
    sheet.note(
        LEFT,
        y + 16,
        "> driven   < read.  A resistor at a driver, at A3 or at a converter sits at that end of",
        "the lead: it keeps heaters, pulse train, lamps, buzzer and converters off while the",
        "controller is in reset or being flashed, and also when the lead breaks.",
        "What is inside: circuits.svg, enable.svg.",
        size=11,
    )
    return sheet


def inputs(parts: dict[str, Part], nets: dict[str, Net], pins: list[Pin]) -> Sheet:
    """The pins that read a contact, a sense or a voltage."""
    sheet, y = _pins("Controller: inputs", READ, parts, nets, pins)
    sheet.note(
        LEFT,
        y + 16,
        "< read   ~ analogue.  Each but mains and chain goes through 3.3 kohm, with 100 nF at the",
        "pin, on the controller's side of its resistor: circuits.svg, which has U1 and U2 as well.",
        size=11,
    )
    return sheet


def _pins(
    title: str,
    devices: Devices,
    parts: dict[str, Part],
    nets: dict[str, Net],
    pins: list[Pin],
) -> tuple[Sheet, float]:
    """Draw these devices below each other with the pins that they go to; return where they end."""
    rows = sum(max(len(left), len(right)) for _, left, right in devices)
    height = int(240 + rows * ROW + len(devices) * 26)
    sheet = Sheet(title, (1080, height), parts, nets)
    table = {pin.pin: pin for pin in pins}
    joined: set[str] = set()
    resistors = {
        net.name: [end.part for end in net.ends if end.part.startswith("R") and end.terminal == "1"]
        for net in nets.values()
    }
    y = 96.0
    places: dict[str, tuple[str, float]] = {}
    for part, left, right in devices:
        tall = max(len(left), len(right))
        ends = {name: ("left", 15 + ROW * i) for i, name in enumerate(left)}
        ends |= {name: ("right", 15 + ROW * i) for i, name in enumerate(right)}
        box(sheet, part, DEVICE_X, y, (DEVICE_W, tall * ROW), ends, label=False)
        what = parts[part].what.split(";", maxsplit=1)[0]
        sheet.text(DEVICE_X + 34, y + 19, part, size=12, bold=True)
        sheet.text(DEVICE_X + (34 if tall > 1 else 66), y + (36 if tall > 1 else 19), what, size=11)
        for i, name in enumerate(left):
            net = next(n for n in nets.values() if f"{part}.{name}" in map(str, n.ends))
            pin = next((e.terminal for e in net.ends if e.part == "A1"), "")
            if pin and net.name not in joined:
                joined.add(net.name)
                places[pin] = (f"{part}.{name}", y + 15 + ROW * i)
            else:
                sheet.flag(f"{part}.{name}", "left", net.name)
        for name in right:
            sheet.flag(f"{part}.{name}", "right")
        y += tall * ROW + 26
    sheet.rect(LEFT, 86, PINS_X - LEFT, y - 86, fill="#f6f6f6")
    sheet.label("A1", LEFT + 10, 110)
    for name, at in (("5V", 170.0), ("GND", 200.0)):
        sheet.terminal("A1", name, LEFT, at)
        sheet.text(LEFT + 6, at + 4, name, size=10)
        sheet.flag(f"A1.{name}", "left")
    for pin, (end, at) in places.items():
        row = table[pin]
        sheet.terminal("A1", pin, PINS_X, at)
        arrow = {"in": "<", "out": ">", "analogue": "~"}[row.direction]
        sheet.text(PINS_X - 5, at + 4, f"{pin} {arrow}", size=10.5, anchor="end")
        sheet.text(PINS_X + 8, at - 4, row.name, size=11, bold=True)
        only = [f"A1.{pin}", end]
        hung = [part for part in resistors[row.name] if part not in {end.split(".")[0], "R21"}]
        far = [part for part in hung if parts[part].notes.startswith("sits at")]
        only += [
            _hang(sheet, part, AT_DEVICE_X if part in far else AT_CONTROLLER_X, at) for part in hung
        ]
        sheet.join(row.name, y=at, only=only)
    return sheet, y


def _hang(sheet: Sheet, part: str, x: float, y: float) -> str:
    """Hang a resistor on a row, lying below it, with its other end in a flag."""
    sheet.terminal(part, "1", x, y)
    sheet.terminal(part, "2", x + 62, y + 11)
    sheet.line((x, y), (x, y + 11), (x + 14, y + 11))
    sheet.rect(x + 14, y + 6, 34, 10, fill="white")
    sheet.line((x + 48, y + 11), (x + 62, y + 11))
    rating = sheet.parts[part].rating.split(";")[0].replace(" kohm", "k").replace(" 1 %", "")
    sheet.text(x - 4, y + 14, f"{part} {rating}", size=9.5, anchor="end")
    sheet.flag(f"{part}.2", "right")
    return f"{part}.1"


def box_of_next(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """The box at the press with the big button and the call lamp; HOT lamp, buzzer, USB."""
    sheet = Sheet("NEXT/MARK box, lamps, buzzer, USB", (1100, 660), parts, nets)
    box(
        sheet,
        "X3",
        90,
        150,
        (150, 160),
        {"1": ("right", 20), "2": ("right", 60), "3": ("right", 100), "4": ("right", 140)},
    )
    for said, y in (("next", 170), ("GND", 210), ("5 V", 250), ("call lamp", 290)):
        sheet.text(250, y - 5, said, size=11)
    sheet.note(
        90,
        332,
        "at the enclosure; a lead of 4 cores, oil-proof,",
        "with strain relief on both ends",
        size=11,
    )
    sheet.rect(470, 118, 560, 226)
    sheet.text(486, 138, "in the box, within reach of the one who works at the press", size=12)
    stand(sheet, "S3", "push", 600, 170, ("1", "2"))
    stand(sheet, "H2", "lamp", 840, 250, ("1", "2"))
    sheet.join("next", only=("X3.1", "S3.1"))
    sheet.join("GND", x=440, only=("X3.2", "S3.2"))
    sheet.join("V5", only=("X3.3", "H2.1"))
    sheet.join("call_out", x=440, only=("X3.4", "H2.2"))
    sheet.note(
        486,
        336,
        "No ARM and no heat-off button in this box: both stay at the press itself.",
        size=11,
    )
    for part, kind, x in (("H1", "lamp", 150.0), ("P1", "buzzer", 500.0)):
        stand(sheet, part, kind, x, 450, ("1", "2"))
        sheet.flag(f"{part}.1", "up")
        sheet.flag(f"{part}.2", "down")
    sheet.note(176, 512, "in sight of the door; a dark lamp proves nothing", size=11)
    box(sheet, "X5", 820, 460, (150, 40), {"1": ("right", 20)}, label=False)
    sheet.label("X5", 820, 440)
    sheet.flag("X5.1", "right")
    sheet.note(820, 520, "the computer's only way in", size=11)
    return sheet
