"""What a person may get wrong in files and folders: one clear sentence, code 2, nothing lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import apsw
import pytest

from made_record import made_home
from small_disk import Disk, frozen, small_disk
from tawny.settings.home import Home
from tawny.store.reader import Reader
from tawny.store.schema import MIGRATIONS
from tawny.store.store import Store

TAWNY = [sys.executable, "-m", "tawny"]
BESIDE = {"lock", "record.db-wal", "record.db-shm"}  # come and go with whoever opens the record
STARTS = [["serve"], ["demo", "--headless", "--parts", "1", "--pace", "max"]]
LOOKS = [["parts"], ["show", "P0001-E"], ["export", "--format", "json"]]


@pytest.fixture(scope="module")
def pressed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a home folder with the demo workshop and two parts; only to be copied."""
    return made_home(tmp_path_factory.mktemp("made") / "home").root


@pytest.fixture
def home(pressed: Path, tmp_path: Path) -> Home:
    """Return a home folder of one's own with the same in it."""
    shutil.copytree(pressed, tmp_path / "home")
    return Home(tmp_path / "home")


def kept(folder: Path) -> dict[str, bytes]:
    """Return what a folder holds that must not get lost."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in BESIDE
    }


def refused(words: list[str], folder: Path) -> str:
    """Run a command that must be refused, and return its one sentence."""
    ran = subprocess.run(
        [*words, "--home", os.fspath(folder)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert ran.returncode == 2, (ran.returncode, ran.stdout, ran.stderr)
    assert ran.stdout == ""
    assert "Traceback" not in ran.stderr
    sentence, end, rest = ran.stderr.partition("\n")
    assert (end, rest) == ("\n", ""), ran.stderr
    return sentence


RECIPE = "recipes/grain-apple.toml"
MOULD = "moulds/saucer-160.toml"
SETPOINT = 'setpoint = "180 degC"'


@pytest.mark.parametrize(
    ("file", "line", "instead", "told"),
    [
        pytest.param(RECIPE, SETPOINT, 'setpoint = "1800 degC"',
                     ["setpoint 1800 degC", "60 degC and 200 degC", "correct"], id="1800"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "201 degC"',
                     ["setpoint 201 degC", "60 degC and 200 degC", "correct"], id="above_limit"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "180 degF"',
                     ['"180 degF" is only 82.2 degC', 'write "180 degC"'], id="fahrenheit"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "453 K"',
                     ['"453 K" could be a difference', "degC or degF"], id="kelvin"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "nan degC"',
                     ['"nan degC" is not a finite number', '"180 degC"'], id="nan_text"),
        pytest.param(RECIPE, SETPOINT, "setpoint = nan",
                     ["setpoint = nan is not a finite number", '"180 degC"'], id="nan"),
        pytest.param(RECIPE, SETPOINT, "setpoint = 180,5",
                     ["line 8", "has a comma", '"180.5 degC"'], id="comma"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "180,5 degC"',
                     ['"180,5 degC" has a comma', "with a point"], id="comma_text"),
        pytest.param(RECIPE, SETPOINT, "setpoint = 180",
                     ["setpoint = 180 has no unit", '"180 degC"'], id="no_unit"),
        pytest.param(RECIPE, SETPOINT, 'setpoint = "180"',
                     ['"180" has no unit', '"180 degC"'], id="no_unit_text"),
        pytest.param(RECIPE, 'band = "2 K"', 'band = "2 degC"',
                     ['"2 degC" is a temperature where a difference is wanted', "write K"],
                     id="difference"),
        pytest.param(RECIPE, SETPOINT, 'setpiont = "180 degC"',
                     ["setpiont is not a known key", 'did you mean "setpoint"'], id="unknown_key"),
        pytest.param(RECIPE, SETPOINT, "",
                     ["setpoint is missing", 'add setpoint = "180 degC"'], id="missing_key"),
        pytest.param(RECIPE, "schema = 1", "schema = 2",
                     ["schema 2 is newer", "up to 1", "update the program"], id="newer"),
        pytest.param(RECIPE, 'force = "140 bar"', 'force = "300 bar"',
                     ["force 300 bar", "190 bar", "correct the recipe"], id="force"),
        pytest.param(MOULD, 'rated_temperature = "270 degC"', 'rated_temperature = "170 degC"',
                     ["setpoint 180 degC", "170 degC", "saucer-160", "correct"], id="rating"),
    ],
)  # fmt: skip
def test_bad_input_in_a_file_is_told_before_anything_is_heated(
    home: Home, file: str, line: str, instead: str, told: list[str]
) -> None:
    """The sentence names the value as it was written, its limit, and what to write instead."""
    path = home.root / file
    before = path.read_text()
    assert before.count(line) == 1
    path.write_text(before.replace(line, instead))
    whole = kept(home.root)
    sentence = refused([*TAWNY, "serve"], home.root)

    assert [words for words in told if words not in sentence] == [], sentence
    assert "recipes" in sentence or "recipe grain-apple" in sentence
    assert kept(home.root) == whole


@pytest.mark.parametrize(
    "words",
    [
        ["demo", "--headless", "--pace", "nan"],
        ["demo", "--headless", "--pace", "2,5"],
        ["demo", "--headless", "--parts", "0"],
        ["serve", "--recipe", "grain-aple"],
        ["calc", "thermocouple", "--type", "K", "--emf", "6,000 mV", "--cold-junction", "25 degC"],
        ["calc", "thermocouple", "--type", "K", "--emf", "nan mV", "--cold-junction", "25 degC"],
        ["calc", "thermocouple", "--type", "K", "--emf", "6", "--cold-junction", "25 degC"],
        ["calc", "thermocouple", "--type", "K", "--emf", "6 mV", "--cold-junction", "25 K"],
    ],
)
def test_bad_input_on_the_command_line_is_told_with_its_value(home: Home, words: list[str]) -> None:
    """What was typed stands in the sentence; the last line alone says what is wrong."""
    given = [*TAWNY, *words]
    if words[0] != "calc":
        given += ["--home", os.fspath(home.root)]
    whole = kept(home.root)
    ran = subprocess.run(given, capture_output=True, text=True, check=False)
    typed = {word for word in words[1:] if not word.startswith("-")}

    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "Traceback" not in ran.stderr
    assert any(word in ran.stderr.splitlines()[-1] for word in typed)
    assert kept(home.root) == whole


@pytest.mark.parametrize("words", [*STARTS, *LOOKS])
def test_bad_input_record_of_a_newer_program_is_left_alone(home: Home, words: list[str]) -> None:
    """Version found and version known; neither a start nor a look changes a byte of it."""
    db = apsw.Connection(os.fspath(home.store))
    db.pragma("user_version", 99)
    db.close()
    whole = kept(home.root)
    sentence = refused([*TAWNY, *words], home.root)

    assert "record version 99" in sentence
    assert f"up to {len(MIGRATIONS)}" in sentence
    assert "install the later program" in sentence
    assert kept(home.root) == whole


@pytest.mark.parametrize("words", STARTS)
def test_bad_input_damaged_record_is_kept_and_copied(home: Home, words: list[str]) -> None:
    """It is left as it is, a copy lies beside it, and the sentence says how to go on."""
    hurt = bytearray(home.store.read_bytes())
    hurt[20_000:24_000] = bytes(range(250)) * 16
    home.store.write_bytes(hurt)
    whole = kept(home.root)
    sentence = refused([*TAWNY, *words], home.root)
    copy = home.root / "record.db.damaged-1"

    assert f"{home.store} is damaged" in sentence
    assert f"a copy kept as {copy}" in sentence
    assert "go on in another folder (--home)" in sentence
    assert copy.read_bytes() == hurt
    assert {name: kept(home.root)[name] for name in whole} == whole


@pytest.mark.parametrize("words", LOOKS)
def test_bad_input_that_is_no_record_is_told_to_whoever_looks(home: Home, words: list[str]) -> None:
    """A file of something else in the record's place."""
    home.store.write_bytes(b"Dear diary, today the press leaked again.\n" * 200)
    whole = kept(home.root)

    assert "is damaged (file is not a database)" in refused([*TAWNY, *words], home.root)
    assert kept(home.root) == whole


