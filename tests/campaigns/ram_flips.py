"""Bits of RAM that turn over by the hundred thousand while the compiled image heats.

In the folder `tests`:
`python -m campaigns.ram_flips [--flips N] [--minutes M] [--seed S] [--from A] [--to B]`

Each flip is one bit of the controller's RAM at one time on a fresh copy of a heating board;
`image_flips.py` says what is unsafe. Stops at the number of flips or at the time, whichever comes
first, and prints how many there were. Returns 1 if any was unsafe.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from random import Random
from typing import Any, Final

from image_code import RAM_BEGIN, RAM_END, symbol
from image_flips import Outcome, draw, try_flip
from image_rig import shared_heating, split, split_all
from telling import say, say_none

TELL_EACH: Final = 5000


def work(seed: int, flips: int, until_s: float, addresses: range) -> dict[str, Any]:
    """Try flips one after another; return counts and what was unsafe."""
    random = Random(seed)  # noqa: S311 - chance, not secrets
    counts: Counter[str] = Counter()
    unsafe = []
    unit = symbol(shared_heating().chip.image, "unit")
    for at in range(flips):
        if time.monotonic() > until_s:
            break
        flip = draw(random, random.choice(addresses))
        outcome = Outcome(*split(lambda flip=flip: try_flip(flip)))
        counts["all"] += 1
        counts[f"settled: {outcome.settled}"] += 1
        counts[f"then: {flip.then}"] += 1
        counts["late"] += outcome.late
        counts["crashed"] += outcome.crashed
        if outcome.unsafe:
            unsafe.append(f"{outcome.unsafe}: {flip} (unit + {flip.address - unit})")
        if (at + 1) % TELL_EACH == 0:
            say(f"  {at + 1} flips, {len(unsafe)} unsafe")
    return {"counts": counts, "unsafe": unsafe}


def main() -> int:
    """Run it on every processor."""
    parser = argparse.ArgumentParser(description="Turn bits of RAM over while the image heats.")
    parser.add_argument("--flips", type=int, default=100_000)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--from", dest="begin", type=lambda text: int(text, 0), default=RAM_BEGIN)
    parser.add_argument("--to", dest="end", type=lambda text: int(text, 0), default=RAM_END)
    given = parser.parse_args()
    shared_heating()
    until_s = time.monotonic() + 60 * given.minutes
    share, addresses = given.flips // given.workers, range(given.begin, given.end)
    results = split_all(
        lambda seed=seed: work(seed, share, until_s, addresses)
        for seed in range(given.seed * 1000, given.seed * 1000 + given.workers)
    )
    counts = sum((Counter(one["counts"]) for one in results), Counter[str]())
    unsafe = [line for one in results for line in one["unsafe"]]
    for name in sorted(counts):
        say(f"{name:24}{counts[name]:8}")
    for line in unsafe:
        say(f"UNSAFE {line}")
    if not unsafe:
        say_none("unsafe", counts["all"])
    return int(bool(unsafe))


if __name__ == "__main__":
    sys.exit(main())
