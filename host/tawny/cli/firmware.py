"""`--firmware`: the board's real image in simulation, in place of the simulated board."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tawny.words import _

if TYPE_CHECKING:
    from tawny.sim.elf import ElfBoards
    from tawny.sim.parameters import MouldModel

THIS_CHECKOUT = "checkout"  # what the option holds where no file is named
EEPROM_SUFFIX = ".eeprom"

_Function = TypeVar("_Function", bound=Callable[..., Any])


def firmware_option(function: _Function) -> _Function:
    """Let a command take --firmware, with or without a file."""
    return click.option(
        "--firmware",
        metavar="[ELF]",
        is_flag=False,
        flag_value=THIS_CHECKOUT,
        default=None,
        help=_("Run the board's real image, compiled: this .elf, else that of the checkout."),
    )(function)


def elf_boards(
    firmware: str | None, model: MouldModel, memory: Path | None = None
) -> ElfBoards | None:
    """Return the board that the option asks for, None where it was not given.

    Args:
        firmware: What the option holds.
        model: The mould that it heats; the checkout's image is built for it.
        memory: Where the simulated board's memory would lie; the EEPROM's file lies beside it.

    Raises:
        InputError: If image or simulator cannot be built or read.
        SettingsError: If the EEPROM's file is none.
    """
    if firmware is None:
        return None
    from tawny.sim.build import build_for  # noqa: PLC0415 - the help stays light
    from tawny.sim.checkout import image_path  # noqa: PLC0415
    from tawny.sim.elf import ElfBoards  # noqa: PLC0415
    from tawny.sim.image import read_image  # noqa: PLC0415

    build = build_for(model)
    path = image_path(build) if firmware == THIS_CHECKOUT else Path(firmware)
    eeprom = None if memory is None else memory.with_name(memory.name + EEPROM_SUFFIX)
    return ElfBoards(read_image(path), build, eeprom)
