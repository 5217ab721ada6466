"""`tawny bench hold`: how well a mould is heated up and held, beside what physics allows."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from tawny.cli.bench import given, measure, short_option
from tawny.cli.options import json_option
from tawny.words import _
from tawny.words.numbers import minutes

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tawny.cli.benches.hold_jobs import Done, Job
    from tawny.cli.benches.hold_verdict import Report
    from tawny.sim.hold_bounds import Weak
    from tawny.sim.parameters import MouldModel

_CONTROLLERS: Final = ("tawny", "thermostat", "untuned", "simc", "amigo", "relay")
_TOLD_EACH_S: Final = 20.0  # where nobody sees a line being rewritten
_COPIES_MOST, _PRESSINGS_MOST = 1000, 200


@click.command(
    "hold",
    help=_(
        "Heat up simulated moulds, hold them and press parts, under this program's loop and others,"
        " beside the shortest heat-up and recovery that physics allows. Missed targets of tawny"
        " end with code 1. It shows how the program behaves; it proves nothing about a mould."
    ),
)
@click.option("--mould", "moulds", multiple=True, metavar="FILE",
              help=_("A mould file, or a shipped mould by name; else all of these."))  # fmt: skip
@click.option("--controller", "controllers", multiple=True, type=click.Choice(_CONTROLLERS),
              help=_("All if none is given."))  # fmt: skip
@click.option("--copies", type=click.IntRange(0, _COPIES_MOST), default=0, show_default=True,
              help=_("So many perturbed copies of each mould beside it."))  # fmt: skip
@click.option("--pressings", type=click.IntRange(0, _PRESSINGS_MOST), default=20,
              show_default=True, help=_("With each of them; 0 leaves recoveries out."))  # fmt: skip
@click.option("--seed", type=click.IntRange(0, 2**31), default=1, show_default=True,
              help=_("Of all chance: the same seed, the same figures."))  # fmt: skip
@click.option("--uncommissioned", is_flag=True,
              help=_("tawny begins without a commissioning record."))  # fmt: skip
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.png",
              help=_("Draw the first mould under all controllers; .png or .svg."))  # fmt: skip
@short_option
@json_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    moulds: tuple[str, ...],
    controllers: tuple[str, ...],
    copies: int,
    pressings: int,
    seed: int,
    uncommissioned: bool,
    picture: Path | None,
    short: bool,
    as_json: bool,
) -> None:
    from tawny.cli.benches.hold_jobs import Scenario, jobs_of, work  # noqa: PLC0415
    from tawny.cli.benches.hold_table import legend  # noqa: PLC0415
    from tawny.cli.benches.hold_verdict import reports_of  # noqa: PLC0415
    from tawny.report.hold_drawing import check_path  # noqa: PLC0415
    from tawny.sim.parameters import load, shipped_moulds  # noqa: PLC0415

    short, as_json = short or given(ctx).short, as_json or given(ctx).as_json
    if short:
        measure(ctx, "hold", short=True, as_json=as_json)
    if picture is not None:
        check_path(picture)
    names = tuple(dict.fromkeys(moulds)) or shipped_moulds()
    chosen = tuple(name for name in _CONTROLLERS if name in controllers or not controllers)
    scenario = Scenario(chosen, copies, pressings, seed, record=not uncommissioned)
    jobs: list[Job] = []
    weak: dict[str, dict[int, Weak]] = {}
    models = {name: load(name) for name in names}
    for place, (name, model) in enumerate(models.items()):
        some, weak[name] = jobs_of(name, model, scenario, traced=picture is not None and place == 0)
        jobs += some
    places = {job: place for place, job in enumerate(jobs)}
    done = sorted(work(jobs, _Progress()), key=lambda one: places[one.job])
    passed, reports = True, reports_of(models, done, weak, scenario)
    for report in reports:
        passed = passed and report.passed
        _tell(report, as_json=as_json)
    if not as_json and any(report.cases for report in reports):
        click.echo("\n".join(legend()))
    if picture is not None:
        _draw(picture, names[0], models[names[0]], done)
    ctx.exit(0 if passed else 1)


class _Progress:
    """One line on standard error that counts; where nobody sees it rewritten, a line at times."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._begin_s = self._told_s = time.monotonic()

    def __call__(self, count: int, of: int) -> None:
        now_s = time.monotonic()
        if not self._terminal and now_s - self._told_s < _TOLD_EACH_S:
            return
        self._told_s = now_s
        text = _("{count} of {of} done, {time}").format(
            count=count, of=of, time=minutes(now_s - self._begin_s)
        )
        last = count == of
        end = "\n" if last or not self._terminal else ""
        click.echo(f"\r{text}{end}" if self._terminal else text + end, err=True, nl=False)


def _tell(report: Report, *, as_json: bool) -> None:
    """Tell one mould's figures."""
    import json  # noqa: PLC0415 - the help stays light

    from tawny.cli.benches.hold_table import lines  # noqa: PLC0415

    if as_json:
        for one in report.objects():
            click.echo(json.dumps(one, allow_nan=False))
    else:
        click.echo("\n".join([*lines(report), ""]))


def _draw(path: Path, name: str, model: MouldModel, done: Iterable[Done]) -> None:
    """Draw a mould's runs that kept what a picture shows."""
    from tawny.report.hold_drawing import Curve, HoldPicture, draw_hold  # noqa: PLC0415

    kept = [one for one in done if one.job.mould == name and one.job.number == 0]
    bounds = next((one.bounds for one in kept if one.bounds is not None), None)
    curves = tuple(
        Curve(one.job.controller, one.trace.heat_up, one.trace.pressing)
        for one in kept
        if one.trace is not None
    )
    picture = HoldPicture(
        mould=name,
        setpoint_c=model.heat_up_c,
        heat_up_s=None if bounds is None else bounds.heat_up_s,
        recovery_s=None if bounds is None else bounds.recovery_s,
        curves=curves,
    )
    draw_hold(picture, path)
    click.echo(_("drawn: {path}").format(path=path), err=True)
