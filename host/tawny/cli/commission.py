"""`tawny commission`: walks through commissioning on a connected board; no step can be skipped."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.words import _


@click.command("commission", help=_("Walk through commissioning on a connected board."))
@click.option("--mould", metavar="NAME", help=_("The mould; where the settings hold only one, it."))
@click.option("--port", help=_("Serial port of the board, or a socket:// address."))
@click.option("--show", is_flag=True, help=_("Tell what was commissioned, when and by whom."))
@click.option("--pace", type=float, default=1.0, hidden=True, help=_("Of the simulated board."))
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    mould: str | None,
    port: str | None,
    show: bool,
    pace: float,
    as_json: bool,
    home: Path | None,
) -> None:
    place = chosen_home(ctx, home)
    if show:
        from tawny.cli.commission_show import show_done, show_models  # noqa: PLC0415 - the help stays light

        show_done(place, mould, as_json=as_json)
        show_models(place, mould, as_json=as_json)
        return
    from tawny.cli.commission_walk import walk  # noqa: PLC0415

    ctx.exit(walk(place, mould, port, pace=pace))
