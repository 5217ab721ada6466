"""The dashboard as a person sees it and taps it, with the owner played by the test."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pytest
from textual.widgets import Input

from fake_viewer import FakeViewer, screen_rows
from screens_factory import (
    NOW_S,
    make_alarm,
    make_half,
    make_rescue,
    make_snapshot,
    make_trace,
    scene,
)
from tawny.core import intents
from tawny.core.names import AlarmState, LinkStatus, Phase, Priority, Quality
from tawny.core.snapshot import Code, LinkView, Snapshot
from tawny.ui import keys, marks
from tawny.ui.app import FRESH_S, Dashboard
from tawny.ui.face import Lines
from tawny.ui.picture import save_picture

if TYPE_CHECKING:
    from textual.pilot import Pilot

pytestmark = pytest.mark.asyncio

SMALL, LARGE = (80, 24), (120, 40)


class Desk:
    """An app under test with its owner and its pilot."""

    def __init__(self, app: Dashboard, owner: FakeViewer, pilot: Pilot[None]) -> None:
        self.app = app
        self.owner = owner
        self.pilot = pilot

    def rows(self) -> list[str]:
        """Return what the screen shows."""
        return screen_rows(self.app)

    def text(self) -> str:
        """Return what the screen shows as one text."""
        return "\n".join(self.rows())

    async def show(self, snapshot: Snapshot) -> list[str]:
        """Let the owner send a snapshot and return what the screen shows then."""
        self.owner.put(snapshot)
        await self.pilot.pause()
        await self.pilot.pause()
        return self.rows()

    async def tap(self, *tapped: str) -> None:
        """Tap keys, and let what they ask for arrive."""
        await self.pilot.press(*tapped)
        await self.pilot.pause()
        await self.pilot.pause()


@asynccontextmanager
async def desk(
    snapshot: Snapshot | None,
    size: tuple[int, int] = SMALL,
    theme: str = "dark",
    shapes: marks.Marks = marks.UNICODE,
    now_s: list[float] | None = None,
) -> AsyncIterator[Desk]:
    """Run a dashboard on a snapshot, by the clock of `now_s` where one is given."""
    owner = FakeViewer(snapshot, make_trace())
    clock = time.monotonic if now_s is None else lambda: now_s[0]
    app = Dashboard(owner, theme=theme, clock=clock)  # type: ignore[arg-type]
    app.marks = shapes
    async with app.run_test(size=size) as pilot:
        for _again in range(3):
            await pilot.pause()
        yield Desk(app, owner, pilot)


def hotter(snapshot: Snapshot) -> Snapshot:
    """Return the next snapshot with another reading."""
    upper = make_half(process_value_c=182.4)
    return msgspec.structs.replace(snapshot, seq=snapshot.seq + 1, upper=upper)


@pytest.mark.parametrize("size", [SMALL, LARGE])
@pytest.mark.parametrize("theme", ["dark", "light"])
async def test_dashboard_shows_the_hold_in_its_places(size: tuple[int, int], theme: str) -> None:
    """Title, sentence, figure, halves, trend and keys stand in this order at both sizes."""
    async with desk(make_snapshot(), size, theme) as shown:
        rows = shown.rows()
        text = "\n".join(rows)
        order = [
            "SIMULATED",
            "board armed, heat on · recording",
            "Hold. Top up the pressure when the gauge falls to 110 bar.",
            "181.2 °C",
            "minutes left",
            "trip",
            "setpoint",
            "heat off",
            "leave",
        ]
        places = [text.index(words) for words in order]
        assert places == sorted(places)
        assert len(rows) == size[1]
        assert max(len(row) for row in rows) <= size[0]
        assert "saucer 160 · recipe grain-apple v3 · pressing 0142" in rows[0]
        assert "dose 3.1 of 4.0 min · not before 3:00" in text
        assert "8 s longer: mould 1 K cool" in text


async def test_dashboard_draws_the_figure_three_rows_high_and_five_when_large() -> None:
    """The time left is the big figure: 3 rows at 80x24, 5 at 120x40."""
    for size, height in ((SMALL, 3), (LARGE, 5)):
        async with desk(make_snapshot(), size) as shown:
            rows = shown.rows()
            caption = next(n for n, row in enumerate(rows) if "minutes left" in row)
            drawn = [row[:50] for row in rows[:caption] if re.search("[▀▄█]", row[:50])]
            assert len(drawn) == height


async def test_dashboard_shows_the_last_parts_beside_when_there_is_room() -> None:
    """At 120x40 the last five parts and the shift's trend stand beside the pressing."""
    async with desk(make_snapshot(), LARGE) as shown:
        text = shown.text()
        assert all(f"M7K-{140 - n}" in text for n in range(5))
        assert text.count("── upper") == 2
    async with desk(make_snapshot(), SMALL) as shown:
        assert "M7K-140" not in shown.text()