def test_bad_input_empty_record_is_as_good_as_none(home: Home) -> None:
    """A file that a power cut left empty holds no record; a start begins one in it."""
    home.store.write_bytes(b"")
    sentence = refused([*TAWNY, "parts"], home.root)

    assert "holds no record yet" in sentence
    with Store.open(home.root, simulated=True) as store:
        assert store.parts() == []


@pytest.mark.parametrize(
    ("place", "words", "told"),
    [
        ("", ["serve"], "is a file, not a folder"),
        ("", ["demo", "--headless"], "is a file, not a folder"),
        ("below", ["demo", "--headless"], "cannot be written: Not a directory"),
    ],
)
def test_bad_input_file_for_a_home_is_told(
    tmp_path: Path, place: str, words: list[str], told: str
) -> None:
    """The folder named is a file, or lies in one; it stays as it was."""
    file = tmp_path / "notes.txt"
    file.write_text("mine")

    assert told in refused([*TAWNY, *words], file / place)
    assert file.read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("record.db", "cannot be written"),
        ("lock", "cannot be written"),
        ("desk.sock", "in the way of the desk's socket"),
    ],
)
def test_bad_input_folder_in_the_way_is_told(home: Home, name: str, told: str) -> None:
    """A folder where the program keeps a file of its own is named, and nothing is removed."""
    path = home.root / name
    path.unlink(missing_ok=True)
    path.mkdir()

    assert told in refused([*TAWNY, "serve"], home.root)
    assert path.is_dir()


