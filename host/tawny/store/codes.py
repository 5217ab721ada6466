"""Short codes for people: a letter, the record's own number, a check character: "P0142-A".

Identity in the record is origin and sequence number; the code is what stands on a label. It
uses 31 signs, the digits and the capitals without I, L, O, S and Z, which are read for 1, 0, 5
and 2. Sign i from the right, the check character being sign 0, weighs 3 to the power i, and the
weighted sum of the signs' places is a multiple of 31.

That finds every wrong sign and every pair of neighbours swapped: 31 is prime and larger than any
difference of two signs, and 3 is a primitive root of 31, so that no two of 30 neighbouring
weights are alike. (The same argument carries the ISBN-10 check of ISO 2108, with 11 for 31.)
"""

from __future__ import annotations

from tawny.errors import N_, InputError

ALPHABET = "0123456789ABCDEFGHJKMNPQRTUVWXY"
PART, PRESSING = "P", "C"

_MODULUS = len(ALPHABET)
_WEIGHT = 3
_PLACE = {sign: place for place, sign in enumerate(ALPHABET)}
_LOOKALIKES = str.maketrans({"O": "0", "I": "1", "L": "1", "S": "5", "Z": "2", "-": "", " ": ""})
_DIGITS_LEAST, _DIGITS_MOST = 4, 18


def check_character(body: str) -> str:
    """Return the sign that makes the weighted sum of `body` and itself a multiple of 31."""
    total = 0
    for sign in body:
        total = (total + _PLACE[sign]) * _WEIGHT
    return ALPHABET[-total % _MODULUS]


def code(letter: str, number: int) -> str:
    """Return the short code of a number."""
    body = f"{letter}{number:0{_DIGITS_LEAST}d}"
    return f"{body}-{check_character(body)}"


def part_code(number: int) -> str:
    """Return the short code of a part."""
    return code(PART, number)


def pressing_code(number: int) -> str:
    """Return the short code of a pressing, one closing of the mould."""
    return code(PRESSING, number)


def number_of(text: str, letter: str) -> int:
    """Read a short code as a person types it: any case, with or without its dash and zeros.

    Raises:
        InputError: If it is not such a code or its check character does not match.
    """
    signs = text.strip().upper().translate(_LOOKALIKES)
    digits = signs[1:-1]
    if not (
        signs[:1] == letter
        and digits.isascii()
        and digits.isdecimal()
        and len(digits) <= _DIGITS_MOST
        and signs[-1] in _PLACE
    ):
        raise InputError(
            N_("{text!r} is no such code; one looks like {example}"),
            text=text,
            example=code(letter, 142),
        )
    number = int(digits)
    if signs[-1] != code(letter, number)[-1]:
        raise InputError(
            N_("{text!r} has a mistake in it: its last sign does not fit the rest; read it again"),
            text=text,
        )
    return number
