"""The command line: light help, one sentence for whatever goes wrong, JSON for programs."""

from __future__ import annotations

import csv
import json
import os
import pty
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest

from made_record import ROWS, made_home
from tawny import __version__
from tawny.cli.main import answer
from tawny.cli.root import COMMANDS, root
from tawny.settings.home import Home, find_home, open_home

TAWNY = [sys.executable, "-m", "tawny"]
HEAVY = {
    "apsw",
    "babel",
    "matplotlib",
    "msgspec",
    "numpy",
    "pint",
    "platformdirs",
    "scipy",
    "serial",
    "simple_pid",
    "textual",
    "tomlkit",
}


def tawny(*words: str, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run the program as a user does."""
    return subprocess.run([*TAWNY, *words], capture_output=True, text=True, check=False, **options)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Return a home folder with two made-up parts in its record."""
    return made_home(tmp_path_factory.mktemp("home"))


def loaded_by(*words: str) -> set[str]:
    """Return the packages that a call of the program loads."""
    script = (
        "import sys\n"
        "from tawny.cli.main import answer\n"
        "code = answer(sys.argv[1:])\n"
        "print(*{name.partition('.')[0] for name in sys.modules}, file=sys.stderr)\n"
        "sys.exit(code)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script, *words], capture_output=True, text=True, check=True
    )
    return set(ran.stderr.split())


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["calc", "--help"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    """Help and version load none of the libraries that only a command needs."""
    loaded = loaded_by(*words)

    assert "click" in loaded
    assert loaded & HEAVY == set()


def cpu_s(words: list[str]) -> float:
    """Return the processor time of a call; less shaken by a busy machine than the clock is."""
    child = os.posix_spawn(
        words[0],
        words,
        {**os.environ, "PYTHONDONTWRITEBYTECODE": ""},
        file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
    )
    _, status, usage = os.wait4(child, 0)
    assert status == 0
    return usage.ru_utime + usage.ru_stime


def test_help_takes_at_most_five_bare_interpreters() -> None:
    """Both are taken in turn, the best of several, in one run."""
    bare, shown = [sys.executable, "-c", "pass"], [*TAWNY, "--help"]
    pairs = [(cpu_s(bare), cpu_s(shown)) for _ in range(15)]
    bare_s, shown_s = (min(times) for times in zip(*pairs, strict=True))

    assert shown_s <= 5.0 * bare_s, f"{shown_s / bare_s:.2f} times a bare interpreter"


def test_help_lists_every_command_with_its_own_words() -> None:
    """The table that spares loading a command says what the command itself says it is."""
    shown = tawny("--help").stdout

    for name in COMMANDS:
        assert f"\n  {name} " in shown
        command = root.get_command(click.Context(root), name)
        assert command is not None
        assert command.help, name


def test_version_is_printed() -> None:
    """One line, the package's own version."""
    assert tawny("--version").stdout == f"tawny {__version__}\n"


def test_tawny_without_a_terminal_says_what_to_do(tmp_path: Path) -> None:
    """Alone in a pipe it names what works there, exits 2, and makes no folder."""
    ran = tawny(cwd=tmp_path, env={**os.environ, "TAWNY_HOME": str(tmp_path / "home")})

    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "needs a terminal" in ran.stderr
    assert "tawny demo --headless" in ran.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["show", "P0001-X"], "has a mistake in it"),
        (["show", "P9999-P"], "there is no part P9999"),
        (["nonsense"], "No such command 'nonsense'"),
        (["export", "--format", "xls"], "'xls' is not one of"),
        (["export", "--format", "json", "--locale-comma"], "goes with --format csv"),
        (["parts", "--limit", "0"], "not in the range"),
        (["calc", "dose", "--trace", "none.csv"], "Missing option"),
        (["calc", "water", "--mass", "1 kg", "--from", "8,5 %", "--to", "12 %"], "has a comma"),
    ],
)
def test_mistake_on_the_command_line_is_said_and_exits_2(
    home: Home, words: list[str], sentence: str
) -> None:
    """The sentence goes to standard error, nothing to standard output, and no traceback."""
    ran = tawny(*words, env={**os.environ, "TAWNY_HOME": str(home.root)})

    assert ran.returncode == 2
    assert ran.stdout == ""
    assert sentence in ran.stderr
    assert "Traceback" not in ran.stderr


