"""The short form of the benchmark of the hold: what CI looks at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.cli.benches.hold_jobs import Done, Scenario, jobs_of, work
from tawny.cli.benches.hold_verdict import Case, cases, judged
from tawny.cli.benches.measured import Figure, Measured, machine
from tawny.sim.hold_run import TAWNY
from tawny.sim.parameters import load
from tawny.words import _
from tawny.words.numbers import number

if TYPE_CHECKING:
    from collections.abc import Iterator

LEAST_SPEED: Final = 3000.0
MOULDS: Final = ("saucer-160", "overpowered")
SEED: Final = 1


def measure(*, short: bool) -> Iterator[Measured]:
    """Heat up copies of two moulds, hold them, press a few parts on the moulds themselves."""
    jobs = []
    for name in MOULDS:
        model = load(name)
        heats = Scenario((TAWNY,), 3 if short else 25, 0, SEED, itself=False)
        whole = Scenario((TAWNY, "thermostat"), 0, 6 if short else 20, SEED)
        for scenario in (heats, whole):
            jobs += jobs_of(name, model, scenario, traced=False)[0]
    done: list[Done] = list(work(jobs, lambda _count, _of: None))
    found = cases(done)
    for name in MOULDS:
        own = [one for one in found if one.mould == name]
        yield from _judged(name, own)
    yield _speed(found)


def _judged(name: str, found: list[Case]) -> Iterator[Measured]:
    # Copies are heated up only; hold and dose are judged on the mould itself.
    itself = [one for one in found if one.number == 0]
    own = judged([one for one in itself if one.controller == TAWNY], record=True)
    heats = judged([one for one in found if one.controller == TAWNY], record=True)
    own |= {key: heats[key] for key in ("first_ratio", "overshoot_k")}
    other = judged([one for one in itself if one.controller != TAWNY], record=True)
    compares = {
        "first_ratio": _("{mould}, copies: slowest first heat-up over its physical bound"),
        "overshoot_k": _("{mould}, copies: highest overshoot"),
        "hold_worst_k": _("{mould}: worst true error in a hold of 30 min"),
        "surface_cv": _("{mould}: spread of the surface dose of alike charges"),
    }
    units = {"overshoot_k": ("K", 1.0), "hold_worst_k": ("K", 1.0), "surface_cv": ("%", 100.0)}
    for key, template in compares.items():
        figure = own[key]
        assert figure.target is not None  # noqa: S101 - each of them has one
        assert figure.target.worst is not None  # noqa: S101 - same
        unit, scale = units.get(key, ("", 1.0))
        figures: dict[str, Figure] = {"median": figure.median * scale}
        if key in other:
            figures["thermostat"] = number(other[key].worst * scale, 3)
        yield Measured(
            bench="hold",
            compares=template.format(mould=name),
            ratio=figure.worst * scale,
            unit=unit,
            limit=figure.target.worst * scale,
            figures=figures,
        )


def _speed(found: list[Case]) -> Measured:
    whole = [one.run for one in found if one.controller == TAWNY and one.run.pressings]
    best = max(whole, key=lambda run: run.simulated_s / run.cpu_s)
    simulated_s, cpu_s = best.simulated_s, best.cpu_s
    figures: dict[str, Figure] = {"simulated_s": simulated_s, "cpu_s": cpu_s}
    return Measured(
        bench="hold",
        compares=_(
            "simulated seconds for each second of processor: heat-ups, hold, pressings of a mould,"
            " the less disturbed of two"
        ),
        ratio=simulated_s / cpu_s,
        limit=LEAST_SPEED,
        at_least=True,
        figures=figures | machine(),
    )
