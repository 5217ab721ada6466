"""Cut-off over many phases of the reads, on the compiled image in simulation.

In the folder `tests`: `python -m campaigns.latency [--phases N] [--seed S]`
"""

from __future__ import annotations

import argparse
import sys

from image_latency import cases, measure, rows, tell
from telling import say_none


def main() -> int:
    """Run it; return 1 if any phase was too slow."""
    parser = argparse.ArgumentParser(description="Measure the cut-off over phases of the reads.")
    parser.add_argument("--phases", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = measure(cases(given.phases, given.seed))
    tell(found)
    late = sum(max(times) > limit for _, times, limit in rows(found))
    if not late:
        say_none("too slow", len(found))
    return int(late > 0)


if __name__ == "__main__":
    sys.exit(main())
