"""Ordering a picture of the benchmark of the hold: plain numbers in, a file out."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

import msgspec

from tawny.errors import N_, InputError
from tawny.report.drawing import FORMATS, draw_apart

HOLD: Final = "hold"


class Curve(msgspec.Struct, frozen=True):
    """One controller: time in s, and the deviation in K of the half that is further off.

    Attributes:
        heat_up: From the start on; empty: nothing is drawn.
        pressing: From closing on, the opening before it.
    """

    name: str
    heat_up: tuple[tuple[float, float], ...]
    pressing: tuple[tuple[float, float], ...]


class HoldPicture(msgspec.Struct, frozen=True, kw_only=True):
    """What is drawn.

    Attributes:
        heat_up_s, recovery_s: The bounds; None: there is none.
    """

    mould: str
    setpoint_c: float
    heat_up_s: float | None
    recovery_s: float | None
    curves: tuple[Curve, ...]


class HoldOrder(msgspec.Struct, frozen=True):
    """What the child process is told."""

    picture: HoldPicture
    path: str


def check_path(path: Path) -> None:
    """Refuse a path that no picture can be written to.

    Raises:
        InputError: If its ending is not known, or its folder does not exist.
    """
    if path.suffix.removeprefix(".") not in FORMATS:
        raise InputError(
            N_("{path} must end in one of {known}"),
            path=path,
            known=", ".join(f".{form}" for form in FORMATS),
        )
    if not path.absolute().parent.is_dir():
        raise InputError(N_("{path}: there is no such folder"), path=path)


def draw_hold(picture: HoldPicture, path: Path) -> None:
    """Draw a benchmark.

    Raises:
        InputError: As `check_path`.
        TawnyError: If drawing failed.
    """
    check_path(path)
    order = msgspec.json.encode(HoldOrder(picture, str(path.absolute())))
    with tempfile.TemporaryDirectory(prefix="tawny-picture-") as cache:
        draw_apart((HOLD,), order, what=picture.mould, cache=Path(cache))
