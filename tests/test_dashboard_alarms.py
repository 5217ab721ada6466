"""The dashboard in a bad moment: alarms, old figures, a silent owner, the rescue card."""

from __future__ import annotations

import asyncio
import re

import msgspec
import pytest

from dashboard_desk import SMALL, desk, hotter
from fake_viewer import FakeViewer, screen_rows
from screens_factory import make_alarm, make_half, make_rescue, make_snapshot, make_trace
from screens_scenes import scene
from tawny.core import intents
from tawny.core.names import AlarmState, LinkStatus, Priority, Quality
from tawny.core.snapshot import Code, LinkView
from tawny.ui.app import Dashboard

pytestmark = pytest.mark.asyncio


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
