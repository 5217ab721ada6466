"""The table of phases: closed over, one way out when heat is gone, one writer."""

from __future__ import annotations

import ast
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tawny.core
from core_events import HEATED as HEATED_BY_NAME
from core_events import IN_HAND
from tawny.core.names import Phase
from tawny.core.phases import (
    CLOSED,
    FULL_RATE,
    HEATED,
    OPEN_AT_WORK,
    PRESSING,
    TABLE,
    Trigger,
    enter,
)
from tawny.core.state import CycleState

TAPS = {
    Trigger.TAP,
    Trigger.TO_CLEAN,
    Trigger.TO_OIL,
    Trigger.TO_FILL,
    Trigger.NO_BREATHS,
}


def test_phases_are_all_reached_from_idle() -> None:
    """No phase stands in the table for nothing."""
    reached, todo = {Phase.IDLE}, [Phase.IDLE]
    while todo:
        phase = todo.pop()
        for (before, _trigger), after in TABLE.items():
            if before is phase and after not in reached:
                reached.add(after)
                todo.append(after)
    assert reached == set(Phase)


def test_phases_use_every_trigger() -> None:
    """No trigger stands for nothing."""
    assert {trigger for _phase, trigger in TABLE} == set(Trigger)


@pytest.mark.parametrize("phase", Phase)
def test_phases_cool_when_heat_is_gone(phase: Phase) -> None:
    """From each heated phase lost heat leads to cool; idle and cool stay."""
    after = enter(CycleState(phase=phase, heat_wanted=phase in HEATED), Trigger.HEAT_GONE)
    assert after.phase is (Phase.COOL if phase in HEATED else phase)
    assert not after.heat_wanted


@pytest.mark.parametrize(("phase", "trigger"), list(product(Phase, Trigger)))
def test_phases_stay_where_a_pair_is_absent(phase: Phase, trigger: Trigger) -> None:
    """An absent pair changes nothing at all; a present one leads where the table says."""
    before = CycleState(phase=phase, since_ms=5, clock_ms=99, confirmed=True)
    after = enter(before, trigger)
    if (phase, trigger) in TABLE:
        assert after.phase is TABLE[phase, trigger]
        assert after.since_ms == 99
    else:
        assert after is before


def test_phases_let_no_tap_end_a_hold() -> None:
    """Out of hold lead dose, scrap and lost heat: nothing that a tap can be."""
    out = {trigger for phase, trigger in TABLE if phase is Phase.HOLD}
    assert out == {Trigger.DOSE, Trigger.SCRAP, Trigger.HEAT_GONE}
    assert not out & TAPS


def test_phases_let_nothing_but_release_follow_a_hold() -> None:
    """A closed mould is let down before it is opened, also when the pressing is scrapped."""
    for (phase, trigger), after in TABLE.items():
        if phase in (Phase.CLOSE, Phase.BREATHE, Phase.HOLD) and trigger is not Trigger.HEAT_GONE:
            assert after in {Phase.BREATHE, Phase.HOLD, Phase.RELEASE}
        if after is Phase.OPEN:
            assert phase is Phase.RELEASE


def test_phases_heat_only_by_a_start() -> None:
    """Heat begins in idle or cool with a start, and with nothing else."""
    for (phase, trigger), after in TABLE.items():
        if phase not in HEATED and after in HEATED:
            assert trigger is Trigger.START


def test_phases_are_grouped_as_their_names_say() -> None:
    """The groups are what their comments say, written out here a second time."""
    assert set(IN_HAND) == PRESSING
    assert set(HEATED_BY_NAME) == HEATED
    assert CLOSED < PRESSING < HEATED
    assert not CLOSED & OPEN_AT_WORK
    assert PRESSING | {Phase.CLEAN, Phase.OIL} == CLOSED | OPEN_AT_WORK
    assert {Phase.READY, Phase.CLEAN, Phase.OIL, Phase.PAUSED} == HEATED - FULL_RATE


@given(st.lists(st.sampled_from(Trigger), max_size=60))
def test_phases_want_heat_exactly_when_heated(triggers: list[Trigger]) -> None:
    """No history leaves heat wanted at rest, or unwanted at work."""
    cycle = CycleState()
    for trigger in triggers:
        cycle = enter(cycle, trigger)
        assert cycle.heat_wanted is (cycle.phase in HEATED)
        assert (cycle.paused_from is not None) is (cycle.phase is Phase.PAUSED)


def test_phases_forget_the_confirmation_when_heat_is_gone() -> None:
    """After cooling somebody must look into the mould again."""
    cycle = enter(CycleState(confirmed=True), Trigger.START)
    assert cycle.confirmed
    assert not enter(cycle, Trigger.HEAT_GONE).confirmed


def test_phases_are_written_by_one_function() -> None:
    """Only `phases.enter` sets a phase or whether heat is wanted; looked up in the source."""
    writers = set()
    for path in Path(tawny.core.__path__[0]).glob("*.py"):
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(function, ast.FunctionDef):
                continue
            for call in ast.walk(function):
                if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "replace":
                    for word in call.keywords:
                        if word.arg in ("phase", "heat_wanted", "paused_from"):
                            writers.add((path.name, function.name))
    assert writers == {("phases.py", "enter")}
