"""Symbols of the drawings. Contacts are drawn at rest: nothing pressed, no coil excited."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sheet import STEP, Sheet

THIN = "4 3"


def stand(
    sheet: Sheet,
    part: str,
    kind: str,
    x: float,
    y: float,
    ends: tuple[str, str],
    *,
    label: str = "right",
    numbers: bool = True,
) -> None:
    """Draw a symbol with one terminal above and one below it.

    Args:
        sheet: To draw on.
        part: Its mark.
        kind: A key of `BODIES`.
        x: Of both terminals.
        y: Of the upper one; the lower lies `STEP` below.
        ends: Names of the upper and the lower terminal.
        label: `right`, `left`, or nothing.
        numbers: Whether the terminals' names are written.
    """
    BODIES[kind](sheet, x, y)
    sheet.terminal(part, ends[0], x, y)
    sheet.terminal(part, ends[1], x, y + STEP)
    if numbers:
        sheet.text(x + 5, y + 9, ends[0], size=9)
        sheet.text(x + 5, y + STEP - 3, ends[1], size=9)
    if label:
        away = 26 if label == "right" else -58
        sheet.label(part, x + away, y + 22, anchor="start" if label == "right" else "end")


def _stubs(sheet: Sheet, x: float, y: float, upper: float, lower: float) -> None:
    sheet.line((x, y), (x, y + upper))
    sheet.line((x, y + lower), (x, y + STEP))


def _opening(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 20, 40)
    sheet.line((x, y + 20), (x + 12, y + 20))
    sheet.line((x, y + 40), (x + 11, y + 15), width=2)


def _closing(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 20, 40)
    sheet.line((x, y + 40), (x - 13, y + 18), width=2)


def _pole(sheet: Sheet, x: float, y: float) -> None:
    _closing(sheet, x, y)
    points = [
        (x - 5 * math.sin(a), y + 15 + 5 * math.cos(a) * -1)
        for a in (i * math.pi / 8 for i in range(9))
    ]
    sheet.line(*points)


def _fuse(sheet: Sheet, x: float, y: float) -> None:
    sheet.line((x, y), (x, y + STEP))
    sheet.rect(x - 7, y + 15, 14, 30)


def _thermal_fuse(sheet: Sheet, x: float, y: float) -> None:
    _fuse(sheet, x, y)
    sheet.text(x - 22, y + 35, "θ", size=15)


def _resistor(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 15, 45)
    sheet.rect(x - 7, y + 15, 14, 30)


def _varistor(sheet: Sheet, x: float, y: float) -> None:
    _resistor(sheet, x, y)
    sheet.line((x - 14, y + 46), (x - 14, y + 40), (x + 14, y + 18))


def _link(sheet: Sheet, x: float, y: float) -> None:
    """Two posts with a strap across them: it is taken off by a tool, and melts for nothing."""
    _stubs(sheet, x, y, 16, 44)
    sheet.line((x, y + 16), (x, y + 44), width=5)
    for level in (16, 44):
        sheet.circle(x, y + level, 4.5, fill="white")


def _diode(sheet: Sheet, x: float, y: float, *, up: bool, bent: bool = False) -> None:
    """A diode of 16 between y and y + 16; `up`: it conducts upwards."""
    bar, base = (y, y + 16) if up else (y + 16, y)
    sheet.shape((x - 9, base), (x + 9, base), (x, bar), fill="white")
    ends = ((x - 14, bar + 5), (x - 9, bar), (x + 9, bar), (x + 14, bar - 5))
    sheet.line(*(ends if bent else ends[1:3]), width=2.4)


def _diode_up(sheet: Sheet, x: float, y: float) -> None:
    sheet.line((x, y), (x, y + STEP))
    _diode(sheet, x, y + 22, up=True)


def _suppressor(sheet: Sheet, x: float, y: float) -> None:
    """A diode and a Zener diode, anode to anode; the diode's cathode above."""
    sheet.line((x, y), (x, y + STEP))
    _diode(sheet, x, y + 11, up=True)
    _diode(sheet, x, y + 34, up=False, bent=True)


