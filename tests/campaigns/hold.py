"""Heat-up, hold and charges of perturbed copies of every shipped mould, beside what physics allows.

In the folder `tests`:
`python -m campaigns.hold [--copies N] [--pressings N] [--seed S] [--uncommissioned] [MOULD ...]`
"""

from __future__ import annotations

import argparse
import sys
import time

from tawny.cli.benches.hold_jobs import Scenario, jobs_of, work
from tawny.cli.benches.hold_table import legend, lines
from tawny.cli.benches.hold_verdict import reports_of
from tawny.sim.parameters import load, shipped_moulds
from telling import say, say_none

TOLD_EACH_S = 60.0


class _Told:
    """Tells now and then how far it is."""

    def __init__(self) -> None:
        self._last_s = time.monotonic()

    def __call__(self, count: int, of: int) -> None:
        if time.monotonic() - self._last_s > TOLD_EACH_S:
            self._last_s = time.monotonic()
            say(f"{count} of {of} done")


def main() -> int:
    """Run it; return 1 if tawny missed a target."""
    parser = argparse.ArgumentParser(description="Hold copies of moulds.")
    parser.add_argument("--copies", type=int, default=25)
    parser.add_argument("--pressings", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--uncommissioned", action="store_true")
    parser.add_argument("--rivals", action="store_true", help="the thermostat beside tawny")
    parser.add_argument("moulds", nargs="*")
    given = parser.parse_args()
    controllers = ("tawny", "thermostat") if given.rivals else ("tawny",)
    scenario = Scenario(
        controllers, given.copies, given.pressings, given.seed, record=not given.uncommissioned
    )
    models = {name: load(name) for name in given.moulds or shipped_moulds()}
    jobs, weak = [], {}
    for name, model in models.items():
        some, weak[name] = jobs_of(name, model, scenario, traced=False)
        jobs += some
    reports = reports_of(models, work(jobs, _Told()), weak, scenario)
    for report in reports:
        say("\n".join([*lines(report), ""]))
    say("\n".join(legend()))
    missed = sum(
        figure.passed is False for report in reports for figure in report.figures["tawny"].values()
    )
    if not missed:
        say_none("of tawny's runs missed a target", sum(len(report.cases) for report in reports))
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
