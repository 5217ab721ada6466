"""The sheets that touch mains: the power circuit and the coil chain."""

from __future__ import annotations

from sheet import STEP, Sheet
from symbols import box, pair, stand
from wiring import Net, Part


def power(parts: dict[str, Part], nets: dict[str, Net]) -> Sheet:
    """Supply to heaters: everything that opens by itself, in the order of the current."""
    sheet = Sheet("Power circuit: from the supply to the heaters", (1240, 1270), parts, nets)
    poles = (420.0, 560.0)
    box(
        sheet,
        "X0",
        380,
        104,
        (220, 40),
        {"L": ("down", 40), "N": ("down", 180), "PE": ("right", 20)},
    )
    sheet.flag("X0.PE", "right")
    y = 170.0
    for part, kind in (("Q1", "closing"), ("Q2", "closing"), ("Q3", "closing")):
        pair(sheet, part, kind, poles, y, ("1", "2", "3", "4"))
        y += 90
    y += 40
    pair(sheet, "K1", "pole", poles, y, ("1", "2", "3", "4"))
    sheet.text(380, y + 66, "opens both poles", size=11, anchor="end")
    sheet.text(380, y + 80, "its coil: chain sheet", size=11, anchor="end")
    for net in ("L0", "N0", "L1", "N1", "L2", "N2"):
        sheet.join(net)
    _earths(sheet)
    # The 24 V supply hangs on the live side of the contactor.
    stand(sheet, "F6", "fuse", 720, 452, ("1", "2"))
    box(
        sheet,
        "G1",
        680,
        530,
        (290, 50),
        {
            "L": ("up", 40),
            "N": ("up", 250),
            "PE": ("right", 25),
            "+": ("down", 40),
            "-": ("down", 190),
        },
        label=False,
    )
    sheet.label("G1", 1012, 542)
    sheet.join("LG")
    sheet.flag("G1.PE", "right")
    sheet.flag("G1.+", "down", "chain sheet: F1")
    sheet.flag("G1.-", "down")
    sheet.join("L3", y=428)
    sheet.join("N3", y=444)
    sheet.note(
        600, 418, "live also while the contactor is out: only breaker or isolator frees it", size=11
    )
    top = y + STEP + 60
    _branch(sheet, 250.0, top, ("upper", "U", "F2", "V1", "Z1", "X2", "F4", "E1", "1"), side=1)
    _branch(sheet, 880.0, top, ("lower", "D", "F3", "V2", "Z2", "X4", "F5", "E2", "2"), side=-1)
    sheet.join("L4", y=top + 22)
    sheet.join("N4", y=top + 236)
    return sheet


def _earths(sheet: Sheet) -> None:
    """The earth bar and what goes to it by itself."""
    box(sheet, "X1", 890, 118, (90, 26), {"PE": ("right", 13)})
    sheet.flag("X1.PE", "right")
    for part, x, y, said in (
        ("W1", 890.0, 200.0, (("3", "upper platen"), ("4", "lower platen"), ("5", "frame"))),
        ("W2", 680.0, 200.0, (("1", "enclosure"), ("2", "door"))),
    ):
        ends = {name: ("right", 16.0 + 22 * number) for number, (name, _) in enumerate(said)}
        box(sheet, part, x, y, (120, 10 + 22.0 * len(said)), ends)
        for number, (name, what) in enumerate(said):
            sheet.text(x + 8, y + 20 + 22 * number, what, size=11)
            sheet.flag(f"{part}.{name}", "right")
    box(sheet, "HS1", 680, 118, (120, 26), {"PE": ("right", 13)})
    sheet.flag("HS1.PE", "right")
    sheet.note(
        890,
        296,
        "W1.1 and W1.2: in the halves, below.",
        "Every earth sign on this sheet is",
        size=11,
    )
    sheet.note(890, 324, "a lead of its own to bar X1.", size=11)