@pytest.fixture
def still(home: Home) -> Iterator[Disk]:
    """Yield the home folder on a disk that takes no writing."""
    with frozen(home.root) as disk:
        yield disk


@pytest.mark.parametrize("words", [*STARTS, ["export"]])
def test_bad_input_folder_that_takes_no_writing_is_told(still: Disk, words: list[str]) -> None:
    """A read-only disk: refused with what to do, whoever the user is."""
    sentence = refused(still.inside([*TAWNY, *words]), still.folder)

    assert os.fspath(still.folder) in sentence
    assert "cannot be written" in sentence
    assert "choose another folder" in sentence


@pytest.mark.parametrize("words", [["parts"], ["show", "P0001-E"]])
def test_bad_input_record_on_a_disk_without_writing_can_be_read(
    still: Disk, words: list[str]
) -> None:
    """Looking at old parts needs no right to write."""
    ran = subprocess.run(
        still.inside([*TAWNY, *words, "--home", os.fspath(still.folder)]),
        capture_output=True,
        text=True,
        check=False,
    )

    assert ran.returncode == 0, ran.stderr
    assert "P0001-E" in ran.stdout


def unprivileged() -> list[str]:
    """Return what takes root's right to pass over permissions away; "" for anybody else."""
    if os.geteuid() != 0:
        return []
    return ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]


def test_bad_input_folder_of_somebody_else_is_told(home: Home) -> None:
    """Without the right to write there is one sentence for a start; reading goes on."""
    home.root.chmod(0o555)
    try:
        sentence = refused([*unprivileged(), *TAWNY, "serve"], home.root)
        assert "Permission denied" in sentence
        assert "mend its permissions" in sentence
    finally:
        home.root.chmod(0o755)
    home.store.chmod(0o000)
    sentence = refused([*unprivileged(), *TAWNY, "parts"], home.root)
    assert "cannot be read: mend its rights" in sentence


ROOM_KB = [0, 8, 32, 64, 120, 400]


@pytest.mark.parametrize("room_kb", ROOM_KB)
def test_bad_input_disk_without_room_is_told_and_nothing_is_lost(
    tmp_path: Path, room_kb: int
) -> None:
    """However far a start gets, it says that the disk is full; with room it goes on from there."""
    with small_disk(tmp_path, "3m") as disk:
        filler = disk.fill_up()
        os.truncate(filler, filler.stat().st_size - room_kb * 1024)
        words = disk.inside([*TAWNY, "demo", "--headless", "--parts", "1", "--pace", "max"])
        sentence = refused(words, tmp_path)
        assert "No space left on device" in sentence or "the disk is full" in sentence
        assert "free" in sentence.lower() or "Make room" in sentence

        filler.unlink()
        ran = subprocess.run(
            [*words, "--home", os.fspath(tmp_path)], capture_output=True, text=True, check=False
        )
        assert ran.returncode == 0, ran.stderr
        shutil.copytree(disk.seen, tmp_path / "after")
        with Reader.open(tmp_path / "after") as reader:
            assert reader.verify().sound
            assert reader.spooled() == ()
