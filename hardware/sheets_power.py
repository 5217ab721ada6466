"""The sheets that touch mains: the power circuit and the coil chain."""

from __future__ import annotations

from sheet import STEP, Sheet
from symbols import box, pair, stand
from wiring import Net, Part


def power(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """Supply to heaters: everything that opens by itself, in the order of the current."""
    sheet = Sheet("Power circuit: from the supply to the heaters", (1260, 1170), parts, nets)
    poles = (400.0, 520.0)
    box(
        sheet,
        "X0",
        360,
        104,
        (200, 40),
        {"L": ("down", 40), "N": ("down", 160), "PE": ("right", 20)},
    )
    sheet.flag("X0.PE", "right")
    y = 170.0
    for part, kind in (("Q1", "closing"), ("Q2", "closing"), ("Q3", "closing")):
        pair(sheet, part, kind, poles, y, ("1", "2", "3", "4"))
        y += 90
    y += 40
    pair(sheet, "K1", "pole", poles, y, ("1", "2", "3", "4"))
    for net in ("L0", "N0", "L1", "N1", "L2", "N2"):
        sheet.join(net)
    sheet.note(
        880, 300, "every earth sign on this sheet is a lead", "of its own to bar X1", size=11
    )
    sheet.note(212, 552, "opens both poles; its coil: chain sheet", size=11)
    box(sheet, "X1", 880, 84, (90, 24), {"PE": ("right", 12)})
    sheet.flag("X1.PE", "right")
    box(sheet, "W1", 880, 170, (90, 24), {"PE": ("right", 12)})
    sheet.flag("W1.PE", "right")
    box(sheet, "W2", 880, 256, (90, 24), {"PE": ("right", 12)})
    sheet.flag("W2.PE", "right")
    # The 24 V supply hangs on the live side of the contactor.
    stand(sheet, "F6", "fuse", 700, 452, ("1", "2"))
    box(
        sheet,
        "G1",
        660,
        530,
        (230, 50),
        {
            "L": ("up", 40),
            "N": ("up", 190),
            "PE": ("right", 25),
            "+": ("down", 40),
            "-": ("down", 150),
        },
        label=False,
    )
    sheet.label("G1", 930, 548)
    sheet.join("LG")
    sheet.flag("G1.PE", "right")
    sheet.flag("G1.+", "down", "chain sheet: F1")
    sheet.flag("G1.-", "down")
    sheet.join("L3", y=428)
    sheet.join("N3", y=444)
    sheet.note(
        560, 418, "live also while the contactor is out: only breaker or isolator frees it", size=11
    )
    top = y + STEP + 80
    for x, where, half, fuse, switch, surge, link, heater in (
        (220.0, "upper", "U", "F2", "V1", "Z1", "F4", "E1"),
        (700.0, "lower", "D", "F3", "V2", "Z2", "F5", "E2"),
    ):
        stand(sheet, fuse, "fuse", x, top + 40, ("1", "2"))
        box(
            sheet,
            switch,
            x - 60,
            top + 130,
            (120, 60),
            {"1": ("up", 60), "2": ("down", 60), "+": ("left", 20), "-": ("left", 42)},
            label=False,
        )
        sheet.label(switch, x + 112, top + 152)
        stand(sheet, surge, "varistor", x + 84, top + 130, ("1", "2"), label="", numbers=False)
        sheet.text(x + 100, top + 206, surge, size=12, bold=True)
        sheet.flag(f"{switch}.+", "left")
        sheet.flag(f"{switch}.-", "left")
        stand(sheet, link, "thermal fuse", x, top + 230, ("1", "2"))
        sheet.note(x + 26, top + 292, "the only thing left when V and K1 both fail on", size=11)
        stand(sheet, heater, "heater", x, top + 330, ("1", "2"), label="", numbers=False)
        sheet.label(heater, x + 60, top + 376)
        sheet.terminal(heater, "PE", x + 11, top + 346)
        sheet.flag(f"{heater}.PE", "right")
        sheet.join(f"L5{half}", y=top + 118)
        sheet.join(f"L6{half}", y=top + 210)
        sheet.join(f"L7{half}")
        sheet.rect(x - 130, top + 218, 420, 190)
        sheet.text(x - 122, top + 234, f"in the mould, {where} half", size=11)
    sheet.join("L4", y=top + 22)
    sheet.join("N4", y=top + 426)
    return sheet


def chain(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """What no software can bridge: each contact must be closed for the contactor to be in."""
    sheet = Sheet("Coil chain: everything here must be closed for heat", (1240, 1240), parts, nets)
    x = 260.0
    sheet.note(
        60,
        70,
        "At rest: nothing pressed, no coil excited. Any one open contact in the left column",
        "lets the contactor go, and it comes in again only by a hand at ARM.",
        size=12,
    )
    box(sheet, "G1", 200, 140, (120, 36), {"+": ("down", 60), "-": ("right", 18)})
    sheet.flag("G1.-", "right")
    stand(sheet, "F1", "fuse", x, 200, ("1", "2"))
    stand(sheet, "S1", "heat-off", x, 310, ("11", "12"))
    sheet.note(x + 27, 372, "does not release the jack", size=11)
    stand(sheet, "T1", "thermostat", x, 410, ("1", "2"))
    stand(sheet, "T2", "thermostat", x, 510, ("1", "2"))
    stand(sheet, "K2", "delayed", x, 660, ("15", "18"), label="")
    sheet.note(x - 72, 740, "start: K2, 1 s", size=11)
    stand(sheet, "K1", "closing", x + 130, 660, ("13", "14"), label="")
    sheet.note(x + 152, 692, "K1 holds itself", size=11)
    stand(sheet, "A3", "closing", x, 790, ("11", "14"), label="")
    sheet.label("A3", x + 26, 812)
    sheet.note(x + 27, 854, "the board's permission", size=11)
    stand(sheet, "K1", "coil", x, 900, ("A1", "A2"), label="")
    sheet.text(x, 935, "K1", anchor="middle", bold=True)
    sheet.note(x - 176, 925, "contactor: its poles", "are in the power", "circuit", size=11)
    stand(sheet, "Z3", "varistor", x + 130, 900, ("1", "2"), label="right", numbers=False)
    # Senses, start and the board's own contacts, on the right.
    box(
        sheet,
        "U1",
        780,
        262,
        (130, 60),
        {"+": ("left", 18), "-": ("left", 42), "C": ("right", 18), "E": ("right", 42)},
    )
    box(
        sheet,
        "U2",
        780,
        622,
        (130, 60),
        {"+": ("left", 18), "-": ("left", 42), "C": ("right", 18), "E": ("right", 42)},
    )
    for sense, net in (("U1", "mains"), ("U2", "chain")):
        sheet.flag(f"{sense}.-", "left")
        sheet.flag(f"{sense}.C", "right", f"board: {net}")
        sheet.flag(f"{sense}.E", "right")
    stand(sheet, "S2", "push", 535, 690, ("23", "24"))
    box(
        sheet,
        "K2",
        520,
        800,
        (220, 46),
        {"S": ("up", 15), "A1": ("up", 168), "A2": ("right", 23)},
        label=False,
    )
    sheet.label("K2", 520, 864)
    sheet.flag("K2.A2", "right")
    _second_contacts(sheet)
    stand(sheet, "J1", "fuse", 480, 1040, ("1", "2"))
    sheet.flag("J1.2", "down")
    sheet.note(300, 1002, "0 V of 24 V", size=11)
    sheet.note(480, 272, "supply end of the chain", size=11)
    sheet.note(600, 632, "behind the limit thermostats", size=11)
    sheet.join("C0")
    sheet.join("C1", y=280)
    sheet.join("C2")
    sheet.join("C3")
    sheet.join("C4", y=640)
    sheet.join("C5", y=766)
    sheet.join("C6", y=880)
    sheet.join("START")
    sheet.join("M24", y=1010, only=("K1.A2", "Z3.2", "J1.1"))
    return sheet


def _second_contacts(sheet: Sheet) -> None:
    """The contacts of the chain's own parts that only the board reads."""
    for part, kind, ends, at, said in (
        ("S1", "opening", ("21", "22"), 930.0, "button: second contact of the heat-off button"),
        ("S2", "closing", ("13", "14"), 930.0, "arm: first contact of ARM/RESET"),
        ("K1", "opening", ("21", "22"), 930.0, "mirror: closed only while every pole is open"),
    ):
        row = {"S1": 780.0, "S2": 910.0, "K1": 1040.0}[part]
        stand(sheet, part, kind, at, row, ends, label="")
        sheet.text(at + 24, row + 22, part, bold=True)
        sheet.note(at + 24, row + 38, *said.split(": "), size=11)
        net = said.split(":", maxsplit=1)[0]
        sheet.flag(f"{part}.{ends[0]}", "up", f"board: {net}")
        sheet.flag(f"{part}.{ends[1]}", "down")
    sheet.text(890, 736, "second contacts, read by the board only", size=12, bold=True)
