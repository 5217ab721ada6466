"""What `tawny` offers in a home folder without settings: the demo, or a press of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from tawny.words import _

if TYPE_CHECKING:
    from tawny.settings.home import Home

DEMO, SET_UP, LEAVE = "d", "s", "q"
_NOT_YOURS = """\
# Copied from the demo workshop: this is not your mould. Give it its own name, correct every
# rating, and put in what its commissioning measured; until then these figures fit nothing.
"""


def offer(home: Home) -> str:
    """Ask what to do in a home folder without settings; return the letter chosen."""
    click.echo(_("There is no press set up in {path}.").format(path=home.root))
    click.echo(_("  d  try the demo workshop on a simulated press"))
    click.echo(_("  s  set up a press of your own: writes files for you to correct"))
    click.echo(_("  q  leave"))
    choice: str = click.prompt(
        _("Your choice"), type=click.Choice([DEMO, SET_UP, LEAVE]), default=DEMO, show_choices=False
    )
    return choice


def set_up(home: Home) -> None:
    """Write the settings of a press into a home folder, to be corrected by hand.

    Nothing can be heated by them alone: the board arms only with a commissioned mould and a
    hand at it.
    """
    import tomlkit  # noqa: PLC0415 - only here

    from tawny.link.ports import list_ports  # noqa: PLC0415
    from tawny.settings.demo import demo_files  # noqa: PLC0415
    from tawny.settings.files import write_whole  # noqa: PLC0415
    from tawny.settings.home import open_home  # noqa: PLC0415

    workshop = click.prompt(_("Name of the workshop"), type=str).strip()
    press = click.prompt(_("Name of the press"), type=str, default="press-1").strip()
    found = [port.by_id or port.by_path or port.device for port in list_ports()]
    for name in found:
        click.echo(f"  {name}")
    port = click.prompt(
        _("Serial port of the board (nothing: not known yet)"),
        type=str,
        default=found[0] if found else "",
        show_default=bool(found),
    ).strip()
    open_home(home)
    for place, shipped in demo_files().items():
        text = shipped.read_text(encoding="utf-8")
        if place == "press.toml":
            document = tomlkit.parse(text)
            document["name"], document["workshop"] = press, workshop
            document["simulated"] = False
            text = tomlkit.dumps(document).replace(
                "# The press of the demo workshop. Everything in this folder is simulated.",
                "# Copied from the demo workshop: correct every rating before connecting anything.",
            )
            # Beside the press's own lines: at the end it would stand under the ram's comment.
            line = f"port = {tomlkit.item(port).as_string()}\n"
            text = text.replace("simulated = false\n", f"simulated = false\n{line}", 1)
        elif place.startswith("moulds/"):
            text = _NOT_YOURS + text
        target = home.root / place
        if not target.exists():
            write_whole(target, text)
            click.echo(_("wrote {path}").format(path=target))
    click.echo(
        _(
            "Now correct every rating in these files from the makers' plates: the mould and its"
            " figures are the demo's, not yours. Then run `tawny check`. Read the cautions in"
            " README.md before connecting mains."
        )
    )
