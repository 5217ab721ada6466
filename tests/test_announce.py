"""Announcing at the screen: an outage, a dearer tariff, when to press; and what is shown of it."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

from dashboard_desk import LARGE, SMALL, desk
from screens_factory import NOW_MS, make_snapshot
from screens_scenes import scene
from tawny.core import intents
from tawny.core.snapshot import AheadView, Code

pytestmark = pytest.mark.asyncio
HOUR_MS = 3_600_000


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Live where the wall clock shows UTC: it is Sunday 4 October 2026, 14:32."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(("key", "what"), [("e", "outage"), ("d", "tariff"), ("p", "press")])
async def test_announce_takes_a_time_of_the_wall_clock(key: str, what: str) -> None:
    """Key, kind, time, Enter: one intent, with the clock it was said by."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("e", key, *"16", "colon", *"32")
        assert shown.owner.asked == []
        await shown.tap("enter")
        assert shown.owner.asked == [intents.Announce(what, NOW_MS + 2 * HOUR_MS, NOW_MS)]


@pytest.mark.parametrize(
    ("typed", "why"),
    [("9", "no time of day"), ("2025-01-01 09:00", "is past"), ("2027-01-01 09:00", "days off")],
)
async def test_announce_says_why_a_time_is_none(typed: str, why: str) -> None:
    """The question stays open with the reason; nothing is sent."""
    names = {":": "colon", "-": "minus", " ": "space"}
    async with desk(make_snapshot()) as shown:
        await shown.tap("e", "e", *(names.get(one, one) for one in typed), "enter")
        assert shown.owner.asked == []
        assert why in shown.text()
        await shown.tap("escape")
        assert "Heat never starts or stops by it" in shown.text()


async def test_announce_takes_back_what_was_said() -> None:
    """Nothing typed takes it back; where nothing was said, nothing happens."""
    said = make_snapshot(ahead=AheadView(outage_utc_ms=NOW_MS + 20 * HOUR_MS))
    async with desk(said) as shown:
        await shown.tap("e")
        assert "outage, the supply goes off at: Mon 10:32" in shown.text()
        await shown.tap("p", "enter")
        assert shown.owner.asked == []
        await shown.tap("e", "enter")
        assert shown.owner.asked == [intents.Announce("outage", None, NOW_MS)]


async def test_announce_types_letters_and_never_acts_on_the_press() -> None:
    """While a time is typed, h is a letter."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("e", "p", "h", "q", "x")
        assert shown.owner.asked == []


@pytest.mark.parametrize("size", [SMALL, LARGE])
async def test_announce_shows_when_to_switch_on_and_that_nothing_heats_itself(
    size: tuple[int, int],
) -> None:
    """On a cold press, tomorrow's time with its day, whole at either size."""
    async with desk(scene("switch-on"), size=size) as shown:
        said = "For 09:00 switch on by Mon 08:39, 15 min to spare. It never heats by itself."
        assert said in shown.text()


@pytest.mark.parametrize("size", [SMALL, LARGE])
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("last-closing", "Outage at 15:40: last closing 15:18, 7 parts left."),
        ("touchable-later", "touchable about 15:10"),
        ("preheat", "Ready about 14:46"),
        ("never-ready", "170 °C needs 640 W, the lower half has 500 W"),
    ],
)
async def test_announce_shows_what_is_foreseen(name: str, said: str, size: tuple[int, int]) -> None:
    """Beside the sentence, whole at either size."""
    async with desk(scene(name), size=size) as shown:
        assert said in " ".join(shown.text().split())


async def test_announce_shows_no_half_of_a_line() -> None:
    """Both lines where there is room, else the more pressing one alone."""
    lines = (Code("no_readings"), Code("not_foreseen"))
    snapshot = make_snapshot(ahead=AheadView(lines=lines))
    async with desk(snapshot, size=LARGE) as shown:
        assert "a temperature is missing.  Not foreseen: it would take longer" in shown.text()
    async with desk(snapshot, size=SMALL) as shown:
        assert "a temperature is missing." in shown.text()
        assert "half a day" not in shown.text()
