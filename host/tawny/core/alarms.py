"""Alarms that stand: conditioning by delay, first-out, and the events people send.

Pure: conditions and time come in, the new set and what changed go out. The table is in
`alarm_table`, the list of alarms in `alarm_list`.
"""

from __future__ import annotations

from collections.abc import Mapping

import msgspec
from msgspec.structs import replace

from tawny.core.alarm_list import ALARMS
from tawny.core.alarm_table import (
    AlarmClass,
    AlarmEvent,
    next_state,
)
from tawny.core.names import AlarmState
from tawny.core.snapshot import Field

Fields = dict[str, Field]
SHELVE_MOST_S = 1800.0


class Standing(msgspec.Struct, frozen=True):
    """One alarm that is not plainly normal.

    Attributes:
        true: The conditioned condition.
        wish: The raw condition, while it differs from `true` since `wish_ms`.
        first_out: The first of its group since the group was last quiet.
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

    Args:
        conditions: Code to fields of every raw condition that is true.
        now_ms: The clock that counts suspend.
    """
    if not standing and not conditions:
        return standing, ()
    known = {one.alarm: one for one in standing}
    for code in conditions:
        if code not in known:
            known[code] = Standing(
                alarm=code,
                state=AlarmState.NORMAL,
                true=False,
                since_ms=now_ms,
                wish=True,
                wish_ms=now_ms,
                first_out=False,
                fields=conditions[code],
            )
    changes: list[Change] = []
    for code, one in list(known.items()):
        updated = _condition(one, conditions, now_ms)
        entry = ALARMS[code]
        if updated.quiet_until_ms is not None and now_ms >= updated.quiet_until_ms:
            updated = _apply(updated, AlarmEvent.UNSHELVE, now_ms, changes)
        if updated.wish != updated.true:
            delay_s = entry.on_delay_s if updated.wish else entry.off_delay_s
            if now_ms - updated.wish_ms >= delay_s * 1000:
                edge = AlarmEvent.RAISE if updated.wish else AlarmEvent.CLEAR
                if updated.wish:
                    alone = not any(
                        other.first_out and ALARMS[other.alarm].group == entry.group
                        for other in known.values()
                        if other.alarm != code
                    )
                    updated = replace(updated, first_out=updated.first_out or alone)
                updated = _apply(replace(updated, true=updated.wish), edge, now_ms, changes)
        known[code] = updated
    kept = tuple(
        one
        for one in known.values()
        if one.state is not AlarmState.NORMAL or one.true or one.wish != one.true
    )
    return kept, tuple(changes)


def handle(
    standing: Standings, code: str, event: AlarmEvent, now_ms: int, *, minutes: float = 0.0
) -> tuple[Standings, Changes]:
    """Apply what a person asked of one alarm; refused events change nothing but are returned."""
    changes: list[Change] = []
    kept: list[Standing] = []
    for one in standing:
        if one.alarm != code:
            kept.append(one)
            continue
        after = _apply(one, event, now_ms, changes)
        if event is AlarmEvent.SHELVE and after.state is AlarmState.SHELVED:
            seconds = min(max(minutes, 0.0) * 60.0, SHELVE_MOST_S)
            after = replace(after, quiet_until_ms=now_ms + int(seconds * 1000))
        if after.state is not AlarmState.NORMAL or after.true or after.wish != after.true:
            kept.append(after)
    return tuple(kept), tuple(changes)


def _condition(one: Standing, conditions: Mapping[str, Fields], now_ms: int) -> Standing:
    fields = conditions.get(one.alarm)
    wish = fields is not None
    if wish != one.wish:
        return replace(one, wish=wish, wish_ms=now_ms, fields=fields or one.fields)
    if fields is not None and fields != one.fields:
        return replace(one, fields=fields)
    return one


def _apply(one: Standing, event: AlarmEvent, now_ms: int, changes: list[Change]) -> Standing:
    alarm_class = ALARMS[one.alarm].alarm_class
    to = next_state(alarm_class, one.state, event, true=one.true)
    announce = to is AlarmState.ACTIVE and (
        one.state is not AlarmState.ACTIVE or event is AlarmEvent.REALARM
    )
    if to is None or to is not one.state or announce:
        changes.append(
            Change(
                alarm=one.alarm,
                event=event,
                before=one.state,
                to=to,
                announce=announce,
                fields=one.fields,
            )
        )
    if to is None or to is one.state:
        return one
    quiet = one.quiet_until_ms if to is AlarmState.SHELVED else None
    since_ms = now_ms if announce else one.since_ms
    return replace(one, state=to, since_ms=since_ms, quiet_until_ms=quiet)


def shelvable(code: str) -> bool:
    """Say whether a person may keep this alarm quiet for a while."""
    return ALARMS[code].alarm_class is not AlarmClass.SAFETY
