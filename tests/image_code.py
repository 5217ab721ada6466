"""Places in the compiled image: where an instruction stands, where a variable lies."""

from __future__ import annotations

import re
import subprocess
import tempfile
from bisect import bisect_right
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Final

import c_core
from tawny.sim.image import Image

WATCHDOG_FED: Final = 0x95A8  # wdr
SLEEP: Final = 0x9588
INTERRUPTS_OFF: Final = 0x94F8  # cli
NOTHING: Final = 0x0000  # nop
TO_ITSELF: Final = 0xCFFF  # rjmp .-2
RAM_BEGIN, RAM_END = 0x100, 0x900  # in data space, from the controller's data sheet
PAINT: Final = 0xC5  # what the image fills the stack's room with


def word(image: Image, address: int) -> int:
    """Return an instruction's first word."""
    return int.from_bytes(image.flash[address : address + 2], "little")


def symbol(image: Image, name: str) -> int:
    """Return the address of what the linker may have given a longer name."""
    found = {
        address
        for full, address in image.symbols.items()
        if full == name or full.startswith((f"{name}.lto_priv", f"{name}.constprop"))
    }
    assert len(found) == 1, (name, found)
    return found.pop()


@cache
def code(path: Path) -> list[tuple[int, str]]:
    """Return the functions of an image, by address."""
    lines = subprocess.run(["avr-nm", str(path)], check=True, capture_output=True, text=True).stdout
    words = (line.split() for line in lines.splitlines())
    return sorted((int(one[0], 16), one[2]) for one in words if len(one) == 3 and one[1] in "tT")


def end_of(image: Image, name: str) -> int:
    """Return where the next function begins."""
    begin = symbol(image, name)
    return min(address for address, _ in code(image.path) if address > begin)


def places(image: Image, name: str, instruction: int) -> list[int]:
    """Return where an instruction of one word stands in a function."""
    begin, end = symbol(image, name), end_of(image, name)
    return [at for at in range(begin, end, 2) if word(image, at) == instruction]


def patch(image: Image, address: int, instruction: int) -> list[tuple[int, int]]:
    """Return the bytes to turn over, each with its bits, that put an instruction somewhere."""
    change = word(image, address) ^ instruction
    return [(address, change & 0xFF), (address + 1, change >> 8)]


@cache
def offsets(members: tuple[str, ...]) -> dict[str, int]:
    """Return where members of `struct unit` lie, as the compiler has it, and its size as ""."""
    lines = "".join(f'    ask("{name}", offsetof(struct unit, {name}));\n' for name in members)
    source = (
        '#include <stddef.h>\n#include "unit.h"\n'
        '#define ask(name, value) __asm__("@ " name " %0" ::"i"(value))\n'
        f'void places(void);\nvoid places(void)\n{{\n    ask("", sizeof(struct unit));\n{lines}}}\n'
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "places.c")
        path.write_text(source, encoding="ascii")
        command = ["avr-gcc", "-std=gnu11", "-mmcu=atmega328p", "-Os", "-fshort-enums"]
        command += ["-DIN_FLASH=__flash", f"-I{c_core.FIRMWARE}", "-S", "-o", "-", str(path)]
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return {
        name: int(value) for name, value in re.findall(r"^\s*@ (\S*) (\d+)$", told, re.MULTILINE)
    }


def within(image: Image, member: str) -> int:
    """Return the address of a member of the one `struct unit`."""
    return symbol(image, "unit") + offsets((member,))[member]


def functions(image: Image, covered: Iterable[int]) -> dict[str, list[int]]:
    """Return the addresses that ran, by the function they are in."""
    begins = code(image.path)
    ran: dict[str, list[int]] = {}
    for address in covered:
        at = bisect_right(begins, (address, "\x7f")) - 1
        ran.setdefault(begins[at][1], []).append(address)
    return ran
