"""What was commissioned, when and by whom; and what is due."""

from __future__ import annotations

import json
import time
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click
import msgspec

from tawny.core.commission_due import due
from tawny.core.record import COMMISSIONED, THERMAL, Commissioned, ThermalRecord
from tawny.errors import TawnyError
from tawny.settings.workshop import load_workshop
from tawny.store.reader import Reader
from tawny.words import _
from tawny.words.numbers import local_time, number, seconds, temperature
from tawny.words.sentences import commission_due, commissioning_step, field_words, half_name
from tawny.words.thermal import thermal_lines, thermal_origin

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tawny.settings.home import Home


def read_done(home: Home) -> list[Commissioned]:
    """Return every commissioning of a record, oldest first; none where there is no record."""
    if not home.store.exists():
        return []
    with Reader.open(home.root) as reader:
        return [entry.read(Commissioned) for entry in reader.entries(kinds=(COMMISSIONED,))]


def reminders(home: Home, *, board: str = "", build: str = "") -> list[str]:
    """Return one sentence for each mould that is to be commissioned; none for a simulated press.

    Args:
        home: Of the press.
        board: Identity of the board in use, "" where it is not known.
        build: Its build, "" where it is not known.

    Raises:
        TawnyError: For settings or a record that cannot be read.
    """
    workshop = load_workshop(home)
    if workshop.simulated:
        return []
    done, now_utc_ms = read_done(home), time.time_ns() // 1_000_000
    if not build and home.store.exists():
        board, build = _last_board(home)
    found = (
        due(done, mould.name, now_utc_ms, board=board, build=build) for mould in workshop.moulds
    )
    return [commission_due(code) for code in found if code is not None]


def remind(home: Home) -> None:
    """Say before the dashboard opens what is due; what cannot be read is told by the owner."""
    with suppress(TawnyError):
        for said in reminders(home):
            click.echo(_("Due: {reminder}. Run: tawny commission").format(reminder=said))


def _last_board(home: Home) -> tuple[str, str]:
    """Return identity and build of the board that pressed or was commissioned last.

    By the order of the journal, for a clock may have gone back.
    """
    with Reader.open(home.root) as reader:
        known = [
            (entry.seq, done.board_id, done.board_build)
            for entry in reader.entries(kinds=(COMMISSIONED,))[-1:]
            for done in (entry.read(Commissioned),)
        ]
        for part in reader.parts(1):
            sealed = reader.pressing(part.pressing_id)
            known.append((sealed.entry.seq, sealed.record.board_id, sealed.record.board_build))
    return max(known)[1:] if known else ("", "")


def show_done(home: Home, mould: str | None, *, as_json: bool) -> None:
    """Print every commissioning, newest first."""
    found = [one for one in read_done(home) if mould in (None, one.mould)]
    for one in reversed(found):
        if as_json:
            plain: dict[str, Any] = msgspec.to_builtins(one)
            click.echo(json.dumps(plain, allow_nan=False))
        else:
            click.echo("\n".join(_lines(one)))
    if not found and not as_json:
        click.echo(_("Nothing was commissioned with this record yet."))


def show_models(home: Home, mould: str | None, *, as_json: bool) -> None:
    """Print the last fit of each mould's thermal model that was taken, and the last at all."""
    last: dict[str, tuple[int, ThermalRecord]] = {}
    taken: dict[str, tuple[int, ThermalRecord]] = {}
    if not home.store.exists():
        return
    with Reader.open(home.root) as reader:
        for entry in reader.entries(kinds=(THERMAL,)):
            one = entry.read(ThermalRecord)
            if mould in (None, one.mould):
                last[one.mould] = (entry.utc_ms, one)
                if one.thermal is not None:
                    taken[one.mould] = (entry.utc_ms, one)
    for name in sorted(last):
        used = taken.get(name)
        for utc_ms, one in [last[name]] if used in (None, last[name]) else [used, last[name]]:
            if as_json:
                plain: dict[str, Any] = {"utc_ms": utc_ms, **msgspec.to_builtins(one)}
                click.echo(json.dumps(plain, allow_nan=False))
                continue
            day = local_time(utc_ms).strftime("%Y-%m-%d %H:%M")
            click.echo(f"{day}  {one.mould}, {thermal_origin(one.origin)}:")
            for text in thermal_lines(one):
                click.echo(f"  {text}")


def _lines(one: Commissioned) -> Iterator[str]:
    day = local_time(one.ended_utc_ms).strftime("%Y-%m-%d %H:%M")
    said = _("{day}  mould {mould}, slot {slot}, board {board}, build {build}").format(
        day=day, mould=one.mould, slot=one.slot, board=one.board_id, build=one.board_build
    )
    yield said + (_("  SIMULATED") if one.simulated else "")
    yield _("  by {person}, {second} at the isolator; trip point {trip}").format(
        person=one.person, second=one.second, trip=temperature(one.trip_c)
    )
    for half, own in one.halves.items():
        yield _("  {half}: rise {rise} mK/s, lag {lag}, heats up in {up} (computed)").format(
            half=half_name(half),
            rise=number(1000.0 * own.rise_k_per_s, 0),
            lag=seconds(own.lag_s),
            up=seconds(own.heat_up_s),
        )
    for step in one.steps:
        outcome = _("done") if step.outcome == "done" else _("not fitted")
        values = ", ".join(field_words(name, value) for name, value in step.values.items())
        failed = _("; failed before: {codes}").format(codes=", ".join(step.failed))
        yield (
            f"  {commissioning_step(step.step)}: {outcome}"
            + (f" ({values})" if values else "")
            + (failed if step.failed else "")
        )
