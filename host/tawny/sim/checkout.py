"""What only a checkout of the project holds: the board's image, and the simulator it runs in.

Both are built here where they are wanted, by the Makefiles of `firmware/` and `tests/avr/`. The
simulator is linked with a library under the GPL and so never part of the installed package.
"""

from __future__ import annotations

import fcntl
import runpy
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from tawny.errors import N_, InputError
from tawny.sim.build import Build

_HERE: Final = Path(__file__).resolve().parents[3]  # where the package is run from a checkout
_TOLD_MOST: Final = 2000  # of what a failed build says

# A tool of each kind, and what Debian calls the packages that bring them.
FOR_IMAGE: Final = {"make": "make", "avr-gcc": "gcc-avr avr-libc"}
FOR_SHIM: Final = {"make": "make", "gcc": "gcc libc6-dev libsimavr-dev"}
# What those packages bring that is no tool, where Debian puts it.
HEADERS: Final = (
    Path("/usr/lib/avr/include/avr/io.h"),
    Path("/usr/include/simavr/sim_avr.h"),
)


def root() -> Path:
    """Return the checkout: the one that this program runs from, else the one it is run in."""
    here = Path.cwd()
    for place in (_HERE, here, *here.parents):
        if all((folder / "Makefile").is_file() for folder in (_firmware(place), _shim(place))):
            return place
    return _HERE


def _firmware(place: Path) -> Path:
    return place / "firmware"


def _shim(place: Path) -> Path:
    return place / "tests" / "avr"


def can_build() -> bool:
    """Return whether this is a checkout, on a machine that has tools and libraries."""
    there = all(path.is_file() for path in (_firmware(root()) / "Makefile", *HEADERS))
    return there and all(shutil.which(tool) for tool in (*FOR_IMAGE, *FOR_SHIM))


def image_path(build: Build) -> Path:
    """Return the image of a build, made anew where its sources have changed.

    Raises:
        InputError: If there is no checkout, or its tools are missing, or the build fails.
    """
    variables = {
        "OUTPUT": build.output,
        "WINDOW_MS": build.window_ms,
        "CAP": build.cap,
        "ZONES": build.zones,
        "FIT": f"{build.fit:#04x}",
    }
    name = "-".join(str(value) for value in variables.values())
    wanted = [f"{variable}={value}" for variable, value in variables.items()]
    firmware = _firmware(root())
    _make(firmware, FOR_IMAGE, [*wanted, f"BUILD=build/{name}"])
    return firmware / "build" / name / "tawny.elf"


def shim_path() -> Path:
    """Return the library that runs an image, made anew where its sources have changed.

    Raises:
        InputError: As `image_path`.
    """
    place = root()
    _make(_shim(place), FOR_SHIM, [])
    return _firmware(place) / "build" / "avr" / "shim.so"


def new_eeprom(board_id: str) -> bytes:
    """Return what the EEPROM of a new board holds, before it knows any mould.

    Args:
        board_id: 16 hexadecimal digits.

    Raises:
        InputError: If there is no checkout.
    """
    content: bytes = _eeprom()["image"](int(board_id, 16))
    return content


def holds_a_mould(eeprom: bytes) -> bool:
    """Return whether a slot of an EEPROM has a good copy of anything but zeros.

    Raises:
        InputError: If there is no checkout.
    """
    layout = _eeprom()
    size = layout["SLOT_BYTES"]
    begin, copy = layout["AT_SLOTS"], size + 1  # a CRC, which begins with its address, and bytes
    for index in range(2 * layout["SLOTS"]):
        at = begin + index * copy
        flip = 0xFF if index % 2 else 0  # the second of two copies is inverted
        crc, *data = (byte ^ flip for byte in eeprom[at : at + copy])
        if any(data) and crc == layout["crc8"](bytes(data), at & 0xFF):
            return True
    return False


def _eeprom() -> dict[str, Any]:
    """Return the names of the page that knows the EEPROM's layout."""
    path = _firmware(root()) / "eeprom_image.py"
    if not path.is_file():
        raise _no_checkout(path)
    return runpy.run_path(str(path))


def _no_checkout(path: Path) -> InputError:
    return InputError(
        N_("{path} is missing: --firmware needs a checkout of the project"), path=str(path)
    )


def _make(folder: Path, tools: dict[str, str], arguments: list[str]) -> None:
    if not (folder / "Makefile").is_file():
        raise _no_checkout(folder / "Makefile")
    for tool, packages in tools.items():
        if shutil.which(tool) is None:
            raise InputError(
                N_("{tool} is missing: the board's image needs the Debian packages {packages}"),
                tool=tool,
                packages=packages,
            )
    with _alone():
        done = subprocess.run(  # noqa: S603 - our own Makefile
            ["make", "-C", str(folder), *arguments],  # noqa: S607 - looked for above
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode != 0:
        raise InputError(
            N_("make -C {folder} failed; it needs the Debian packages {packages}\n{told}"),
            folder=str(folder),
            packages=" ".join(tools.values()),
            told=done.stderr.strip()[-_TOLD_MOST:],
        )


@contextmanager
def _alone() -> Iterator[None]:
    """Let no two processes build at once."""
    place = _firmware(root()) / "build"
    try:
        place.mkdir(exist_ok=True)
        lock = (place / "lock").open("w")
    except OSError as error:
        raise InputError(
            N_("{path} cannot be written ({reason}): --firmware builds there"),
            path=str(place),
            reason=error.strerror or str(error),
        ) from error
    with lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
