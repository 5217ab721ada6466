"""The keys of the dashboard: what each asks the owner for, and when it is shown."""

from __future__ import annotations

import os
import re
import signal

import msgspec
import pytest
from textual.widgets import Input

from dashboard_desk import desk
from screens_factory import make_snapshot
from screens_scenes import scene
from tawny.core import intents
from tawny.core.names import Phase
from tawny.core.snapshot import Code
from tawny.ui import keys
from tawny.ui.app import FRESH_S

pytestmark = pytest.mark.asyncio


AT_ONCE = [
    ("m", intents.Mark()),
    ("h", intents.HeatOff()),
    ("a", intents.Acknowledge()),
    ("r", intents.Arm()),
    ("i", intents.Confirm()),
    ("p", intents.Pause()),
    ("k", intents.Standby()),
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
        (
            ["s", "e", "d", "u", "w", "y", "s"],
            intents.Prepare(empty=True, dry=True, let_down=True, dry_out=True),
        ),
        (["s", "w", "n", "s"], intents.Prepare(empty=False, dry=False, let_down=False)),
        (["s", "w", "y", "w", "s"], intents.Prepare(empty=False, dry=False, let_down=False)),
        (["u", "a", "a", "b", "t", "s"], intents.ManualHeat(upper=0.1, lower=0.05, minutes=10.0)),
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


@pytest.mark.parametrize(
    ("opener", "way_out"),
    [
        ("x", "n  keep it"),
        ("s", "n  not now"),
        ("c", "n  leave it"),
        ("o", "Enter  take it"),
        ("l", "Enter  take it"),
        ("v", "v  close"),
        ("u", "n  not now"),
        ("e", "n  leave it"),
        ("question_mark", "?  close"),
        ("q", "n  stay"),
    ],
)
async def test_dashboard_lets_a_question_go_unanswered(opener: str, way_out: str) -> None:
    """Escape sends nothing and the keys act again; no question is left by Escape alone."""
    async with desk(scene("alarm")) as shown:
        face = shown.app.screen
        await shown.tap(opener, "escape")
        assert shown.owner.asked == []
        assert shown.app.screen is face
        await shown.tap(opener)
        assert shown.app.screen is not face
        assert way_out in shown.text()
        await shown.tap({"?": "question_mark", "E": "enter"}.get(way_out[0], way_out[0]))
        assert shown.app.screen is face


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
        await shown.show(scene("release"))
        assert "That cannot be done now" not in shown.text()


async def test_dashboard_says_when_heat_off_did_not_get_through() -> None:
    """The one answer that must not be missed: it names the button and it stays."""
    async with desk(make_snapshot()) as shown:
        shown.owner.dead = True
        await shown.tap("h")
        assert "▲ Heat off did NOT get through. Press the heat-off button" in shown.rows()[20]
        await shown.show(scene("release"))
        assert "▲ Heat off did NOT get through. Press the heat-off button" in shown.rows()[20]


@pytest.mark.parametrize(
    ("name", "there", "absent"),
    [
        ("start", ["s  start the day", "c  choose a recipe"], ["next:", "scrap", "pause"]),
        ("arm", ["r  ask for arming"], ["s  start the day", "next:"]),
        ("cool", ["s  heat again", "c  choose a recipe"], ["ask for arming", "next:"]),
        ("fill", ["Space  next: close", "x  scrap this pressing"], ["mark a breath", "recipe  "]),
        ("breathe", ["m  mark a breath"], ["next:"]),
        ("hold", ["x  scrap this pressing"], ["next:", "mark a breath", "pause"]),
        ("release", ["Space  next: open"], ["mark a breath"]),
        ("ready", ["k  rest warm", "p  pause"], ["pressing heat", "heat by hand", "upkeep"]),
        ("standby", ["k  to pressing heat", "p  go on"], ["rest warm"]),
        ("by-hand", ["p  go on"], ["rest warm", "pressing heat"]),
        ("dry-out", ["p  pause"], ["rest warm"]),
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


@pytest.mark.parametrize("simulated", [True, False])
async def test_dashboard_offers_to_heat_again_after_heat_was_off(*, simulated: bool) -> None:
    """Key s asks the three questions anew; the bar does so only for the simulated hand."""
    cool = msgspec.structs.replace(scene("cool"), simulated_hand=simulated)
    async with desk(cool) as shown:
        assert ("Space  heat again" in shown.rows()[21]) is simulated
        await shown.tap("space")
        assert ("nothing lies in the mould" in shown.text()) is simulated
        if not simulated:
            assert shown.owner.asked == [intents.Advance(seen=Phase.COOL)]
            await shown.tap("s")
            assert "nothing lies in the mould" in shown.text()


async def test_dashboard_goes_back_from_standby_by_the_same_key() -> None:
    """Key k undoes itself."""
    async with desk(scene("standby")) as shown:
        await shown.tap("k")
        assert shown.owner.asked == [intents.Resume()]


async def test_dashboard_tells_what_a_dry_out_does_before_it_is_asked_for() -> None:
    """What it does, what it does not, who decides, and what to stop for stand on one page."""
    async with desk(scene("start")) as shown:
        await shown.tap("s", "w")
        text = " ".join(shown.text().split())
        for words in (
            "in stages, at low duty",
            "proves nothing",
            "electrician's insulation test",
            "local codes",
            "residual-current device trips: stop",
        ):
            assert words in text
        assert shown.owner.asked == []
        await shown.tap("y")
        assert "✓ the heaters may be damp" in shown.text()


async def test_dashboard_turns_heat_by_hand_round_within_its_limits() -> None:
    """Past 50 % it begins at 0 again, past 20 min at 5; what is shown is what is asked for."""
    async with desk(scene("ready")) as shown:
        await shown.tap("u", *["a"] * 10, *["b"] * 11, *["t"] * 3)
        assert "upper half 50 %" in shown.text()
        assert "lower half 0 %" in shown.text()
        assert "for 20:00 min" in shown.text()
        await shown.tap("t", "s")
        assert shown.owner.asked == [intents.ManualHeat(upper=0.5, lower=0.0, minutes=5.0)]


async def test_dashboard_ends_a_dry_out_by_a_key_of_its_own() -> None:
    """While it lasts the page of upkeep offers its end, and no heat by hand."""
    async with desk(scene("dry-out")) as shown:
        await shown.tap("u", "s")
        assert shown.owner.asked == []
        await shown.tap("e")
        assert shown.owner.asked == [intents.EndDryOut()]


async def test_dashboard_says_what_each_half_is_held_at() -> None:
    """Standby, a ramp, halves unlike each other and a first-off pressing are named."""
    said = {
        "ready": "setpoint 180 °C, band 3 K either way",
        "standby": "standby 140 °C, pressing 180 °C",
        "unlike": "upper 180 °C, lower 170 °C, band 3 K",
        "ramp": "setpoint 120/113 °C, going to 180/170 °C",
        "dry-out": "setpoint 73 °C, going to 90 °C",
        "by-hand": "by hand, no heat from 180 °C on",
    }
    async with desk(scene("ready")) as shown:
        for name, words in said.items():
            await shown.show(scene(name))
            assert words in shown.text(), name
            assert ("first-off: check its part apart" in shown.text()) is (name == "unlike")


@pytest.mark.parametrize("chord", ["ctrl+q", "ctrl+c", "ctrl+d", "ctrl+z", "ctrl+p"])
async def test_dashboard_does_nothing_on_a_chord(chord: str) -> None:
    """No Ctrl chord leaves, acts on the press or opens a menu."""
    async with desk(make_snapshot()) as shown:
        face = shown.app.screen
        await shown.tap(chord)
        assert shown.owner.asked == []
        assert shown.app.is_running
        assert shown.app.screen is face
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
        assert "heat off" in shown.rows()[22]
        assert "scrap" not in shown.text()
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
