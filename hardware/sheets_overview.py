"""The sheets without a net list of their own: the three layers, and where the probes sit."""

from __future__ import annotations

from sheet import INK, Sheet
from symbols import box
from wiring import Net, Part


def _block(sheet: Sheet, x: float, y: float, w: float, h: float, head: str, *lines: str) -> None:
    sheet.rect(x, y, w, h, fill="#f6f6f6")
    sheet.text(x + 12, y + 20, head, bold=True)
    sheet.note(x + 12, y + 38, *lines, size=11)


def _arrow(
    sheet: Sheet,
    *points: tuple[float, float],
    said: str = "",
    at: tuple[float, float] | None = None,
    dash: str = "",
) -> None:
    """Draw a line with a head at its end, which must lie level or upright."""
    sheet.line(*points, width=1.8, dash=dash)
    (x1, y1), (x2, y2) = points[-2:]
    dx, dy = (x2 > x1) - (x2 < x1), (y2 > y1) - (y2 < y1)
    sheet.line(
        (x2 - 8 * dx - 5 * dy, y2 - 8 * dy - 5 * dx),
        (x2, y2),
        (x2 - 8 * dx + 5 * dy, y2 - 8 * dy + 5 * dx),
        width=1.8,
    )
    if said and at:
        sheet.text(*at, said, size=11)


