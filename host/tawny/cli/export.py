"""`tawny export`: parts with their traces, as files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.errors import InputError, StoreDamagedError, TawnyError
from tawny.words import _, sentence_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from tawny.core.trace import PartTrace
    from tawny.store.reader import PartRow, Reader


@click.command("export", help=_("Write parts with their traces as files; all if none is named."))
@click.argument("parts", nargs=-1, metavar="[PART...]")
@click.option("--format", "form", type=click.Choice(["csv", "json", "parquet"]), default="csv",
              show_default=True, help=_("For a spreadsheet, a program or an analyst."))  # fmt: skip
@click.option("--to", "folder", type=click.Path(path_type=Path), metavar="DIR",
              help=_("Where to; the home folder's exports if not given."))  # fmt: skip
@click.option("--locale-comma", "comma", is_flag=True,
              help=_("CSV for a spreadsheet with decimal commas."))  # fmt: skip
@click.option("--picture", is_flag=True, help=_("Also draw each trace, as SVG and PNG."))
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    parts: tuple[str, ...],
    form: str,
    folder: Path | None,
    comma: bool,
    picture: bool,
    as_json: bool,
    home: Path | None,
) -> None:
    import json  # noqa: PLC0415 - the help stays light

    from tawny.report.export import export_part, rows_text  # noqa: PLC0415
    from tawny.report.parts import part_object  # noqa: PLC0415
    from tawny.settings.files import write_whole  # noqa: PLC0415
    from tawny.store.reader import Reader  # noqa: PLC0415

    if comma and form != "csv":
        raise click.UsageError(_("--locale-comma goes with --format csv"))
    place = chosen_home(ctx, home)
    target = folder or place.exports
    left_out: list[TawnyError] = []
    with Reader.open(place.root) as reader:
        rows = [reader.part(part) for part in parts] if parts else reader.parts()
        for trace in _traces(reader, rows, left_out, named=bool(parts)):
            files = list(export_part(trace, target, form, comma=comma))
            if picture:
                from tawny.report.drawing import draw_part  # noqa: PLC0415

                files += draw_part(trace, target, cache=place.cache)
            if as_json:
                said = {"part_id": trace.part_id, "files": [str(path) for path in files]}
                click.echo(json.dumps(said))
            else:
                click.echo("\n".join(map(str, files)))
        simulated = reader.simulated
    if form == "csv" and rows:
        listed = target / ("SIMULATED-parts.csv" if simulated else "parts.csv")
        cells = [part_object(row) | {"alarms": " ".join(row.alarms)} for row in rows]
        write_whole(listed, rows_text(cells, comma=comma))
        if not as_json:
            click.echo(str(listed))
    if not rows and not as_json:
        click.echo(_("the record holds no part yet"))
    if any(isinstance(error, StoreDamagedError) for error in left_out):
        ctx.exit(StoreDamagedError.exit_code)


def _traces(
    reader: Reader, rows: Iterable[PartRow], left_out: list[TawnyError], *, named: bool
) -> Iterator[PartTrace]:
    """Yield each part's trace; one without must not keep the others from being written."""
    from tawny.service.part_trace import part_trace  # noqa: PLC0415 - the help stays light

    for row in rows:
        try:
            yield part_trace(reader, row.part_id)
        except (InputError, StoreDamagedError) as error:
            if named:
                raise
            left_out.append(error)
            click.echo(sentence_of(error), err=True)
