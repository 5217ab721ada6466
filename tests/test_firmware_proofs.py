"""The safety core is proved: what its contracts say holds for all inputs, and nothing can fail.

The contracts stand above the functions in firmware/safety*.c; what follows of them over any
number of steps stands in tests/proofs/theorems.c. A proof that cannot fail proves nothing: each
claim is tried on a copy with a wrong line as well.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

from proofs_rig import (
    CONTRACTS,
    GRANTED,
    HOUSE,
    SOURCES,
    THEOREMS,
    WHOLE,
    broken,
    copied,
    prove,
    search,
    tools,
)

RTE = "-wp-rte"  # run-time errors as goals
SHORT_S = 10  # for a goal that will not be proved; enough for each of those that are
WRONG_LINES: Final = (
    (
        "safety_first",
        "safety",
        "latched != SAFETY_NONE ? latched",
        "found != SAFETY_NONE ? found",
    ),
    ("safety_count_over", "safety", "return *over >= 2u;", "return *over >= 1u;"),
    ("safety_count_over", "safety", "if (tenths < trip) {", "if (tenths <= trip) {"),
    ("safety_judge_trip", "safety", "if (wanted > present) {", "if (wanted > present + 1) {"),
    ("safety_judge_trip", "safety", "if (!hand) {", "if (hand) {"),
    ("safety_trip", "safety", "return sound ? trip", "return !sound ? trip"),
    ("safety_setpoint_most", "safety", "return most < SAFETY", "return most > SAFETY"),
    ("safety_runs_out", "safety", "if (*left == 0u) {", "if (*left == 1u) {"),
    ("age", "rules", "*reads != UINT16_MAX) {", "*reads != 0u) {"),
    ("core_trip", "safety", "    core_change(safety, CORE_TRIP);\n", ""),
    ("core_settle", "safety", "reason == SAFETY_WHY_NONE ? CORE_CLEAR", "true ? CORE_CLEAR"),
    (
        "watch_host",
        "safety_time",
        "safety->silent < SAFETY_DISARM_TIME",
        "safety->silent < 61u",
    ),
    ("watch_heat", "safety_time", "|| safety->heat_left == 0u", ""),
    ("safety_set_trip", "safety_ask", "safety->trip = (int16_t)wanted", "safety->trip = 2300"),
    ("safety_release_arm", "safety_ask", "if (asks_reset && ", "if ("),
    ("safety_charge", "safety_ask", "safety->fallen = false", "safety->latch = SAFETY_NONE"),
)


@pytest.fixture(autouse=True)
def _tools(request: pytest.FixtureRequest) -> None:
    if request.node.get_closest_marker("slow"):
        tools()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("functions", "options", "least"),
    [(WHOLE, (RTE,), 400), (CONTRACTS, (), 500), (THEOREMS, (RTE,), 80)],
)
def test_core_keeps_its_contracts(
    functions: tuple[str, ...], options: tuple[str, ...], least: int
) -> None:
    """Every goal is proved: cut-off, latch, reduce-only, timers, silence, expiry, contactor."""
    proved, goals, said = prove(HOUSE, functions, *options)

    assert proved == goals, said
    assert goals >= least


def test_core_has_no_contract_that_is_not_proved() -> None:
    """Every function with a contract is on a list, and only three are taken for granted."""
    with_contract = set()
    for name in SOURCES:
        text = (HOUSE / "firmware" / f"{name}.c").read_text(encoding="ascii")
        with_contract |= set(re.findall(r"\*/\n(?:static )?[\w ]+?\*?(\w+)\(", text)) & set(
            re.findall(r"(?s)/\*@[^/]*?(?:requires|assigns)[^/]*?\*/\n[\w ]*?(\w+)\(", text)
        )

    assert with_contract == set(WHOLE) | set(CONTRACTS) | set(GRANTED)


@pytest.mark.slow
@pytest.mark.parametrize("whole", [True, False])
def test_core_keeps_in_a_short_time_the_contracts_that_are_broken_below(*, whole: bool) -> None:
    """With the right lines and the time given to the wrong ones, nothing is left unproved."""
    functions = {function for function, *_ in WRONG_LINES if (function in WHOLE) is whole}
    options = (RTE,) if whole else ()
    proved, goals, said = prove(HOUSE, tuple(sorted(functions)), *options, goal_s=SHORT_S)

    assert proved == goals, said
    assert goals >= len(functions)


@pytest.mark.slow
@pytest.mark.parametrize(("function", "source", "right", "wrong"), WRONG_LINES)
def test_core_breaks_its_contract_with_a_wrong_line(
    tmp_path: Path, function: str, source: str, right: str, wrong: str
) -> None:
    """One wrong line, and the proof of that function fails."""
    house = copied(tmp_path)
    broken(house, f"firmware/{source}.c", right, wrong)
    options = (RTE,) if function in WHOLE else ()
    proved, goals, said = prove(house, (function,), *options, goal_s=SHORT_S)

    assert proved < goals, said


@pytest.mark.slow
def test_core_cannot_fail_at_run_time() -> None:
    """Any calls in any order: no overflow of 16-bit arithmetic, no index out of bounds."""
    alarms, reached, functions, said = search(HOUSE)

    assert alarms == 0, said
    assert reached == functions > 70


@pytest.mark.slow
@pytest.mark.parametrize(
    ("source", "right", "wrong"),
    [
        ("safety_ask", "if (half >= safety->halves || ", "if ("),
        ("rules", "if (watch->next >= RULES_SPAN) {", "if (watch->next > RULES_SPAN) {"),
        ("rules", "int16_t apart = (int16_t)(upper - lower);", "int16_t apart = upper * 4;"),
    ],
)
def test_core_could_fail_at_run_time_with_a_wrong_line(
    tmp_path: Path, source: str, right: str, wrong: str
) -> None:
    """An index that is not checked, one that goes too far, a product that is too large: found."""
    house = copied(tmp_path)
    broken(house, f"firmware/{source}.c", right, wrong)
    alarms, *_, said = search(house)

    assert alarms > 0, said
