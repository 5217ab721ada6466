#!/usr/bin/env python3
"""Hold an image against its limits: flash, RAM and the deepest stack.

    size.py build/tawny.elf

The stack is bounded from the machine code: what each function pushes and reserves, plus the
deepest of those it calls, plus the deepest interrupt, which never nest. A cycle of calls is
refused.
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

from stamp import symbols

FLASH_BYTES, RAM_BYTES = 32768, 2048
RAM_SHARE, STACK_SHARE = 0.50, 0.75
FLASH_SHARE = 0.75  # the build fails above it
FLASH_GOAL = 0.50  # not reached: see README.md, "Size"
RAM_START = 0x80_0100
CALL_BYTES = 2  # of a return address
SAVED_REGISTERS = 18  # that the compiler's common prologue pushes, from its first entry
NEGATIVE = 0x8000
BY_POINTER = "board_eeprom_peek"  # the only function that is called through a pointer

_FUNCTION = re.compile(r"^[0-9a-f]+ <([^>]+)>:$")
_CODE = re.compile(r"^\s*[0-9a-f]+:\t(?:[0-9a-f]{2} )+\s*\t(\S+)\s*([^;]*)(?:;\s*(.*))?$")
_TARGET = re.compile(r"<([^>+]+)(?:\+0x([0-9a-f]+))?>")


@dataclass
class Function:
    """What one function does to the stack, read one instruction at a time.

    Attributes:
        own: Bytes that it pushes and reserves.
        frame: What the frame pointer is moved by, until the stack pointer follows.
    """

    name: str
    own: int = 0
    frame: int = 0
    calls: set[str] = field(default_factory=set)
    jumps: set[str] = field(default_factory=set)
    loaded: dict[str, int] = field(default_factory=dict)

    def take(self, what: str, operands: list[str], target: re.Match[str] | None) -> None:
        """Take the next instruction."""
        if what == "push":
            self.own += 1
        elif what == "ldi":
            self.loaded[operands[0]] = int(operands[1], 16)
        elif what == "icall":
            self.calls.add(BY_POINTER)
        elif what in {"call", "rcall"}:
            self._call(operands, target)
        elif what in {"jmp", "rjmp"}:
            self._jump(target)
        else:
            self._move_frame(what, operands)

    def _call(self, operands: list[str], target: re.Match[str] | None) -> None:
        if target:
            self.calls.add(target[1])
        elif operands[0] == ".+0":
            self.own += CALL_BYTES  # room for two bytes, the short way

    def _jump(self, target: re.Match[str] | None) -> None:
        if not target or target[1] == self.name or target[1].startswith("__epilogue"):
            return
        if target[1] == "__prologue_saves__":
            skipped = int(target[2] or "0", 16) // 2
            frame = self.loaded.get("r27", 0) << 8 | self.loaded.get("r26", 0)
            self.own += SAVED_REGISTERS - skipped + frame
        else:
            self.jumps.add(target[1])

    def _move_frame(self, what: str, operands: list[str]) -> None:
        if what in {"sbiw", "subi"} and operands[0] == "r28":
            self.frame = int(operands[1], 0)
        elif what == "sbci" and operands[0] == "r29":
            self.frame |= int(operands[1], 0) << 8
        elif what == "out" and operands[0] == "0x3d":  # the stack pointer is set to it
            if self.frame < NEGATIVE:  # the other sign gives room back
                self.own += self.frame
            self.frame = 0


def functions(elf: Path) -> dict[str, Function]:
    """Read every function's use of the stack from the machine code."""
    command = ["avr-objdump", "-d", "-j", ".text", str(elf)]
    listing = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found: dict[str, Function] = {}
    now = Function("")
    for line in listing.splitlines():
        if begin := _FUNCTION.match(line):
            now = found.setdefault(begin[1], Function(begin[1]))
        elif code := _CODE.match(line):
            operands = [operand.strip() for operand in code[2].split(",")]
            now.take(code[1], operands, _TARGET.search(code[3] or ""))
    return found


def depth(found: dict[str, Function], name: str, above: tuple[str, ...] = ()) -> int:
    """Return the most bytes that a function and all it calls can have on the stack.

    Raises:
        ValueError: If it can call itself.
    """
    if name in above:
        raise ValueError("recursion: " + " > ".join((*above, name)))
    function = found.get(name, Function(name))
    path = (*above, name)
    called = [CALL_BYTES + depth(found, callee, path) for callee in sorted(function.calls)]
    jumped = [depth(found, callee, path) for callee in sorted(function.jumps)]
    return function.own + max([*called, *jumped, 0])


def measure(elf: Path) -> dict[str, int]:
    """Return bytes of flash, static RAM, deepest stack and the room it has."""
    names = symbols(elf)
    found = functions(elf)
    interrupts = [depth(found, name) for name in found if name.startswith("__vector_")]
    static = names["__heap_start"] - RAM_START
    return {
        "flash": names["__data_load_end"],
        "ram": static,
        "stack": CALL_BYTES + depth(found, "main") + CALL_BYTES + max(interrupts),
        "room": RAM_BYTES - static,
    }


def main() -> int:
    """Print the figures; return 1 if one is past its limit."""
    figures = measure(Path(sys.argv[1]))
    rows = (
        ("flash", figures["flash"], FLASH_BYTES, FLASH_SHARE),
        ("RAM", figures["ram"], RAM_BYTES, RAM_SHARE),
        ("stack", figures["stack"], figures["room"], STACK_SHARE),
    )
    failed = False
    for what, used, room, share in rows:
        over = used > share * room
        failed = failed or over
        print(
            f"{what:6}{used:7} of {room:6} bytes {used / room:7.1%}, limit {share:.0%}"
            + ("  TOO MUCH" if over else "")
        )
    beyond = figures["flash"] - round(FLASH_GOAL * FLASH_BYTES)
    if beyond > 0:
        print(f"flash is {beyond} bytes past its goal of {FLASH_GOAL:.0%}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