def _capacitor(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 26, 34)
    for level in (26, 34):
        sheet.line((x - 14, y + level), (x + 14, y + level), width=2.4)


def _heater(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 6, 54)
    sheet.rect(x - 11, y + 6, 22, 48)
    for level in (18, 30, 42):
        sheet.line((x - 11, y + level), (x + 11, y + level))


def _coil(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 17, 43)
    sheet.rect(x - 22, y + 17, 44, 26, fill="#eeeeee")


def _lamp(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 16, 44)
    sheet.circle(x, y + 30, 14)
    sheet.line((x - 10, y + 20), (x + 10, y + 40))
    sheet.line((x - 10, y + 40), (x + 10, y + 20))


def _buzzer(sheet: Sheet, x: float, y: float) -> None:
    _stubs(sheet, x, y, 18, 42)
    sheet.line((x - 12, y + 18), (x + 6, y + 18))
    sheet.line((x - 12, y + 42), (x + 6, y + 42))
    sheet.line((x - 12, y + 12), (x - 12, y + 48), width=2)
    arc = (i * math.pi / 10 for i in range(11))
    sheet.line(*((x - 12 + 26 * math.sin(a), y + 30 - 18 * math.cos(a)) for a in arc))


def _drive(sheet: Sheet, x: float, y: float, *, arm: float) -> float:
    """The dashed link from a contact's arm to what moves it; returns where that begins."""
    sheet.line((x + arm, y + 29), (x - 32, y + 29), dash=THIN)
    return x - 32


def _mushroom(sheet: Sheet, x: float, y: float) -> None:
    _opening(sheet, x, y)
    at = _drive(sheet, x, y, arm=5)
    sheet.line((at, y + 18), (at, y + 40), width=2)
    points = [
        (at - 9 * math.sin(a), y + 29 - 11 * math.cos(a))
        for a in (i * math.pi / 10 for i in range(11))
    ]
    sheet.line(*points, width=2)


def _thermostat(sheet: Sheet, x: float, y: float) -> None:
    _opening(sheet, x, y)
    at = _drive(sheet, x, y, arm=5)
    sheet.rect(at - 18, y + 20, 18, 18)
    sheet.text(at - 9, y + 34, "θ", size=13, anchor="middle")


def _push(sheet: Sheet, x: float, y: float) -> None:
    _closing(sheet, x, y)
    at = _drive(sheet, x, y, arm=-7)
    sheet.line((at + 5, y + 20), (at, y + 20), (at, y + 38), (at + 5, y + 38), width=2)


def _delayed(sheet: Sheet, x: float, y: float) -> None:
    _closing(sheet, x, y)
    at = _drive(sheet, x, y, arm=-7)
    points = [
        (at + 6 * math.cos(a), y + 29 + 8 * math.sin(a))
        for a in (math.pi / 2 + i * math.pi / 8 for i in range(9))
    ]
    sheet.line(*points, width=2)


BODIES = {
    "opening": _opening,
    "closing": _closing,
    "pole": _pole,
    "fuse": _fuse,
    "thermal fuse": _thermal_fuse,
    "resistor": _resistor,
    "varistor": _varistor,
    "heater": _heater,
    "coil": _coil,
    "lamp": _lamp,
    "buzzer": _buzzer,
    "link": _link,
    "diode up": _diode_up,
    "suppressor": _suppressor,
    "capacitor": _capacitor,
    "heat-off": _mushroom,
    "thermostat": _thermostat,
    "push": _push,
    "delayed": _delayed,
}


def _lying_resistor(sheet: Sheet, x: float, y: float) -> None:
    sheet.line((x, y), (x + 15, y))
    sheet.line((x + 45, y), (x + STEP, y))
    sheet.rect(x + 15, y - 7, 30, 14)