def test_home_is_taken_before_or_after_the_command(home: Home, tmp_path: Path) -> None:
    """--home at the root, --home of the command and TAWNY_HOME mean the same; the nearest wins."""
    elsewhere = {**os.environ, "TAWNY_HOME": str(tmp_path)}
    first = tawny("--home", str(home.root), "parts", "--json", env=elsewhere)
    second = tawny("parts", "--home", str(home.root), "--json", env=elsewhere)
    third = tawny("parts", "--json", env={**os.environ, "TAWNY_HOME": str(home.root)})

    assert first.stdout == second.stdout == third.stdout
    assert len(first.stdout.splitlines()) == 2
    assert tawny("parts", env=elsewhere).returncode == 2


def test_parts_are_listed_newest_first(home: Home) -> None:
    """A heading, a line for each part, and SIMULATED above them."""
    lines = tawny("parts", "--home", str(home.root)).stdout.splitlines()

    assert lines[0].startswith("SIMULATED")
    assert lines[1].split()[:4] == ["part", "pressed", "recipe", "result"]
    assert [line.split()[0][:5] for line in lines[2:]] == ["P0002", "P0001"]
    assert "deviation_low" in lines[2]


def test_parts_as_json_are_one_object_a_line(home: Home) -> None:
    """Each line has at least the fields that the demo prints for a part."""
    lines = tawny("parts", "--home", str(home.root), "--json").stdout.splitlines()
    found = [json.loads(line) for line in lines]

    assert {
        "part_id",
        "pressing_id",
        "recipe",
        "hold_s",
        "equivalent_s",
        "peak_c",
        "mean_hold_c",
        "energy_kwh",
        "alarms",
        "result",
    } <= found[0].keys()
    assert [part["result"] for part in found] == ["aborted", "complete"]
    assert found[0]["simulated"] is True


def test_parts_can_be_narrowed(home: Home) -> None:
    """By how the pressing ended, by number, by recipe; none left is said."""
    here = ["--home", str(home.root)]

    assert len(tawny("parts", *here, "--result", "aborted", "--json").stdout.splitlines()) == 1
    assert len(tawny("parts", *here, "--limit", "1", "--json").stdout.splitlines()) == 1
    assert tawny("parts", *here, "--recipe", "none", "--json").stdout == ""
    assert "no such part" in tawny("parts", *here, "--recipe", "none").stdout


def test_show_tells_everything_about_a_part(home: Home) -> None:
    """For a person a fact a line; for a program one object with the sealed pressing in it."""
    here = ["--home", str(home.root)]
    part = json.loads(tawny("parts", *here, "--limit", "1", "--json").stdout)["part_id"]
    told = tawny("show", part.lower(), *here).stdout
    said = json.loads(tawny("show", part, *here, "--json").stdout)

    assert told.startswith("SIMULATED")
    for fact in ("Ada", "grain 41", "181.4 °C", "0.031 kWh", "12.2 s", "4:04, equivalent 4:00"):
        assert fact in told
    assert said["part_id"] == part
    assert said["pressing"]["recipe"]["name"] == "grain-apple"
    assert len(said["entry_hash"]) == 64


