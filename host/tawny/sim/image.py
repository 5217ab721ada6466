"""The board's image as the linker wrote it: an ELF file for the AVR controller."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Final

import msgspec

from tawny.errors import N_, InputError

FLASH_BYTES: Final = 32_768
ERASED: Final = 0xFF

_MAGIC: Final = b"\x7fELF\x01\x01\x01"  # 32 bits, little-endian
_AVR: Final = 83  # e_machine
_LOADED: Final = 1  # PT_LOAD
_SYMBOLS: Final = 2  # SHT_SYMTAB
_DATA_SPACE: Final = 0x80_0000  # where the linker puts data space beside flash
_HEADER: Final = struct.Struct("<16sHHIIIIIHHHHHH")
_SEGMENT: Final = struct.Struct("<IIIIIIII")
_SECTION: Final = struct.Struct("<IIIIIIIIII")
_SYMBOL: Final = struct.Struct("<IIIBBH")


class Image(msgspec.Struct, frozen=True):
    """What goes into the flash, and where things are.

    Attributes:
        path: The file.
        flash: From address 0 on.
        symbols: Names with their addresses: of flash in bytes, of data space as the chip counts.
    """

    path: Path
    flash: bytes
    symbols: dict[str, int]


def read_image(path: Path) -> Image:
    """Return the image of an ELF file.

    Raises:
        InputError: If it cannot be read, is no AVR image, or does not fit the flash.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            N_("the image {path} cannot be read: {reason}"),
            path=str(path),
            reason=error.strerror or str(error),
        ) from error
    try:
        return Image(path, _flash(data), _symbols(data))
    except (struct.error, ValueError, IndexError, UnicodeDecodeError) as error:
        raise InputError(
            N_("{path} is no image of the board: give the .elf that make -C firmware writes"),
            path=str(path),
        ) from error


def _header(data: bytes) -> tuple[int, ...]:
    fields = _HEADER.unpack_from(data)
    if not fields[0].startswith(_MAGIC) or fields[2] != _AVR:
        raise ValueError
    return fields[1:]


def _flash(data: bytes) -> bytes:
    fields = _header(data)
    offset, size, count = fields[4], fields[8], fields[9]
    flash = bytearray()
    for index in range(count):
        kind, at, _, address, length, *_ = _SEGMENT.unpack_from(data, offset + index * size)
        if kind != _LOADED or length == 0 or address >= _DATA_SPACE:
            continue
        end = address + length
        if end > FLASH_BYTES or at + length > len(data):
            raise ValueError
        flash.extend(bytes([ERASED]) * (end - len(flash)))
        flash[address:end] = data[at : at + length]
    if not flash:
        raise ValueError
    return bytes(flash)


def _symbols(data: bytes) -> dict[str, int]:
    fields = _header(data)
    offset, size, count = fields[5], fields[10], fields[11]
    sections = [_SECTION.unpack_from(data, offset + index * size) for index in range(count)]
    symbols = {}
    for section in sections:
        kind, at, length, link = section[1], *section[4:7]
        if kind != _SYMBOLS:
            continue
        names = sections[link][4]
        for place in range(at, at + length, _SYMBOL.size):
            name, value, *_ = _SYMBOL.unpack_from(data, place)
            end = data.index(b"\0", names + name)
            symbols[data[names + name : end].decode("ascii")] = value % _DATA_SPACE
    return symbols
