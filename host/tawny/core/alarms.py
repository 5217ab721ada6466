"""Alarms that stand: conditioning by delay, first-out, and the events people send.

Pure: conditions and time come in, the new set and what changed go out. The table is in
`alarm_table`, the list of alarms in `alarm_list`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import msgspec
from msgspec.structs import replace

from tawny.core.alarm_list import ALARMS
from tawny.core.alarm_table import AlarmClass, AlarmEvent, announces, next_state
from tawny.core.names import AlarmState
from tawny.core.snapshot import Field

Fields = dict[str, Field]
SHELVE_MOST_S = 1800.0
# A group with one of these is not idle: whatever comes now did not come first.
STANDING = frozenset(
    {
        AlarmState.ACTIVE,
        AlarmState.ACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.LATCHED,
        AlarmState.LATCHED_SEEN,
    }
)


class Standing(msgspec.Struct, frozen=True):
    """One alarm that is not plainly normal.

    Attributes:
        true: The conditioned condition.
        wish: The raw condition, while it differs from `true` since `wish_ms`.
        first_out: Raised while its group was idle; kept until it is normal again.
    """

    alarm: str
    state: AlarmState
    true: bool
    since_ms: int
    wish: bool
    wish_ms: int
    first_out: bool
    fields: Fields
    quiet_until_ms: int | None = None


class Change(msgspec.Struct, frozen=True):
    """One row for the journal: an event, also a refused one (`to` is None)."""

    alarm: str
    event: AlarmEvent
    before: AlarmState
    to: AlarmState | None
    announce: bool
    fields: Fields


Standings = tuple[Standing, ...]
Changes = tuple[Change, ...]


def judge(
    standing: Standings, conditions: Mapping[str, Fields], now_ms: int
) -> tuple[Standings, Changes]:
    """Hold the standing alarms against what is true now.

    `conditions` has code and fields of every raw condition that is true, in the order in
    which they count as first; `now_ms` is on the clock that counts suspend.
    """
    if not standing and not conditions:
        return standing, ()
    known = {one.alarm: one for one in standing}
    for code, fields in conditions.items():
        if code not in known:
            known[code] = _unheard_of(code, fields, now_ms)
    changes: list[Change] = []
    for code, one in list(known.items()):
        updated = _condition(one, conditions, now_ms)
        if updated.quiet_until_ms is not None and now_ms >= updated.quiet_until_ms:
            updated = _apply(updated, AlarmEvent.UNSHELVE, now_ms, changes)
        if updated.wish != updated.true and _delay_over(updated, now_ms):
            updated = _edge(updated, known.values(), now_ms, changes)
        known[code] = updated
    kept = tuple(one for one in known.values() if _worth_keeping(one))
    return kept, tuple(changes)


def handle(
    standing: Standings, code: str, event: AlarmEvent, now_ms: int, *, minutes: float = 0.0
) -> tuple[Standings, Changes]:
    """Apply what a person asked of one alarm; refused events change nothing but are returned.

    `minutes` is how long SHELVE keeps it quiet, at most 30.
    """
    changes: list[Change] = []
    kept: list[Standing] = []
    for one in standing:
        after = one
        if one.alarm == code:
            after = _apply(one, event, now_ms, changes)
            if event is AlarmEvent.SHELVE and after is not one:
                # Written so that NaN is the shortest time, not the longest.
                seconds = min(minutes * 60.0, SHELVE_MOST_S) if minutes > 0.0 else 0.0
                after = replace(after, quiet_until_ms=now_ms + int(seconds * 1000))
        if _worth_keeping(after):
            kept.append(after)
    return tuple(kept), tuple(changes)


def _unheard_of(code: str, fields: Fields, now_ms: int) -> Standing:
    return Standing(
        alarm=code,
        state=AlarmState.NORMAL,
        true=False,
        since_ms=now_ms,
        wish=True,
        wish_ms=now_ms,
        first_out=False,
        fields=fields,
    )


def _worth_keeping(one: Standing) -> bool:
    return one.state is not AlarmState.NORMAL or one.true or one.wish != one.true


def _condition(one: Standing, conditions: Mapping[str, Fields], now_ms: int) -> Standing:
    fields = conditions.get(one.alarm)
    wish = fields is not None
    if wish != one.wish:
        return replace(one, wish=wish, wish_ms=now_ms, fields=fields or one.fields)
    if fields is not None and fields != one.fields:
        return replace(one, fields=fields)
    return one


def _delay_over(one: Standing, now_ms: int) -> bool:
    entry = ALARMS[one.alarm]
    delay_s = entry.on_delay_s if one.wish else entry.off_delay_s
    return now_ms - one.wish_ms >= delay_s * 1000


def _edge(
    one: Standing, all_known: Iterable[Standing], now_ms: int, changes: list[Change]
) -> Standing:
    """Let the condition through that has outlasted its delay."""
    if not one.wish:
        return _apply(replace(one, true=False), AlarmEvent.CLEAR, now_ms, changes)
    group = ALARMS[one.alarm].group
    idle = not any(
        other.state in STANDING and ALARMS[other.alarm].group == group
        for other in all_known
        if other.alarm != one.alarm
    )
    first_out = idle or (one.first_out and one.state is not AlarmState.NORMAL)
    one = replace(one, true=True, first_out=first_out)
    return _apply(one, AlarmEvent.RAISE, now_ms, changes)


def _apply(one: Standing, event: AlarmEvent, now_ms: int, changes: list[Change]) -> Standing:
    to = next_state(ALARMS[one.alarm].alarm_class, one.state, event, true=one.true)
    announce = announces(one.state, event, to)
    changes.append(Change(one.alarm, event, one.state, to, announce, one.fields))
    if to is None or (to is one.state and not announce):
        return one
    quiet_until_ms = one.quiet_until_ms if to is AlarmState.SHELVED else None
    since_ms = now_ms if announce else one.since_ms
    return replace(one, state=to, since_ms=since_ms, quiet_until_ms=quiet_until_ms)


def shelvable(code: str) -> bool:
    """Say whether a person may keep this alarm quiet for a while."""
    return ALARMS[code].alarm_class is not AlarmClass.SAFETY
