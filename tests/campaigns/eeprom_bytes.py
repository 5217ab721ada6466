"""Every byte of the board's lasting memory with other values, one at a time, on the compiled image.

In the folder `tests`: `python -m campaigns.eeprom_bytes [--every N] [--seed S]`

Each byte is set to 0, to all ones, gets one bit turned over and any other value, on a board that is
latched and on one that is not. It must then be neither armed nor driven, keep a latch, and have no
higher trip point and no other mould than before. Returns 1 if any case was wrong.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from random import Random

from image_memory import Corrupt, cases, corrupt, kept, undamaged, wrong
from image_rig import split, split_all
from image_start import Found
from tawny.sim.chip import EEPROM_BYTES
from telling import say, say_none


def work(wanted: list[Corrupt]) -> list[tuple[str, str]]:
    """Try cases; return what each came to and what was wrong with it."""
    told = []
    for case in wanted:
        found = Found.of(split(lambda case=case: corrupt(case)))
        fault = wrong(case, found)
        told.append((f"{found.state} {found.latch}", f"{fault}: {case}" if fault else ""))
    return told


def main() -> int:
    """Run it on every processor."""
    parser = argparse.ArgumentParser(description="Corrupt each byte of the board's EEPROM.")
    parser.add_argument("--every", type=int, default=1, help="each N-th byte only")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    random = Random(given.seed)  # noqa: S311 - chance, not secrets
    wanted = cases(range(0, EEPROM_BYTES, given.every), random)
    for latched in (False, True):
        kept(latched=latched)
        undamaged(latched=latched)
    workers = os.cpu_count() or 1
    parts = [wanted[at::workers] for at in range(workers)]
    told = [
        one for part in split_all(lambda part=part: work(part) for part in parts) for one in part
    ]
    for state, count in sorted(Counter(state for state, _ in told).items()):
        say(f"{state:24}{count:8}")
    faults = [fault for _, fault in told if fault]
    for fault in faults:
        say(f"WRONG {fault}")
    if not faults:
        say_none("wrong", len(told))
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main())
