"""Wrong lines planted in a copy of the house, to see that the tests notice.

`mutants.toml` holds the lines. A mutant counts as caught only if it compiles, and if the test that
is named for it fails; that the same test passes on the right line is for `unbroken` to show.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import msgspec

from c_core import CONTROLLER, FIRMWARE, FLAGS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

HOUSE: Final = FIRMWARE.parent
TABLE: Final = HOUSE / "tests" / "mutants.toml"
PARTS: Final = ("firmware", "hardware", "host", "tests")
LEFT_OUT: Final = shutil.ignore_patterns("build", "__pycache__", ".hypothesis")
FAILED: Final = 1  # pytest's code where tests ran and some failed


class Mutant(msgspec.Struct, frozen=True):
    """One wrong line.

    Attributes:
        source: File of `firmware`.
        right: What stands there once.
        wrong: What is put in its place.
        test: Where that is caught, in pytest's way to name a test of `tests`.
    """

    source: str
    right: str
    wrong: str
    test: str


def mutants() -> list[Mutant]:
    """Return all of the table."""
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["mutant"]
    return msgspec.convert(rows, list[Mutant])


@contextmanager
def copied() -> Iterator[Path]:
    """Give a copy of the house, for as long as it is needed."""
    with tempfile.TemporaryDirectory(prefix="mutant-") as folder:
        copy = Path(folder)
        for part in PARTS:
            shutil.copytree(HOUSE / part, copy / part, ignore=LEFT_OUT)
        shutil.copy(HOUSE / "pyproject.toml", copy)
        yield copy


def plant(copy: Path, mutant: Mutant) -> None:
    """Put the wrong line into a copy; it must compile."""
    path = copy / "firmware" / mutant.source
    text = path.read_text(encoding="ascii")
    assert text.count(mutant.right) == 1, (mutant.source, mutant.right)
    path.write_text(text.replace(mutant.right, mutant.wrong), encoding="ascii")
    if path.stem in CONTROLLER:
        command = ["make", "-s", "-C", str(copy / "firmware"), "BUILD=build/mutant"]
    else:
        command = ["gcc", *FLAGS, "-fsyntax-only", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (mutant, done.stderr)


def run(copy: Path, tests: Iterable[str]) -> tuple[int, str]:
    """Run tests of a copy; return pytest's code and what it said."""
    options = ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", "--hypothesis-seed=0"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options, *(f"tests/{test}" for test in tests)],
        cwd=copy,
        env=os.environ | {"PYTHONPATH": str(copy / "host")},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def is_caught(mutant: Mutant) -> tuple[bool, str]:
    """Plant a mutant and run its test; return whether that failed, and what was said."""
    with copied() as copy:
        plant(copy, mutant)
        code, said = run(copy, [mutant.test])
    return code == FAILED, said


def unbroken(tests: Iterable[str]) -> tuple[bool, str]:
    """Run tests on the right lines, one module after another; return whether all pass."""
    modules: dict[str, list[str]] = {}
    for test in dict.fromkeys(tests):
        modules.setdefault(test.split("::")[0], []).append(test)
    with copied() as copy:
        told = [run(copy, found) for found in modules.values()]
    return all(code == 0 for code, _ in told), "\n".join(said for code, said in told if code)
