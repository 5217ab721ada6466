"""Print the tables by which `sense.c` turns type K temperatures into voltages and back.

The ITS-90 reference function is replaced by one polynomial for each 102.4 K. Each goes through
the function exactly at its Chebyshev nodes (rounded to the table's step), so nothing is fitted
and the same numbers come out everywhere. The way back begins with a guess between two tenths that
were found by inverting the function, and is decided by the polynomials.

Source:
    NIST Monograph 175 / IEC 60584-1, by `tawny.core.thermocouple`.
"""

from __future__ import annotations

import math
import sys
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "host"))

from tawny.core import thermocouple

UNITS_PER_UV = 128_000  # 400 degC just fits 31 bits, and a code of the converter is a whole number
STEPS_PER_K = 80  # holds a sixteenth of a kelvin and half a tenth
PIECE = 8192  # steps
FROM_C = -PIECE / STEPS_PER_K  # a piece ends at 0 degC, where the reference function changes
PIECES = 5
TERMS = 10
GUESS_STEP = 1 << 27  # units
GUESSES = 18
COLDEST_C = -55.0  # of the chip: nothing is asked for below


def emf_units(step: int) -> Fraction:
    """Return the voltage, exactly as the reference function gives it, at so many steps."""
    return Fraction(thermocouple.emf_mv("K", FROM_C + step / STEPS_PER_K)) * 1000 * UNITS_PER_UV


def nodes(first: int, last: int) -> list[int]:
    """Return the Chebyshev nodes between two steps, lowest first."""
    angles = [(TERMS - index - 0.5) * math.pi / TERMS for index in range(TERMS)]
    return [round(first + (last - first) * (1.0 + math.cos(angle)) / 2.0) for angle in angles]


def through(points: list[tuple[Fraction, Fraction]]) -> list[Fraction]:
    """Return the polynomial through these points, lowest power first (Newton's form, expanded)."""
    differences = [y for _, y in points]
    for order in range(1, len(points)):
        differences[order:] = [
            (after - before) / (points[order + index][0] - points[index][0])
            for index, (before, after) in enumerate(pairwise(differences[order - 1 :]))
        ]
    powers = [Fraction(0)] * len(points)
    for (x, _), difference in zip(reversed(points), reversed(differences), strict=True):
        powers = [a - x * b for a, b in zip([Fraction(0), *powers[:-1]], powers, strict=True)]
        powers[0] += difference
    return powers


def table() -> list[list[int]]:
    """Return the coefficients of each piece, lowest power first, in units of a whole piece."""
    rows = []
    for piece in range(PIECES):
        start = piece * PIECE
        first = max(start, round((COLDEST_C - FROM_C) * STEPS_PER_K))
        points = [
            (Fraction(step - start, PIECE), emf_units(step)) for step in nodes(first, start + PIECE)
        ]
        rows.append([round(power) for power in through(points)])
    return rows


def guesses() -> list[int]:
    """Return the tenths of a degree at each `GUESS_STEP` of voltage, from the first below 0."""
    return [
        round(thermocouple.temperature_c("K", index * GUESS_STEP / (1000 * UNITS_PER_UV)) * 10.0)
        for index in range(-1, GUESSES - 1)
    ]


def lines() -> list[str]:
    """Return both tables as C, one line each."""
    found = ["static const IN_FLASH int32_t pieces[PIECES][TERMS] = {"]
    for row in table():
        text = [str(value) for value in row]
        found += ["    {" + ", ".join(text[:5]) + ",", "     " + ", ".join(text[5:]) + "},"]
    text = [str(value) for value in guesses()]
    half = len(text) // 2
    return [
        *found,
        "};",
        "static const IN_FLASH int16_t guesses[GUESSES] = {",
        "    " + ", ".join(text[:half]) + ",",
        "    " + ", ".join(text[half:]) + ",",
        "};",
    ]


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
