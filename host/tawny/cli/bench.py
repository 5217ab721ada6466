"""`tawny bench`: what this program takes on this machine, each figure against its limit."""

from __future__ import annotations

from typing import Final, NamedTuple, NoReturn

import click

from tawny.cli.options import json_option
from tawny.words import _

ALL: Final = "all"
IMAGE: Final = "image"
HOLD: Final = "hold"
BENCHES: Final = {
    "speed": "speed",
    "start": "start",
    "screen": "screen",
    "size": "size",
    "list": "listing",
    HOLD: "hold",
    IMAGE: "image",
}
_GIVEN: Final = "tawny.cli.bench.given"


class Given(NamedTuple):
    """Options before the name of a benchmark."""

    short: bool
    as_json: bool


short_option = click.option("--short", is_flag=True, help=_("Take less time, and be less sure."))


class _Benches(click.Group):
    """One command for each benchmark; the signatures are click's."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the table."""
        return [*BENCHES, ALL]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Return one benchmark; that of the hold has a command of its own."""
        if cmd_name == HOLD:
            from tawny.cli.bench_hold import command as hold  # noqa: PLC0415 - not for the help

            return hold
        return _one(cmd_name) if cmd_name in BENCHES or cmd_name == ALL else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Refuse a name that is none, and say which there are."""
        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            names = ", ".join(self.list_commands(ctx))
            ctx.fail(
                _('there is no benchmark "{name}": choose one of {names}').format(
                    name=args[0], names=names
                )
            )
        return super().resolve_command(ctx, args)


def _one(name: str) -> click.Command:
    """Return the command of one benchmark, or of all."""

    @click.command(name, help=_("Measure it, each figure against its limit."))
    @short_option
    @json_option
    @click.pass_context
    def command(ctx: click.Context, *, short: bool, as_json: bool) -> None:
        before = given(ctx)
        measure(ctx, name, short=short or before.short, as_json=as_json or before.as_json)

    return command


def given(ctx: click.Context) -> Given:
    """Return the options before the name: they count as well."""
    found = ctx.meta[_GIVEN]
    assert isinstance(found, Given)  # noqa: S101 - the group sets it
    return found


def measure(ctx: click.Context, which: str, *, short: bool, as_json: bool) -> NoReturn:
    """Measure, tell, and end with the code."""
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


@click.group(
    "bench",
    cls=_Benches,
    invoke_without_command=True,
    help=_(
        "Measure this program on this machine: speed of simulation, start, screen, size of the"
        " record, list of parts, hold of simulated moulds, and in a checkout the board's image."
        " Without a name, all of them. Each figure is a quotient taken in one run; a missed limit"
        " ends with code 1."
    ),
)
@short_option
@json_option
@click.pass_context
def command(ctx: click.Context, *, short: bool, as_json: bool) -> None:  # noqa: D103 - the help says it
    ctx.meta[_GIVEN] = Given(short, as_json)
    if ctx.invoked_subcommand is None:
        measure(ctx, ALL, short=short, as_json=as_json)
