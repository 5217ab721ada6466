"""Bits of the image's flash that have turned over before it starts.

In the folder `tests`: `python -m campaigns.flash_bits [--bits N] [--seed S]`

Each start must end tripped by the self-test, or the image never comes to life; what it believes
otherwise, and any heat, is printed with its place. A flip in the code of the test itself may hide
itself: no test by the same controller finds every one. Returns 1 if a board could have been armed.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from random import Random

from image_code import functions
from image_rig import split_all
from image_start import new_board
from image_stuck import UNFIT, try_bit
from telling import say, say_none


def work(wanted: list[tuple[int, int]]) -> list[tuple[str, bool]]:
    """Try bits; return what came of each."""
    return [try_bit(address, bit) for address, bit in wanted]


def main() -> int:
    """Run it on every processor."""
    parser = argparse.ArgumentParser(description="Turn bits of the flash over before a start.")
    parser.add_argument("--bits", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    random = Random(given.seed)  # noqa: S311 - chance, not secrets
    image = new_board().chip.image
    wanted = [(random.randrange(len(image.flash)), random.randrange(8)) for _ in range(given.bits)]
    workers = os.cpu_count() or 1
    parts = [wanted[at::workers] for at in range(workers)]
    came = split_all(lambda part=part: work(part) for part in parts)
    told = {
        bit: one
        for part, found in zip(parts, came, strict=True)
        for bit, one in zip(part, found, strict=True)
    }
    for state, count in sorted(Counter(state for state, _ in told.values()).items()):
        say(f"{state:18}{count:8}")
    missed = [(place, one) for place, one in told.items() if one[0] not in UNFIT or one[1]]
    for (address, bit), (state, heats) in missed:
        (name,) = functions(image, [address])
        say(f"MISSED bit {bit} of {address:#06x} in {name}: {state}{', heats' if heats else ''}")
    if not missed:
        say_none("missed", len(told))
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
