"""What the runs of a mould come to: ratios, medians, the worst, and what they are held against."""

from __future__ import annotations

import math
from collections import defaultdict
from statistics import median
from typing import TYPE_CHECKING, Final, NamedTuple

import msgspec

from tawny.sim.hold_bounds import Bounds, Weak
from tawny.sim.hold_copies import perturbed
from tawny.sim.hold_run import TAWNY, Run

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from tawny.cli.benches.hold_jobs import Done, Scenario
    from tawny.sim.parameters import MouldModel


class Target(msgspec.Struct, frozen=True):
    """The most that a figure may be; None: not asked.

    Attributes:
        median: Over a mould and its copies.
        worst: Of all of them.
    """

    median: float | None = None
    worst: float | None = None


TARGETS: Final = {
    "first_ratio": Target(1.05, 1.25),
    "later_ratio": Target(1.02, 1.10),
    "overshoot_k": Target(0.5, 1.0),
    "hold_worst_k": Target(None, 0.25),
    "recovery_ratio": Target(None, 1.1),
    "surface_cv": Target(None, 0.01),
}
ALL_GIVEN: Final = 0.97  # of the on-time allowed; a window's steps take the rest
NO_RECORD: Final = {"overshoot_k": Target(None, 1.5)}  # before the mould was commissioned


class Figure(msgspec.Struct, frozen=True):
    """One figure of one controller over a mould and its copies; infinity: never.

    Attributes:
        passed: None: no target.
    """

    median: float
    worst: float
    target: Target | None
    passed: bool | None

    def plain(self) -> dict[str, object]:
        """Return it as JSON holds it: what never came is null."""
        target = Target() if self.target is None else self.target
        return {
            "median": finite(self.median),
            "worst": finite(self.worst),
            "median_most": target.median,
            "worst_most": target.worst,
            "passed": self.passed,
        }


class Case(msgspec.Struct, frozen=True):
    """One copy of a mould under one controller."""

    mould: str
    controller: str
    number: int
    seed: int
    setpoint_c: float
    bounds: Bounds
    run: Run

    @property
    def too_fast(self) -> bool:
        """Whether the pressings took more heat than the heaters may give."""
        pressed = self.run.pressings
        return pressed is not None and pressed.given_share >= ALL_GIVEN

    def figures(self) -> dict[str, float]:
        """Return what is compared; infinity where it never came, absent where it was not tried.

        No ratio is made with a bound that does not exist or is 0, and nothing of pressings for
        which the heaters gave all they may all the time: nobody could have done better.
        """
        run, bounds = self.run, self.bounds
        found = {"overshoot_k": run.first.overshoot_k}
        first_s, later, pressed = run.first.time_s, run.later, run.pressings
        if bounds.heat_up_s is not None:
            found["first_ratio"] = _over(first_s, bounds.heat_up_s)
        if later is not None:
            found["overshoot_k"] = max(found["overshoot_k"], later.overshoot_k)
            if bounds.heat_up_s is not None:
                found["later_ratio"] = _over(later.time_s, bounds.heat_up_s)
        found["hold_worst_k"] = math.inf if run.hold is None else run.hold.worst_k
        if pressed is not None and not self.too_fast:
            if bounds.recovery_s:
                found["recovery_ratio"] = _over(pressed.recovery_s, bounds.recovery_s)
            if pressed.surface_cv is not None:
                found["surface_cv"] = pressed.surface_cv
        return found

    def plain(self) -> dict[str, object]:
        """Return it as the values of a JSON object; what never came is null."""
        return {
            "bench": "hold",
            "mould": self.mould,
            "controller": self.controller,
            "copy": self.number,
            "seed": self.seed,
            "setpoint_c": self.setpoint_c,
            "bounds": msgspec.to_builtins(self.bounds),
            "run": msgspec.to_builtins(self.run),
            "figures": {name: finite(value) for name, value in self.figures().items()},
        }


