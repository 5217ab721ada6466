"""The enable circuit at every corner, at random, with every single fault, and over frequency.

In the folder `tests`: `python -m campaigns.enable [PART ...] [--sets N] [--seed S]`, a part being
`band`, `faults`, `random` or `corners`; all where none is named. Needs ngspice. Prints what
stands in hardware/enable.md.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from random import Random
from typing import Final

from enable_rig import (
    ENDS,
    FLOATING,
    LEAST,
    MOST,
    NETLIST,
    TRAIN_HZ,
    TRAIN_PART,
    Lines,
    Seen,
    corners,
    level,
    measure,
    pulses,
)
from telling import say, say_none

PARTS: Final = ("corners", "random", "faults", "band")
ASKED: Final = ("stuck high", "stuck low", "floating", "250 Hz", "7.8 kHz")
SLOW_HZ: Final = 250.0
FAST_HZ: Final = 7812.5
STILL: Final = {"stuck high": level(5.0), "stuck low": level(0.0), "floating": FLOATING}

Run = tuple[str, Callable[[], Seen]]
Values = dict[str, float]


def go(runs: Iterable[Run]) -> list[tuple[str, Seen]]:
    """Run many, as many at once as there are processors."""
    listed = list(runs)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        seen = list(pool.map(lambda run: run[1](), listed))
    return [(name, one) for (name, _), one in zip(listed, seen, strict=True)]


def ask(hold: Values, loose: Values, lines: Lines = ()) -> Iterable[Run]:
    """What is asked of one set of values.

    Args:
        hold: With these the train must hold.
        loose: With these everything else must not.
        lines: Lines of the netlist to replace.
    """
    vdd = loose.get("vdd", 5.0)
    run = partial(measure, lines=lines)
    slowest = {"train_hz": TRAIN_HZ * (1 - TRAIN_PART)}
    fastest = {"train_hz": TRAIN_HZ * (1 + TRAIN_PART)}
    yield "slow train", partial(run, {"k_cs": 0.8}, hold, slowest, level(0.0))
    yield "fast train", partial(run, {"k_cs": 0.8}, hold, fastest, level(0.0))
    yield "stuck high", partial(run, {"k_cs": 1.2}, loose, level(vdd))
    yield "stuck low", partial(run, {"k_cs": 1.2}, loose, level(0.0))
    yield "floating", partial(run, {"k_cs": 1.2}, loose, FLOATING)
    yield "250 Hz", partial(run, {"k_cs": 0.8}, loose, pulses(SLOW_HZ, vdd=vdd))
    yield "7.8 kHz", partial(run, {"k_cs": 0.8}, loose, pulses(FAST_HZ, vdd=vdd))


def report(seen: list[tuple[str, Seen]], sets: int) -> int:
    """Print what came of many sets of values; return how many runs failed."""
    failed = [(name, one) for name, one in seen if not (one.held and one.lets_go)]
    part = min(one.margin_v / one.reference_v for _, one in seen)
    coil_v = min(one.coil_v for _, one in seen)
    say(f"sets of values {sets}, runs {len(seen)}, failed {len(failed)}")
    say(f"train: least room {100 * part:.1f} % of the reference, least coil voltage {coil_v:.2f} V")
    for wanted in ASKED:
        own = [one for name, one in seen if name == wanted]
        slowest_ms = 1000 * max(one.open_s for one in own)
        room_v = -max(one.left_v for one in own)
        say(f"{wanted}: open after {slowest_ms:.1f} ms at most, then {room_v:.3f} V off at least")
    for name, one in failed:
        say(f"FAILED {name}: {one}")
    return len(failed)


def do_corners() -> int:
    """Every combination of the ends that matter; the rest at the end that is worse."""
    rest = ("k_cs", *ENDS)
    least = {name: value for name, value in LEAST.items() if name not in rest}
    most = {name: value for name, value in MOST.items() if name not in rest}
    say(f"\ncorners: 2^{len(ENDS)} of {', '.join(ENDS)}")
    runs = [run for corner in corners() for run in ask(least | corner, most | corner)]
    return report(go(runs), len(corners()))


def draw_values(rng: Random) -> tuple[Values, Lines]:
    """Draw one set: each part by itself, evenly within its tolerance."""
    values = {
        "vdd": rng.uniform(4.5, 5.5),
        "celsius": rng.uniform(0.0, 50.0),
        "offset": rng.uniform(-9e-3, 9e-3),
        "bias": rng.uniform(0.0, 250e-9),
        "vth": rng.uniform(0.4, 1.5),
        "r_pin": rng.uniform(25.0, 40.0),
        "k_is": 2 ** rng.uniform(-1, 1),
        "k_is_ref": 2 ** rng.uniform(-1, 1),
        "k_coil": rng.uniform(0.9, 1.1),
        "l_coil": rng.uniform(0.1, 0.35),
        "k_cs": 1.0,  # C4 is drawn below with all other parts
    }
    circuit = NETLIST.read_text(encoding="ascii").split("* -- The circuit.")[1]
    lines = []
    for line in circuit.splitlines():
        if found := re.match(r"([RC])\d \w+ \w+ \{(.*)\}$", line):
            tolerance = 0.05 if found[1] == "R" else 0.20
            factor = rng.uniform(1 - tolerance, 1 + tolerance)
            lines.append((line, line.replace(found[2], f"({found[2]})*{factor:.4f}")))
    return values, tuple(lines)


def do_random(sets: int, seed: int) -> int:
    """Many sets, each part drawn by itself."""
    rng = Random(seed)  # noqa: S311 - not for secrets
    runs: list[Run] = []
    for _ in range(sets):
        values, lines = draw_values(rng)
        runs += ask(values, values, lines)
    say(f"\nrandom: seed {seed}")
    failed = report(go(runs), sets)
    if not failed:
        say_none("failed", sets)
    return failed


def faults() -> Iterable[tuple[str, Lines]]:
    """Yield every open and short of one part of the circuit, as lines to replace."""
    circuit = NETLIST.read_text(encoding="ascii").split("* -- The circuit.")[1]
    for line in circuit.splitlines():
        if found := re.match(r"((?:[RCD]\d|Rin)) (\w+) (\w+) (.+)$", line):
            part, one, other, rest = found.groups()
            yield f"{part} open", ((line, f"{part} {one} cut {rest}\nRcut cut {other} 1g"),)
            yield f"{part} shorted", ((line, f"{line}\nRacross {one} {other} 1m"),)
        elif found := re.match(r"(M\d) (\w+) (\w+) (\w+) \w+ (.+)$", line):
            part, drain, gate, source, rest = found.groups()
            cut = f"{part} cut {gate} {source} {source} {rest}\nRcut cut {drain} 1g"
            yield f"{part} open", ((line, cut),)
            for name, ends in (("drain-source", f"{drain} {source}"),
                               ("gate-source", f"{gate} {source}"),
                               ("gate-drain", f"{gate} {drain}")):  # fmt: skip
                yield f"{part} {name} shorted", ((line, f"{line}\nRacross {ends} 1m"),)
    for half, node in (("1", "gate_p"), ("2", "gate_n")):
        line = next(line for line in circuit.splitlines() if line.startswith(f"Bcomp{half} "))
        yield f"U1 half {half} stuck, output open", ((line, f"* {line}"),)
        yield f"U1 half {half} stuck, output low", ((line, f"{line}\nRacross {node} 0 50"),)


def do_faults() -> int:
    """Every single fault of a nominal circuit: does the train hold, does a still pin let go?"""
    say("\nfaults: part and fault | train held | slowest release, ms")
    stubborn = 0
    for name, lines in faults():
        runs = [(pin, partial(measure, values, lines=lines)) for pin, values in STILL.items()]
        seen = [one for _, one in go(runs)]
        held = any(one.coil_v > 0.9 * 5.0 for one in seen)
        slowest_ms = 1000 * max(one.open_s for one in seen)
        ends = [one for one in seen if not one.lets_go]
        stubborn += bool(ends)
        say(f"{name} | {'yes' if held else 'no'} | {slowest_ms:.1f}{' TOO LATE' if ends else ''}")
    return stubborn


def do_band() -> int:
    """Which trains hold a relay that is in: at no corner, at some, at all."""
    say("\nband: Hz | nominal | easiest corner | hardest corner")
    for hertz in (1, 4, 10, 16, 50, 60, 62.5, 100, 120, 200, 250, 300, 400, 490, 500, 600, 800, 976,
                  1000, 1200, 1500, 2000, 3000, 3840, 5000, 6000, 7000, 7812.5, 9600):  # fmt: skip
        seen = go(
            [
                ("nominal", partial(measure, pulses(hertz, vdd=5.0))),
                ("easiest", partial(measure, MOST, {"k_cs": 0.8}, pulses(hertz, vdd=5.5))),
                ("hardest", partial(measure, LEAST, pulses(hertz, vdd=4.5))),
            ]
        )
        words = ["lets go" if one.lets_go else "may hold" for _, one in seen]
        say(f"{hertz:g} | {' | '.join(words)}")
    return 0


def main() -> None:
    """Run what was asked for and say what came of it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", default=PARTS)
    parser.add_argument("--sets", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    failed = 0
    if "band" in wanted.parts:
        failed += do_band()
    if "faults" in wanted.parts:
        failed += do_faults()
    if "random" in wanted.parts:
        failed += do_random(wanted.sets, wanted.seed)
    if "corners" in wanted.parts:
        failed += do_corners()
    sys.exit(bool(failed))


if __name__ == "__main__":
    main()
