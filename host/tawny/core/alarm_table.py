"""The alarm state table: one enum of events, one table, nothing else.

States carry the names that summaries of ISA-18.2 and IEC 62682 publish. Three classes:
non-latching, latching, and safety (latching, never shelved, suppressed or taken out of
service). An absent pair is refused: the state stays, and the refusal is journalled.
RAISE and CLEAR are conditioned edges, after on-delay and off-delay; in a quiet state they
are tracked and journalled, no more. Whoever leaves a quiet state announces what is true.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from tawny.core.names import AlarmState

NORMAL: Final = AlarmState.NORMAL
ACTIVE: Final = AlarmState.ACTIVE
ACKNOWLEDGED: Final = AlarmState.ACKNOWLEDGED
RETURNED: Final = AlarmState.RETURNED
LATCHED: Final = AlarmState.LATCHED
LATCHED_SEEN: Final = AlarmState.LATCHED_SEEN
SHELVED: Final = AlarmState.SHELVED
SUPPRESSED: Final = AlarmState.SUPPRESSED
OUT_OF_SERVICE: Final = AlarmState.OUT_OF_SERVICE


class AlarmClass(StrEnum):
    """Whether an alarm latches, and whether it may be kept quiet."""

    PLAIN = "plain"
    LATCHING = "latching"
    SAFETY = "safety"


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    REALARM = "realarm"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    OUT = "out"
    IN = "in"


RAISE: Final = AlarmEvent.RAISE
CLEAR: Final = AlarmEvent.CLEAR
ACKNOWLEDGE: Final = AlarmEvent.ACKNOWLEDGE
RESET: Final = AlarmEvent.RESET
REALARM: Final = AlarmEvent.REALARM
SHELVE: Final = AlarmEvent.SHELVE
UNSHELVE: Final = AlarmEvent.UNSHELVE
SUPPRESS: Final = AlarmEvent.SUPPRESS
UNSUPPRESS: Final = AlarmEvent.UNSUPPRESS
OUT: Final = AlarmEvent.OUT
IN: Final = AlarmEvent.IN

_PLAIN: Final[dict[tuple[AlarmState, AlarmEvent], AlarmState]] = {
    (NORMAL, RAISE): ACTIVE,
    (NORMAL, CLEAR): NORMAL,
    (ACTIVE, RAISE): ACTIVE,
    (ACTIVE, CLEAR): RETURNED,
    (ACTIVE, ACKNOWLEDGE): ACKNOWLEDGED,
    (ACTIVE, REALARM): ACTIVE,
    (ACKNOWLEDGED, RAISE): ACKNOWLEDGED,
    (ACKNOWLEDGED, CLEAR): NORMAL,
    (ACKNOWLEDGED, REALARM): ACTIVE,
    (RETURNED, RAISE): ACTIVE,
    (RETURNED, CLEAR): RETURNED,
    (RETURNED, ACKNOWLEDGE): NORMAL,
}
_QUIET: Final[dict[tuple[AlarmState, AlarmEvent], AlarmState]] = {
    (SHELVED, RAISE): SHELVED,
    (SHELVED, CLEAR): SHELVED,
    (SHELVED, UNSHELVE): NORMAL,
    (SHELVED, SUPPRESS): SUPPRESSED,
    (SHELVED, OUT): OUT_OF_SERVICE,
    (SUPPRESSED, RAISE): SUPPRESSED,
    (SUPPRESSED, CLEAR): SUPPRESSED,
    (SUPPRESSED, UNSUPPRESS): NORMAL,
    (SUPPRESSED, OUT): OUT_OF_SERVICE,
    (OUT_OF_SERVICE, RAISE): OUT_OF_SERVICE,
    (OUT_OF_SERVICE, CLEAR): OUT_OF_SERVICE,
    (OUT_OF_SERVICE, IN): NORMAL,
}
_LATCHING: Final[dict[tuple[AlarmState, AlarmEvent], AlarmState]] = {
    **{pair: to for pair, to in _PLAIN.items() if pair[0] is not RETURNED},
    (ACTIVE, CLEAR): LATCHED,
    (ACKNOWLEDGED, CLEAR): LATCHED_SEEN,
    (LATCHED, RAISE): ACTIVE,
    (LATCHED, CLEAR): LATCHED,
    (LATCHED, ACKNOWLEDGE): LATCHED_SEEN,
    (LATCHED_SEEN, RAISE): ACTIVE,
    (LATCHED_SEEN, CLEAR): LATCHED_SEEN,
    (LATCHED_SEEN, RESET): NORMAL,
}


def _with_quieting(
    table: dict[tuple[AlarmState, AlarmEvent], AlarmState],
) -> dict[tuple[AlarmState, AlarmEvent], AlarmState]:
    states = {state for state, _ in table}
    quieting = {(state, SHELVE): SHELVED for state in states}
    quieting |= {(state, SUPPRESS): SUPPRESSED for state in states}
    quieting |= {(state, OUT): OUT_OF_SERVICE for state in states}
    return {**table, **_QUIET, **quieting}


TABLE: Final[dict[AlarmClass, dict[tuple[AlarmState, AlarmEvent], AlarmState]]] = {
    AlarmClass.PLAIN: _with_quieting(_PLAIN),
    AlarmClass.LATCHING: _with_quieting(_LATCHING),
    AlarmClass.SAFETY: _LATCHING,
}
# These lead out of a quiet state; where to is decided by what is true.
LEAVING_QUIET: Final = frozenset({UNSHELVE, UNSUPPRESS, IN})


def next_state(
    alarm_class: AlarmClass, state: AlarmState, event: AlarmEvent, *, true: bool
) -> AlarmState | None:
    """Return the state after an event, or None when the event is refused.

    `true` is the tracked condition; it decides where leaving a quiet state leads.
    """
    to = TABLE[alarm_class].get((state, event))
    if to is None or event not in LEAVING_QUIET:
        return to
    return ACTIVE if true else NORMAL


def announces(state: AlarmState, event: AlarmEvent, to: AlarmState | None) -> bool:
    """Say whether an event is to be seen and heard anew: a fresh alarm, or one repeated."""
    return to is ACTIVE and (state is not ACTIVE or event is REALARM)
