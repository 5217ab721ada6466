"""The dashboard as a person sees it, with the owner played by the test."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING

import msgspec
import pytest

from dashboard_desk import LARGE, SMALL, desk, hotter
from screens_factory import NOW_S, make_snapshot, make_trace
from screens_scenes import scene
from tawny.core.snapshot import Figure
from tawny.ui import marks
from tawny.ui.face import Lines
from tawny.ui.picture import save_picture

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.asyncio


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


async def test_dashboard_release_has_no_figure_and_no_green() -> None:
    """The release shows words alone: nothing that counts down or allows."""
    async with desk(scene("release")) as shown:
        rows = shown.rows()
        assert "Release slowly, in steps. Stand aside. Wait until the hissing stops." in rows[3]
        assert not re.search("[▀▄█]", "".join(rows[5:9]))


async def test_dashboard_counts_down_to_a_breath_and_not_beyond() -> None:
    """The seconds to the next breath are the figure; at the breath itself the sentence rules."""
    async with desk(scene("breathe")) as shown:
        assert "seconds to the next breath" in shown.text()
        now = msgspec.structs.replace(scene("breathe"), figure=Figure("time_to_breath", 0.0))
        rows = await shown.show(now)
        assert "Let it breathe: valve open for 2 s, then closed. 1 of 3 done." in rows[3]
        assert not re.search("[▀▄█]", "".join(rows[5:9]))


async def test_dashboard_counts_the_filling_and_calls_it_slow_in_time() -> None:
    """The seconds since opening are a thin line; past the limit it has a word and a shape."""
    async with desk(scene("fill")) as shown:
        assert "filling 0:18 ─────────" in shown.text()
        assert "slow" not in shown.text()
        await shown.show(scene("fill-slow"))
        assert "filling 0:44 ────" in shown.text()
        assert "◆ slow" in shown.text()


async def test_dashboard_names_a_cause_only_where_it_explains_the_time() -> None:
    """Cool explains longer and hot explains shorter; the other way round no cause is named."""
    held = make_snapshot()
    assert held.hold is not None
    said = {(8.0, -1.0): ": mould 1 K cool", (-6.0, 2.0): ": mould 2 K hot"}
    said |= {(-6.0, -1.0): "", (8.0, 1.0): "", (8.0, 0.2): ""}
    async with desk(held) as shown:
        for (longer_s, cause_k), cause in said.items():
            hold = msgspec.structs.replace(held.hold, longer_s=longer_s, cause_k=cause_k)
            rows = await shown.show(msgspec.structs.replace(held, seq=held.seq + 1, hold=hold))
            words = "8 s longer" if longer_s > 0.0 else "6 s shorter"
            assert rows[8].rstrip().endswith(words + cause)


@pytest.mark.parametrize("shapes", [marks.UNICODE, marks.ASCII])
async def test_dashboard_cuts_no_word_of_a_half_where_it_is_narrow(shapes: marks.Marks) -> None:
    """At 60x20 the halves stand whole under the figure, and the keys are still there."""
    async with desk(make_snapshot(), (60, 20), shapes=shapes) as shown:
        rows = shown.rows()
        upper = next(row for row in rows if row.strip().startswith("upper"))
        assert "in band" in upper
        assert re.search(r"heat \d+ %$", upper.rstrip())
        assert any("dose 3.1 of 4.0 min" in row and "not before 3:00" in row for row in rows)
        assert "leave" in rows[19]


@pytest.mark.parametrize("size", [(60, 20), (60, 16), (80, 18), (120, 24)])
async def test_dashboard_always_shows_the_step_that_the_bar_ticks(size: tuple[int, int]) -> None:
    """However small the screen: no step of the rescue card is ticked unseen."""
    shot = scene("rescue")
    card = shot.rescue
    assert card is not None
    async with desk(shot, size) as shown:
        for ticked in range(len(card.steps) + 1):
            now = msgspec.structs.replace(card, ticked=card.steps[:ticked])
            rows = await shown.show(msgspec.structs.replace(shot, seq=9 + ticked, rescue=now))
            due = f"{ticked + 1}  ○" if ticked < len(card.steps) else "close this card"
            assert any(due in row for row in rows), "\n".join(rows)
            assert "leave" in rows[-1]


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
    """The saved picture shows the screen, without a remote address or a window's buttons."""
    async with desk(make_snapshot()) as shown:
        path = save_picture(shown.app, tmp_path / "hold.svg", "Tawny")
    svg = path.read_text(encoding="utf-8")
    assert "SIMULATED" in svg
    assert "@font-face" not in svg
    assert "<circle" not in svg
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
