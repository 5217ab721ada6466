"""`tawny serve`: the owner of one press; it alone has the port, the record and the core."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.options import chosen_home, home_option
from tawny.words import _


@click.command("serve", help=_("Own the press: port, record and control; viewers attach to it."))
@click.option("--port", help=_("Serial port of the board, or a socket:// address."))
@click.option("--recipe", help=_("Recipe to begin with."))
@click.option("--board", is_flag=True, hidden=True, help=_("Start a simulated board as well."))
@click.option("--pace", type=float, default=1.0, hidden=True, help=_("Simulated seconds a second."))
@click.option("--seed", type=int, default=1, hidden=True, help=_("Of the simulated board."))
@click.option("--hand", is_flag=True, hidden=True, help=_("Work the simulated hand."))
@click.option("--start", hidden=True, help=_("Temperature of the simulated mould at the start."))
@click.option("--firmware", hidden=True, help=_("Image that the simulated board runs."))
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    port: str | None,
    recipe: str | None,
    board: bool,
    pace: float,
    seed: int,
    hand: bool,
    start: str | None,
    firmware: str | None,
    home: Path | None,
) -> None:
    from tawny.cli.owner import Wanted, own  # noqa: PLC0415 - the help stays light

    own(
        chosen_home(ctx, home),
        Wanted(
            port=port,
            recipe=recipe,
            board=board,
            pace=pace,
            seed=seed,
            hand=hand,
            start=start,
            firmware=firmware,
        ),
    )
