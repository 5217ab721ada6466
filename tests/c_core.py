"""The board's pure C, built for this machine: what the board decides, within reach of Python."""

from __future__ import annotations

import hashlib
import os
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

FIRMWARE = Path(__file__).resolve().parent.parent / "firmware"
CONTROLLER = ("board_avr", "board_check", "main")  # registers, and what joins them
JOINED = ("lines", "requests", "unit")  # pure too, on top of all others
PURE = tuple(sorted({path.stem for path in FIRMWARE.glob("*.c")}.difference(CONTROLLER, JOINED)))
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
    options = ["-nostdinc", f"-I{folder}", f"-I{FIRMWARE}", "-DIN_FLASH="]
    command = ["gcc", "-E", "-P", *options, str(header)]
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
    """Build some of the pure sources, all where none is named; return cffi's `ffi` and it."""
    sources = [FIRMWARE / f"{name}.c" for name in names or PURE]
    return build(sources, sorted({_header(source) for source in sources}))


def build(sources: list[Path], headers: list[Path]) -> tuple[Any, Any]:
    """Build a library of sources, with what the headers declare; return cffi's `ffi` and it."""
    from cffi import FFI

    library = compiled(sources)
    ffi = FFI()
    stubs = library.parent / "stubs"
    stubs.mkdir(exist_ok=True)
    for header in headers:
        ffi.cdef(declarations(header, stubs))
    return ffi, ffi.dlopen(str(library))


def compiled(sources: list[Path]) -> Path:
    """Compile sources to a library where it is not there yet; return its path.

    It lies in `firmware/build/host`, under a name that its sources and flags give.
    TAWNY_CORE_CC names another compiler, with flags of its own: one that counts what was run.
    """
    compiler = os.environ.get("TAWNY_CORE_CC", "gcc").split()
    texts = [path.read_bytes() for path in (*sources, *sorted(FIRMWARE.glob("*.h")))]
    text = b"".join(texts) + " ".join((*compiler, *FLAGS)).encode()
    folder = FIRMWARE / "build" / "host" / hashlib.sha256(text).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    library = folder / "core.so"
    if not library.exists():
        part = folder / f"core.{os.getpid()}.part"
        command = [*compiler, *FLAGS, f"-I{FIRMWARE}", "-shared", "-fPIC", *map(str, sources)]
        subprocess.run([*command, "-o", str(part)], check=True)
        part.replace(library)
    return library


def _header(source: Path) -> Path:
    """Return the one header of ours that a pure source includes."""
    for line in source.read_text(encoding="ascii").splitlines():
        if line.startswith('#include "'):
            return FIRMWARE / line.split('"')[1]
    raise AssertionError(source)
