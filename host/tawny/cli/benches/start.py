"""How long `tawny --help` takes, against an interpreter that does nothing."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import time
from pathlib import Path
from typing import TYPE_CHECKING

from tawny.cli.benches.measured import Measured
from tawny.errors import N_, InputError
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

MOST = 5.0
# What no light command may load: each costs more than all of the help.
HEAVY = frozenset(
    {"apsw", "babel", "matplotlib", "msgspec", "numpy", "pint", "rich", "scipy", "serial",
     "simple_pid", "textual", "tomlkit"}
)  # fmt: skip
NOTHING = (sys.executable, "-c", "pass")


def measure(*, short: bool) -> Iterator[Measured]:
    """Start both in turn and compare the quickest of each."""
    help_command = (sys.executable, str(script()), "--help")
    help_s, bare_s = quickest_s((help_command, NOTHING), times=10 if short else 30)
    yield Measured(
        bench="start",
        compares=_("`tawny --help` against an interpreter that does nothing, the quickest of each"),
        ratio=help_s / bare_s,
        limit=MOST,
        figures={"help_s": help_s, "interpreter_s": bare_s},
    )
    loaded = modules((sys.executable, "-X", "importtime", str(script()), "--help"))
    heavy = sorted(HEAVY & {name.partition(".")[0] for name in loaded})
    yield Measured(
        bench="start",
        compares=_("heavy libraries loaded for `tawny --help`"),
        ratio=float(len(heavy)),
        limit=0.0,
        figures={"modules": len(loaded), "heavy": ", ".join(heavy)},
    )


def script() -> Path:
    """Return the console script that belongs to this interpreter.

    Raises:
        InputError: If there is none.
    """
    path = Path(sysconfig.get_path("scripts"), "tawny")
    if not path.is_file():
        raise InputError(
            N_("{path} is missing: install the package, then measure its start"), path=path
        )
    return path


def quickest_s(commands: Sequence[Sequence[str]], *, times: int) -> list[float]:
    """Run commands in turn, once to warm their compiled files, and return the quickest of each."""
    spans: list[list[float]] = [[] for _command in commands]
    for turn in range(times + 1):
        for span, command in zip(spans, commands, strict=True):
            begin_s = time.perf_counter()
            run(command)
            if turn:
                span.append(time.perf_counter() - begin_s)
    return [min(span) for span in spans]


def run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Run a command of ours with compiled files kept; what it prints is caught.

    Raises:
        InputError: With the last line it said, if it failed.
    """
    environ = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(  # noqa: S603 - our own program, started as a user starts it
        command, env=environ, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise InputError(
            N_("`{command}` ended with {code}: {said}"),
            command=" ".join(command),
            code=done.returncode,
            said=(done.stderr.strip().splitlines() or [""])[-1],
        )
    return done


def modules(command: Sequence[str]) -> set[str]:
    """Return the modules that a command loaded, run with `-X importtime`."""
    lines = run(command).stderr.splitlines()
    return {line.rpartition("|")[2].strip() for line in lines if line.startswith("import time:")}
