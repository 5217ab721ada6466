"""What the compiled image spends its cycles on, at rest and heating: how fast it is simulated.

In the folder `tests`: `python -m campaigns.awake [--seconds N]`. The speed itself depends on the
machine and is judged by `tawny bench image`.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections import Counter
from typing import Final, NamedTuple

from image_feeder import Feeder
from tawny.sim.chip import HZ, Chip
from tawny.sim.parameters import DEMO_MOULD, load

NAP_CYCLES: Final = 8  # no instruction takes so long: the controller slept
TOLD_MOST: Final = 12


class Share(NamedTuple):
    """What a controller did for a while.

    Attributes:
        awake, asleep: Cycles.
        by_function: The cycles awake.
    """

    awake: int
    asleep: int
    by_function: Counter[str]

    @property
    def fraction(self) -> float:
        """How much of the time it was awake."""
        return self.awake / (self.awake + self.asleep)


def share(chip: Chip, seconds: float) -> Share:
    """Go from instruction to instruction; return where the cycles went."""
    spent: Counter[int] = Counter()
    awake = asleep = 0
    end = chip.cycle + round(seconds * HZ)
    while (before := chip.cycle) < end:
        chip.run(before + 1)
        took = chip.cycle - before
        if took > NAP_CYCLES:
            asleep += took
        else:
            awake += took
            spent[chip.call("counter")] += took
    command = ["avr-addr2line", "-f", "-i", "-a", "-e", str(chip.image.path)]
    text = "\n".join(hex(address) for address in spent)
    told = subprocess.run(command, input=text, check=True, capture_output=True, text=True)
    by_function: Counter[str] = Counter()
    lines = told.stdout.splitlines()
    for at, line in enumerate(lines):
        if line.startswith("0x"):
            by_function[lines[at + 1]] += spent[int(line, 16)]
    return Share(awake, asleep, by_function)


def shares(seconds: float) -> dict[str, Share]:
    """Return what it does at rest, and armed with the contactor's train and heat."""
    found = {}
    for what in ("at rest", "heating"):
        feeder = Feeder("image", load(DEMO_MOULD), setpoint_c=180.0, start_c=150.0)
        if what == "heating":
            feeder.arm()
        else:
            feeder.live(2500)
        found[what] = share(feeder.world.board.chip, seconds)  # type: ignore[attr-defined]
    return found


def main() -> int:
    """Say how much, and what for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=1.0)
    for what, found in shares(parser.parse_args().seconds).items():
        sys.stdout.write(f"{what}: awake {found.fraction:.1%} of the time\n")
        for name, cycles in found.by_function.most_common(TOLD_MOST):
            sys.stdout.write(f"{cycles / found.awake:7.1%} {name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
