"""`tawny parts`: the parts of a record, newest first."""

from __future__ import annotations

from pathlib import Path

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.core.names import Result
from tawny.words import _

_USUAL = 20


@click.command("parts", help=_("List the parts of the record, newest first."))
@click.option("--limit", type=click.IntRange(min=1), default=_USUAL, show_default=True,
              help=_("How many at most."))  # fmt: skip
@click.option("--all", "everything", is_flag=True, help=_("All of them."))
@click.option("--recipe", help=_("Only parts of this recipe."))
@click.option("--lot", help=_("Only parts of this lot."))
@click.option("--operator", help=_("Only parts this person pressed."))
@click.option("--result", type=click.Choice([result.value for result in Result]),
              help=_("Only pressings that ended so."))  # fmt: skip
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    limit: int,
    everything: bool,
    recipe: str | None,
    lot: str | None,
    operator: str | None,
    result: str | None,
    as_json: bool,
    home: Path | None,
) -> None:
    import msgspec  # noqa: PLC0415 - the help stays light

    from tawny.report.parts import part_object, parts_lines  # noqa: PLC0415
    from tawny.store.reader import ALL, Reader  # noqa: PLC0415

    with Reader.open(chosen_home(ctx, home).root) as reader:
        rows = reader.parts(
            ALL if everything else limit,
            recipe=recipe,
            lot=lot,
            operator=operator,
            result=None if result is None else Result(result),
        )
        simulated = reader.simulated
    if as_json:
        lines = [msgspec.json.encode(part_object(row)).decode() for row in rows]
    elif rows:
        lines = list(parts_lines(rows, simulated=simulated))
    else:
        lines = [_("no such part is in the record")]
    if lines:
        click.echo("\n".join(lines))
