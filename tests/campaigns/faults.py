"""Whether ordinary days raise a doubt, and how soon and how rightly faults are told.

In the folder `tests`: `python -m campaigns.faults [--hours H] [--copies N] [--guess] [MOULD ...]`
for ordinary days, `--faults` for faults in each phase. Copy 0 is the mould itself. Each copy is
commissioned for itself; its mains, charges and pauses are by chance.
"""

from __future__ import annotations

import argparse
import copy
import sys
from multiprocessing import Pool
from typing import Final, NamedTuple

from fault_lane import Day, at_rest, live
from tawny.core.loop.suspicion import Doubt, Fault
from tawny.core.loop.thermal import Thermal
from tawny.core.names import Half
from tawny.sim.commands import HeaterFault
from tawny.sim.hold_copies import perturbed
from tawny.sim.lane_commission import commissioned, uncommissioned
from tawny.sim.parameters import MouldModel, load, shipped_moulds
from tawny.sim.sensor import SensorFault

PHASES: Final = ("cold", "rising", "hold", "pressed")
MOST_S: Final = 3600.0
PRESSINGS_BEFORE: Final = 3

# What is broken, and what may be said of it: from cold a loose sensor and a dead heater look alike.
BROKEN: Final[dict[str, tuple[Fault, ...]]] = {
    "detached": (Fault.SENSOR_LOOSE, Fault.NO_RISE),
    "reversed": (Fault.SENSOR_REVERSED,),
    "stuck": (Fault.SENSOR_STUCK,),
    "open": (Fault.NO_RISE,),
    "welded": (Fault.HEATS_UNASKED,),
    "swapped": (Fault.SWAPPED,),
}


class Quiet(NamedTuple):
    """What ordinary days brought.

    Attributes:
        trusted: The model was fitted; else a guess.
        said: Each doubt, and when it came.
        weak: The largest share of heat that was thought missing.
    """

    mould: str
    number: int
    hours: float
    trusted: bool
    said: tuple[tuple[float, Doubt], ...]
    weak: float


class Told(NamedTuple):
    """What came of one fault.

    Attributes:
        after_s: From the fault to the doubt; None: it was not noticed.
        above_k: The hotter surface over its setpoint at that moment.
    """

    mould: str
    number: int
    broken: str
    phase: str
    after_s: float | None
    doubt: Doubt | None
    above_k: float
    right: bool


def known(model: MouldModel, number: int, *, guess: bool = False) -> Thermal:
    """Return what the loop knows of a mould."""
    return uncommissioned(model) if guess else commissioned(model, number + 1).thermal


def quiet(mould: str, number: int, hours: float, *, guess: bool = False) -> Quiet:
    """Live ordinary days at one mould."""
    model = perturbed(load(mould), number)
    thermal = known(model, number, guess=guess)
    day = Day(model, thermal, number + 50)
    live(day, hours, number + 7)
    lived = day.now_s / 3600.0
    return Quiet(mould, number, lived, thermal.trusted, tuple(day.said), day.weak_most)


def damage(day: Day, broken: str, half: Half) -> None:
    """Break something."""
    index = int(half is Half.LOWER)
    if broken in ("open", "welded"):
        day.mould.heaters[index] = HeaterFault(broken)
    elif broken == "swapped":
        day.mould.swapped = True
    else:
        day.break_sensor(half, SensorFault(broken))


def led_to(model: MouldModel, thermal: Thermal, phase: str, seed: int) -> Day:
    """Return a day that has come as far as a phase, all well."""
    day = Day(model, thermal, seed)
    if phase != "cold":
        day.run(4.0)
    day.setpoints_c = (model.heat_up_c, model.heat_up_c)
    if phase == "rising":
        while min(day.readings_c) < (model.ambient_c + model.heat_up_c) / 2.0:
            day.run(2.0)
    elif phase in ("hold", "pressed"):
        at_rest(day)
    if phase == "pressed":
        for _ in range(PRESSINGS_BEFORE):
            pressed(day)
            day.run(240.0)
        pressed(day)
        day.run(100.0)
    return day


def pressed(day: Day) -> None:
    """Press one charge of the middle kind."""
    day.press(45.0, 0.23 * day.model.charge.area_cm2, 0.2)


