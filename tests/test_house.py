"""The house itself: what lies where, how long files are, what may not stand in them."""

from __future__ import annotations

import ast
import os
import re
import tomllib
from pathlib import Path

import pytest

from tawny.cli.root import COMMANDS

HOUSE = Path(__file__).resolve().parent.parent
MADE = {"build", "dist"}  # beside what begins with a dot or a double underscore
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "host",
    "firmware",
    "tests",
    "hardware",
}


def files() -> list[Path]:
    """Return every file of the project, made things and hidden folders but .ci left out."""
    found = []
    for folder, inside, names in os.walk(HOUSE):
        inside[:] = [
            name
            for name in inside
            if name == ".ci"
            or not (name.startswith((".", "__pycache__")) or name in MADE or name.endswith("-info"))
        ]
        found += [Path(folder, name) for name in names]
    return found


def texts() -> list[tuple[Path, str]]:
    """Return every text file with its text."""
    kinds = {".py", ".md", ".toml", ".txt", ".csv", ".json", ".tcss", ".svg", ".c", ".h", ""}
    return [
        (path.relative_to(HOUSE), path.read_text(encoding="utf-8", errors="replace"))
        for path in files()
        if path.suffix in kinds
    ]


def read(name: str) -> str:
    """Return a file of the top level."""
    return (HOUSE / name).read_text(encoding="utf-8")


def test_house_has_only_its_agreed_rooms() -> None:
    """The top level is fixed; beside it only dotfiles."""
    rooms = {path.relative_to(HOUSE).parts[0] for path in files()}

    assert {room for room in rooms if not room.startswith(".")} == TOP


def test_house_files_are_short() -> None:
    """No source file is longer than 400 lines, and the two pages for people are one read."""
    long = {
        str(path): text.count("\n")
        for path, text in texts()
        if path.suffix in {".py", ".c", ".h", ".tcss"} and text.count("\n") > 400
    }

    assert long == {}
    assert read("DEVELOPERS.md").count("\n") < 200
    assert read("README.md").count("\n") < 200


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("the address of a package index", r"pypi\.org|pythonhosted\.|piwheels\.org"),
        ("an index option", r"--(extra-)?index-url|--find-links"),
        ("a folder of one machine", rf"{re.escape(str(HOUSE))}/|/root/|/home/[a-z]"),
        ("something left undone", r"\bTODO\b|\bFIXME\b|\bNotImplementedError\b"),
    ],
)
def test_house_holds_nothing_that_belongs_elsewhere(what: str, pattern: str) -> None:
    """The tree works on any machine and leaves nothing half done."""
    found = [
        f"{path}: {match[0]}"
        for path, text in texts()
        if path.name != Path(__file__).name and (match := re.search(pattern, text))
    ]

    assert found == [], what


def test_house_pictures_fetch_nothing() -> None:
    """A committed picture names no remote font, style or script."""
    for path in files():
        if path.suffix == ".svg":
            text = path.read_text(encoding="utf-8")
            remote = re.findall(r"(?:url\(|href=|src=)[\"']?https?://", text)
            assert remote == [], path


def test_readme_commands_work_as_written() -> None:
    """Three commands of one line each; what they run is there."""
    readme = read("README.md")
    blocks = re.findall(r"```sh\n(.*?)```", readme, re.DOTALL)

    assert [block.count("\n") for block in blocks] == [1, 1, 1]
    first, second, third = (block.strip() for block in blocks)
    assert first.endswith(".venv/bin/tawny demo")
    assert "demo" in COMMANDS
    assert os.access(HOUSE / second, os.X_OK)
    assert third == ".venv/bin/tawny demo --headless --parts 1 --pace max --firmware"
    assert "<!-- test command -->\n```sh\n" + second in readme


def test_readme_states_the_cautions() -> None:
    """Mains, hot metal, steam, hydraulic force, fire, smoke, never unattended, local rules."""
    cautions = read("README.md").split("## Cautions")[1].lower()

    for word in (
        "mains",
        "hot metal",
        "steam",
        "hydraulic force",
        "creep",
        "fire",
        "smoke",
        "never leave the press heating",
        "rules of your country",
        "licensed electrician",
        "not certified",
        "simulation only",
        "limit thermostat",
    ):
        assert word in cautions, word


def test_pages_link_to_what_is_there() -> None:
    """Each link of README and DEVELOPERS that names a file names one that exists."""
    for page in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", read(page)):
            assert (HOUSE / target).exists(), target


def missing(page: str) -> list[str]:
    """Return the files and folders that a page names in code and that are not there; `*` is any."""
    rooms = HOUSE, HOUSE / "host" / "tawny", HOUSE / "tests"
    kinds = {".py", ".c", ".h", ".md", ".csv", ".txt", ".toml", ".svg"}
    return [
        name
        for name in re.findall(r"`([\w.*-]+/[\w./*-]*)`", page)
        if name.endswith("/") or name.startswith(".ci/") or Path(name).suffix in kinds
        if not any(any(room.glob(name)) for room in rooms)
    ]


def test_developers_page_names_files_that_are_there() -> None:
    """A file or folder named in the page exists, so that the page cannot drift."""
    found = missing(read("DEVELOPERS.md"))

    assert found == []


def test_developers_page_would_be_caught_at_a_name_that_is_gone() -> None:
    """Wherever the file would lie: a layer of the program, or a room of the house."""
    gone = ("core/none.py", "service/none.py", "sim/none.py", "data/none/", "tests/none_*.py")
    gone += ("tests/campaigns/none.py", "firmware/none.c", "hardware/none.csv", ".ci/none")

    assert missing(" ".join(f"`{name}`" for name in gone)) == list(gone)
    assert missing("`sim/`, `tests/made_*.py`, `firmware/wire.c`, `core/units.parse`") == []


def test_ruff_ignores_each_have_their_reason() -> None:
    """Every rule left out says why, on its own line."""
    text = read("pyproject.toml")
    ruff = text[text.index("[tool.ruff.lint]") : text.index("[tool.ruff.lint.pydocstyle]")]
    rules = re.findall(r'^    "([A-Z]+\d*)",(.*)$', ruff, re.MULTILINE)

    assert len(rules) > 10
    assert [rule for rule, rest in rules if not re.fullmatch(r"\s+# .{4,}", rest)] == []


def test_lock_pins_every_dependency_by_hash() -> None:
    """Each line is a name, a version and a SHA-256, and every need of the project is there."""
    project = tomllib.loads(read("pyproject.toml"))
    lines = [line for line in read(".ci/lock.txt").splitlines() if not line.startswith("#")]
    pinned = {line.partition("==")[0] for line in lines}
    needs = [
        *project["project"]["dependencies"],
        *project["project"]["optional-dependencies"]["test"],
        *project["build-system"]["requires"],
    ]

    assert all(
        re.fullmatch(r"[a-z0-9.-]+==[\w.+]+ --hash=sha256:[0-9a-f]{64}", one) for one in lines
    )
    assert {re.split(r"[<>=~\[ ]", need)[0].lower() for need in needs} <= pinned


def test_every_test_says_what_it_shows() -> None:
    """A test's docstring is the requirement."""
    silent = [
        f"{path.name}: {node.name}"
        for path in sorted((HOUSE / "tests").glob("test_*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("test_")
        and not ast.get_docstring(node)
    ]

    assert silent == []
