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
_ARCHITECTURE: Final = 0x7F  # of e_flags
_BOARDS: Final = "atmega328p"
_BOARDS_ARCHITECTURE: Final = 5
_LOADED: Final = 1  # PT_LOAD
_SYMBOLS: Final = 2  # SHT_SYMTAB
_NOTES: Final = 7  # SHT_NOTE
# A note that the C library (avr-libc 2.0.0 of Debian) puts into every program: begin and size of
# three memories, then a table: its own size, and where in the words behind it the name stands.
_DEVICE_NOTE: Final = struct.Struct("<III4s6III")
_DEVICE_TABLE: Final = _DEVICE_NOTE.size - 8
_DEVICE: Final = (4, 1, b"AVR\0")  # length of the owner's name, kind, owner
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
        InputError: If it cannot be read, is no AVR image or another controller's, or does not fit
            the flash.
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
        controller = _controller(data)
        if controller == _BOARDS:
            return Image(path, _flash(data), _symbols(data))
    except (struct.error, ValueError, IndexError, UnicodeDecodeError) as error:
        raise InputError(
            N_("{path} is no image of the board: give the .elf that make -C firmware writes"),
            path=str(path),
        ) from error
    raise InputError(
        N_(
            "{path} is built for the controller {found}, the board has {wanted}: "
            "give the .elf that make -C firmware writes"
        ),
        path=str(path),
        found=controller,
        wanted=_BOARDS,
    )


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


def _sections(data: bytes) -> list[tuple[int, ...]]:
    fields = _header(data)
    offset, size, count = fields[5], fields[10], fields[11]
    return [_SECTION.unpack_from(data, offset + index * size) for index in range(count)]


def _controller(data: bytes) -> str:
    """Return the controller that an image is built for, or its architecture if that is all."""
    for section in _sections(data):
        if section[1] != _NOTES:
            continue
        length, _, kind, owner, *_, table, name = _DEVICE_NOTE.unpack_from(data, section[4])
        if (length, kind, owner) == _DEVICE:
            begin = section[4] + _DEVICE_TABLE + table + name
            return data[begin : data.index(b"\0", begin)].decode("ascii")
    architecture = _header(data)[6] & _ARCHITECTURE
    return _BOARDS if architecture == _BOARDS_ARCHITECTURE else f"avr{architecture}"


def _symbols(data: bytes) -> dict[str, int]:
    sections = _sections(data)
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
