"""The work of the benchmark of the hold, in pieces that need nothing of each other."""

from __future__ import annotations

import gc
import os
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from typing import TYPE_CHECKING, Final, NamedTuple

import msgspec

from tawny.sim.hold_bounds import Bounds, Weak, bounds, too_weak
from tawny.sim.hold_copies import perturbed
from tawny.sim.hold_run import Run, Traces, run

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from tawny.sim.parameters import MouldModel

WORKERS: Final = 2
THIN: Final = 5  # rows of 0.4 s for each point of a picture


class Job(NamedTuple):
    """One controller on one copy of a mould, or what bounds it.

    Attributes:
        mould: As the person named it.
        model: The copy itself.
        number: Of the copy; 0: the mould.
        controller: "": the bounds.
        pressings: How many; 0: none.
        record: The mould was commissioned.
        later: Heat up a second time.
        traced: Keep what a picture shows.
    """

    mould: str
    model: MouldModel
    number: int
    controller: str
    seed: int
    pressings: int
    record: bool
    later: bool
    traced: bool = False


Points = tuple[tuple[float, float], ...]


class Trace(msgspec.Struct, frozen=True):
    """What a picture shows of a run: time, and the deviation of the half that is further off.

    Attributes:
        heat_up: From the start on.
        pressing: From closing on, the opening before it.
    """

    heat_up: Points
    pressing: Points


class Done(NamedTuple):
    """What became of a job."""

    job: Job
    bounds: Bounds | None = None
    run: Run | None = None
    trace: Trace | None = None


class Scenario(NamedTuple):
    """What is asked of each mould."""

    controllers: tuple[str, ...]
    copies: int
    pressings: int
    seed: int
    record: bool = True
    later: bool = True
    itself: bool = True


def jobs_of(
    mould: str, model: MouldModel, scenario: Scenario, *, traced: bool
) -> tuple[list[Job], dict[int, Weak]]:
    """Return the jobs of one mould, and its copies that cannot reach their setpoint."""
    found: list[Job] = []
    weak: dict[int, Weak] = {}
    for number in range(0 if scenario.itself else 1, scenario.copies + 1):
        copy = perturbed(model, number)
        why = too_weak(copy)
        if why is not None:
            weak[number] = why
            continue
        found.extend(
            Job(
                mould,
                copy,
                number,
                controller,
                scenario.seed + 1000 * number,
                scenario.pressings,
                scenario.record,
                scenario.later,
                traced=traced and number == 0,
            )
            for controller in ("", *scenario.controllers)
        )
    return found, weak


def do(job: Job) -> Done:
    """Do one job."""
    if not job.controller:
        return Done(job, bounds=bounds(job.model, with_recovery=job.pressings > 0))
    traces = Traces() if job.traced else None
    # Rows are tuples of numbers, in no circle: looking for circles costs a tenth.
    gc.disable()
    try:
        found = run(
            job.model,
            job.controller,
            seed=job.seed,
            pressings=job.pressings,
            record=job.record,
            later=job.later,
            traces=traces,
        )
    finally:
        gc.enable()
    return Done(job, run=found, trace=None if traces is None else _thinned(traces, job.model))


def work(jobs: Sequence[Job], told: Callable[[int, int], None]) -> Iterator[Done]:
    """Do all jobs, in child processes where that is quicker; yield each as it is done.

    Args:
        jobs: In any order.
        told: Called with how many are done, and of how many.
    """
    workers = min(WORKERS, os.cpu_count() or 1, len(jobs))
    if workers <= 1:
        for count, job in enumerate(jobs, start=1):
            yield do(job)
            told(count, len(jobs))
        return
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
    try:
        for count, future in enumerate(as_completed([pool.submit(do, job) for job in jobs]), 1):
            yield future.result()
            told(count, len(jobs))
    finally:
        pool.shutdown(cancel_futures=True)


def _thinned(traces: Traces, model: MouldModel) -> Trace:
    setpoint_c = model.heat_up_c

    def points(rows: Sequence[tuple[float, tuple[float, float]]], from_s: float) -> Points:
        return tuple(
            (at_s - from_s, max((one_c - setpoint_c for one_c in tips_c), key=abs))
            for at_s, tips_c in rows
        )

    heat_up = [(row.at_s, row.tips_c) for row in traces.heat_up[::THIN]]
    pressing = [(row.at_s, row.tips_c) for row in traces.pressing[::2]]
    return Trace(points(heat_up, 0.0), points(pressing, traces.closed_s))
