"""The root of the command line: a table of commands, none of them loaded before its turn."""

from __future__ import annotations

import os
from typing import NamedTuple

import click

from tawny import __version__
from tawny.cli.terminal import need_terminal
from tawny.errors import N_
from tawny.words import _


class Entry(NamedTuple):
    """Where a command lives, and what the list of commands says of it."""

    module: str
    attribute: str
    help: str


COMMANDS = {
    "run": Entry("run", "command", N_("Open the dashboard of a press, started if need be.")),
    "demo": Entry("demo", "command", N_("Try everything on a simulated press.")),
    "serve": Entry("serve", "command", N_("Own a press without a dashboard.")),
    "parts": Entry("parts", "command", N_("List the parts of the record.")),
    "show": Entry("show", "command", N_("Tell everything about one part.")),
    "export": Entry("export", "command", N_("Write parts with their traces as files.")),
    "when": Entry("when", "command", N_("Tell when the mould is ready, or when to switch on.")),
    "calc": Entry("calc", "group", N_("Sums of the trade: sensors, dose, steam, water.")),
    "check": Entry("check", "command", N_("Look for what could go wrong, and say how to mend it.")),
    "commission": Entry("commission", "command", N_("Commission a mould on a connected board.")),
    "board": Entry("board", "group", N_("A simulated board behind a serial line.")),
    "bench": Entry("bench", "command", N_("Measure this program on this machine.")),
}


class LazyGroup(click.Group):
    """A group whose commands are loaded when they are called; the signatures are click's."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        from importlib import import_module  # noqa: PLC0415 - not for the help

        from tawny.words.numbers import use_locale  # noqa: PLC0415

        use_locale(
            os.environ.get("LC_ALL") or os.environ.get("LC_NUMERIC") or os.environ.get("LANG")
        )

        found = getattr(import_module(f"tawny.cli.{entry.module}"), entry.attribute)
        assert isinstance(found, click.Command)  # noqa: S101 - the table is ours
        return found

    def format_commands(  # noqa: D102 - click's
        self,
        ctx: click.Context,  # noqa: ARG002
        formatter: click.HelpFormatter,
    ) -> None:
        with formatter.section(_("Commands")):
            formatter.write_dl([(name, _(entry.help)) for name, entry in COMMANDS.items()])


def _width() -> int:
    """Return the width of help; click would load a module of 2 ms to find out."""
    try:
        return min(max(os.get_terminal_size().columns, 60), 100)
    except OSError:
        return 80


@click.command(
    cls=LazyGroup,
    invoke_without_command=True,
    help=_(
        "Heated-press controller and process record. Without a command: the dashboard, "
        "as `tawny run`."
    ),
    context_settings={"help_option_names": ["-h", "--help"], "terminal_width": _width()},
)
@click.version_option(__version__, message="%(prog)s %(version)s")
@click.option(
    "--home",
    metavar="DIR",
    help=_("Folder of settings and record; else TAWNY_HOME, else this user's data folder."),
)
@click.pass_context
def root(ctx: click.Context, *, home: str | None) -> None:
    """Remember the home folder; without a command, run."""
    ctx.obj = home
    if ctx.invoked_subcommand is not None:
        return
    need_terminal()
    run = root.get_command(ctx, "run")
    assert run is not None  # noqa: S101 - it stands in the table
    ctx.invoke(run)
