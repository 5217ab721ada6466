"""The board's pure C, built for this machine: what the board decides, within reach of Python."""

from __future__ import annotations

import hashlib
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

FIRMWARE = Path(__file__).resolve().parent.parent / "firmware"
PURE = (
    "buttons", "memory", "output", "rules", "safety", "safety_ask", "safety_time", "sense",
    "session", "signals", "wire", "wire_table", "wire_write",
)  # fmt: skip
WARNINGS = (
    "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wswitch-enum", "-Wmissing-prototypes",
    "-Wshadow", "-Werror",
)  # fmt: skip
FLAGS = ("-std=c11", "-DIN_FLASH=", "-O1", "-g", *WARNINGS)

_EMPTY_HEADERS = ("stdbool.h", "stdint.h", "stddef.h")  # cffi knows their names by itself


def declarations(header: Path, folder: Path) -> str:
    """Return what a header declares, preprocessed, without the standard headers."""
    for name in _EMPTY_HEADERS:
        (folder / name).write_text("", encoding="ascii")
    command = ["gcc", "-E", "-P", "-nostdinc", f"-I{folder}", "-DIN_FLASH=", str(header)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def defines(*names: str) -> dict[str, int]:
    """Return the plain integer macros of headers: `defines("safety")["SAFETY_PASS_MS"]`."""
    found = {}
    for name in names:
        for line in (FIRMWARE / f"{name}.h").read_text(encoding="ascii").splitlines():
            words = line.split()
            if line.startswith("#define") and len(words) > 2:
                try:
                    found[words[1]] = int(words[2].rstrip("uUlL"), 0)
                except ValueError:
                    continue
    return found


@cache
def core(*names: str) -> tuple[Any, Any]:
    """Build some of the pure sources, all where none is named; return cffi's `ffi` and the library.

    The library lies in `firmware/build/host`, under a name that its sources and flags give.
    """
    from cffi import FFI

    wanted = names or PURE
    sources = [FIRMWARE / f"{name}.c" for name in wanted]
    headers = sorted({_header(source) for source in sources})
    text = b"".join(path.read_bytes() for path in (*sources, *headers)) + " ".join(FLAGS).encode()
    folder = FIRMWARE / "build" / "host" / hashlib.sha256(text).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    library = folder / "core.so"
    if not library.exists():
        part = folder / f"core.{id(folder)}.part"
        command = ["gcc", *FLAGS, "-shared", "-fPIC", *map(str, sources), "-o", str(part)]
        subprocess.run(command, check=True)
        part.replace(library)
    ffi = FFI()
    stubs = folder / "stubs"
    stubs.mkdir(exist_ok=True)
    for header in headers:
        ffi.cdef(declarations(header, stubs))
    return ffi, ffi.dlopen(str(library))


def _header(source: Path) -> Path:
    """Return the one header of ours that a pure source includes."""
    for line in source.read_text(encoding="ascii").splitlines():
        if line.startswith('#include "'):
            return FIRMWARE / line.split('"')[1]
    raise AssertionError(source)
