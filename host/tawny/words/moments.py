"""A time of day as a person types it: local wall clock, the next one there is."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from tawny.errors import N_, InputError
from tawny.words.numbers import local_time

_TYPED = re.compile(r"(?:(\d{4})-(\d{2})-(\d{2})[ T]+)?(\d{1,2})[:.](\d{2})", re.ASCII)
_MOST_DAYS = 7
_FEW_S = 1.0


def read_moment(text: str, now_utc_ms: int) -> int:
    """Return the moment that a text names, as UTC in milliseconds.

    "09:00" is the next time that the clock shows it, today or tomorrow; "2026-10-05 09:00" is of
    that day. Where the clock shows it twice, as it is put back, the first of them is meant.

    Raises:
        InputError: It is no time, it is past, more than a week off, or the clock skips it.
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise InputError(
            N_('"{text}" is no time of day; write it as 09:00, or 2026-10-05 09:00'), text=text
        )
    year, month, day, hour, minute = (None if one is None else int(one) for one in found.groups())
    now = local_time(now_utc_ms)
    if year is not None and month is not None and day is not None:
        at_utc_ms = _at(text, (year, month, day), hour or 0, minute or 0)
        if at_utc_ms <= now_utc_ms:
            raise InputError(N_("{text} is past; give a time that is still to come"), text=text)
        if at_utc_ms > now_utc_ms + _MOST_DAYS * 86_400_000:
            raise InputError(
                N_("{text} is more than {days} days off; give a nearer time"),
                text=text,
                days=_MOST_DAYS,
            )
        return at_utc_ms
    today = _ymd(now.date())
    at_utc_ms = _at(text, today, hour or 0, minute or 0)
    if at_utc_ms <= now_utc_ms:
        tomorrow = _ymd(now.date() + timedelta(days=1))
        at_utc_ms = _at(text, tomorrow, hour or 0, minute or 0)
    return at_utc_ms


def _ymd(day: date) -> tuple[int, int, int]:
    return day.year, day.month, day.day


def _at(text: str, day: tuple[int, int, int], hour: int, minute: int) -> int:
    try:
        wall = datetime(*day, hour, minute)  # noqa: DTZ001 - of this machine's zone, on purpose
        utc_s = wall.timestamp()
        back = local_time(utc_s * 1000.0).replace(tzinfo=None)
    except (ValueError, OverflowError, OSError) as error:
        raise InputError(
            N_('"{text}" is no time of day; write it as 09:00, or 2026-10-05 09:00'), text=text
        ) from error
    if abs((back - wall).total_seconds()) >= _FEW_S:
        raise InputError(
            N_("the clock skips {text} that day, as it is put forward; give another time"),
            text=text,
        )
    return round(utc_s * 1000.0)