def tell(begun: Day, name: tuple[str, int], broken: str, phase: str, half: Half) -> Told:
    """Break something in a copy of a day, and see what is said."""
    day = copy.deepcopy(begun)
    if phase == "cold" and broken == "stuck":
        day.run(4.0)
    damage(day, broken, half)
    since_s = day.now_s
    while day.now_s - since_s < MOST_S and not day.said:
        if phase == "pressed":
            day.until_doubt(140.0 if day.now_s == since_s else 240.0)
            if not day.said:
                pressed(day)
        else:
            day.until_doubt(MOST_S)
    if not day.said:
        return Told(*name, broken, phase, None, None, day.above_k(), right=False)
    at_s, doubt = day.said[0]
    right = doubt.fault in BROKEN[broken] and doubt.half in (half.value, "both")
    return Told(*name, broken, phase, at_s - since_s, doubt, day.above_k(), right)


def faults(mould: str, number: int, *, guess: bool = False) -> list[Told]:
    """Break everything in every phase."""
    model = perturbed(load(mould), number)
    thermal = known(model, number, guess=guess)
    half = Half.LOWER if number % 2 else Half.UPPER
    told = []
    for phase in PHASES:
        begun = led_to(model, thermal, phase, number + 90)
        told += [
            tell(begun, (mould, number), broken, phase, half)
            for broken in BROKEN
            if broken != "reversed" or phase == "cold"  # hot, it reads below what can be read
        ]
    return told


def _quiet(job: tuple[str, int, float, bool]) -> Quiet:
    return quiet(job[0], job[1], job[2], guess=job[3])


def _faults(job: tuple[str, int, float, bool]) -> list[Told]:
    return faults(job[0], job[1], guess=job[3])


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def print_quiet(results: list[Quiet]) -> None:
    """Print what was said on ordinary days, and the bound that follows."""
    hours = sum(one.hours for one in results)
    said = sum(len(one.said) for one in results)
    weak = sum(one.weak > 0.0 for one in results)
    days = hours / 20.0
    say(f"{hours:.0f} h on {len(results)} moulds: {said} doubts, {weak} called weak")
    if not said:
        say(f"N = {days:.1f} stretches of 20 h: p <= 3/N = {3.0 / days:.3f} in 20 h (95 %)")


def print_faults(results: list[Told]) -> None:
    """Print times by fault and phase."""
    for broken in BROKEN:
        for phase in PHASES:
            some = [one for one in results if (one.broken, one.phase) == (broken, phase)]
            if not some:
                continue
            times = sorted(one.after_s for one in some if one.after_s is not None)
            middle = times[len(times) // 2] if times else float("nan")
            most = times[-1] if times else float("nan")
            right = sum(one.right for one in some)
            above = max((one.above_k for one in some if one.after_s is not None), default=0.0)
            say(
                f"{broken:9} {phase:8} told {len(times)}/{len(some)} rightly {right}"
                f"  after {middle:.0f} s (most {most:.0f} s), surface {above:+.1f} K at most"
            )


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("moulds", nargs="*", default=list(shipped_moulds()))
    parser.add_argument("--hours", type=float, default=20.0)
    parser.add_argument("--copies", type=int, default=1)
    parser.add_argument("--guess", action="store_true")
    parser.add_argument("--faults", action="store_true")
    given = parser.parse_args()
    jobs = [
        (mould, number, given.hours, given.guess)
        for number in range(given.copies)
        for mould in given.moulds
    ]
    with Pool() as pool:
        if given.faults:
            told: list[Told] = []
            for some in pool.imap(_faults, jobs):
                told += some
                for one in some:
                    if not one.right:
                        say(f"not as it should: {one}")
            print_faults(told)
            return
        lived = []
        for day in pool.imap(_quiet, jobs):
            say(
                f"{day.mould:16} {day.number:2} {day.hours:5.1f} h trusted {day.trusted!s:5}"
                f" weak {day.weak:.2f} said {len(day.said)} {day.said[:2]}"
            )
            lived.append(day)
    print_quiet(lived)


if __name__ == "__main__":
    main()
