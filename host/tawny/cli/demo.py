"""`tawny demo`: everything on a simulated press, with the demo workshop in its own folder."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.firmware import firmware_option
from tawny.cli.options import home_option
from tawny.words import _

DASHBOARD_PACE = 3.0
START = "150 degC"  # the mould is still warm: the first part is not a quarter of an hour away
RECIPE = "grain-apple"


PACE_LEAST, PACE_MOST = 0.1, 1000.0


def read_pace(_ctx: click.Context, _param: click.Parameter, text: str | None) -> float | None:
    """Return simulated seconds for each second, 0 for as fast as it goes, None when not given."""
    if text is None:
        return None
    if text == "max":
        return 0.0
    try:
        pace = float(text)
    except ValueError:
        pace = float("nan")
    if not PACE_LEAST <= pace <= PACE_MOST:
        said = _("{value} is not a pace: give a number from {least:g} to {most:g}, or max")
        raise click.BadParameter(said.format(value=text, least=PACE_LEAST, most=PACE_MOST))
    return pace


@click.command("demo", help=_("Try everything on a simulated press, in a folder of its own."))
@click.option("--headless", is_flag=True, help=_("Press parts without a dashboard, print each."))
@click.option("--parts", type=click.IntRange(1, 10_000), default=3, show_default=True,
              help=_("Parts to press when headless."))  # fmt: skip
@click.option(
    "--pace",
    metavar="X|max",
    callback=read_pace,
    help=_("Simulated seconds for each second, or max."),
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True,
              help=_("Of the simulated noise; the same seed, the same parts."))  # fmt: skip
@click.option("--no-mouse", is_flag=True, help=_("Leave the mouse to the terminal."))
@click.option("--light", is_flag=True, help=_("Colours for a light terminal."))
@firmware_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    headless: bool,
    parts: int,
    pace: float | None,
    seed: int,
    no_mouse: bool,
    light: bool,
    firmware: str | None,
    home: Path | None,
) -> None:
    from tawny.settings.demo import lay_demo  # noqa: PLC0415 - the help stays light
    from tawny.settings.home import find_home, open_home  # noqa: PLC0415

    place = open_home(find_home(home or ctx.find_root().obj, simulated=True))
    if headless:
        from tawny.cli.demo_headless import press_parts  # noqa: PLC0415

        done = press_parts(
            place,
            parts=parts,
            seed=seed,
            pace=pace or None,
            recipe=RECIPE,
            firmware=firmware,
            tell=click.echo,
        )
        ctx.exit(0 if done.parts >= parts else 1)
    from tawny.cli.dashboard import attach  # noqa: PLC0415
    from tawny.cli.terminal import need_terminal  # noqa: PLC0415

    need_terminal()
    if pace == 0.0:
        raise click.UsageError(_("--pace max needs --headless: nobody can press that fast"))
    lay_demo(place)
    options = ["--board", "--hand", "--recipe", RECIPE, "--seed", str(seed)]
    options += ["--pace", str(pace or DASHBOARD_PACE), "--start", START]
    options += ["--firmware", firmware] if firmware else []
    ctx.exit(attach(place, options, mouse=not no_mouse, light=light))