def cases(done: Iterable[Done]) -> list[Case]:
    """Return all runs beside their bounds, by mould, copy and controller in the order given."""
    done = list(done)
    bounded = {(one.job.mould, one.job.number): one.bounds for one in done if one.bounds}
    return [
        Case(
            one.job.mould,
            one.job.controller,
            one.job.number,
            one.job.seed,
            one.job.model.heat_up_c,
            bounded[one.job.mould, one.job.number],
            one.run,
        )
        for one in done
        if one.run is not None
    ]


def judged(found: Iterable[Case], *, record: bool) -> dict[str, Figure]:
    """Return each figure of one controller over the copies of one mould."""
    values: dict[str, list[float]] = defaultdict(list)
    controllers = set()
    for case in found:
        controllers.add(case.controller)
        for name, value in case.figures().items():
            values[name].append(value)
    targets = TARGETS if record else NO_RECORD
    return {
        name: _figure(values[name], targets.get(name) if controllers == {TAWNY} else None)
        for name in TARGETS
        if values[name]
    }


class Report(NamedTuple):
    """Everything of one mould.

    Attributes:
        cases: Of all controllers and copies.
        weak: Copies that cannot reach their setpoint, by number.
        weak_setpoints_c: Those setpoints.
        figures: Of each controller.
    """

    mould: str
    cases: list[Case]
    weak: dict[int, Weak]
    weak_setpoints_c: dict[int, float]
    figures: dict[str, dict[str, Figure]]
    record: bool

    @property
    def passed(self) -> bool:
        """Whether tawny, if it was tried, met every target."""
        return all(one.passed is not False for one in self.figures.get(TAWNY, {}).values())

    def objects(self) -> Iterator[dict[str, object]]:
        """Yield JSON's objects: each copy under each controller, then a summary of each."""
        for case in self.cases:
            yield case.plain()
        for number, weak in self.weak.items():
            yield {
                "bench": "hold",
                "mould": self.mould,
                "copy": number,
                "setpoint_c": self.weak_setpoints_c[number],
                "too_weak": msgspec.to_builtins(weak),
            }
        for controller, figures in self.figures.items():
            own = [case for case in self.cases if case.controller == controller]
            yield {
                "bench": "hold",
                "mould": self.mould,
                "controller": controller,
                "summary": {name: figure.plain() for name, figure in figures.items()},
                "copies": len(own),
                "too_fast_copies": [case.number for case in own if case.too_fast],
                "no_recovery_bound_copies": [
                    case.number
                    for case in own
                    if case.run.pressings is not None and not case.bounds.recovery_s
                ],
                "too_weak_copies": len(self.weak),
                "commissioned": self.record,
                "simulated_s": sum(case.run.simulated_s for case in own),
                "cpu_s": sum(case.run.cpu_s for case in own),
            }


def reports_of(
    models: dict[str, MouldModel],
    done: Iterable[Done],
    weak: dict[str, dict[int, Weak]],
    scenario: Scenario,
) -> list[Report]:
    """Return everything, mould by mould."""
    found = cases(done)
    reports = []
    for mould, model in models.items():
        own = [case for case in found if case.mould == mould]
        figures = {
            name: judged([case for case in own if case.controller == name], record=scenario.record)
            for name in scenario.controllers
            if own
        }
        setpoints_c = {number: perturbed(model, number).heat_up_c for number in weak[mould]}
        reports.append(Report(mould, own, weak[mould], setpoints_c, figures, scenario.record))
    return reports


def finite(value: float | None) -> float | None:
    """Return a number, or None of none."""
    return value if value is not None and math.isfinite(value) else None


def _figure(values: list[float], target: Target | None) -> Figure:
    middle, worst = median(values), max(values)
    passed = None
    if target is not None:
        passed = all(
            most is None or value <= most
            for value, most in ((middle, target.median), (worst, target.worst))
        )
    return Figure(middle, worst, target, passed)


def _over(value: float | None, bound: float) -> float:
    return math.inf if value is None else value / bound
