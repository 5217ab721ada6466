"""What `--firmware` needs and cannot find is said in one sentence, with what to install."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tawny.cli.main import answer
from tawny.errors import InputError
from tawny.sim import checkout
from tawny.sim.build import Build
from tawny.sim.checkout import image_path, shim_path


@pytest.mark.parametrize(
    ("tools", "missing", "package"),
    [((), "make", "make"), (("make",), "avr-gcc", "gcc-avr")],
)
def test_image_names_what_is_missing(
    tools: tuple[str, ...],
    missing: str,
    package: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without a tool the sentence names it and its Debian package."""
    for tool in tools:
        found = shutil.which(tool)
        assert found is not None
        (tmp_path / tool).symlink_to(found)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputError, match=f"^{missing} is missing.*{package}"):
        image_path(Build())


def test_shim_names_what_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without gcc the simulator is not built, and the library's package is named too."""
    make = shutil.which("make")
    assert make is not None
    (tmp_path / "make").symlink_to(make)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputError, match=r"^gcc is missing.*libsimavr-dev"):
        shim_path()


def test_image_wants_a_checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installed package holds no firmware: it says that a checkout is needed."""
    monkeypatch.setattr(checkout, "_HERE", tmp_path)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match="needs a checkout of the project"):
        image_path(Build())


def test_image_is_found_from_where_the_program_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that is installed elsewhere finds the checkout in which it is called."""
    here = checkout.root()
    monkeypatch.setattr(checkout, "_HERE", tmp_path)
    monkeypatch.chdir(here / "host" / "tawny")
    assert checkout.root() == here
    assert image_path(Build()).is_relative_to(here)


def test_image_that_does_not_build_tells_what_make_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The compiler's own words, and the packages."""
    for folder in (tmp_path / "firmware", tmp_path / "tests" / "avr"):
        folder.mkdir(parents=True)
        (folder / "Makefile").write_text("all:\n\t@echo no such header >&2; false\n")
    monkeypatch.setattr(checkout, "_HERE", tmp_path)
    with pytest.raises(InputError, match=r"(?s)failed; .*gcc-avr.*no such header"):
        image_path(Build())


@pytest.mark.parametrize("command", [["demo", "--headless"], ["board", "simulate"]])
def test_firmware_that_is_none_is_refused(
    command: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A file that is no image: one sentence, code 2, no port, no parts."""
    monkeypatch.setenv("TAWNY_HOME", str(tmp_path / "home"))
    text = tmp_path / "notes.txt"
    text.write_text("not an image")
    link = tmp_path / "board"
    options = ["--link", str(link)] if command[0] == "board" else []
    assert answer([*command, *options, "--firmware", str(text)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert str(text) in said.err
    assert not link.is_symlink()
