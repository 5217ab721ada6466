"""Every wrong line of `mutants.toml`, planted one at a time in a copy of the house.

In the folder `tests`: `python -m campaigns.mutants [--jobs N] [--only FILE.c]`

First the named tests run on the right lines, and must pass. Then each mutant's own test must fail.
Prints each mutant with what came of it; returns 1 if one was not caught.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ThreadPoolExecutor

from mutants import is_caught, mutants, unbroken
from telling import say


def main() -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", help="a file of firmware")
    wanted = parser.parse_args()
    chosen = [one for one in mutants() if wanted.only in {None, one.source}]
    passes, said = unbroken(one.test for one in chosen)
    if not passes:
        say(f"the named tests fail on the right lines\n{said}")
        return 1
    missed = 0
    with ThreadPoolExecutor(wanted.jobs) as pool:
        for mutant, (caught, said) in zip(chosen, pool.map(is_caught, chosen), strict=True):
            missed += not caught
            word = "caught" if caught else "NOT CAUGHT"
            say(f"{word}: {mutant.source}: {mutant.right.strip()!r} -> {mutant.wrong.strip()!r}")
            say(f"    by {mutant.test}" if caught else said)
    say(f"{len(chosen) - missed} of {len(chosen)} wrong lines caught")
    return 1 if missed or not chosen else 0


if __name__ == "__main__":
    sys.exit(main())
