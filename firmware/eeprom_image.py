"""Write what a new board's EEPROM holds, as Intel hex for the programmer.

    python eeprom_image.py [--id 16-hex-digits] FILE

No latch, the default trip point, no mould, no start counted, an empty log, and a board's identity,
drawn at random where none is given. Without it a board starts tripped, with its trip point at
60 degC. `record.h` describes the layout.
"""

from __future__ import annotations

import argparse
import re
import secrets
from pathlib import Path

BYTES = 1024
ERASED = 0xFF
AT_LATCH, AT_TRIP, AT_USED, AT_COUNTERS, AT_ID, AT_SLOTS = 1, 5, 11, 15, 29, 48
SLOTS, SLOT_BYTES = 8, 12
TRIP_TENTHS = 2150
IDS = 1 << 64
HEX_ROW = 16


def crc8(data: bytes, start: int = 0) -> int:
    """Return the CRC-8 of polynomial 07, not reflected."""
    crc = start
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ (0x07 if crc & 0x80 else 0)) & 0xFF
    return crc


def copies(address: int, data: bytes) -> bytes:
    """Return both copies of a record that stands at an address."""
    second = bytes([crc8(data, (address + len(data) + 1) & 0xFF), *data])
    return bytes([crc8(data, address & 0xFF), *data]) + bytes(byte ^ 0xFF for byte in second)


def image(board_id: int) -> bytes:
    """Return the whole content for a board of this identity."""
    if not 0 < board_id < IDS - 1:
        raise ValueError(board_id)
    content = bytearray([ERASED]) * BYTES
    high, low = board_id >> 32, board_id & 0xFFFF_FFFF
    for address, data in (
        (AT_LATCH, bytes(1)),
        (AT_TRIP, TRIP_TENTHS.to_bytes(2, "little")),
        (AT_USED, bytes(1)),
        (AT_COUNTERS, bytes(6)),
        (AT_ID, high.to_bytes(4, "little") + low.to_bytes(4, "little")),
        *((AT_SLOTS + 2 * (SLOT_BYTES + 1) * slot, bytes(SLOT_BYTES)) for slot in range(SLOTS)),
    ):
        both = copies(address, data)
        content[address : address + len(both)] = both
    return bytes(content)


def intel_hex(content: bytes) -> str:
    """Return content that begins at address 0 as Intel hex."""
    rows = []
    for address in range(0, len(content), HEX_ROW):
        data = content[address : address + HEX_ROW]
        row = bytes([len(data), *address.to_bytes(2, "big"), 0, *data])
        rows.append(row + bytes([-sum(row) & 0xFF]))
    rows.append(bytes([0, 0, 0, 1, 0xFF]))
    return "".join(f":{row.hex().upper()}\n" for row in rows)


def main() -> None:
    """Write one board's file."""
    parser = argparse.ArgumentParser(description="Write what a new board's EEPROM holds.")
    parser.add_argument("--id", help="16 hexadecimal digits; drawn at random where none is given")
    parser.add_argument("file", type=Path)
    given = parser.parse_args()
    text = given.id or f"{secrets.randbelow(IDS - 2) + 1:016x}"
    if not re.fullmatch("[0-9a-f]{16}", text) or not 0 < int(text, 16) < IDS - 1:
        parser.error(f'--id "{text}": 16 digits of 0-9 and a-f, neither all 0 nor all f')
    given.file.write_text(intel_hex(image(int(text, 16))), encoding="ascii")


if __name__ == "__main__":
    main()
