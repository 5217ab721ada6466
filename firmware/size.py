#!/usr/bin/env python3
"""Hold an image against its limits: flash, RAM and the deepest stack.

    size.py build/tawny.elf

The stack is bounded from the machine code: what each function pushes and reserves, plus the deepest
of those it calls, plus the deepest interrupt, which never nest. A cycle of calls is refused.
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

FLASH_BYTES, RAM_BYTES, EEPROM_BYTES = 32768, 2048, 1024
RAM_SHARE, STACK_SHARE = 0.50, 0.75
FLASH_SHARE = 0.75  # the build fails above it
FLASH_GOAL = 0.50  # not reached: see README.md, "Size"
RAM_START = 0x100
NEGATIVE = 0x8000

_FUNCTION = re.compile(r"^[0-9a-f]+ <([^>]+)>:$")
_CODE = re.compile(r"^\s*[0-9a-f]+:\t(?:[0-9a-f]{2} )+\s*\t(\S+)\s*([^;]*)(?:;\s*(.*))?$")
_TARGET = re.compile(r"<([^>+]+)(?:\+0x([0-9a-f]+))?>")
_LDI = re.compile(r"r(\d+), 0x([0-9A-F]+)", re.IGNORECASE)


@dataclass
class Function:
    """What one function does to the stack."""

    own: int = 0
    calls: set[str] = field(default_factory=set)
    jumps: set[str] = field(default_factory=set)


def _run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def symbols(elf: Path) -> dict[str, int]:
    """Return every symbol's address."""
    lines = (line.split() for line in _run("avr-nm", str(elf)).splitlines())
    return {words[2]: int(words[0], 16) for words in lines if len(words) == 3}


def functions(elf: Path, called_by_pointer: str) -> dict[str, Function]:
    """Read every function's use of the stack from the machine code."""
    found: dict[str, Function] = {}
    now = Function()
    name = ""
    loaded: dict[int, int] = {}
    taken = 0
    for line in _run("avr-objdump", "-d", "-j", ".text", str(elf)).splitlines():
        if begin := _FUNCTION.match(line):
            name = begin[1]
            now = found.setdefault(name, Function())
            loaded, taken = {}, 0
            continue
        code = _CODE.match(line)
        if not code:
            continue
        what, operands, note = code[1], code[2].strip(), code[3] or ""
        target = _TARGET.search(note)
        if what == "push":
            now.own += 1
        elif what == "ldi" and (value := _LDI.match(operands)):
            loaded[int(value[1])] = int(value[2], 16)
        elif what == "sbiw" and operands.startswith("r28,"):
            taken = int(operands.split(",")[1], 0)
        elif what == "subi" and operands.startswith("r28,"):
            taken = int(operands.split(",")[1], 0)
        elif what == "sbci" and operands.startswith("r29,"):
            taken |= int(operands.split(",")[1], 0) << 8
        elif what == "out" and operands.startswith("0x3d,"):  # the stack pointer is set to it
            now.own += taken if taken < NEGATIVE else 0  # the other sign gives room back
            taken = 0
        elif what == "rcall" and operands == ".+0":
            now.own += 2  # room for two bytes, the short way
        elif what in {"call", "rcall"} and target:
            now.calls.add(target[1])
        elif what == "icall":
            now.calls.add(called_by_pointer)
        elif what in {"jmp", "rjmp"} and target and target[1] != name:
            if target[1] == "__prologue_saves__":
                now.own += 18 - int(target[2] or "0", 16) // 2
                now.own += loaded.get(27, 0) << 8 | loaded.get(26, 0)
            elif not target[1].startswith("__epilogue"):
                now.jumps.add(target[1])
    return found


def depth(found: dict[str, Function], name: str, above: tuple[str, ...] = ()) -> int:
    """Return the most bytes that a function and all it calls can have on the stack.

    Raises:
        ValueError: If it can call itself.
    """
    if name in above:
        raise ValueError("recursion: " + " > ".join((*above, name)))
    function = found.get(name, Function())
    path = (*above, name)
    called = [2 + depth(found, callee, path) for callee in sorted(function.calls)]
    jumped = [depth(found, callee, path) for callee in sorted(function.jumps)]
    return function.own + max([*called, *jumped, 0])


def measure(elf: Path) -> dict[str, int]:
    """Return bytes of flash, static RAM, deepest stack and the room it has."""
    names = symbols(elf)
    found = functions(elf, "board_eeprom_peek")
    interrupts = [depth(found, name) for name in found if name.startswith("__vector_")]
    static = names["__heap_start"] - 0x800000 - RAM_START
    return {
        "flash": names["__data_load_end"],
        "ram": static,
        "stack": 2 + depth(found, "main") + 2 + max(interrupts),
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
