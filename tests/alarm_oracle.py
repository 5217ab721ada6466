"""The alarm state model typed out from published summaries: an oracle for tests.

Source: state models of ANSI/ISA-18.2 and IEC 62682 as published summaries (OPC UA Part 9
among them) tell them; the standards' own text was not at hand. RAISE and CLEAR are the edges
after on-delay and off-delay. Leaving a quiet state announces anew: a choice, stated.
"""

from __future__ import annotations

from tawny.core.alarm_table import AlarmClass, AlarmEvent
from tawny.core.names import AlarmState as S

# The words of the summaries, with ours beside them.
STATES = {
    "NORM": S.NORMAL,
    "UNACK": S.ACTIVE,
    "ACKED": S.ACKNOWLEDGED,
    "RTNUN": S.RETURNED,
    "LATUN": S.LATCHED,
    "LATAK": S.LATCHED_SEEN,
    "SHLVD": S.SHELVED,
    "DSUPR": S.SUPPRESSED,
    "OOSRV": S.OUT_OF_SERVICE,
}
EVENTS = {
    "RAISE": AlarmEvent.RAISE,
    "CLEAR": AlarmEvent.CLEAR,
    "ACK": AlarmEvent.ACKNOWLEDGE,
    "RESET": AlarmEvent.RESET,
    "REALARM": AlarmEvent.REALARM,
    "SHELVE": AlarmEvent.SHELVE,
    "UNSHELVE": AlarmEvent.UNSHELVE,
    "SUPPR_ON": AlarmEvent.SUPPRESS,
    "SUPPR_OFF": AlarmEvent.UNSUPPRESS,
    "OOS_ON": AlarmEvent.OUT,
    "OOS_OFF": AlarmEvent.IN,
}
# `=`, `log`: the state stays. `x`: refused. `*`: announced anew. `?*`: by the condition.
HEAD = "state RAISE CLEAR ACK RESET REALARM SHELVE UNSHELVE SUPPR_ON SUPPR_OFF OOS_ON OOS_OFF"
PLAIN = """
NORM  UNACK* =     x     x x      SHLVD x  DSUPR x  OOSRV x
UNACK =      RTNUN ACKED x UNACK* SHLVD x  DSUPR x  OOSRV x
ACKED =      NORM  x     x UNACK* SHLVD x  DSUPR x  OOSRV x
RTNUN UNACK* =     NORM  x x      SHLVD x  DSUPR x  OOSRV x
SHLVD log    log   x     x x      x     ?* DSUPR x  OOSRV x
DSUPR log    log   x     x x      x     x  x     ?* OOSRV x
OOSRV log    log   x     x x      x     x  x     x  x     ?*
"""
LATCHING = """
NORM  UNACK* =     x     x    x      SHLVD x  DSUPR x  OOSRV x
UNACK =      LATUN ACKED x    UNACK* SHLVD x  DSUPR x  OOSRV x
ACKED =      LATAK x     x    UNACK* SHLVD x  DSUPR x  OOSRV x
LATUN UNACK* =     LATAK x    x      SHLVD x  DSUPR x  OOSRV x
LATAK UNACK* =     x     NORM x      SHLVD x  DSUPR x  OOSRV x
SHLVD log    log   x     x    x      x     ?* DSUPR x  OOSRV x
DSUPR log    log   x     x    x      x     x  x     ?* OOSRV x
OOSRV log    log   x     x    x      x     x  x     x  x     ?*
"""
SAFETY = """
NORM  UNACK* =     x     x    x      x x x x x x
UNACK =      LATUN ACKED x    UNACK* x x x x x x
ACKED =      LATAK x     x    UNACK* x x x x x x
LATUN UNACK* =     LATAK x    x      x x x x x x
LATAK UNACK* =     x     NORM x      x x x x x x
"""
PUBLISHED = {
    AlarmClass.PLAIN: PLAIN,
    AlarmClass.LATCHING: LATCHING,
    AlarmClass.SAFETY: SAFETY,
}
Answer = tuple[S | None, bool]


def _answer(cell: str, state: S, *, true: bool) -> Answer:
    if cell == "x":
        return None, False
    if cell in ("=", "log"):
        return state, False
    if cell == "?*":
        return (S.ACTIVE, True) if true else (S.NORMAL, False)
    return STATES[cell.rstrip("*")], cell.endswith("*")


def oracle(alarm_class: AlarmClass) -> dict[tuple[S, AlarmEvent, bool], Answer]:
    """Return state, event and condition to the next state and whether it is announced."""
    found: dict[tuple[S, AlarmEvent, bool], Answer] = {}
    for row in PUBLISHED[alarm_class].strip().splitlines():
        name, *cells = row.split()
        for event, cell in zip(HEAD.split()[1:], cells, strict=True):
            for true in (False, True):
                state = STATES[name]
                found[state, EVENTS[event], true] = _answer(cell, state, true=true)
    return found
