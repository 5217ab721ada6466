"""Codes to sentences: the one place where a code of the core becomes words for a person.

Nothing here raises: an unknown code, an unknown word in a field, or a missing field still
gives a plain sentence that names it, for a screen must never fall over what it has to say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from enum import Enum
from string import Formatter
from typing import NamedTuple, TypeVar

from tawny.core.commission import Said
from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    Half,
    LinkStatus,
    Phase,
    Priority,
    Quality,
    ResetCause,
    Result,
)
from tawny.core.plan_state import Announced
from tawny.core.snapshot import AlarmView, Code, Field, Permissive
from tawny.errors import N_
from tawny.words import _, commission, numbers, tables, vocabulary
from tawny.words.alarms import ALARMS

_Name = TypeVar("_Name", bound=Enum)

_NO_WORDS = N_("This version has no words for “{code}”. In doubt: heat off.")
_WEEK = 7
_SAME_DAY = {"at_utc_ms": "by_utc_ms", "close_by_utc_ms": "at_utc_ms"}
_NO_WORDS_SHORT = N_("“{code}”")


class AlarmWords(NamedTuple):
    """What happened and what to do, each one sentence."""

    what: str
    do: str


def sentence(code: Code, now_utc_ms: int | None = None) -> str:
    """Return the next action as one sentence; with the time now, other days are named."""
    return _look_up(tables.SENTENCES, code.code, _on_days(code, now_utc_ms), _NO_WORDS)


def ahead(code: Code, now_utc_ms: int) -> str:
    """Return what is foreseen or was announced, as one sentence."""
    return _look_up(tables.AHEAD, code.code, _on_days(code, now_utc_ms), _NO_WORDS)


def moment(utc_ms: float, now_utc_ms: float) -> str:
    """Return a local time of day, with its day where that is not today: "Tue 08:05"."""
    time = numbers.clock(utc_ms)
    if time == numbers.MISSING:
        return time
    local, now = numbers.local_time(utc_ms), numbers.local_time(now_utc_ms)
    days = (local.date() - now.date()).days
    if days == 0:
        return time
    return f"{weekday(local)} {time}" if 0 < days < _WEEK else f"{local.date()} {time}"


def _on_days(code: Code, now_utc_ms: int | None) -> Mapping[str, Field]:
    """Return the fields with moments as people read them; a day that is told once is enough."""
    if now_utc_ms is None:
        return code.fields
    said = dict(code.fields)
    for name, value in code.fields.items():
        if name.endswith("_utc_ms") and not isinstance(value, str | bool):
            said[name] = moment(value, now_utc_ms)
    for name, beside in _SAME_DAY.items():
        one, other = code.fields.get(name), code.fields.get(beside)
        if isinstance(one, int | float) and isinstance(other, int | float):
            days = {numbers.local_time(each).date() for each in (one, other)}
            if len(days) == 1:
                said[name] = numbers.clock(one)
    return said


def refusal(code: Code) -> str:
    """Return why an intent was refused, and what is missing."""
    return _look_up(tables.REFUSALS, code.code, code.fields, _NO_WORDS)


def permissive(view: Permissive) -> str:
    """Return what must be true before the next step, as a short phrase."""
    return _look_up(tables.PERMISSIVES, view.code, view.fields, _NO_WORDS_SHORT)


def alarm(view: AlarmView) -> AlarmWords:
    """Return what happened and what to do about it."""
    return alarm_words(view.alarm, view.fields)


def alarm_words(code: str, fields: Mapping[str, Field]) -> AlarmWords:
    """Return the words of an alarm's code and fields."""
    if code not in ALARMS:
        return AlarmWords(
            _render(N_("Alarm “{code}”."), {"code": code}),
            _("This version has no words for it. In doubt: heat off."),
        )
    what, do = ALARMS[code]
    return AlarmWords(_fill(what, fields), _fill(do, fields))


def commissioning(said: Said) -> str:
    """Return what a person commissioning should read."""
    table = {
        "step": commission.STEPS,
        "passed": commission.STEPS,
        "do": commission.DOES,
        "failed": commission.FAILURES,
        "note": {**tables.LINK_REASONS, **tables.SENTENCES, **commission.NOTES},
    }[said.kind]
    return _look_up(table, said.code.code, said.code.fields, _NO_WORDS)


def commissioning_step(name: str) -> str:
    """Return the heading of a step by its name in the record."""
    code, _, half = name.rpartition("_")
    if half in set(Half) and code in commission.STEPS:
        return _look_up(commission.STEPS, code, {"half": half}, _NO_WORDS)
    return _look_up(commission.STEPS, name, {}, _NO_WORDS_SHORT)


def commission_due(code: Code) -> str:
    """Return why a mould is to be commissioned."""
    return _look_up(commission.DUE, code.code, code.fields, _NO_WORDS)


def rescue_step(code: str) -> str:
    """Return one step of the rescue card."""
    return _look_up(tables.RESCUE_STEPS, code, {}, _NO_WORDS_SHORT)


def goodbye(code: Code) -> str:
    """Return why the owner ended this viewer's line."""
    if code.code in tables.GOODBYES:
        return _fill(tables.GOODBYES[code.code], code.fields)
    return cause(code)


def cause(code: Code) -> str:
    """Return a code of any kind as the reason of something else."""
    if code.code in ALARMS:
        return alarm_words(code.code, code.fields).what
    for table in (tables.LINK_REASONS, tables.SENTENCES, tables.REFUSALS):
        if code.code in table:
            return _fill(table[code.code], code.fields)
    return _render(_NO_WORDS, {"code": code.code})