@pytest.mark.parametrize("name", ["hold", "preheat", "fill", "breathe", "release", "start"])
@pytest.mark.parametrize("theme", ["dark", "light"])
async def test_dashboard_is_free_of_alarm_colours_when_calm(name: str, theme: str) -> None:
    """No cell of a normal screen has a colour that calls."""
    async with desk(scene(name), LARGE, theme) as shown:
        variables = shown.app.theme_variables
        calling = {variables[v].lower() for v in ("amber", "red", "banner", "medium")}
        svg = shown.app.export_screenshot().lower()
        assert not [colour for colour in calling if colour in svg]
        await shown.show(scene("deviation"))
        svg = shown.app.export_screenshot().lower()
        assert variables["amber"].lower() in svg


async def test_dashboard_banner_stays_until_seen() -> None:
    """An alarm has shape, words, what to do and its key for as long as nobody acknowledged it."""
    async with desk(make_snapshot()) as shown:
        rows = await shown.show(scene("alarm"))
        assert rows[1].split("  ")[1].startswith("▲ HEAT IS OFF: no good reading from the upper")
        assert "first of 2" in rows[1]
        assert rows[2].strip().startswith("Look at its plug and lead")
        assert rows[2].endswith("a seen")
        assert "a      alarms seen" in shown.text()
        await asyncio.sleep(0)
        assert shown.rows()[1] == rows[1]
        await shown.tap("a")
        assert shown.owner.asked == [intents.Acknowledge()]
        seen = [
            msgspec.structs.replace(alarm, state=AlarmState.ACKNOWLEDGED)
            for alarm in scene("alarm").alarms
        ]
        rows = await shown.show(msgspec.structs.replace(scene("alarm"), alarms=tuple(seen)))
        assert "a seen" not in shown.text()
        assert "◆ HEAT IS OFF: no good reading from the upper sensor. (seen)" in rows[1]
        rows = await shown.show(make_snapshot())
        assert rows[1].strip().startswith("board armed")


async def test_dashboard_keeps_every_place_under_a_banner() -> None:
    """An alarm takes the two lines under the title and moves nothing else."""
    async with desk(make_snapshot()) as shown:
        calm = shown.rows()
        rows = await shown.show(make_snapshot(alarms=(make_alarm("disagree"),)))
        assert rows[0] == calm[0]
        assert rows[3:22] == calm[3:22]


async def test_dashboard_shows_an_alarm_while_a_question_is_open() -> None:
    """Nothing lies over the banner and the sentence, and heat off works in the question."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("x")
        assert "Scrap this pressing?" in shown.text()
        rows = await shown.show(scene("alarm"))
        assert "HEAT IS OFF" in rows[1]
        assert "Heat stays off" in rows[3]
        assert "Scrap this pressing?" in "\n".join(rows)
        await shown.tap("h")
        assert shown.owner.asked == [intents.HeatOff()]
        assert "Scrap this pressing?" not in shown.text()


async def test_dashboard_shows_the_owners_first_alarm_in_the_banner() -> None:
    """The order is the owner's; one that was seen gives way to the next."""
    low = make_alarm("clock_step", priority=Priority.LOW, first_out=False)
    high = make_alarm("store_full")
    async with desk(make_snapshot(alarms=(high, low))) as shown:
        assert "▲ NOT RECORDING: the disk is full." in shown.rows()[1]
        seen = msgspec.structs.replace(high, state=AlarmState.ACKNOWLEDGED)
        rows = await shown.show(make_snapshot(alarms=(seen, low)))
        assert "● The computer's clock has jumped." in rows[1]


