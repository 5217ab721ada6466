"""How far the tests of the safety core reach into it: branches and MC/DC, as compiled C.

In the folder `tests`: `python -m campaigns.mcdc`. Needs clang-19 and llvm-19. Prints the report of
llvm-cov and what was missed; ends with 1 if that is anything without a reason in REASONS.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from telling import say

TESTS: Final = Path(__file__).resolve().parent.parent
COMPILER: Final = "clang-19 -fprofile-instr-generate -fcoverage-mapping -fcoverage-mcdc"
TOOLS: Final = ("clang-19", "llvm-profdata-19", "llvm-cov-19")
MODULES: Final = (
    "test_firmware_rules",
    "test_firmware_rules_rise",
    "test_firmware_safety",
    "test_firmware_safety_hand",
    "test_firmware_safety_limits",
    "test_firmware_safety_memory",
)
OPTIONS: Final = ("-q", "-m", "not slow", "-p", "no:cacheprovider", "--hypothesis-seed=0")
# Why something cannot be reached: "file: text of its line" and the reason. Nothing is unreached.
REASONS: Final[dict[str, str]] = {}

_COMPILE: Final = (
    "from c_core import FIRMWARE, compiled; from safety_core import SOURCES;"
    "print(compiled([FIRMWARE / f'{name}.c' for name in SOURCES]))"
)


def run(folder: Path) -> tuple[str, Path]:
    """Run the tests on a core that counts; return what pytest said and the library."""
    environment = os.environ | {
        "TAWNY_CORE_CC": COMPILER,
        "LLVM_PROFILE_FILE": str(folder / "%p-%m.profraw"),
        "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent / "host")]),
    }
    modules = [str(TESTS / f"{name}.py") for name in MODULES]
    said = subprocess.run(
        [sys.executable, "-m", "pytest", *OPTIONS, *modules],
        cwd=TESTS.parent,
        env=environment,
        check=False,
        capture_output=True,
        text=True,
    )
    if said.returncode != 0:
        raise SystemExit(said.stdout + said.stderr)
    library = subprocess.run(
        [sys.executable, "-c", _COMPILE],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    raw = [str(path) for path in folder.glob("*.profraw")]
    merged = str(folder / "all.profdata")
    subprocess.run(["llvm-profdata-19", "merge", "-o", merged, *raw], check=True)
    return said.stdout.splitlines()[-1], Path(library.stdout.strip())


def cov(command: str, library: Path, folder: Path, *options: str) -> str:
    """Return what llvm-cov says of a run."""
    profile = f"-instr-profile={folder / 'all.profdata'}"
    return subprocess.run(
        ["llvm-cov-19", command, str(library), profile, *options],
        check=True,
        capture_output=True,
        text=True,
    ).stdout


def missed(exported: str) -> tuple[int, int, list[str]]:
    """Return how many branch outcomes and conditions there are, and what was missed, by line."""
    outcomes = conditions = 0
    found = []
    for file in json.loads(exported)["data"][0]["files"]:
        path = Path(file["filename"])
        lines = path.read_text(encoding="ascii").splitlines()
        if path.suffix != ".c":
            continue

        def name(record: list[Any], path: Path = path, lines: list[str] = lines) -> str:
            return f"{path.name}: {lines[record[0] - 1].strip()}"

        for record in file["branches"]:
            outcomes += 2
            found += [f"{name(record)} ({way} branch)" for way in _never(record)]
        for record in file["mcdc_records"]:
            shown = record[-1]
            conditions += len(shown)
            found += [
                f"{name(record)} (condition {at + 1})" for at, done in enumerate(shown) if not done
            ]
    return outcomes, conditions, found


def _never(record: list[int]) -> list[str]:
    """Return which ways a branch never went: positions 4 and 5 count them."""
    return [way for way, count in (("true", record[4]), ("false", record[5])) if count == 0]


def main() -> int:
    """Measure, print, judge."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        said, library = run(folder)
        report = cov("report", library, folder, "--show-mcdc-summary", "--show-branch-summary")
        outcomes, conditions, misses = missed(cov("export", library, folder, "-format=text"))
    say(report)
    say(f"pytest: {said}")
    say(f"{outcomes} branch outcomes, {conditions} conditions; missed: {len(misses)}")
    for miss in misses:
        say(f"  {miss}: {REASONS.get(_line_of(miss), 'no reason is known')}")
    return 1 if any(_line_of(miss) not in REASONS for miss in misses) else 0


def _line_of(miss: str) -> str:
    return miss.rsplit(" (", 1)[0]


if __name__ == "__main__":
    sys.exit(main())