def _zener_left(sheet: Sheet, x: float, y: float) -> None:
    """Its cathode at the left."""
    sheet.line((x, y), (x + STEP, y))
    sheet.shape((x + 38, y - 9), (x + 38, y + 9), (x + 22, y), fill="white")
    sheet.line((x + 17, y - 14), (x + 22, y - 9), (x + 22, y + 9), (x + 27, y + 14), width=2.4)


LYING = {"resistor": _lying_resistor, "zener left": _zener_left}


def lie(sheet: Sheet, part: str, kind: str, x: float, y: float, ends: tuple[str, str]) -> None:
    """Draw a symbol of `LYING` with its terminals at x and `STEP` to the right of it."""
    LYING[kind](sheet, x, y)
    sheet.terminal(part, ends[0], x, y)
    sheet.terminal(part, ends[1], x + STEP, y)
    sheet.label(part, x, y - 48)


def transistor(sheet: Sheet, part: str, x: float, y: float, ends: tuple[str, str, str]) -> None:
    """Draw an N-channel transistor: gate at x - 40, drain 30 above (x, y), source 30 below."""
    gate, drain, source = ends
    sheet.line((x - 40, y), (x - 18, y))
    sheet.line((x - 18, y - 14), (x - 18, y + 14), width=2)
    sheet.line((x - 12, y - 18), (x - 12, y + 18), width=2)
    for way in (-1, 1):
        sheet.line((x - 12, y + 13 * way), (x, y + 13 * way), (x, y + 30 * way))
    sheet.shape((x - 2, y + 13), (x - 10, y + 9), (x - 10, y + 17), fill="black")
    sheet.terminal(part, gate, x - 40, y)
    sheet.terminal(part, drain, x, y - 30)
    sheet.terminal(part, source, x, y + 30)


def pair(
    sheet: Sheet,
    part: str,
    kind: str,
    x: tuple[float, float],
    y: float,
    ends: Sequence[str],
    *,
    label: str = "left",
) -> None:
    """Draw two poles that move together: `ends` are those of the first, then of the second."""
    stand(sheet, part, kind, x[0], y, (ends[0], ends[1]), label="")
    stand(sheet, part, kind, x[1], y, (ends[2], ends[3]), label="")
    sheet.line((x[0] - 7, y + 29), (x[1] - 7, y + 29), dash=THIN)
    if label == "left":
        sheet.label(part, x[0] - 40, y + 18, anchor="end")
    else:
        sheet.label(part, x[1] + 30, y + 18)


def box(
    sheet: Sheet,
    part: str,
    x: float,
    y: float,
    size: tuple[float, float],
    ends: dict[str, tuple[str, float]],
    *,
    label: bool = True,
) -> None:
    """Draw a box with named terminals on its edges.

    Args:
        sheet: To draw on.
        part: Its mark.
        x: Of its left edge.
        y: Of its upper edge.
        size: Width and height.
        ends: For each terminal the side (`left`, `right`, `up`, `down`) and how far along it.
        label: Whether mark, kind and rating are written into it.
    """
    w, h = size
    sheet.rect(x, y, w, h, fill="#f6f6f6")
    for name, (side, along) in ends.items():
        if side in {"left", "right"}:
            place = (x if side == "left" else x + w, y + along)
            inside = place[0] + (5 if side == "left" else -5)
            sheet.text(
                inside, place[1] + 4, name, size=10, anchor="start" if side == "left" else "end"
            )
        else:
            place = (x + along, y if side == "up" else y + h)
            sheet.text(
                place[0], place[1] + (12 if side == "up" else -5), name, size=10, anchor="middle"
            )
        sheet.terminal(part, name, *place)
    if label:
        sheet.label(part, x, y - 32 if sheet.parts[part].rating != "-" else y - 19)
