"""Wrong lines of the firmware are noticed; `campaigns/mutants.py` plants all of them."""

from __future__ import annotations

import ast
from collections import Counter
from functools import cache

import pytest

from mutants import HOUSE, Mutant, is_caught, mutants, unbroken

LEAST = 30
# One of each kind of source: core, rules, output, lasting memory, line, whole board, main.
SAMPLE = [mutants()[at] for at in (1, 26, 38, 48, 60, 69, 76, 91)]


@cache
def names_in(module: str) -> frozenset[str]:
    """Return the names of functions of a module of tests and of what it imports them from."""
    tree = ast.parse((HOUSE / "tests" / module).read_text(encoding="utf-8"))
    found = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("contract_"):
            found |= names_in(f"{node.module}.py")
    return frozenset(found)


def test_mutants_are_enough_and_none_comes_twice() -> None:
    """At least 30, in every source that decides anything."""
    counts = Counter((one.source, one.right, one.wrong) for one in mutants())

    assert len(counts) >= LEAST
    assert set(counts.values()) == {1}
    assert {source for source, *_ in counts} >= {
        "safety.c", "safety_time.c", "safety_ask.c", "safety_seal.c", "rules.c", "output.c",
        "memory.c", "record.c", "session.c", "buttons.c", "sense.c", "wire.c", "requests.c",
        "unit.c", "board_avr.c", "board_check.c", "main.c",
    }  # fmt: skip


@pytest.mark.parametrize("mutant", mutants(), ids=lambda one: f"{one.source}:{one.right.strip()}")
def test_mutant_has_its_line_and_its_test(mutant: Mutant) -> None:
    """The right line stands once in its source, the wrong one differs, and the test is there."""
    text = (HOUSE / "firmware" / mutant.source).read_text(encoding="ascii")
    module, *_, name = mutant.test.split("::")

    assert text.count(mutant.right) == 1
    assert mutant.wrong != mutant.right
    assert name in names_in(module)


@pytest.mark.slow
@pytest.mark.parametrize("mutant", SAMPLE, ids=lambda one: f"{one.source}:{one.right.strip()}")
def test_mutant_is_caught(mutant: Mutant) -> None:
    """Its test passes on the right line and fails on the wrong one."""
    assert unbroken([mutant.test]) == (True, "")
    caught, said = is_caught(mutant)
    assert caught, said