async def test_dashboard_says_why_the_board_is_not_there() -> None:
    """The link's own reason stands above the keys until the board is back."""
    link = LinkView(
        status=LinkStatus.CLOSED,
        port="/dev/ttyACM0",
        silence_s=0.0,
        reason=Code("port_busy", {"port": "/dev/ttyACM0", "holder": "another (pid 12)"}),
    )
    async with desk(make_snapshot(link=link)) as shown:
        assert "/dev/ttyACM0 is in use by another (pid 12)." in shown.rows()[20]
        assert "◆ no board" in shown.rows()[1]


async def test_dashboard_strikes_old_figures_through() -> None:
    """With the link stale every figure is marked old, by word, shape and line."""
    async with desk(scene("link-lost")) as shown:
        rows = shown.rows()
        text = "\n".join(rows)
        assert text.count("◆ old") == 3  # both halves and the figure
        assert any(row.count("─") > 8 and "█" in row for row in rows)
        svg = shown.app.export_screenshot()
        assert "line-through" in svg
        rows = await shown.show(make_snapshot())
        assert "◆ old" not in "\n".join(rows)
        assert "line-through" not in shown.app.export_screenshot()


async def test_dashboard_marks_one_half_that_gives_no_reading() -> None:
    """A bad sensor is said beside its half; the other half stays as it is."""
    bad = make_half(quality=Quality.BAD, process_value_c=None)
    async with desk(make_snapshot(upper=bad)) as shown:
        upper = next(row for row in shown.rows() if "upper" in row)
        lower = next(row for row in shown.rows() if "lower" in row and "°C" in row)
        assert "–  ▲ no reading" in upper
        assert "179.8 °C  in band" in lower


async def test_dashboard_grows_the_halves_when_one_is_out_of_band() -> None:
    """In band is two quiet lines; out of band each half has digits of its own and a word."""
    async with desk(scene("deviation")) as shown:
        rows = shown.rows()
        assert "lower °C ▼ 9 K below" in rows[8]
        assert all(re.search("[▀▄█]", row[34:]) for row in rows[5:8])
        rows = await shown.show(make_snapshot())
        assert not any(re.search("[▀▄█]", row[34:]) for row in rows[5:8])


async def test_dashboard_says_itself_that_the_owner_is_silent() -> None:
    """Without a snapshot for 1.5 s the sentence is the screen's own, and nothing looks fresh."""
    now_s = [100.0]
    async with desk(make_snapshot(), now_s=now_s) as shown:
        await shown.show(make_snapshot(seq=2))
        now_s[0] += 1.4
        shown.app.check()
        await shown.pilot.pause()
        assert "has not answered" not in shown.text()
        now_s[0] += 1.2
        shown.app.check()
        await shown.pilot.pause()
        rows = shown.rows()
        assert "▲ The program that runs the press has not answered for 2 s." in rows[3]
        assert "press the heat-off button at the press" in rows[4]
        assert "\n".join(rows).count("◆ old") == 3
        rows = await shown.show(hotter(make_snapshot()))
        assert "Hold." in rows[3]
        assert "182.4 °C  in band" in "\n".join(rows)


async def test_dashboard_waits_for_an_owner_and_greets_it_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """While nobody answers the screen says so; it opens the line again by itself."""
    monkeypatch.setattr("tawny.ui.app.RETRY_S", 0.01)
    owner = FakeViewer(make_snapshot(), make_trace())
    owner.dead = True
    app = Dashboard(owner)
    async with app.run_test(size=SMALL) as pilot:
        app.check()
        app.paint()
        await pilot.pause(0.05)
        assert "Waiting for the program that runs the press." in "\n".join(screen_rows(app))
        assert owner.opened > 1
        owner.dead = False
        await pilot.pause(0.05)
        assert "Hold. Top up" in "\n".join(screen_rows(app))


