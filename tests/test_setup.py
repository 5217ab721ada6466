"""The first start in a folder without settings: demo, a press of one's own, or leave."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from tawny.cli.setup import offer, set_up
from tawny.settings.equipment import read_press
from tawny.settings.home import Home
from tawny.settings.workshop import load_workshop


@pytest.mark.parametrize("port", ["/dev/serial/by-id/usb-board", 'odd "name"', ""])
def test_setup_writes_a_press_that_is_not_simulated(tmp_path: Path, port: str) -> None:
    """What was answered stands in files that load; the port stands with the press itself."""
    home = Home(tmp_path / "press")
    answers = f"Shop Süd\npress-2\n{port}\n"
    with CliRunner().isolation(input=answers) as (out, _err, _both):
        set_up(home)
        said = out.getvalue().decode()

    read = read_press(home.press)
    assert (read.press.name, read.press.workshop) == ("press-2", "Shop Süd")
    assert (read.simulated, read.port) == (False, port)
    text = home.press.read_text(encoding="utf-8")
    assert text.index("port = ") < text.index("[hydraulics]") - len("# From the makers' plates")
    assert "simulated." not in text.splitlines()[0]
    assert load_workshop(home).moulds
    assert said.count("wrote ") == 1 + 1 + 3
    assert "correct every rating" in said


def test_setup_says_that_the_mould_is_not_the_persons_own(tmp_path: Path) -> None:
    """Figures of a mould that somebody else commissioned must not pass for one's own."""
    home = Home(tmp_path / "press")
    with CliRunner().isolation(input="Shop\n\n\n"):
        set_up(home)
    for passport in home.moulds.glob("*.toml"):
        assert "this is not your mould" in passport.read_text(encoding="utf-8").splitlines()[0]


def test_setup_leaves_a_file_that_is_there(tmp_path: Path) -> None:
    """A recipe that somebody corrected already stays as it is."""
    home = Home(tmp_path / "press")
    (home.root / "recipes").mkdir(parents=True)
    kept = home.root / "recipes" / "grain-apple.toml"
    kept.write_text("mine", encoding="utf-8")
    with CliRunner().isolation(input="Shop\n\n\n"):
        set_up(home)
    assert kept.read_text(encoding="utf-8") == "mine"


def test_setup_asks_again_after_a_letter_it_does_not_know(tmp_path: Path) -> None:
    """Only d, s and q are answers; nothing is written by asking."""
    home = Home(tmp_path / "press")
    with CliRunner().isolation(input="x\nq\n") as (out, _err, _both):
        assert offer(home) == "q"
        assert "'x' is not one of" in out.getvalue().decode()
    assert not home.root.exists()
