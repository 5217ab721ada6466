"""What commissioning measured, written into the mould's passport beside what a person wrote."""

from __future__ import annotations

from pathlib import Path

from tawny.core.names import Half
from tawny.core.record import CommissionedHalf
from tawny.errors import N_, InputError
from tawny.settings.edit import edited
from tawny.settings.equipment import read_mould
from tawny.settings.files import write_whole
from tawny.settings.home import Home

_COOLING_MOST_S = 100_000.0  # the passport's own limit


def write_measured(home: Home, mould: str, halves: dict[Half, CommissionedHalf]) -> Path:
    """Put what was measured into a mould's passport; its comments stay.

    Returns:
        The file.

    Raises:
        InputError: If no passport has that name, or it cannot be written.
    """
    for path in sorted(home.moulds.glob("*.toml")):
        if read_mould(path).name == mould:
            text = path.read_text(encoding="utf-8")
            write_whole(path, edited(text, _values(halves), "", ()))
            return path
    raise InputError(
        N_("no file in {path} describes mould {mould} any more; write the figures there yourself"),
        path=home.moulds,
        mould=mould,
    )


def _values(halves: dict[Half, CommissionedHalf]) -> dict[str, str | int | None]:
    values: dict[str, str | int | None] = {}
    for half, own in halves.items():
        values[f"{half.value}.rise"] = f"{own.rise_k_per_s:.3f} K/s"
        values[f"{half.value}.lag"] = f"{own.lag_s:.1f} s"
        values[f"{half.value}.heat_up"] = f"{own.heat_up_s:.0f} s"
        if own.loss_per_s * _COOLING_MOST_S >= 1.0:  # else it did not show
            values[f"{half.value}.cooling_time"] = f"{1.0 / own.loss_per_s:.0f} s"
    return values
