"""`tawny show`: everything about one part."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.words import _


@click.command("show", help=_("Tell everything about one part."))
@click.argument("part")
@click.option("--picture", type=click.Path(path_type=Path), metavar="DIR",
              help=_("Also draw its trace there, as SVG and PNG."))  # fmt: skip
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context, *, part: str, picture: Path | None, as_json: bool, home: Path | None
) -> None:
    import json  # noqa: PLC0415 - the help stays light

    import msgspec  # noqa: PLC0415

    from tawny.report.parts import part_lines, part_object  # noqa: PLC0415
    from tawny.store.reader import Reader  # noqa: PLC0415

    place = chosen_home(ctx, home)
    with Reader.open(place.root) as reader:
        row = reader.part(part)
        sealed = reader.pressing(row.pressing_id)
        drawn: tuple[Path, ...] = ()
        if picture is not None:
            from tawny.report.drawing import draw_part  # noqa: PLC0415
            from tawny.service.part_trace import part_trace  # noqa: PLC0415

            drawn = draw_part(part_trace(reader, part), picture, cache=place.cache)
    if as_json:
        said = part_object(row) | {
            "pressing": msgspec.to_builtins(sealed.record),
            "entry_hash": sealed.entry.hash.hex(),
            "pictures": [str(path) for path in drawn],
        }
        click.echo(json.dumps(said, allow_nan=False))
        return
    click.echo("\n".join([*part_lines(row, sealed.record), *map(str, drawn)]))
