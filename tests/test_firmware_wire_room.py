"""The writer of lines stays within its room, whatever its table has become."""

from __future__ import annotations

from c_core import FIRMWARE, build, defines

BEHIND = 8192
HOST_BOARD = FIRMWARE.parent / "tests" / "host_board"


def test_writer_ends_within_its_room_whatever_its_table_says() -> None:
    """Patterns without an end: no line, and nothing written behind the room."""
    sources = [FIRMWARE / "wire.c", FIRMWARE / "wire_write.c", HOST_BOARD / "endless_table.c"]
    ffi, lib = build(sources, [FIRMWARE / "wire.h"])
    room = defines("wire")["WIRE_FROM_BOARD_MOST"] + 40
    written = ffi.new("uint8_t[]", b"\xa5" * (room + BEHIND))
    line = ffi.new("struct wire_line *")
    line.kind = lib.WIRE_TELE

    assert lib.wire_write(line, written) == 0
    assert bytes(written)[room : room + BEHIND] == b"\xa5" * BEHIND
