"""How fast the compiled image is simulated, and what it spends its cycles on.

In the folder `tests`: `python -m campaigns.speed [--seconds N]`
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass

from image_feeder import Feeder
from tawny.sim.chip import HZ, Chip
from tawny.sim.parameters import DEMO_MOULD, load

NAP_CYCLES = 8  # no instruction takes so long: the controller slept


@dataclass
class Share:
    """What a controller did for a while."""

    awake: int
    asleep: int
    by_function: Counter[str]


def speed(feeder: Feeder, seconds: float, *, armed: bool) -> float:
    """Return simulated seconds for each second of the processor, image and mould."""
    begin_ms, begin_s = feeder.world.now_ms, time.process_time()
    if armed:
        feeder.feed(seconds)
    else:
        feeder.live(round(seconds * 1000))
    spent_s = time.process_time() - begin_s
    return (feeder.world.now_ms - begin_ms) / 1000.0 / spent_s


def speeds(seconds: float) -> tuple[float, float]:
    """Return the speed at rest and with the contactor's train, heating."""
    feeder = Feeder("image", load(DEMO_MOULD), setpoint_c=180.0, start_c=150.0)
    feeder.live(2500)
    at_rest = speed(feeder, seconds, armed=False)
    feeder = Feeder("image", load(DEMO_MOULD), setpoint_c=180.0, start_c=150.0)
    feeder.arm()
    return at_rest, speed(feeder, seconds, armed=True)


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


def main() -> int:
    """Say how fast, and what for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    at_rest, heating = speeds(seconds)
    sys.stdout.write(
        f"image and mould, simulated seconds for each of the processor: {at_rest:.0f} at rest, "
        f"{heating:.0f} heating\n"
    )
    feeder = Feeder("image", load(DEMO_MOULD), setpoint_c=180.0, start_c=150.0)
    feeder.arm()
    found = share(feeder.world.board.chip, 1.0)  # type: ignore[attr-defined]
    sys.stdout.write(f"awake {found.awake / (found.awake + found.asleep):.1%} of a second\n")
    for name, cycles in found.by_function.most_common(12):
        sys.stdout.write(f"{cycles / found.awake:7.1%} {name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
