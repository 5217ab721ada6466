"""The alarm state table, cell by cell, against the oracle of `alarm_oracle.py`."""

from __future__ import annotations

from itertools import product

import pytest

from alarm_oracle import EVENTS, STATES, Answer, oracle
from tawny.core.alarm_table import AlarmClass, AlarmEvent, announces, next_state
from tawny.core.names import AlarmState as S

CELLS = [
    (alarm_class, state, event, true, answer)
    for alarm_class in AlarmClass
    for (state, event, true), answer in oracle(alarm_class).items()
]


def test_alarm_table_oracle_names_every_state_and_event_once() -> None:
    """Nothing of ours is missing from the oracle, so that a cell by cell match means equality."""
    assert set(STATES.values()) == set(S)
    assert set(EVENTS.values()) == set(AlarmEvent)
    assert len(CELLS) == 2 * 11 * (7 + 8 + 5)


@pytest.mark.parametrize(("alarm_class", "state", "event", "true", "answer"), CELLS)
def test_alarm_table_agrees_with_the_published_cell(
    alarm_class: AlarmClass,
    state: S,
    event: AlarmEvent,
    true: bool,  # noqa: FBT001 - one of the oracle's columns
    answer: Answer,
) -> None:
    """Next state and announcement of each cell are those of the oracle."""
    to = next_state(alarm_class, state, event, true=true)
    assert (to, announces(state, event, to)) == answer


def test_alarm_table_refuses_every_state_a_class_does_not_have() -> None:
    """A plain alarm never latches, a safety alarm is never quiet: no event leads on from there."""
    for alarm_class, state, event in product(AlarmClass, S, AlarmEvent):
        if (state, event, True) not in oracle(alarm_class):
            assert next_state(alarm_class, state, event, true=True) is None


def _walk(alarm_class: AlarmClass) -> set[tuple[S, bool, AlarmEvent, S, bool]]:
    """Every transition that can be reached from normal, with the condition on both sides."""
    start = (S.NORMAL, False)
    seen, todo = {start}, [start]
    walked: set[tuple[S, bool, AlarmEvent, S, bool]] = set()
    while todo:
        state, true = todo.pop()
        for event in AlarmEvent:
            after = {AlarmEvent.RAISE: True, AlarmEvent.CLEAR: False}.get(event, true)
            to = next_state(alarm_class, state, event, true=after)
            if to is None:
                continue
            walked.add((state, true, event, to, after))
            if (to, after) not in seen:
                seen.add((to, after))
                todo.append((to, after))
    return walked


QUIET = {S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE}
SHOWN = {S.ACTIVE, S.ACKNOWLEDGED}


@pytest.mark.parametrize("alarm_class", AlarmClass)
def test_alarm_table_keeps_its_invariants_on_every_path(alarm_class: AlarmClass) -> None:
    """The invariants of the state model hold for every transition reachable from normal."""
    latching = alarm_class is not AlarmClass.PLAIN
    for state, true, event, to, after in _walk(alarm_class):
        # I1: true and not quiet, exactly when it stands as active or acknowledged.
        assert (after and to not in QUIET) == (to in SHOWN)
        # I2: what latched goes back to normal by reset alone, and only once it was seen.
        if latching and to is S.NORMAL and state not in QUIET | {S.NORMAL}:
            assert (state, event) == (S.LATCHED_SEEN, AlarmEvent.RESET)
        # I3: a reset while it is true changes nothing.
        if event is AlarmEvent.RESET:
            assert not true
        # I4: acknowledging never hides what is true.
        if event is AlarmEvent.ACKNOWLEDGE and true:
            assert to in SHOWN
        # I5: nothing goes from active to normal in one step.
        assert not (state is S.ACTIVE and to is S.NORMAL)
        # I6: a safety alarm is never quiet.
        assert alarm_class is not AlarmClass.SAFETY or to not in QUIET


def test_alarm_table_lets_every_state_of_a_class_be_reached() -> None:
    """The oracle holds no state that events cannot lead to."""
    for alarm_class in AlarmClass:
        reached = {to for *_, to, _after in _walk(alarm_class)}
        assert reached == {state for state, _event, _true in oracle(alarm_class)}


def test_alarm_table_repeats_only_what_is_true() -> None:
    """REALARM sounds an active or acknowledged alarm again; nothing else can be repeated."""
    for alarm_class, state in product(AlarmClass, S):
        to = next_state(alarm_class, state, AlarmEvent.REALARM, true=state in SHOWN)
        assert to is (S.ACTIVE if state in SHOWN else None)
        assert announces(state, AlarmEvent.REALARM, to) is (state in SHOWN)