async def test_dashboard_repeats_the_owners_goodbye(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the owner ends, its reason stands on the screen once it is silent."""
    monkeypatch.setattr("tawny.ui.app.RETRY_S", 60.0)
    now_s = [100.0]
    async with desk(make_snapshot(), now_s=now_s) as shown:
        shown.owner.say_goodbye("owner_ended")
        await shown.pilot.pause()
        now_s[0] += 3.0
        shown.app.check()
        await shown.pilot.pause()
        assert "The program that ran the press has ended. Heat is off." in shown.text()


AT_ONCE = [
    ("m", intents.Mark()),
    ("h", intents.HeatOff()),
    ("a", intents.Acknowledge()),
    ("r", intents.Arm()),
    ("i", intents.Confirm()),
    ("p", intents.Pause()),
    ("space", intents.Advance(seen=Phase.HOLD)),
]


@pytest.mark.parametrize(("key", "intent"), AT_ONCE)
async def test_dashboard_sends_a_key_at_once(key: str, intent: intents.AnyIntent) -> None:
    """A letter becomes its intent with no question in between."""
    async with desk(make_snapshot()) as shown:
        await shown.tap(key)
        assert shown.owner.asked == [intent]


@pytest.mark.parametrize(
    ("tapped", "intent"),
    [
        (["x", "2"], intents.Scrap("burnt")),
        (["s", "e", "d", "u", "s"], intents.Prepare(empty=True, dry=True, let_down=True)),
        (["s", "e", "s"], intents.Prepare(empty=True, dry=False, let_down=False)),
        (["c", "up", "enter"], intents.ChooseRecipe("coffee-bran")),
        (["o", "E", "v", "a", "enter"], intents.SetOperator("Eva")),
        (["l", "C", "minus", "7", "enter"], intents.SetLot("C-7")),
    ],
)
async def test_dashboard_asks_first(tapped: list[str], intent: intents.AnyIntent) -> None:
    """A question's answer becomes the intent; nothing is sent before."""
    async with desk(make_snapshot()) as shown:
        await shown.tap(*tapped[:-1])
        assert shown.owner.asked == []
        await shown.tap(tapped[-1])
        assert shown.owner.asked == [intent]


@pytest.mark.parametrize("opener", ["x", "s", "c", "o", "l", "v", "question_mark", "q"])
async def test_dashboard_lets_a_question_go_unanswered(opener: str) -> None:
    """Escape sends nothing and the keys act again; no question is left by Escape alone."""
    async with desk(scene("alarm")) as shown:
        await shown.tap(opener, "escape")
        assert shown.owner.asked == []
        assert shown.app.screen is shown.app._face  # noqa: SLF001
        await shown.tap(opener)
        assert (
            " n  " in shown.text()
            or " v  " in shown.text()
            or "Enter" in shown.text()
            or " ?  " in shown.text()
        )
        await shown.tap("enter" if opener in {"o", "l", "c"} else "n")
        assert shown.app.screen is shown.app._face  # noqa: SLF001


async def test_dashboard_types_letters_into_a_name() -> None:
    """While a name is typed, h and x are letters: nothing acts on the press."""
    async with desk(make_snapshot(operator="")) as shown:
        await shown.tap("o", "h", "x", "q")
        assert shown.owner.asked == []
        assert shown.app.screen.query_one(Input).value == "hxq"


async def test_dashboard_heat_off_is_never_held_up_by_another_key() -> None:
    """The throttle counts each key by itself: h acts right after a burst of others."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("space", "space", "space", "m", "h")
        assert intents.HeatOff() in shown.owner.asked


async def test_dashboard_sends_a_held_key_at_most_five_times_a_second() -> None:
    """Thirty repeats in one second become at most six intents; the core refuses the rest."""
    taps = keys.Taps()
    allowed = sum(taps.allow("space", number / 30.0) for number in range(31))
    assert 1 < allowed <= 6
    assert taps.allow("h", 1.0)


async def test_dashboard_sends_the_phase_that_the_person_saw() -> None:
    """Advance carries the phase on the screen, so that a late tap is refused by the core."""
    async with desk(scene("release")) as shown:
        await shown.tap("space")
        assert shown.owner.asked == [intents.Advance(seen=Phase.RELEASE)]


async def test_dashboard_says_what_is_missing() -> None:
    """A refused tap says why, above the keys, and is gone when the press moved on."""
    async with desk(scene("fill")) as shown:
        rows = shown.rows()
        assert "Before you can close:  ○ both halves in band (upper -4 K, lower -6 K)" in rows[20]
        shown.owner.refuse_with = Code("not_allowed_now", {"phase": "fill"})
        await shown.tap("m")
        assert "That cannot be done now: the press is at fill." in shown.rows()[20]


async def test_dashboard_says_when_heat_off_did_not_get_through() -> None:
    """The one answer that must not be missed: it names the button and it stays."""
    async with desk(make_snapshot()) as shown:
        shown.owner.dead = True
        await shown.tap("h")
        assert "▲ Heat off did NOT get through. Press the heat-off button" in shown.rows()[20]


@pytest.mark.parametrize(
    ("name", "there", "absent"),
    [
        ("start", ["s  start the day", "c  choose a recipe"], ["next:", "scrap", "pause"]),
        ("arm", ["r  ask for arming"], ["s  start the day", "next:"]),
        ("fill", ["Space  next: close", "x  scrap this pressing"], ["mark a breath", "recipe  "]),
        ("breathe", ["m  mark a breath"], ["next:"]),
        ("hold", ["p  pause", "x  scrap this pressing"], ["next:", "mark a breath"]),
        ("release", ["Space  next: open"], ["mark a breath"]),
    ],
)
async def test_dashboard_shows_a_key_only_when_it_is_allowed(
    name: str, there: list[str], absent: list[str]
) -> None:
    """Each key stands beside what it does; one that is not allowed now is absent."""
    async with desk(scene(name)) as shown:
        keys_shown = "\n".join(shown.rows()[21:])
        assert all(words in keys_shown for words in [*there, "heat off", "help", "leave"])
        assert not [words for words in absent if words in keys_shown]


async def test_dashboard_keeps_each_key_in_its_place() -> None:
    """Heat off, help and leave never move."""
    async with desk(make_snapshot()) as shown:
        places = set()
        for name in ("start", "arm", "preheat", "fill", "hold", "release", "alarm", "rescue"):
            rows = await shown.show(scene(name))
            places.add(
                (rows[22].index("heat off"), rows[22].index("help"), rows[23].index("leave"))
            )
        assert len(places) == 1


async def test_dashboard_release_has_no_figure_and_no_green() -> None:
    """The release shows words alone: nothing that counts down or allows."""
    async with desk(scene("release")) as shown:
        rows = shown.rows()
        assert "Release slowly, in steps. Stand aside. Wait until the hissing stops." in rows[3]
        assert not re.search("[▀▄█]", "".join(rows[5:9]))


async def test_dashboard_counts_the_filling_and_calls_it_slow_in_time() -> None:
    """The seconds since opening are a thin line; past the limit it has a word and a shape."""
    async with desk(scene("fill")) as shown:
        assert "filling 0:18 ─────────" in shown.text()
        assert "slow" not in shown.text()
        await shown.show(scene("fill-slow"))
        assert "filling 0:44 ────" in shown.text()
        assert "◆ slow" in shown.text()


async def test_dashboard_rescue_card_takes_the_trends_place() -> None:
    """What is inside, how much steam, the steps in order, one tap for each."""
    async with desk(scene("rescue")) as shown:
        text = shown.text()
        assert "trip" not in text.split("Rescue:")[1].split("\n\n")[0]
        assert "at most 4.1 g of water, enough for 8.4 l of steam" in text
        assert "▲ The mould may be closed and under pressure." in text
        assert "✓ Leave the heat off." in text
        assert "3  ○ Let the press down slowly" in text
        await shown.tap("3")
        assert shown.owner.asked == [intents.RescueStep("let_down_steps")]
        await shown.tap("9")
        assert len(shown.owner.asked) == 1
        ticked = make_rescue(ticked=make_rescue().steps)
        await shown.show(msgspec.structs.replace(scene("rescue"), rescue=ticked))
        assert "f  every step is done: close this card" in shown.text()
        await shown.tap("f")
        assert shown.owner.asked[-1] == intents.RescueStep("finish")
        rows = await shown.show(make_snapshot())
        assert "Rescue:" not in "\n".join(rows)
        assert "trip" in "\n".join(rows)


async def test_dashboard_lists_alarms_and_acts_on_the_chosen_one() -> None:
    """The list says what to do about each; seen, reset and quiet act on the one chosen."""
    snapshot = scene("deviation")
    async with desk(snapshot) as shown:
        await shown.tap("v")
        text = shown.text()
        assert "first, not seen" in text
        assert "quiet for 10 min" in text
        await shown.tap("z")
        assert shown.owner.asked == [intents.Shelve("deviation_low", 10.0)]
        await shown.show(scene("alarm"))
        await shown.tap("v", "down", "e")
        assert shown.owner.asked[-1] == intents.ResetAlarm("board_tripped")
        await shown.tap("v")
        assert "quiet for 10 min" not in shown.text()
        await shown.show(make_snapshot())
        assert "No alarm stands." in shown.text()


async def test_dashboard_space_plays_the_hand_only_where_it_is_simulated() -> None:
    """With a simulated hand the bar also starts the day, arms and ticks; else it advances."""
    for name, intent in (
        ("arm", intents.Arm()),
        ("rescue", intents.RescueStep("stand_aside")),
    ):
        with_hand = msgspec.structs.replace(scene(name), simulated_hand=True)
        async with desk(with_hand) as shown:
            assert "Space also works the simulated hand." in shown.text()
            await shown.tap("space")
            assert shown.owner.asked == [intent]
        async with desk(scene(name)) as shown:
            assert "simulated hand" not in shown.text()
            await shown.tap("space")
            assert shown.owner.asked == [intents.Advance(seen=Phase.IDLE)]


async def test_dashboard_space_alone_starts_a_simulated_day() -> None:
    """Five separate taps answer the three questions; a held bar answers none of them."""
    now_s = [100.0]
    with_hand = msgspec.structs.replace(scene("start"), simulated_hand=True)
    async with desk(with_hand, now_s=now_s) as shown:
        await shown.tap("space")
        for _repeat in range(20):
            now_s[0] += 0.05
            await shown.tap("space")
        assert "✓" not in shown.text()
        for _tap in range(4):
            now_s[0] += FRESH_S
            await shown.tap("space")
        assert shown.owner.asked == [intents.Prepare(empty=True, dry=True, let_down=True)]


@pytest.mark.parametrize("chord", ["ctrl+q", "ctrl+c", "ctrl+d", "ctrl+z", "ctrl+p"])
async def test_dashboard_does_nothing_on_a_chord(chord: str) -> None:
    """No Ctrl chord leaves, acts on the press or opens a menu."""
    async with desk(make_snapshot()) as shown:
        await shown.tap(chord)
        assert shown.owner.asked == []
        assert shown.app.is_running
        assert shown.app.screen is shown.app._face  # noqa: SLF001
        if chord != "ctrl+p":
            assert "Tap q to leave." in shown.rows()[20]


async def test_dashboard_leaving_asks_then_takes_the_heat_off() -> None:
    """Key q asks; y sends heat off, then ends the owner, then leaves."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("q")
        assert "Leave? Heat goes off" in shown.text()
        await shown.tap("n")
        assert shown.owner.asked == []
        await shown.tap("q", "y")
        assert shown.owner.asked == [intents.HeatOff(), intents.Quit()]
        assert not shown.app.is_running or shown.app._exit  # noqa: SLF001
        assert shown.app.return_code == 0


async def test_dashboard_leaving_says_when_the_heat_could_not_be_taken_off() -> None:
    """Without an answer the person still gets out, with exit code 1."""
    async with desk(make_snapshot()) as shown:
        shown.owner.dead = True
        await shown.tap("q", "y")
        assert shown.app.return_code == 1


async def test_dashboard_watching_leaves_without_touching_the_press() -> None:
    """One who is not at the desk sees who is, can take the desk, and leaves alone."""
    watched = make_snapshot(desk_viewer="bench")
    async with desk(watched) as shown:
        assert "only watching: bench is at the desk" in shown.rows()[1]
        assert "heat off" not in shown.rows()[22]
        assert "t  take the desk" in shown.text()
        await shown.tap("t", "y")
        assert shown.owner.asked == [intents.TakeDesk()]
        await shown.tap("q", "y")
        assert shown.owner.asked == [intents.TakeDesk()]


async def test_dashboard_leaves_in_order_when_the_terminal_closes() -> None:
    """SIGHUP and SIGTERM end the screen cleanly and close the line."""
    for number in (signal.SIGHUP, signal.SIGTERM):
        async with desk(make_snapshot()) as shown:
            os.kill(os.getpid(), number)
            await shown.pilot.pause(0.05)
            assert shown.app.return_code == 0
            assert shown.app._exit  # noqa: SLF001
        assert shown.owner.closed >= 1
        assert shown.owner.asked == []


async def test_dashboard_follows_the_size_of_the_terminal() -> None:
    """Growing and shrinking the window changes the layout and loses nothing."""
    async with desk(make_snapshot()) as shown:
        await shown.pilot.resize_terminal(*LARGE)
        await shown.pilot.pause()
        await shown.pilot.pause()
        assert "last parts" in shown.text()
        await shown.pilot.resize_terminal(60, 16)
        await shown.pilot.pause()
        await shown.pilot.pause()
        assert "Hold. Top up the pressure" in shown.text()
        await shown.pilot.resize_terminal(*SMALL)
        await shown.pilot.pause()
        await shown.pilot.pause()
        assert "last parts" not in shown.text()
        assert "minutes left" in shown.text()


async def test_dashboard_large_figure_shows_sentence_and_figure_alone() -> None:
    """Key b doubles the figure and takes everything quiet away; b again brings it back."""
    async with desk(make_snapshot()) as shown:
        await shown.tap("b")
        rows = shown.rows()
        assert sum(bool(re.search("[▀▄█]", row)) for row in rows) >= 6
        assert "181.2 °C" not in "\n".join(rows)
        assert "Hold. Top up" in rows[3]
        await shown.tap("b")
        assert "181.2 °C" in shown.text()


async def test_dashboard_changes_the_time_in_the_trend() -> None:
    """Key w shows a longer time, and the shortest again after the longest."""
    async with desk(make_snapshot()) as shown:
        assert "-4:00" in shown.text()
        await shown.tap("w")
        assert "-12:00" in shown.text()
        await shown.tap("w")
        assert re.search(r"\d\d:\d\d +\d\d:\d\d.* now", shown.text())
        await shown.tap("w")
        assert "-4:00" in shown.text()


async def test_dashboard_adds_new_seconds_to_the_trend() -> None:
    """Points of the owner move the picture on, without a new snapshot of anything else."""
    async with desk(make_snapshot()) as shown:
        later = [
            msgspec.structs.replace(point, host_s=point.host_s + 60.0, upper_max_c=212.0)
            for point in make_trace(60)
        ]
        before = shown.rows()[11]
        shown.owner.put_points(later)
        await shown.show(make_snapshot(seq=2))
        assert shown.app.trace.host_s[-1] == NOW_S + 60.0
        assert before.count("⣸") + before.count("⡇") < 5
        assert shown.rows()[11] != before


async def test_dashboard_is_ascii_where_the_terminal_has_nothing_else() -> None:
    """Without unicode: digits of #, a trend of letters, shapes of ASCII."""
    async with desk(scene("alarm"), SMALL, "dark", marks.ASCII) as shown:
        text = shown.text()
        assert text.isascii()
        assert "!! HEAT IS OFF" in text
        assert "#" in text
        assert "last" not in text


async def test_dashboard_knows_terminals_without_unicode() -> None:
    """The Linux console and a terminal of another encoding get the plain shapes."""
    assert marks.marks_for({"TERM": "xterm-256color"}, "UTF-8") is marks.UNICODE
    assert marks.marks_for({"TERM": "linux"}, "UTF-8") is marks.ASCII
    assert marks.marks_for({"TERM": "xterm"}, "ISO-8859-1") is marks.ASCII
    assert marks.marks_for({}, "UTF-8") is marks.ASCII


async def test_dashboard_makes_its_own_picture(tmp_path: Path) -> None:
    """The saved picture shows the screen and carries no remote address."""
    async with desk(make_snapshot()) as shown:
        path = save_picture(shown.app, tmp_path / "hold.svg", "Tawny")
    svg = path.read_text(encoding="utf-8")
    assert "SIMULATED" in svg
    assert "@font-face" not in svg
    assert re.findall(r"https?://[^\"' ]+", svg) == ["http://www.w3.org/2000/svg"]


def _note(painted: list[str], name: str, _content: object, **_how: object) -> None:
    painted.append(name)


async def test_dashboard_paints_only_what_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same snapshot again changes no widget; a new reading changes one."""
    async with desk(make_snapshot()) as shown:
        await shown.show(make_snapshot(seq=2))
        painted: list[str] = []
        for widget in shown.app.screen.query(Lines):
            monkeypatch.setattr(widget, "update", partial(_note, painted, widget.id))
        await shown.show(make_snapshot(seq=3))
        assert painted == []
        await shown.show(hotter(make_snapshot(seq=4)))
        assert painted == ["side"]