def phase_name(phase: Phase | str) -> str:
    """Return the name of a phase."""
    return _word(vocabulary.PHASES, Phase, phase)


def before(phase: Phase | str | None) -> str:
    """Return what stands before the things that must be true first: "Before you can close:"."""
    if phase is None:
        return _("Before it can go on:")
    return _word(vocabulary.BEFORE, Phase, phase)


def board_state(state: BoardState | str) -> str:
    """Return the board's state in words."""
    return _word(vocabulary.BOARD_STATES, BoardState, state)


def first_out(cause_of_trip: FirstOut | str) -> str:
    """Return what tripped the board first."""
    return _word(vocabulary.FIRST_OUTS, FirstOut, cause_of_trip)


def lock_reason(word: str) -> str:
    """Return why the board is locked; `word` is the protocol's."""
    return _(vocabulary.LOCK_REASONS[word]) if word in vocabulary.LOCK_REASONS else word


def half_name(half: Half | str) -> str:
    """Return "upper" or "lower"; an alarm about both says "both"."""
    return _("upper and lower") if half == "both" else _word(vocabulary.HALVES, Half, half)


def link_status(status: LinkStatus | str) -> str:
    """Return where the link stands."""
    return _word(vocabulary.LINKS, LinkStatus, status)


def announced(what: Announced | str) -> str:
    """Return what was announced: "Outage"."""
    return _word(vocabulary.ANNOUNCED, Announced, what)


def quality(value: Quality | str) -> str:
    """Return how far a value can be trusted."""
    return _word(vocabulary.QUALITIES, Quality, value)


def result(value: Result | str) -> str:
    """Return how a pressing ended."""
    return _word(vocabulary.RESULTS, Result, value)


def reset_cause(value: ResetCause | str) -> str:
    """Return why the board last started."""
    return _word(vocabulary.RESET_CAUSES, ResetCause, value)


def priority(value: Priority | str) -> str:
    """Return how soon an alarm wants an answer."""
    return _word(vocabulary.PRIORITIES, Priority, value)


def alarm_state(view: AlarmView) -> str:
    """Return an alarm's state as the field shows it: "gone, not seen", "quiet until 14:20"."""
    if view.state is AlarmState.SHELVED and view.quiet_until_utc_ms is not None:
        return _("quiet until {time}").format(time=numbers.clock(view.quiet_until_utc_ms))
    return _word(vocabulary.ALARM_STATES, AlarmState, view.state)


def weekday(time: datetime) -> str:
    """Return the short name of a day of the week."""
    return _(vocabulary.DAYS[time.weekday()])


def _look_up(
    table: Mapping[str, tables.Templates], code: str, fields: Mapping[str, Field], unknown: str
) -> str:
    if code not in table:
        return _render(unknown, {"code": code})
    return _fill(table[code], fields)


def _fill(templates: tables.Templates, fields: Mapping[str, Field]) -> str:
    """Render the first template whose fields are all there, else the last one."""
    choices = (templates,) if isinstance(templates, str) else templates
    given = dict(fields)
    if "code" in given:  # the refusal of a permissive carries that permissive's code and fields
        short = Permissive(code=str(given.pop("code")), met=False, fields=given)
        given = {**given, "permissive": permissive(short)}
    for template in choices:
        if _names(template) <= given.keys():
            return _render(template, given)
    return _render(choices[-1], given)


def _names(template: str) -> set[str]:
    return {name for _text, name, _spec, _conversion in Formatter().parse(template) if name}


class _Said(dict[str, str]):
    """Rendered fields; a missing one is a dash, never an exception."""

    def __missing__(self, name: str) -> str:
        return numbers.MISSING


def _render(template: str, fields: Mapping[str, Field]) -> str:
    said = _Said({name: field_words(name, value) for name, value in fields.items()})
    try:
        return _(template).format_map(said)
    except (ValueError, IndexError, AttributeError):  # a place misspelt in a translation
        return template.format_map(said)


def _hottest(value_c: float) -> str:
    return numbers.temperature(value_c, 0)


def _signed_difference(value_k: float) -> str:
    sign = "-" if round(value_k) < 0 else "+"
    return sign + numbers.difference(value_k)


_BY_NAME: dict[str, Callable[[float], str]] = {
    "hottest_c": _hottest,
    "goal_c": _hottest,
    "stage_c": _hottest,
    "upper_k": _signed_difference,
    "lower_k": _signed_difference,
}
_BY_UNIT: dict[str, Callable[[float], str]] = {
    "_utc_ms": numbers.clock,
    "_c": numbers.temperature,
    "_k": numbers.difference,
    "_s": numbers.seconds,
    "_g": numbers.grams,
    "_w": numbers.watts,
    "_duty": numbers.percent,
}


def _board_refusal(word: str) -> str:
    return _(vocabulary.BOARD_REFUSALS[word]) if word in vocabulary.BOARD_REFUSALS else word


_WORDS: dict[str, Callable[[str], str]] = {
    "half": half_name,
    "what": announced,
    "phase": phase_name,
    "first_out": first_out,
    "reset_cause": reset_cause,
    "lock_reason": lock_reason,
    "why": _board_refusal,
}


def field_words(name: str, value: Field) -> str:
    """Return a field's value as people read it: by its name, or by the unit that ends it."""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, str):
        return _WORDS[name](value) if name in _WORDS else value
    for ending, formatted in _BY_UNIT.items():
        if name.endswith(ending):
            return _BY_NAME.get(name, formatted)(value)
    return numbers.shortest(value)


def _word(words: Mapping[_Name, str], kind: type[_Name], value: _Name | str) -> str:
    try:
        return _(words[kind(value)])
    except (KeyError, ValueError):
        return str(value)
