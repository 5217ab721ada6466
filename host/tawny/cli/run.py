"""`tawny run`: the dashboard of a press; starts its owner where none runs."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.options import chosen_home, home_option
from tawny.words import _


@click.command("run", help=_("Open the dashboard of a press; its owner is started if need be."))
@click.option("--port", help=_("Serial port of the board, or a socket:// address."))
@click.option("--recipe", help=_("Recipe to begin with."))
@click.option("--no-mouse", is_flag=True, help=_("Leave the mouse to the terminal."))
@click.option("--light", is_flag=True, help=_("Colours for a light terminal."))
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    port: str | None = None,
    recipe: str | None = None,
    no_mouse: bool = False,
    light: bool = False,
    home: Path | None = None,
) -> None:
    from tawny.cli.commission_show import remind  # noqa: PLC0415 - the help stays light
    from tawny.cli.dashboard import attach  # noqa: PLC0415
    from tawny.cli.terminal import need_terminal  # noqa: PLC0415
    from tawny.settings.home import open_home  # noqa: PLC0415
    from tawny.settings.workshop import load_workshop  # noqa: PLC0415

    need_terminal()
    place = chosen_home(ctx, home)
    if not place.settled:
        from tawny.cli.setup import DEMO, SET_UP, offer, set_up  # noqa: PLC0415

        choice = offer(place)
        if choice == DEMO:
            from tawny.cli.demo import command as demo  # noqa: PLC0415

            ctx.invoke(demo, no_mouse=no_mouse, light=light)
        elif choice == SET_UP:
            set_up(place)
        return
    load_workshop(place)
    remind(place)
    options: list[str] = []
    for name, value in (("--port", port), ("--recipe", recipe)):
        if value is not None:
            options += [name, value]
    ctx.exit(attach(open_home(place), options, mouse=not no_mouse, light=light))
