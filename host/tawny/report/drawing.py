"""Ordering a picture of a part: it is drawn in a child process.

So drawing neither slows the press nor leaves its memory behind, and a crash in it is one
sentence here.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import msgspec

from tawny.core.trace import PartTrace, check_samples
from tawny.errors import N_, InputError, TawnyError

FORMATS = ("svg", "png")
_TIME_LIMIT_S = 120.0


class Order(msgspec.Struct, frozen=True):
    """What the child process is told."""

    trace: PartTrace
    paths: tuple[str, ...]


def draw_part(
    trace: PartTrace, folder: Path, *, cache: Path, formats: tuple[str, ...] = FORMATS
) -> tuple[Path, ...]:
    """Draw a part and return the files written.

    Args:
        trace: The part.
        folder: Where to; made where it is missing.
        cache: A folder for the list of fonts, which takes seconds to make anew.
        formats: Some of `FORMATS`.

    Raises:
        InputError: If a format is unknown, or the folders cannot be written to.
        TawnyError: If drawing failed.
    """
    check_samples(trace.samples)
    for form in formats:
        if form not in FORMATS:
            raise InputError(
                N_("format {form} is not known; choose one of {known}"),
                form=form,
                known=", ".join(FORMATS),
            )
    stem = f"SIMULATED-{trace.part_id}" if trace.record.simulated else trace.part_id
    paths = tuple(folder / f"{stem}.{form}" for form in formats)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        cache.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            N_("{path} cannot be written: {reason}; choose another folder"),
            path=folder,
            reason=error.strerror or str(error),
        ) from error
    _draw_apart(Order(trace, tuple(map(str, paths))), cache)
    return paths


def _draw_apart(order: Order, cache: Path) -> None:
    draw_apart((), msgspec.json.encode(order), what=order.trace.part_id, cache=cache)


def draw_apart(arguments: tuple[str, ...], order: bytes, *, what: str, cache: Path) -> None:
    """Draw in a child process.

    Args:
        arguments: Which kind of picture.
        order: What it is told, as JSON.
        what: Is drawn, for a sentence.
        cache: As for `draw_part`.

    Raises:
        TawnyError: If drawing failed.
    """
    environ = {**os.environ, "MPLCONFIGDIR": str(cache), "MPLBACKEND": "agg"}
    try:
        child = subprocess.run(  # noqa: S603 - our own program
            [sys.executable, "-m", "tawny.report.picture", *arguments],
            input=order,
            capture_output=True,
            timeout=_TIME_LIMIT_S,
            check=False,
            env=environ,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise TawnyError(
            N_("the picture of {part} could not be drawn: {reason}"), part=what, reason=error
        ) from error
    if child.returncode != 0:
        lines = child.stderr.decode(errors="replace").strip().splitlines()
        raise TawnyError(
            N_("the picture of {part} could not be drawn: {reason}"),
            part=what,
            reason=lines[-1] if lines else child.returncode,
        )
