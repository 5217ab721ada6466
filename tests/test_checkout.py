"""What `--firmware` needs and cannot find is said in one sentence, with what to install."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tawny.cli import bench
from tawny.cli.firmware import elf_boards
from tawny.cli.main import answer
from tawny.errors import InputError, LinkError
from tawny.sim import checkout
from tawny.sim.build import Build
from tawny.sim.checkout import image_path, shim_path
from tawny.sim.image import read_image
from tawny.sim.parameters import DEMO_MOULD, load
from tawny.sim.world import World

NOTE = ".note.gnu.avr.deviceinfo"


def other_image(folder: Path, controller: str, *, note: bool = True) -> Path:
    """A program that is not ours and does nothing, for some controller."""
    source, elf = folder / "other.c", folder / "other.elf"
    source.write_text("int main(void)\n{\n    for (;;) {\n    }\n}\n", encoding="ascii")
    subprocess.run(["avr-gcc", f"-mmcu={controller}", "-o", elf, source], check=True)
    if not note:
        subprocess.run(["avr-objcopy", "-R", NOTE, elf], check=True)
    return elf


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


@pytest.mark.parametrize(
    ("controller", "note", "found"),
    [
        ("atmega2560", True, "atmega2560"),
        ("atmega32", True, "atmega32"),  # of the same architecture
        ("attiny85", True, "attiny85"),
        ("atmega2560", False, "avr6"),
    ],
)
def test_image_for_another_controller_is_refused(
    controller: str, found: str, tmp_path: Path, capfd: pytest.CaptureFixture[str], *, note: bool
) -> None:
    """One sentence names both controllers before anything of it runs."""
    elf = other_image(tmp_path, controller, note=note)
    assert answer(["--home", str(tmp_path), "demo", "--headless", "--firmware", str(elf)]) == 2
    said = capfd.readouterr().err
    assert f"{elf} is built for the controller {found}, the board has atmega328p" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize("note", [True, False])
def test_image_of_another_program_is_asked_about(tmp_path: Path, *, note: bool) -> None:
    """For this controller, and silent: the sentence says how long it had and which is right."""
    elf = other_image(tmp_path, "atmega328p", note=note)
    assert read_image(elf).flash
    model = load(DEMO_MOULD)
    with pytest.raises(LinkError, match=r"does not start: .* 5 s; is it the .elf that make"):
        World(model, boards=elf_boards(str(elf), model))


def test_build_folder_that_takes_no_writing_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nothing can be built, the sentence names the folder and the system's reason."""
    for folder in (tmp_path / "firmware", tmp_path / "tests" / "avr"):
        folder.mkdir(parents=True)
        (folder / "Makefile").write_text("all:\n")
    (tmp_path / "firmware" / "build").write_text("in the way")
    monkeypatch.setattr(checkout, "_HERE", tmp_path)
    with pytest.raises(InputError, match=r"firmware/build cannot be written \(File exists\)"):
        image_path(Build())


@pytest.mark.parametrize("gone", ["avr/io.h", "simavr/sim_avr.h"])
def test_bench_leaves_the_image_out_without_its_libraries(
    gone: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Tools alone do not build it: of all benches, this one is passed over, not an error."""
    assert checkout.can_build()
    headers = [path for path in checkout.HEADERS if not path.as_posix().endswith(gone)]
    assert len(headers) == 1
    monkeypatch.setattr(checkout, "HEADERS", (*headers, tmp_path / gone))
    monkeypatch.setattr(bench, "BENCHES", {bench.IMAGE: "image"})
    assert answer(["bench"]) == 0
    assert capsys.readouterr().out == ""


def test_readme_names_the_packages_that_the_program_asks_for() -> None:
    """What a missing tool's sentence says to install is what the page says."""
    readme = (checkout.root() / "README.md").read_text(encoding="utf-8")
    for packages in (*checkout.FOR_IMAGE.values(), *checkout.FOR_SHIM.values()):
        for package in packages.split():
            assert f"`{package}`" in readme, package
