"""Every requirement on the board leads to code and to a test that exist."""

from __future__ import annotations

import ast
import re
from functools import cache

import pytest

from c_core import FIRMWARE

HOUSE = FIRMWARE.parent
TABLE = FIRMWARE / "requirements.md"
ROW = re.compile(r"^\| (SR-\d+) \| (.+?) \| (.+?) \| (.+?) \|$")
NUMBERS = [f"SR-{number}" for number in range(1, 37)]
CODE = re.compile(r"`([\w./]+\.(?:c|h|py|S|csv|md|cir))(?: ([\w ]+))?`")
TEST = re.compile(r"`(test_\w+\.py|contract_\w+\.py)(?: (\w+))?`")


def rows() -> dict[str, tuple[str, str, str]]:
    """Return what the table says of each requirement: what it asks, code, tests."""
    found = {}
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        if row := ROW.match(line):
            assert row[1] not in found, row[1]
            found[row[1]] = (row[2], row[3], row[4])
    return found


@cache
def names_in(path: str) -> frozenset[str]:
    """Return the functions and methods of a Python file."""
    tree = ast.parse((HOUSE / path).read_text(encoding="utf-8"))
    return frozenset(
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
    )


def test_trace_has_every_requirement_once() -> None:
    """SR-1 to SR-36, in order, none twice."""
    assert list(rows()) == NUMBERS


@pytest.mark.parametrize("number", NUMBERS)
def test_trace_leads_to_code_that_exists(number: str) -> None:
    """Each file is there, and each name stands in it."""
    _, code, _ = rows()[number]
    places = CODE.findall(code)
    assert places, code
    for path, words in places:
        assert (HOUSE / path).is_file(), path
        text = (HOUSE / path).read_text(encoding="utf-8")
        for word in words.split():
            assert re.search(rf"\b{word}\b", text), (path, word)


@pytest.mark.parametrize("number", NUMBERS)
def test_trace_leads_to_tests_that_exist(number: str) -> None:
    """Each module is there, and each test in it."""
    _, _, tests = rows()[number]
    places = TEST.findall(tests)
    assert places, tests
    for path, name in places:
        assert (HOUSE / "tests" / path).is_file(), path
        if name:
            assert name in names_in(f"tests/{path}"), (path, name)
