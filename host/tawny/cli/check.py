"""`tawny check`: what could go wrong on this machine, and the line that mends it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.words import _

if TYPE_CHECKING:
    from tawny.core.messages import Here


@click.command("check", help=_("Look for what could go wrong, and say how to mend it."))
@click.option("--port", metavar="PORT", help=_("Also greet the board on this port."))
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context, *, port: str | None, as_json: bool, home: Path | None
) -> None:
    import json  # noqa: PLC0415 - the help stays light

    from tawny.cli import check_home, check_machine, check_port  # noqa: PLC0415
    from tawny.cli.findings import Level, Machine, guarded  # noqa: PLC0415

    place, machine = chosen_home(ctx, home), Machine()
    met: list[Here] = []
    checks = (
        ("versions", check_machine.versions),
        ("settings", lambda: check_home.settings(place)),
        ("record", lambda: check_home.record(place)),
        ("relays", lambda: check_home.relays(place)),
        ("file system", lambda: check_home.disk(place, machine)),
        ("port", lambda: check_port.ports(machine)),
        ("board", lambda: check_port.board(place, port, met)),
        ("commissioning", lambda: check_home.commissioning(place, met)),
        ("clock", check_machine.clock),
        ("sleep", lambda: check_machine.sleep(machine)),
        ("supply", lambda: check_machine.supply(machine)),
        ("terminal", lambda: check_machine.terminal(machine)),
    )
    worst = False
    for about, look in checks:
        for found in guarded(about, look):
            worst = worst or found.level is Level.MEND
            if as_json:
                click.echo(json.dumps(found.plain()))
                continue
            mark = {Level.GOOD: _("good"), Level.LOOK: _("look"), Level.MEND: _("MEND")}
            click.echo(f"{mark[found.level]:<5} {found.about:<14} {found.said}")
            if found.mend:
                click.echo(f"{'':<20} -> {found.mend}")
    ctx.exit(1 if worst else 0)
