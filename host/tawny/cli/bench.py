"""`tawny bench`: what this program takes on this machine, each figure against its limit."""

from __future__ import annotations

import click

from tawny.cli.options import json_option
from tawny.words import _

ALL = "all"
IMAGE = "image"
BENCHES = {
    "speed": "speed",
    "start": "start",
    "screen": "screen",
    "size": "size",
    "list": "listing",
    IMAGE: "image",
}


@click.command(
    "bench",
    help=_(
        "Measure this program on this machine: speed of simulation, start, screen, size of the"
        " record, list of parts, and in a checkout the board's image. Each figure is a quotient"
        " taken in one run; a missed limit ends with code 1."
    ),
)
@click.argument("which", type=click.Choice([*BENCHES, ALL]), default=ALL)
@click.option("--short", is_flag=True, help=_("Take less time, and be less sure."))
@json_option
@click.pass_context
def command(ctx: click.Context, *, which: str, short: bool, as_json: bool) -> None:  # noqa: D103 - the help says it
    import json  # noqa: PLC0415 - the help stays light
    from importlib import import_module  # noqa: PLC0415

    from tawny.sim.checkout import can_build  # noqa: PLC0415

    missed = False
    for name in BENCHES if which == ALL else (which,):
        if which == ALL and name == IMAGE and not can_build():
            continue
        bench = import_module(f"tawny.cli.benches.{BENCHES[name]}")
        for found in bench.measure(short=short):
            missed = missed or not found.passed
            if as_json:
                click.echo(json.dumps(found.plain(), allow_nan=False))
            else:
                click.echo("\n".join(found.lines()))
    ctx.exit(1 if missed else 0)