def layers(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """Who can take the heat away, and what they share."""
    sheet = Sheet("Three layers that take the heat away", (1180, 820), parts, nets)
    _block(
        sheet,
        40,
        90,
        300,
        130,
        "Layer 1: the host program",
        "setpoint at most 200 degC and trip - 15 K",
        "its own cut-off at setpoint + 20 K",
        "duty 0 on any doubt",
        "can only ask for heat",
    )
    _block(
        sheet,
        40,
        300,
        300,
        190,
        "Layer 2: the board A1",
        "trip 215 degC, compiled ceiling 230 degC",
        "duty expires within 1.5 s",
        "latched trip, reset only by hand",
        "no rise, rises or falls fast, disagreement,",
        "heats when off, stuck reading",
        "arming needs a hand at ARM",
        "permission: pulses, at most 100 ms old",
    )
    _block(
        sheet,
        40,
        570,
        300,
        150,
        "Layer 3: the coil chain, no software",
        "limit thermostat in each half, own sensor,",
        "manual reset, above 240 degC",
        "heat-off button (does not release the jack)",
        "start by hand; mains back starts nothing",
        "every contact must be closed for heat",
    )
    _block(sheet, 520, 300, 190, 80, "Output switches V1, V2", "commonly fail switched on")
    _block(
        sheet,
        520,
        570,
        190,
        100,
        "Contactor K1",
        "opens both poles",
        "for layers 2 and 3 alike",
        "can weld: the mirror",
        "contact tells the board",
    )
    _block(sheet, 860, 300, 270, 420, "Mould, each half")
    _block(sheet, 880, 340, 230, 60, "Thermocouple B", "insulated junction, type K")
    _block(sheet, 880, 440, 230, 60, "One-shot thermal fuse F", "last of all: opens once, for good")
    _block(sheet, 880, 540, 230, 60, "Heater E", "in an earthed half")
    _block(
        sheet,
        880,
        640,
        230,
        60,
        "Sensor of limit thermostat T",
        "not a thermocouple of the board",
    )
    _arrow(sheet, (190, 220), (190, 300), said="duty each 0.4 s, USB", at=(200, 264))
    _arrow(sheet, (340, 340), (520, 340), said="on/off, each half", at=(370, 332))
    _arrow(
        sheet,
        (270, 490),
        (270, 570),
        said="permission: one more contact in the chain",
        at=(280, 520),
    )
    _arrow(sheet, (340, 620), (520, 620), said="coil current", at=(370, 612))
    _arrow(
        sheet, (560, 570), (560, 420), (340, 420), said="mirror contact", at=(390, 412), dash="4 3"
    )
    _arrow(sheet, (710, 340), (790, 340), (790, 470), (880, 470), said="mains", at=(800, 462))
    _arrow(sheet, (995, 500), (995, 540))
    _arrow(sheet, (650, 570), (650, 380), said="mains, both poles", at=(657, 480))
    _arrow(
        sheet,
        (880, 370),
        (830, 370),
        (830, 270),
        (270, 270),
        (270, 300),
        said="temperature, to layers 2 and 1",
        at=(520, 262),
    )
    _arrow(
        sheet,
        (880, 670),
        (760, 670),
        (760, 760),
        (190, 760),
        (190, 720),
        said="own sensor, own contact: no thermocouple, no output switch",
        at=(230, 752),
    )
    sheet.line((20, 532), (760, 532), dash="8 4")
    sheet.text(28, 526, "above: shared thermocouples and outputs", size=11)
    sheet.text(28, 548, "below: independent of both", size=11)
    sheet.note(
        520,
        100,
        "Isolator, RCD (GFCI), breaker and earth stand before all of this.",
        "One fault anywhere leaves at least one independent layer.",
        "Output and contactor both failed on: only the thermal fuse is left,",
        "and a hand at the isolator.",
        size=12,
    )
    return sheet


def _half(sheet: Sheet, y: float, marks: tuple[str, str, str, str], *, upper: bool) -> None:
    """One half of a mould, cut through its middle; marks of probe, heater, thermostat and fuse."""
    sheet.rect(90, y, 520, 150, fill="#e8e8e8")
    face = y + 150 if upper else y
    fill = "white" if upper else "#e8e8e8"
    sheet.shape((200, face), (230, face - 40), (470, face - 40), (500, face), fill=fill)
    for x in (150.0, 280.0, 410.0, 540.0):
        at = y + 46 if upper else y + 106
        sheet.circle(x, at, 13, fill="white")
        sheet.text(x, at + 4, marks[1], size=10, anchor="middle")
    depth = face - 56 if upper else face + 16
    sheet.line((90, depth), (350, depth), width=5)
    sheet.circle(350, depth, 4, fill=INK)
    sheet.text(96, depth + (-6 if upper else 17), marks[0], bold=True)
    bar = y + 10 if upper else y + 126
    sheet.rect(330, bar, 110, 15, fill="white")
    sheet.text(385, bar + 11, marks[2], size=10, anchor="middle")
    sheet.rect(205, bar, 50, 15, fill="#cccccc")
    sheet.text(230, bar + 11, marks[3], size=10, anchor="middle")


def probes(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """A cut through the mould, the five spots of the survey, and the polarity of the wires."""
    sheet = Sheet("Probes: place, depth, survey, polarity", (1200, 900), parts, nets)
    _half(sheet, 110, ("B1", "E1", "T1", "F4"), upper=True)
    _half(sheet, 320, ("B2", "E2", "T2", "F5"), upper=False)
    sheet.text(90, 100, "cut through a closed mould (drawn apart at the parting line)", size=12)
    sheet.text(640, 126, "both halves alike", bold=True)
    sheet.note(
        640,
        150,
        "B: thermocouple. Its hole ends at mid-cavity, 10 to 15 mm behind",
        "the cavity's surface, at least two sheath diameters from any heater;",
        "clamped, so that it cannot slip out.",
        "E: heaters.",
        "T: sensor of the limit thermostat, beside a heater: the hottest metal.",
        "F: one-shot thermal fuse, in the heater's own lead, as hot as its place",
        "was when its rating was chosen (building.md).",
        "All leads leave on the side away from the operator, in a loop that the",
        "moving platen never pulls straight; heater leads and probe leads in",
        "separate bundles.",
        size=12,
    )
    sheet.text(
        90, 520, "five-point survey, each half, mould open for seconds only", size=12, bold=True
    )
    sheet.circle(240, 660, 110)
    for number, (x, y) in enumerate(
        ((240, 660), (240, 740), (160, 660), (240, 580), (320, 660)), start=1
    ):
        sheet.circle(x, y, 11, fill="white")
        sheet.text(x, y + 5, str(number), anchor="middle", bold=True)
    sheet.text(240, 790, "operator", size=12, anchor="middle")
    sheet.note(
        90,
        812,
        "1: middle.  2 to 5: on 3/4 of the radius,",
        "2 at the operator, then clockwise from above.",
        size=11,
    )
    for part, plug, module, half, y in (
        ("B1", "X9", "U3", "upper", 560.0),
        ("B2", "X10", "U4", "lower", 690.0),
    ):
        box(sheet, part, 480, y, (150, 60), {"+": ("right", 18), "-": ("right", 42)}, label=False)
        sheet.text(490, y + 20, part, bold=True)
        sheet.note(490, y + 36, f"type K, {half} half", size=11)
        ends = {
            "2": ("left", 18.0),
            "4": ("left", 42.0),
            "1": ("right", 18.0),
            "3": ("right", 42.0),
        }
        box(sheet, plug, 750, y, (70, 60), ends, label=False)
        sheet.text(785, y + 34, plug, bold=True, anchor="middle")
        box(sheet, module, 930, y, (160, 60), {"T+": ("left", 18), "T-": ("left", 42)}, label=False)
        sheet.text(1000, y + 20, module, bold=True)
        sheet.note(970, y + 36, f"converter, {half} half", size=11)
        for sign in "pn":
            sheet.join(f"{half}_{sign}_mould")
            sheet.join(f"{half}_{sign}")
        sheet.text(
            785, y - 8, "+  nickel-chromium   IEC green, ANSI yellow", size=11, anchor="middle"
        )
        sheet.text(
            785, y + 74, "-  nickel-aluminium   IEC white, ANSI RED", size=11, anchor="middle"
        )
    sheet.note(
        480,
        790,
        "Extension wire of type KX all the way, plugs of type K.",
        "The minus wire is slightly magnetic.",
        "In the ANSI system red is the MINUS wire. Colours: probes.md.",
        size=12,
    )
    return sheet
