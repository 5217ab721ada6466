"""Times of day as people type and read them: local wall clock, other days, a clock put back."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from tawny.core.snapshot import Code
from tawny.errors import InputError
from tawny.words import sentence_of, sentences
from tawny.words.moments import read_moment

HOUR_MS = 3_600_000


@pytest.fixture(autouse=True)
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Live in Berlin: UTC+1, in summer UTC+2."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def utc(year: int, month: int, day: int, hour: int, minute: int = 0, second: int = 0) -> int:
    """Return a moment of UTC in milliseconds."""
    moment = datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    return round(moment.timestamp() * 1000)


@pytest.mark.parametrize(
    ("typed", "now", "meant"),
    [
        ("09:00", utc(2026, 10, 5, 5), utc(2026, 10, 5, 7)),
        ("9.00", utc(2026, 10, 5, 5), utc(2026, 10, 5, 7)),
        (" 9:05 ", utc(2026, 10, 5, 5), utc(2026, 10, 5, 7, 5)),
        # Past today: tomorrow.
        ("09:00", utc(2026, 10, 5, 7), utc(2026, 10, 6, 7)),
        ("06:59", utc(2026, 10, 5, 5), utc(2026, 10, 6, 4, 59)),
        # Over midnight, and into another month and year.
        ("00:10", utc(2026, 10, 5, 21, 30), utc(2026, 10, 5, 22, 10)),
        ("00:00", utc(2026, 12, 31, 22, 59, 59), utc(2026, 12, 31, 23)),
        ("23:59", utc(2026, 10, 5, 21, 59, 30), utc(2026, 10, 6, 21, 59)),
        # Another day.
        ("2026-10-07 09:00", utc(2026, 10, 5, 5), utc(2026, 10, 7, 7)),
        ("2026-10-12 06:59", utc(2026, 10, 5, 5), utc(2026, 10, 12, 4, 59)),
    ],
)
def test_moments_are_the_next_the_clock_shows(typed: str, now: int, meant: int) -> None:
    """A time of day without a date is the next there is."""
    assert read_moment(typed, now) == meant


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        # 28 March 2027: 02:00 becomes 03:00. 31 October 2027: 03:00 becomes 02:00.
        ("2027-03-28 01:59", utc(2027, 3, 28, 0, 59)),
        ("2027-03-28 03:00", utc(2027, 3, 28, 1)),
        ("04:00", utc(2027, 3, 28, 2)),
    ],
)
def test_moments_know_that_the_clock_is_put_forward(typed: str, meant: int) -> None:
    """Seen from the evening before, the morning is an hour nearer."""
    assert read_moment(typed, utc(2027, 3, 27, 20)) == meant


@pytest.mark.parametrize("typed", ["02:00", "02:30", "2027-03-28 02:59"])
def test_moments_refuse_an_hour_that_the_clock_skips(typed: str) -> None:
    """That time does not come that day, and nobody is to guess which is meant."""
    with pytest.raises(InputError, match="skips"):
        read_moment(typed, utc(2027, 3, 27, 20))


def test_moments_take_the_first_of_an_hour_that_comes_twice() -> None:
    """Of two, the earlier: an outage is never expected too late."""
    assert read_moment("02:30", utc(2027, 10, 30, 20)) == utc(2027, 10, 31, 0, 30)
    assert read_moment("03:00", utc(2027, 10, 30, 20)) == utc(2027, 10, 31, 2)
    assert read_moment("02:30", utc(2027, 10, 31, 0, 29, 59)) == utc(2027, 10, 31, 0, 30)


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("", "no time of day"),
        ("nine", "no time of day"),
        ("9", "no time of day"),
        ("24:00", "no time of day"),
        ("12:60", "no time of day"),
        ("-1:00", "no time of day"),
        ("2026-02-30 09:00", "no time of day"),
        ("2026-13-01 09:00", "no time of day"),
        ("0000-01-01 09:00", "no time of day"),
        ("1970-01-01 09:00", "is past"),
        ("2026-10-05 06:59", "is past"),
        ("2026-10-05 07:00", "is past"),
        ("2026-10-12 07:01", "more than 7 days"),
        ("2999-12-31 23:59", "more than 7 days"),
        ("09:00 tomorrow", "no time of day"),
        ("09:00\x00", "no time of day"),
        ("٠٩:٠٠", "no time of day"),
    ],
)
def test_moments_refuse_what_is_none(typed: str, why: str) -> None:
    """No time, a past one, one too far off: a sentence each."""
    with pytest.raises(InputError) as caught:
        read_moment(typed, utc(2026, 10, 5, 5))
    assert why in sentence_of(caught.value)


@pytest.mark.parametrize(
    ("at", "shown"),
    [
        (utc(2026, 10, 5, 21, 59), "23:59"),
        (utc(2026, 10, 5, 22), "Tue 00:00"),
        (utc(2026, 10, 6, 7), "Tue 09:00"),
        (utc(2026, 10, 11, 7), "Sun 09:00"),
        (utc(2026, 10, 12, 7), "2026-10-12 09:00"),
        (utc(2026, 10, 4, 7), "2026-10-04 09:00"),
    ],
)
def test_moments_name_the_day_when_it_is_not_today(at: int, shown: str) -> None:
    """Today only the time; within a week the day of the week; else the date."""
    assert sentences.moment(at, utc(2026, 10, 5, 5)) == shown


def test_moments_in_a_sentence_name_the_day_once() -> None:
    """Both times on the same other day: the day is told with the one that is to be kept."""
    now = utc(2026, 10, 5, 20)
    fields = {"at_utc_ms": utc(2026, 10, 6, 7), "by_utc_ms": utc(2026, 10, 6, 6), "margin_min": 5}
    said = sentences.ahead(Code("press_by", fields), now)
    assert said == ("For 09:00 switch on by Tue 08:00, 5 min to spare. It never heats by itself.")
    fields["by_utc_ms"] = utc(2026, 10, 5, 21)
    said = sentences.ahead(Code("press_by", fields), now)
    assert said.startswith("For Tue 09:00 switch on by 23:00, 5 min")
    outage = {
        "what": "outage",
        "at_utc_ms": utc(2026, 10, 6, 12),
        "close_by_utc_ms": utc(2026, 10, 6, 11, 38),
        "parts": 7,
    }
    said = sentences.ahead(Code("closing_last", outage), now)
    assert said == "Outage at Tue 14:00: last closing 13:38, 7 parts left."


def test_moments_of_a_forecast_over_midnight_name_the_day() -> None:
    """Ready after midnight is tomorrow."""
    code = Code("preheat", {"ready_at_utc_ms": utc(2026, 10, 5, 22, 5)})
    assert "Ready about Tue 00:05" in sentences.sentence(code, utc(2026, 10, 5, 21, 50))
    assert "Ready about 00:05" in sentences.sentence(code, utc(2026, 10, 5, 22, 1))