def _branch(sheet: Sheet, x: float, top: float, marks: tuple[str, ...], *, side: int) -> None:
    """One half: fuse, output switch, connector, and what goes with the half.

    Args:
        sheet: To draw on.
        x: Of the line's way.
        top: Where it begins.
        marks: The half, the letter of its nets, its parts, and its terminal of W1.
        side: Where the neutral lies: 1 right, -1 left.
    """
    where, half, fuse, switch, surge, plug, link, heater, earth = marks
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
    # Poles of the connector: line at x, neutral towards the middle of the sheet, earth outside.
    left = x - 110 if side > 0 else x - 300
    line, neutral, bar = x - left, x - left + 270 * side, x - left - 80 * side
    box(
        sheet,
        plug,
        left,
        top + 270,
        (410, 46),
        {
            "1": ("up", line),
            "2": ("down", line),
            "3": ("up", neutral),
            "4": ("down", neutral),
            "5": ("up", bar),
            "6": ("down", bar),
        },
        label=False,
    )
    sheet.text(left + 120 if side > 0 else left + 50, top + 290, plug, bold=True)
    sheet.text(
        left + 150 if side > 0 else left + 80, top + 290, f"heater connector {where} half", size=11
    )
    sheet.text(
        left + 120 if side > 0 else left + 50,
        top + 305,
        "sockets on this side; earth first",
        size=11,
    )
    sheet.flag(f"{plug}.5", "up")
    word = "right" if side > 0 else "left"
    stand(sheet, link, "thermal fuse", x, top + 350, ("1", "2"), label=word)
    stand(sheet, heater, "heater", x, top + 440, ("1", "2"), label="", numbers=False)
    away, anchor = (40, "start") if side > 0 else (-40, "end")
    sheet.label(heater, x + away, top + 462, anchor=anchor)
    sheet.text(x + away, top + 502, "the half's own earth:", size=11, anchor=anchor)
    sheet.text(x + away, top + 515, f"W1.{earth} and the heater's sheath", size=11, anchor=anchor)
    sheet.terminal(heater, "PE", x - 11 * side, top + 456)
    sheet.terminal("W1", earth, x - 80 * side, top + 490)
    sheet.circle(x - 80 * side, top + 490, 6)
    sheet.text(x - 80 * side, top + 510, f"W1.{earth}", size=11, anchor="middle", bold=True)
    sheet.join(f"L5{half}", y=top + 118)
    sheet.join(f"L6{half}", y=top + 210)
    sheet.join(f"L7{half}")
    sheet.join(f"L8{half}")
    sheet.join(f"PE{half}", x=x - 80 * side)
    sheet.join(f"N5{half}", y=top + 524)
    sheet.rect(left - 5, top + 316, 420, 244)
    sheet.text(
        left - 12,
        top + 576,
        f"in the mould, {where} half: goes with the half. {link} is the only",
        size=11,
    )
    sheet.text(
        left - 12, top + 590, "thing left when output switch and contactor both fail on", size=11
    )


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
    _thermostats(sheet, x)
    stand(sheet, "K2", "delayed", x, 660, ("15", "18"), label="")
    sheet.note(x - 84, 740, "start: K2, 1 s", size=11)
    stand(sheet, "K1", "closing", x + 130, 660, ("13", "14"), label="")
    sheet.note(x + 152, 692, "K1 holds itself", size=11)
    stand(sheet, "A3", "closing", x, 790, ("11", "14"), label="")
    sheet.label("A3", x + 26, 812)
    sheet.note(x + 27, 854, "the board's permission", size=11)
    stand(sheet, "K1", "coil", x, 900, ("A1", "A2"), label="")
    sheet.text(x, 935, "K1", anchor="middle", bold=True)
    sheet.note(x - 176, 925, "contactor: its poles", "are in the power", "circuit", size=11)
    stand(sheet, "Z3", "suppressor", x + 130, 900, ("1", "2"), label="right", numbers=False)
    sheet.note(x + 156, 962, "cathode to A1", size=11)
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
    stand(sheet, "J1", "link", 480, 1040, ("1", "2"))
    sheet.flag("J1.2", "down")
    sheet.note(506, 1104, "closed again after each test", size=11)
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


def _thermostats(sheet: Sheet, x: float) -> None:
    """Each in its half, behind a plug that opens the chain when it is pulled."""
    for half, plug, thermostat, y in (("upper", "X7", "T1", 400.0), ("lower", "X8", "T2", 510.0)):
        box(
            sheet,
            plug,
            x,
            y - 10,
            (56, 80),
            {"1": ("left", 10), "3": ("left", 70), "2": ("right", 10), "4": ("right", 70)},
            label=False,
        )
        sheet.text(x + 28, y + 34, plug, bold=True, anchor="middle")
        sheet.note(x - 108, y + 22, "plug of the", f"{half} half", size=11)
        stand(sheet, thermostat, "thermostat", x + 136, y, ("1", "2"))
    for net in ("C2M", "C3M", "C4M", "C5M"):
        sheet.join(net)


def _second_contacts(sheet: Sheet) -> None:
    """The contacts of the chain's own parts that only the board reads."""
    for part, kind, ends, at, said in (
        ("S1", "opening", ("21", "22"), 930.0, "button: second contact of the heat-off button"),
        ("S2", "closing", ("13", "14"), 930.0, "arm: first contact of ARM/RESET"),
        ("K1", "opening", ("21", "22"), 930.0, "mirror: closed only while every pole is open"),
    ):
        row = {"S1": 780.0, "S2": 918.0, "K1": 1056.0}[part]
        stand(sheet, part, kind, at, row, ends, label="")
        sheet.text(at + 24, row + 22, part, bold=True)
        sheet.note(at + 24, row + 38, *said.split(": "), size=11)
        net = said.split(":", maxsplit=1)[0]
        sheet.flag(f"{part}.{ends[0]}", "up", f"board: {net}")
        sheet.flag(f"{part}.{ends[1]}", "down")
    sheet.text(890, 736, "second contacts, read by the board only", size=12, bold=True)
