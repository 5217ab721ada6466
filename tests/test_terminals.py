"""The dashboard on the terminals people have, and what it leaves behind on them."""

from __future__ import annotations

import os
import re
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from made_record import made_home
from tmux import Pane, pane

SENTENCE = "Hold. Top up the pressure when the gauge falls to 110 bar."


SCREEN = [sys.executable, os.fspath(Path(__file__).with_name("screen_alone.py"))]


@pytest.fixture
def shown(tmp_path: Path) -> Iterator[Pane]:
    """Yield a pane in which the dashboard is on screen."""
    with pane(tmp_path, SCREEN) as opened:
        opened.until(drawn)
        yield opened


def drawn(text: str) -> bool:
    """Say whether the whole screen is there, from the sentence to the last key."""
    return SENTENCE in text and "leave" in text.rstrip().splitlines()[-1]


def leave(opened: Pane) -> str:
    """Leave as a person does; return what the terminal shows then."""
    opened.tap("q")
    opened.until("Leave?")
    opened.tap("y")
    return opened.until("ended with")


@pytest.mark.parametrize(
    ("environment", "plain"),
    [
        ({"TERM": "xterm-256color", "COLORTERM": "truecolor"}, False),
        ({"TERM": "screen-256color"}, False),
        ({"TERM": "xterm"}, False),
        ({"TERM": "linux"}, True),
        ({"TERM": "vt100"}, True),
        ({"TERM": "dumb"}, True),
        ({"TERM": ""}, True),
        ({"TERM": "xterm-256color", "LC_ALL": "POSIX", "PYTHONUTF8": "0",
          "PYTHONCOERCECLOCALE": "0"}, True),
    ],
    ids=["truecolor", "screen", "xterm", "linux", "vt100", "dumb", "unset", "posix"],
)  # fmt: skip
def test_terminal_of_any_kind_shows_the_press_and_is_whole_after(
    tmp_path: Path,
    environment: dict[str, str],
    plain: bool,  # noqa: FBT001
) -> None:
    """Sentence, figures and keys are there; plain terminals get plain letters only."""
    with pane(tmp_path, SCREEN, environment) as opened:
        text = opened.until(drawn)
        for words in ("SIMULATED", "181.2", "minutes left", "heat off", "leave", "setpoint"):
            assert words in text
        assert text.isascii() is plain
        after = leave(opened)
        assert "ended with 0" in after
        assert "Heat is off" in after
        assert "Traceback" not in after
        assert opened.is_whole()


def test_terminal_without_colour_is_grey_throughout(tmp_path: Path) -> None:
    """With NO_COLOR every colour is one of the greys; words and shapes tell the rest."""
    environment = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "NO_COLOR": "1"}
    with pane(tmp_path, SCREEN, environment) as opened:
        opened.until(drawn)
        painted = opened.text(colours=True)
        mixed = [tuple(map(int, rgb)) for rgb in re.findall(r"[34]8;2;(\d+);(\d+);(\d+)", painted)]
        indexed = [int(number) for number in re.findall(r"[34]8;5;(\d+)", painted)]

        assert mixed or indexed
        assert all(max(rgb) - min(rgb) <= 2 for rgb in mixed)
        assert all(number in {0, 7, 8, 15, 16, 231, *range(232, 256)} for number in indexed)


def test_terminal_keeps_its_mouse_when_told_so(tmp_path: Path) -> None:
    """With --no-mouse text can be selected as anywhere; without it the terminal reports."""
    for options, reported in (([], 1), (["no-mouse"], 0)):
        with pane(tmp_path, [*SCREEN, *options]) as opened:
            opened.until(drawn)
            assert opened.flag("mouse_any_flag") == reported


@pytest.mark.parametrize("chord", ["C-c", "C-z", "C-q", "C-d"])
def test_terminal_chord_neither_ends_nor_stops_the_screen(shown: Pane, chord: str) -> None:
    """What ends or suspends other programs says how to leave, and the screen goes on."""
    shown.tap(chord)
    assert "Tap q to leave" in shown.until("Tap q to leave")
    assert shown.flag("alternate_on") == 1


def test_terminal_is_whole_after_the_screen_was_killed(shown: Pane) -> None:
    """SIGKILL: first screen, cursor and mouse are back, and a sentence says what goes on."""
    (guard,) = children(shown.flag("pane_pid"))
    (screen,) = children(guard)
    os.kill(screen, signal.SIGKILL)
    text = shown.until("ended with")

    assert "The screen has died (SIGKILL)" in text
    assert "press the heat-off button" in text
    assert "ended with 1" in text
    assert shown.is_whole()


def children(pid: int) -> list[int]:
    """Return the processes that a process has started."""
    task = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(word) for word in task.read_text(encoding="ascii").split()]


@pytest.mark.parametrize(
    "data",
    [
        b"\x1b[M\x20\xff\xff",  # the mouse beyond column 95, in the oldest of the reports
        b"\x1b[MC\xc3h",
        bytes(range(128, 256)),
        b"\xc3\x28\xe2\x82",
    ],
)
def test_terminal_bytes_that_are_no_text_do_no_harm(shown: Pane, data: bytes) -> None:
    """An old mouse report, a paste in another encoding: the screen stays, nothing is asked."""
    before = shown.text()
    shown.send(data)
    shown.tap("C-c")  # answered after whatever came before it
    text = shown.until("Tap q to leave")

    assert SENTENCE in text
    assert "Heat off was taken" not in text
    assert before.splitlines()[5:8] == text.splitlines()[5:8]


@pytest.mark.parametrize("exported", [{}, {"COLUMNS": "80", "LINES": "24"}])
def test_terminal_of_any_size_is_followed(tmp_path: Path, exported: dict[str, str]) -> None:
    """Far too small for a while: drawn again once there is room, whatever size was exported."""
    with pane(tmp_path, SCREEN, exported) as opened:
        opened.until(drawn)
        for columns, rows in ((40, 10), (20, 5), (200, 60), (80, 24)):
            opened.resize(columns, rows)
            opened.until(lambda text, rows=rows: text.count("\n") == rows)
        opened.until(drawn)
        assert "ended with 0" in leave(opened)


def test_terminal_is_not_painted_over_by_what_libraries_say(tmp_path: Path) -> None:
    """Warnings, log lines and prints in the screen's process never reach the screen."""
    with pane(tmp_path, [*SCREEN, "noisy"]) as opened:
        opened.until(drawn)
        for _ in range(3):  # each answered after another picture and its noise
            opened.tap("?")
            opened.until("leave; asks first")
            opened.tap("?")
            assert "NOISE" not in opened.until(drawn)


def test_terminal_is_told_why_the_press_did_not_start(tmp_path: Path) -> None:
    """Where the owner refuses, its sentence stands on the terminal, with its code."""
    home = made_home(tmp_path / "home", pressings=1)
    home.store.write_bytes(b"no record at all " * 1000)
    words = [sys.executable, "-m", "tawny", "demo", "--home", os.fspath(home.root)]
    with pane(tmp_path, words, size=(600, 24)) as opened:
        text = opened.until("ended with")

    assert text.startswith("the press could not be started: ")
    assert "is damaged (file is not a database)" in text
    assert "go on in another folder (--home)" in text
    assert "ended with 2" in text
    assert "Traceback" not in text
