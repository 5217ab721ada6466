"""The tests of the safety core reach every branch and every condition of it."""

from __future__ import annotations

import json
import shutil

import pytest

from c_core import FIRMWARE
from campaigns import mcdc
from needs import lacking


@pytest.mark.slow
def test_core_is_reached_in_every_branch_and_condition(capsys: pytest.CaptureFixture[str]) -> None:
    """Branches and MC/DC of rules.c and safety*.c are whole, or each gap has its reason."""
    for tool in mcdc.TOOLS:
        if shutil.which(tool) is None:
            lacking(f"{tool} is not installed (Debian packages clang-19 and llvm-19)")
    assert mcdc.main() == 0, capsys.readouterr().out
    counted = capsys.readouterr().out.splitlines()[-1]
    outcomes, conditions, _ = (int(word) for word in counted.split() if word.isdigit())
    assert outcomes > 400
    assert conditions > 100


def test_mcdc_names_what_was_missed() -> None:
    """A branch never taken one way, and a condition never shown, are found by their line."""
    source = FIRMWARE / "safety.c"
    record = {
        "filename": str(source),
        "branches": [[1, 1, 1, 9, 5, 0, 0, 0, 4]],
        "mcdc_records": [[1, 1, 1, 9, 0, 5, [True, False]]],
    }
    found = mcdc.missed(json.dumps({"data": [{"files": [record]}]}))

    assert found == (
        2,
        2,
        ['safety.c: #include "core.h" (false branch)', 'safety.c: #include "core.h" (condition 2)'],
    )
