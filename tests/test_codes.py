"""The short codes on labels find the mistakes people make when they copy them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tawny.errors import InputError
from tawny.store.codes import (
    ALPHABET,
    PART,
    PRESSING,
    check_character,
    code,
    number_of,
    part_code,
    pressing_code,
)

LOOKALIKES = {"O": "0", "I": "1", "L": "1", "S": "5", "Z": "2"}


def refused(text: str) -> bool:
    """Return whether a code is found to be wrong."""
    try:
        number_of(text, PART)
    except InputError:
        return True
    return False


def test_codes_follow_their_rule() -> None:
    """P0142: places 22, 0, 1, 4, 2 weigh 3^5 ... 3^1, worked by hand, and the sum ends at 31."""
    total = 22 * 243 + 0 * 81 + 1 * 27 + 4 * 9 + 2 * 3
    assert total == 5415
    assert -5415 % 31 == 10
    assert part_code(142) == "P0142-" + ALPHABET[10] == "P0142-A"
    assert pressing_code(31_205).startswith("C31205-")


def test_codes_use_31_signs_that_are_not_mistaken() -> None:
    """The modulus is prime and no smaller than the alphabet, which the proof needs."""
    assert len(set(ALPHABET)) == len(ALPHABET) == 31
    assert all(31 % divisor for divisor in range(2, 31))
    assert not set(ALPHABET) & set(LOOKALIKES)
    assert len({pow(3, power, 31) for power in range(30)}) == 30  # 3 is a primitive root


def test_codes_find_every_wrong_sign() -> None:
    """Each of 10,000 codes, each sign of it, replaced by each other sign: all found."""
    for number in range(10_000):
        right = part_code(number)
        for place, sign in enumerate(right):
            if sign == "-":
                continue
            # A letter among the digits is no code at all; the check sign may be any of the 31.
            others = ALPHABET if place == len(right) - 1 else "0123456789" if place else "C"
            for other in others:
                if other != sign:
                    wrong = right[:place] + other + right[place + 1 :]
                    assert refused(wrong), (right, wrong)


def test_codes_find_every_letter_among_the_digits() -> None:
    """A letter that is not a lookalike of a digit is refused where a digit belongs."""
    for letter in ALPHABET[10:]:
        assert refused(f"P0{letter}42-A")


def test_codes_find_every_swap_of_neighbours() -> None:
    """Each of 100,000 numbers, each pair of neighbours, the check sign's included: all found."""
    for number in range(100_000):
        right = part_code(number).replace("-", "")
        for place in range(len(right) - 1):
            one, other = right[place], right[place + 1]
            if one != other:
                wrong = right[:place] + other + one + right[place + 2 :]
                assert check_character(wrong[:-1]) != wrong[-1], (right, wrong)


@given(st.integers(0, 10**12), st.sampled_from([PART, PRESSING]))
def test_codes_come_back_as_people_type_them(number: int, letter: str) -> None:
    """Small letters, blanks, no dash, no leading zeros and lookalikes all read the same."""
    right = code(letter, number)
    bare = right.replace("-", "")
    short = letter + str(number) + right[-1]
    look_alike = bare.replace("0", "O").replace("1", "l").replace("5", "s").replace("2", "Z")
    for typed in (right, right.lower(), f" {bare} ", short, look_alike, bare.lower()):
        assert number_of(typed, letter) == number


@pytest.mark.parametrize(
    "text", ["", "P", "-", "P-A", "0142-A", "C0142-A", "P0142", "P٠142-A", "P+142-A"]
)
def test_codes_refuse_what_is_none(text: str) -> None:
    """Text that is no code of a part is refused in a sentence that names it."""
    with pytest.raises(InputError, match="P0142-A|mistake"):
        number_of(text, PART)
