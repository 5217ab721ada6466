"""Frama-C on the safety core: deductive proof of its contracts, and the search for run-time errors.

A machine of 16-bit int throughout, as the controller's. The provers are those of Debian: Frama-C 25
with cvc4, made known to it by `why3 config detect`.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

import pytest

from needs import lacking

HOUSE: Final = Path(__file__).resolve().parent.parent
SOURCES: Final = ("safety", "safety_seal", "safety_time", "safety_ask", "rules")
MACHINE: Final = ("-machdep", "gcc_x86_16")

# Proved with all run-time errors excluded. What the others do at run time is searched by Eva.
WHOLE: Final = (
    "safety_runs_out", "safety_first", "safety_count_over", "safety_judge_trip", "safety_trip",
    "safety_setpoint_most", "core_say", "core_is_testing", "safety_hottest", "safety_reason",
    "after", "core_change", "core_drive_contactor", "core_may_heat", "core_end_heat", "core_trip",
    "core_disarm", "core_settle", "safety_is_intact", "core_close", "rules_start", "rules_arm",
    "rules_set_mould", "rules_charge", "rules_pause", "pass_time", "age",
)  # fmt: skip
# Proved as far as their contracts go.
CONTRACTS: Final = (
    "give_up", "core_open", "safety_end_selftest", "safety_fail_selftest", "safety_set_inputs",
    "finish_selftest", "watch_mirror", "watch_host", "watch_heat", "watch_press", "safety_pass",
    "act", "safety_read", "safety_open_session", "safety_close_session", "safety_take_duty",
    "safety_arm", "safety_disarm", "safety_refuse_arm", "safety_charge", "safety_set_trip",
    "safety_set_mould", "safety_heat", "may_reset", "safety_release_arm", "safety_take_said",
    "safety_confirm_cut", "safety_permits", "safety_holds", "safety_is_silent", "safety_is_hot",
    "safety_alarms", "safety_window_left_s", "safety_presence_left_s", "seconds",
)  # fmt: skip
THEOREMS: Final = ("two_in_a_row", "one_alone", "first_stays", "without_a_hand", "lasts")
# Of these a contract is taken for granted: sum_of reads a structure byte by byte, which is outside
# the proof's model of memory; rules_judge writes but what it is given, which Eva's search covers.
GRANTED: Final = ("sum_of", "rules_judge", "rules_know_mould")


def tools() -> None:
    """Leave a test out where Frama-C and its prover are missing; else let it find them."""
    for tool in ("frama-c", "why3", "cvc4"):
        if shutil.which(tool) is None:
            lacking(f"{tool} is not installed")
    subprocess.run(["why3", "config", "detect"], check=True, capture_output=True)


def copied(to: Path) -> Path:
    """Copy the core and what is said of it to a folder where it may be broken."""
    for name in ("firmware", "tests/proofs"):
        (to / name).mkdir(parents=True)
        for path in (HOUSE / name).glob("*.[ch]"):
            shutil.copy(path, to / name)
    return to


def broken(house: Path, source: str, right: str, wrong: str) -> None:
    """Put a wrong line in a copy's place of the right one."""
    path = house / source
    text = path.read_text(encoding="ascii")
    assert text.count(right) == 1, right
    path.write_text(text.replace(right, wrong), encoding="ascii")


def prove(
    house: Path, functions: tuple[str, ...], *options: str, goal_s: int = 120
) -> tuple[int, int, str]:
    """Return how many goals of some functions are proved, of how many, and what was said."""
    sources = _sources(house, "theorems")
    command = [
        "frama-c",
        *MACHINE,
        "-wp",
        *options,
        "-wp-prover",
        "cvc4",
        "-wp-timeout",
        str(goal_s),
    ]
    said = _run([*command, "-wp-par", "2", "-wp-fct", ",".join(functions), *sources])
    proved = re.search(r"Proved goals:\s+(\d+) / (\d+)", said)
    assert proved is not None, said
    return int(proved[1]), int(proved[2]), said


def search(house: Path) -> tuple[int, int, int, str]:
    """Let Eva run any calls; return alarms, functions reached and there are, what was said."""
    sources = _sources(house, "any_calls")
    said = _run(["frama-c", *MACHINE, "-eva", "-eva-precision", "1", *sources])
    alarms = re.search(r"(\d+) alarms? generated", said)
    reached = re.search(r"(\d+) functions analyzed \(out of (\d+)\)", said)
    assert alarms is not None, said
    assert reached is not None, said
    return int(alarms[1]), int(reached[1]), int(reached[2]), said


def _sources(house: Path, beside: str) -> list[str]:
    """Return the core's sources, and one that speaks of them."""
    return [
        *(str(house / "firmware" / f"{name}.c") for name in SOURCES),
        str(house / "tests" / "proofs" / f"{beside}.c"),
    ]


def _run(command: list[str]) -> str:
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode != 0:
        pytest.fail(done.stdout + done.stderr)
    return done.stdout