def rows_of(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_export_writes_every_part_and_their_list(home: Home, tmp_path: Path) -> None:
    """Without a name all parts go, each with its trace, and one list of them beside."""
    ran = tawny("export", "--home", str(home.root), "--to", str(tmp_path))
    files = [Path(line) for line in ran.stdout.splitlines()]
    traces = sorted(tmp_path.glob("SIMULATED-P0*.csv"))
    listed = rows_of(tmp_path / "SIMULATED-parts.csv")

    assert ran.returncode == 0
    assert sorted(files) == sorted(tmp_path.iterdir())
    assert len(traces) == len(listed) == 2
    rows = rows_of(traces[0])
    assert len(rows) == ROWS
    assert {row["event"] for row in rows} == {"", "breath"}
    assert {row["upper_delivered"] for row in rows[1:]} == {"0.3000"}


def test_export_goes_into_the_home_folder_unless_told(home: Home) -> None:
    """Nothing is written where the program happens to be started."""
    ran = tawny("export", "--home", str(home.root), "--format", "json", "--json")
    said = [json.loads(line) for line in ran.stdout.splitlines()]

    assert all(Path(path).parent == home.exports for part in said for path in part["files"])


def test_export_draws_a_picture_of_a_part(home: Home, tmp_path: Path) -> None:
    """--picture adds an SVG and a PNG."""
    part = json.loads(tawny("parts", "--home", str(home.root), "--limit", "1", "--json").stdout)
    ran = tawny(
        "export", part["part_id"], "--home", str(home.root), "--to", str(tmp_path), "--picture"
    )

    assert ran.returncode == 0, ran.stderr
    assert {path.suffix for path in tmp_path.iterdir()} == {".csv", ".json", ".svg", ".png"}


def test_output_that_nobody_reads_ends_quietly(home: Home) -> None:
    """With the pipe's other end closed there is no complaint and no traceback."""
    reading, writing = os.pipe()
    os.close(reading)
    words = [*TAWNY, "parts", "--home", str(home.root)]
    ran = subprocess.run(words, stdout=writing, stderr=subprocess.PIPE, check=False)
    os.close(writing)

    assert ran.returncode == 1
    assert ran.stderr == b""


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add a command with a fault in it."""

    @click.command("broken")
    def command() -> None:
        raise ZeroDivisionError("it fell over\nbadly")

    module = type(sys)("tawny.cli.broken_for_test")
    module.command = command  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "tawny.cli.broken_for_test", module)
    entry = type(COMMANDS["run"])("broken_for_test", "command", "")
    monkeypatch.setitem(COMMANDS, "broken", entry)


@pytest.mark.usefixtures("broken")
def test_fault_in_the_program_is_a_report_and_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The report lies in the home folder with the whole story; the operator reads one line."""
    home = open_home(find_home(tmp_path / "home"))
    code = answer(["--home", str(home.root), "broken"])
    said = capsys.readouterr().err
    (report,) = home.crashes.iterdir()

    assert code == 1
    assert said == (
        "a fault in the program: ZeroDivisionError: it fell over; "
        f"please send {report} to whoever mends it\n"
    )
    assert "ZeroDivisionError" in report.read_text()
    assert __version__ in report.read_text()


@pytest.mark.usefixtures("broken")
def test_fault_without_a_home_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No folder is made for a report; the sentence says how to see more, and then it shows."""
    missing = str(tmp_path / "none")

    assert answer(["--home", missing, "broken"]) == 1
    assert "run it again with TAWNY_DEBUG=1 to see where" in capsys.readouterr().err
    monkeypatch.setenv("TAWNY_DEBUG", "1")
    assert answer(["--home", missing, "broken"]) == 1
    assert "Traceback" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_tawny_in_another_language_still_answers() -> None:
    """A language without a catalogue shows the source text; its decimal sign is for people."""
    environ = {**os.environ, "LANG": "de_DE.UTF-8", "LC_ALL": ""}
    ran = tawny(
        "calc", "water", "--mass", "1 kg", "--from", "8 %", "--to", "12 %", "--json", env=environ
    )

    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout)["water_g"] == pytest.approx(45.4545, abs=1e-3)


def test_terminal_is_one_only_at_both_ends(tmp_path: Path) -> None:
    """Standard output in a pipe is no terminal even where standard input is one."""
    controller, terminal = pty.openpty()
    try:
        ran = subprocess.run(
            TAWNY,
            stdin=terminal,
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "TAWNY_HOME": str(tmp_path)},
        )
    finally:
        os.close(controller)
        os.close(terminal)

    assert ran.returncode == 2
    assert "needs a terminal" in ran.stderr


def test_letter_that_the_output_cannot_show_is_no_fault(home: Home) -> None:
    """On a terminal of another encoding a dash is shown by its number, and nothing falls over."""
    environ = {**os.environ, "PYTHONIOENCODING": "latin-1"}
    part = json.loads(tawny("parts", "--home", str(home.root), "--limit", "1", "--json").stdout)
    words = [*TAWNY, "show", part["part_id"], "--home", str(home.root)]
    ran = subprocess.run(words, capture_output=True, env=environ, check=False)

    assert ran.returncode == 0
    assert ran.stderr == b""
    assert b"\\u2013" in ran.stdout
    assert "°C".encode("latin-1") in ran.stdout
