"""How long the image takes to cut heat off, over the phase of its reads."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random
from statistics import median
from typing import Final, NamedTuple

from image_rig import CONVERSION_MS, DRIVES, HEATERS, OVER_C, Host, ms, shared_heating, split
from tawny.core import messages as m
from tawny.core.names import Half
from tawny.sim.chip import CYCLES_PER_MS, Pin
from telling import say

READ_MS: Final = 200
PASS_MS: Final = 50
# PROTOCOL.md section 6.5: two samples in a row, so two reads and one pass from the converter's
# output; a conversion that runs when the sensor changes goes before that.
FROM_OUTPUT_MS: Final = 2 * READ_MS + PASS_MS
FROM_SENSOR_MS: Final = FROM_OUTPUT_MS + CONVERSION_MS
# A converter's data sheet gives its conversion's usual and longest time: 70 and 100 ms.
CONVERSIONS_MS: Final = (70, CONVERSION_MS)
OUTPUTS_MS: Final = 10  # from the decision to both pins
TRAIN_MS: Final = 50  # from there to the end of the contactor's train
WATCHED_MS: Final = 700
HOT: Final = ((Half.UPPER,), (Half.LOWER,), (Half.UPPER, Half.LOWER))


class Case(NamedTuple):
    """One time for halves to become too hot.

    Attributes:
        phase: Cycles after a moment that is the same in all cases.
        hot: The halves.
        conversion_ms: That the converters take.
    """

    phase: int
    hot: tuple[Half, ...]
    conversion_ms: float


class CutOff(NamedTuple):
    """One cut-off by over-temperature; all in ms.

    Attributes:
        sensor: From the sensor's change to both heaters' pins off.
        output: From the converter's output.
        decision: From the end of the read that decided.
        apart: Between the two heaters' pins.
        train: From the pins to the last edge of the contactor's train; negative: before.
    """

    sensor: float
    output: float
    decision: float
    apart: float
    train: float


def cut_off(host: Host, case: Case) -> CutOff:
    """Let halves become too hot while both heaters are on, and measure what follows."""
    host.set_conversion(case.conversion_ms)
    host.live(2 * READ_MS)
    host.run(host.now + case.phase)
    assert all(host.level(pin) for pin in HEATERS)
    began = host.now
    host.set_c(OVER_C, *case.hot)
    host.live(WATCHED_MS)
    assert not any(host.level(pin) for pin in DRIVES)
    tele = host.last(m.Tele)
    assert (tele.st, tele.fo) == ("tripped", "overtemp")
    offs = [host.edge(pin) for pin in HEATERS]
    shown = min(host.shows_at(half, began) for half in case.hot)
    decided = max(end for _, end in host.reads(Half.LOWER) if end < min(offs))
    return CutOff(
        sensor=ms(max(offs) - began),
        output=ms(max(offs) - shown),
        decision=ms(max(offs) - decided),
        apart=ms(max(offs) - min(offs)),
        train=ms(host.edge(Pin.CONTACTOR_TRAIN) - max(offs)),
    )


def cases(count: int, seed: int) -> list[Case]:
    """Return cases whose phases cover the time between two reads evenly."""
    random = Random(seed)  # noqa: S311 - phases, not secrets
    width = READ_MS * CYCLES_PER_MS // count
    return [
        Case(
            at * width + random.randrange(width),
            HOT[at % len(HOT)],
            random.uniform(*CONVERSIONS_MS),
        )
        for at in range(count)
    ]


def measure(wanted: Iterable[Case]) -> list[CutOff]:
    """Measure each case on a copy of the same board."""
    host = shared_heating()
    return [CutOff(*split(lambda case=case: cut_off(host, case))) for case in wanted]


def rows(found: list[CutOff]) -> list[tuple[str, list[float], float]]:
    """Return what was measured with its limit."""
    return [
        ("sensor to heaters off", [one.sensor for one in found], FROM_SENSOR_MS),
        ("converter's output to heaters off", [one.output for one in found], FROM_OUTPUT_MS),
        ("decision to heaters off", [one.decision for one in found], OUTPUTS_MS),
        ("between the heaters", [one.apart for one in found], OUTPUTS_MS),
        ("heaters off to the train's last edge", [one.train for one in found], TRAIN_MS),
    ]


def tell(found: list[CutOff]) -> None:
    """Say what was measured."""
    for what, times, limit in rows(found):
        say(
            f"{what:38}{min(times):9.3f}{median(times):9.3f}{max(times):9.3f}"
            f"  limit {limit:4} ms, {len(times)} phases"
        )
