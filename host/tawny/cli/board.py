"""`tawny board`: the simulated board behind a serial line of its own."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.firmware import elf_boards, firmware_option
from tawny.errors import N_, InputError
from tawny.words import _

_PACE_MOST = 2000.0
START_LEAST_C, START_MOST_C = -20.0, 210.0


@click.group(name="board", help=_("A simulated board behind a serial line."))
def group() -> None:
    """Hold the commands below."""


@group.command(help=_("Run a simulated board with its mould behind a port of its own."))
@click.option(
    "--link",
    required=True,
    type=click.Path(path_type=Path),
    help=_("Name of the port: a link that is made here and taken away at the end."),
)
@click.option(
    "--mould",
    default="saucer-160",
    show_default=True,
    metavar="NAME|FILE",
    help=_("A mould that `tawny board moulds` lists, or a file with a [model] table."),
)
@click.option(
    "--pace", type=float, default=1.0, show_default=True, help=_("Its seconds in one of ours.")
)
@click.option("--seed", type=int, default=1, show_default=True, help=_("Of noise and drift."))
@click.option(
    "--start", metavar="T", help=_('Temperature of the mould at the start, as "165 degC".')
)
@click.option("--uncommissioned", is_flag=True, help=_("Its memory knows no mould yet."))
@click.option(
    "--control",
    type=click.Path(path_type=Path),
    help=_("Socket on which a hand at the board can be played; see tawny/sim/control.py."),
)
@click.option(
    "--eeprom",
    type=click.Path(path_type=Path),
    help=_(
        "File that keeps the board's memory from one run to the next; .eeprom is added to"
        " the name of a real image's."
    ),
)
@click.option(
    "--end-silent",
    type=float,
    metavar="S",
    help=_("End by itself after so many seconds without a byte from a host."),
)
@click.option("--reset-on-open", is_flag=True, help=_("Opening the port resets the board."))
@firmware_option
def simulate(
    *,
    link: Path,
    mould: str,
    pace: float,
    seed: int,
    start: str | None,
    uncommissioned: bool,
    control: Path | None,
    eeprom: Path | None,
    end_silent: float | None,
    reset_on_open: bool,
    firmware: str | None,
) -> None:
    """Run until a signal."""
    from tawny.core.units import parse  # noqa: PLC0415 - the help stays light
    from tawny.sim.memory import Memory  # noqa: PLC0415
    from tawny.sim.parameters import load  # noqa: PLC0415
    from tawny.sim.pty import Server, stopped_by_signals  # noqa: PLC0415
    from tawny.sim.world import World  # noqa: PLC0415

    if not 0.0 < pace <= _PACE_MOST:
        raise InputError(
            N_("pace {pace:g} is not above 0 and at most {limit:g}"), pace=pace, limit=_PACE_MOST
        )
    start_c = None if start is None else parse(start, "degC")
    if start_c is not None and not START_LEAST_C <= start_c <= START_MOST_C:
        raise InputError(
            N_("start {start_c:g} degC is not between {least_c:g} and {most_c:g} degC"),
            start_c=start_c,
            least_c=START_LEAST_C,
            most_c=START_MOST_C,
        )
    model = load(mould)
    boards = elf_boards(firmware, model, eeprom)
    world = World(
        model,
        seed=seed,
        memory=Memory(eeprom) if boards is None else None,
        commissioned=not uncommissioned,
        start_c=start_c,
        boards=boards,
    )
    server = Server(
        world,
        link,
        pace=pace,
        control=control,
        reset_on_open=reset_on_open,
        end_silent_s=end_silent,
    )
    with stopped_by_signals(server.stop):
        click.echo(
            _("SIMULATED board with mould {mould} on port {link}; stop it with Ctrl-C.").format(
                mould=mould, link=link
            )
        )
        server.run()


@group.command(help=_("List the moulds that come with the simulator."))
def moulds() -> None:
    """Print one line for each, with what commissioning finds of it."""
    from tawny.sim.commission import measure  # noqa: PLC0415 - the help stays light
    from tawny.sim.parameters import load, shipped_moulds  # noqa: PLC0415

    for name in shipped_moulds():
        model = load(name)
        upper = measure(model).upper
        click.echo(
            _(
                "{name:16}  {watt:5.0f} W a half, {output}, "
                "{rise:.2f} K/s, lag {lag:.0f} s, {minutes:.0f} min to {setpoint:.0f} degC"
            ).format(
                name=name,
                watt=model.upper.heater_w,
                output=model.output,
                rise=upper.rise_k_per_s,
                lag=upper.lag_s,
                minutes=upper.heat_up_s / 60.0,
                setpoint=model.heat_up_c,
            )
        )
