"""The big figure: text to rows of block digits."""

from __future__ import annotations

from itertools import combinations

import pytest

from tawny.ui import digits

SIZES: tuple[digits.Size, ...] = ("small", "large", "hash")


def test_digits_draw_minutes_and_seconds_in_half_blocks() -> None:
    """A figure for 24 lines is three rows of half blocks."""
    assert digits.rows("1:02", "small") == [
        " ▄██   ▄▄ ▄█▀▀█▄ ▄█▀▀█▄",
        "▀ ██      ██  ██   ▄█▀ ",
        "▄▄██▄▄ ▀▀ ▀█▄▄█▀ ▄██▄▄▄",
    ]


def test_digits_draw_with_hash_signs_where_there_are_no_blocks() -> None:
    """Without half blocks the figure is made of ASCII alone."""
    drawn = digits.rows("-7.5", "hash")
    assert drawn == [
        "    #####   #####",
        "       #    #    ",
        "###   #     #### ",
        "     #          #",
        "    #     # #### ",
    ]
    assert all(row.isascii() for row in drawn)


@pytest.mark.parametrize(("size", "rows"), [("small", 3), ("large", 5), ("hash", 5)])
def test_digits_are_as_high_as_they_say(size: digits.Size, rows: int) -> None:
    """At least 3 rows for 24 lines and 5 for 40, all rows of one width."""
    drawn = digits.rows("0123456789:.,-–", size)
    assert len(drawn) == digits.height(size) == rows
    assert len({len(row) for row in drawn}) == 1


@pytest.mark.parametrize("size", SIZES)
def test_digits_cannot_be_taken_for_one_another(size: digits.Size) -> None:
    """Any two digits of a size are equally wide and differ in at least two cells."""
    for one, other in combinations("0123456789", 2):
        first = "".join(digits.rows(one, size))
        second = "".join(digits.rows(other, size))
        assert len(first) == len(second)
        assert sum(a != b for a, b in zip(first, second, strict=True)) >= 2, (one, other)


@pytest.mark.parametrize("size", SIZES)
def test_digits_leave_a_blank_for_what_they_cannot_draw(size: digits.Size) -> None:
    """A letter has no shape: nothing is drawn rather than something wrong."""
    assert not "".join(digits.rows("x", size)).strip()


@pytest.mark.parametrize("size", SIZES)
def test_digits_strike_an_old_figure_through(size: digits.Size) -> None:
    """An old figure has a line through its middle and keeps its digits and its width."""
    fresh = digits.rows("10:42", size)
    old = digits.struck(fresh)
    middle = len(fresh) // 2
    assert " " not in old[middle]
    assert [row for index, row in enumerate(old) if index != middle] == [
        row for index, row in enumerate(fresh) if index != middle
    ]
    assert len(old[middle]) == len(fresh[middle])
