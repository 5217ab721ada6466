"""`tawny when`: when the mould is ready or touchable, and when to switch on. It never heats."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tawny.cli.options import chosen_home, home_option, json_option
from tawny.words import _

if TYPE_CHECKING:
    from tawny.core.snapshot import Snapshot
    from tawny.settings.home import Home


@click.command(
    "when",
    help=_(
        "Tell when the mould will be ready or touchable, when to switch on to press at a time, and"
        " which closing is the last before an outage. Nothing here starts heat."
    ),
)
@click.option("--press-at", metavar="TIME", help=_("When you want to press, such as 09:00."))
@click.option("--outage", metavar="TIME", help=_("When the supply goes off, such as 14:00."))
@click.option("--recipe", metavar="NAME", help=_("Which recipe, where no press runs."))
@json_option
@home_option
@click.pass_context
def command(  # noqa: D103 - the help says it
    ctx: click.Context,
    *,
    press_at: str | None,
    outage: str | None,
    recipe: str | None,
    as_json: bool,
    home: Path | None,
) -> None:
    import asyncio  # noqa: PLC0415 - the help stays light
    import json  # noqa: PLC0415
    import time  # noqa: PLC0415

    from tawny.cli.when_told import Question, told  # noqa: PLC0415
    from tawny.words.moments import read_moment  # noqa: PLC0415

    place = chosen_home(ctx, home)
    seen = asyncio.run(_look(place))
    now_utc_ms = time.time_ns() // 1_000_000 if seen is None else seen.utc_ms
    question = Question(
        now_utc_ms,
        None if press_at is None else read_moment(press_at, now_utc_ms),
        None if outage is None else read_moment(outage, now_utc_ms),
        recipe or "",
    )
    values, lines = told(place, seen, question)
    click.echo(json.dumps(values, allow_nan=False) if as_json else "\n".join(lines))


async def _look(home: Home) -> Snapshot | None:
    """Return the press as its owner shows it; None where nobody owns it."""
    import asyncio  # noqa: PLC0415

    from tawny.desk.client import DeskClient  # noqa: PLC0415
    from tawny.desk.messages import Snap  # noqa: PLC0415

    client = DeskClient(home.socket, desk=False)
    try:
        await client.open()
    except OSError:
        return None
    try:
        async with asyncio.timeout(5.0):
            async for message in client.messages():
                if isinstance(message, Snap):
                    return message.snapshot
    except TimeoutError:
        return None
    finally:
        await client.close()
    return None
