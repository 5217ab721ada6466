#!/usr/bin/env python3
"""Write an image's CRC-32 into it: the board checks it, and `build` on the wire is it.

    stamp.py in.elf out.elf

The CRC covers the flash from address 0 to the end of the image, the four bytes of `board_stamp`
left out. Same sources, same compiler: same image, same CRC.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path

STAMP_BYTES = 4


def _run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def symbols(elf: Path) -> dict[str, int]:
    """Return every symbol's address; RAM stands behind 0x800000."""
    found = re.findall(r"^([0-9a-f]+) \S (\S+)$", _run("avr-nm", str(elf)), re.MULTILINE)
    return {name: int(address, 16) for address, name in found}


def stamp(source: Path, target: Path) -> int:
    """Copy an ELF with its CRC filled in; return the CRC.

    Raises:
        ValueError: If the image holds no place for it.
    """
    names = symbols(source)
    with tempfile.TemporaryDirectory() as folder:
        flash, text = Path(folder, "flash"), Path(folder, "text")
        _run("avr-objcopy", "-O", "binary", "-j", ".text", "-j", ".data", str(source), str(flash))
        _run("avr-objcopy", "-O", "binary", "-j", ".text", str(source), str(text))
        image = flash.read_bytes()
        at, end = names["board_stamp"], names["__data_load_end"]
        if len(image) != end or image[at : at + STAMP_BYTES] != b"\xff" * STAMP_BYTES:
            raise ValueError(f"{source}: {len(image)} bytes of {end}, or no empty stamp at {at:#x}")
        crc = zlib.crc32(image[:at] + image[at + STAMP_BYTES :])
        code = bytearray(text.read_bytes())
        code[at : at + STAMP_BYTES] = crc.to_bytes(STAMP_BYTES, "little")
        text.write_bytes(code)
        _run("avr-objcopy", "--update-section", f".text={text}", str(source), str(target))
    return crc


if __name__ == "__main__":
    print(f"build {stamp(Path(sys.argv[1]), Path(sys.argv[2])):08x}")
