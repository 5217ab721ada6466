"""Static checks of the board's C: an analyser with MISRA's rules, structure, what is never used.

`firmware/deviations.md` numbers every deviation; a finding that is not there fails, and so does a
deviation that no longer occurs.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

import pytest

from c_core import FIRMWARE
from needs import lacking

SOURCES = sorted(FIRMWARE.glob("*.c"))
HEADERS = sorted(FIRMWARE.glob("*.h"))

# Who includes what of ours. A unit's sources know its own header alone; `unit` joins them, `main`
# and the board's sources join that to the controller.
INSIDE = {"safety": "core.h", "rules": "core.h", "memory": "record.h", "record": "record.h"}
JOINING = {"unit", "requests", "lines"}
BOARD = {"main", "board_avr", "board_check"}
HEADER_OF_HEADER = {"core.h": ["safety.h"], "record.h": ["memory.h"]}
CORE = ("safety*.c", "rules.c", "core.h")
CORE_MOST_LINES = 800  # SR-33
ENDLESS = re.compile(r"for \([^;]*;\s*;|while \((?:1|1u|true)\)")


def code_of(path: Path) -> str:
    """A source without comments; its lines stay where they are."""
    text = path.read_text(encoding="ascii")
    return re.sub(r"/\*.*?\*/|//[^\n]*", lambda c: "\n" * c[0].count("\n"), text, flags=re.DOTALL)


def words_of(path: Path) -> str:
    """A source without comments and without the text of strings."""
    return re.sub(r'"(?:[^"\\\n]|\\.)*"', '""', code_of(path))


def is_pure(path: Path) -> bool:
    """Whether a source must know no register of the controller."""
    return path.stem not in BOARD


PURE = [path for path in SOURCES if is_pure(path)]


def tool(name: str) -> str:
    """A program that this machine must have."""
    if shutil.which(name) is None:
        lacking(f"{name} is not installed")
    return name


def run(*command: str | Path) -> str:
    """What a program prints."""
    return subprocess.run(
        [str(word) for word in command], check=True, capture_output=True, text=True
    ).stdout


# The analyser.


def flags_of_make() -> list[str]:
    """What the build defines for the compiler, with the values it has by itself."""
    text = (FIRMWARE / "Makefile").read_text(encoding="ascii")
    values = dict(re.findall(r"^(\w+) [?:]= (\S+)$", text, flags=re.MULTILINE))
    defined: list[str] = []
    for name, value in re.findall(r"-D(\w+)=(\S+)", text):
        plain = re.sub(r"\$\((\w+)\)", lambda m: values.get(m[1], "0"), value)
        defined.append(f"-D{name}={'' if name == 'IN_FLASH' else plain}")
    return defined


@cache
def findings() -> frozenset[tuple[str, int, str]]:
    """What cppcheck and its MISRA addon find: file, line, rule."""
    tool("cppcheck")
    ran = subprocess.run(
        ["cppcheck", "--quiet", "--platform=avr8", "--library=avr", "--addon=misra", "--std=c11",
         "--enable=warning,style,performance,portability", "--template={file}|{line}|{id}",
         *flags_of_make(), *(path.name for path in SOURCES)],
        cwd=FIRMWARE, check=True, capture_output=True, text=True,
    )  # fmt: skip
    found = set()
    for line in ran.stderr.splitlines():
        file, number, rule = line.split("|")
        found.add((Path(file).name, int(number), rule.removeprefix("misra-c2012-")))
    return frozenset(found)


def deviations() -> list[tuple[str, str, list[str], str]]:
    """The table: number, rule, files, reason."""
    rows = []
    for line in (FIRMWARE / "deviations.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("| D-"):
            cells = re.split(r"(?<!\\)\|", line)
            number, rule, where, reason = (cell.strip() for cell in cells[1:-1])
            rows.append((number, rule, re.findall(r"[\w.*]+", where), reason))
    return rows


def test_deviations_are_numbered_each_with_its_reason() -> None:
    """D-1, D-2, ...: one rule or finding, the files that need it, and why."""
    rows = deviations()
    assert [number for number, *_ in rows] == [f"D-{place + 1}" for place in range(len(rows))]
    assert len({rule for _, rule, *_ in rows}) == len(rows)
    for number, rule, where, reason in rows:
        assert re.fullmatch(r"\d+\.\d+|[a-zA-Z]+", rule), number
        assert where, number
        assert len(reason) > 20, number


@pytest.mark.slow
def test_analyser_finds_nothing_that_is_no_numbered_deviation() -> None:
    """Every finding of cppcheck and its MISRA addon stands in the table, for that file."""
    allowed = {rule: where for _, rule, where, _ in deviations()}
    new = [
        f"{file}:{line}: {rule}"
        for file, line, rule in sorted(findings())
        if not any(fnmatch(file, pattern) for pattern in allowed.get(rule, []))
    ]
    assert new == []
    # It looked at every source: each has something that the table allows.
    assert {file for file, *_ in findings()} >= {path.name for path in SOURCES} - {"session.c"}


@pytest.mark.slow
def test_deviations_are_all_still_needed() -> None:
    """A deviation that no longer occurs, in one of its files, leaves the table."""
    found = {(file, rule) for file, _, rule in findings()}
    gone = [
        f"{number}: {rule} in {pattern}"
        for number, rule, where, _ in deviations()
        for pattern in where
        if not any(fnmatch(file, pattern) and rule == other for file, other in found)
    ]
    assert gone == []


@pytest.mark.slow
def test_analyser_sees_what_is_planted(tmp_path: Path) -> None:
    """A write past an array, a mixed comparison and an octal number are found."""
    planted = tmp_path / "planted.c"
    planted.write_text(
        "#include <stdint.h>\n"
        "int16_t planted(const uint8_t *bytes, int16_t index);\n"
        "int16_t planted(const uint8_t *bytes, int16_t index)\n"
        "{\n"
        "    uint8_t few[2] = {0u, 0u};\n"
        "    if (index > 9u) { index = 0; }\n"
        "    few[2] = (index == 0) ? bytes[0] : 010;\n"
        "    return few[0];\n"
        "}\n",
        encoding="ascii",
    )
    ran = subprocess.run(
        [tool("cppcheck"), "--quiet", "--platform=avr8", "--library=avr", "--addon=misra",
         "--enable=style", "--template={id}", planted],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    found = set(ran.stderr.split())
    assert found >= {"arrayIndexOutOfBounds", "misra-c2012-10.4", "misra-c2012-7.1"}


# Structure.


@pytest.mark.parametrize("source", PURE, ids=lambda path: path.name)
def test_pure_source_includes_its_own_header_and_standard_ones(source: Path) -> None:
    """One header of ours, which is its unit's, and of others only `std*`."""
    ours = re.findall(r'#include "([^"]+)"', source.read_text(encoding="ascii"))
    others = re.findall(r"#include <([^>]+)>", source.read_text(encoding="ascii"))
    unit = source.stem.split("_", maxsplit=1)[0]
    own = "unit.h" if unit in JOINING else INSIDE.get(unit, f"{unit}.h")
    assert ours == [own]
    assert all(re.fullmatch(r"std\w+\.h", other) for other in others)


@pytest.mark.parametrize("header", HEADERS, ids=lambda path: path.name)
def test_header_includes_standard_ones(header: Path) -> None:
    """A unit's header knows no other unit; only the unit that joins them does."""
    ours = re.findall(r'#include "([^"]+)"', header.read_text(encoding="ascii"))
    others = re.findall(r"#include <([^>]+)>", header.read_text(encoding="ascii"))
    units = {f"{path.stem.split('_')[0]}.h" for path in PURE}
    if header.name == "unit.h":
        assert set(ours) <= units - {"unit.h"}
    else:
        assert ours == HEADER_OF_HEADER.get(header.name, [])
    assert all(re.fullmatch(r"std\w+\.h", other) for other in others)


def test_registers_are_known_to_the_boards_own_sources_alone() -> None:
    """No other source includes the controller's headers or names an interrupt."""
    knowing = {
        path.stem
        for path in SOURCES
        if re.search(r"#include <avr/|\bISR\(|\basm\b", path.read_text(encoding="ascii"))
    }
    assert knowing <= BOARD - {"main"}
    assert "board_avr" in knowing


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.name)
def test_source_uses_no_float_no_heap_and_no_jump(source: Path) -> None:
    """Integers only; no memory is taken at run time; no jump but those of the language's blocks."""
    text = words_of(source)
    assert re.search(r"\b(float|double|goto|setjmp|longjmp)\b", text) is None
    assert re.search(r"\b(malloc|calloc|realloc|free|alloca)\s*\(", text) is None
    assert re.search(r"\b\d+\.\d*|\b\d+[eE][-+]?\d", text) is None


@pytest.mark.parametrize("source", PURE, ids=lambda path: path.name)
def test_pure_source_has_no_endless_loop(source: Path) -> None:
    """A loop without an end is the main program's alone."""
    assert ENDLESS.search(words_of(source)) is None


def test_the_main_program_has_one_endless_loop() -> None:
    """And that is the loop of its passes."""
    assert len(ENDLESS.findall(words_of(FIRMWARE / "main.c"))) == 1


# The compiled objects.


@pytest.fixture(scope="module")
def objects(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every source, compiled for the controller: calls stay calls, functions apart."""
    compiler = tool("avr-gcc")
    folder = tmp_path_factory.mktemp("objects")
    built = {}
    for source in SOURCES:
        built[source.stem] = folder / f"{source.stem}.o"
        run(
            compiler, "-std=gnu11", "-mmcu=atmega328p", "-Os", "-fshort-enums", "-fno-inline",
            "-fno-optimize-sibling-calls", "-ffunction-sections", "-Wvla", "-Werror",
            "-DIN_FLASH=__flash", *(f for f in flags_of_make() if "IN_FLASH" not in f),
            f"-I{FIRMWARE}", "-c", source, "-o", built[source.stem],
        )  # fmt: skip
    return built


@pytest.mark.parametrize("name", [path.stem for path in PURE])
def test_pure_object_keeps_nothing_between_calls(name: str, objects: dict[str, Path]) -> None:
    """No variable lies outside functions, and no constant takes room in RAM."""
    headers = run("avr-objdump", "-h", objects[name])
    sections = re.findall(r"^\s*\d+ (\.\S+)\s+([0-9a-f]+)", headers, re.MULTILINE)
    assert any(section.startswith(".text") for section, _ in sections)
    in_ram = {
        section: int(size, 16)
        for section, size in sections
        if section.startswith((".data", ".bss", ".rodata", ".noinit")) and int(size, 16)
    }
    assert in_ram == {}
    kept = re.findall(r"^\S* [bBdDC] (\S+)", run("avr-nm", objects[name]), re.MULTILINE)
    assert kept == []


@pytest.mark.parametrize("name", [path.stem for path in SOURCES])
def test_object_calls_no_float_and_no_heap(name: str, objects: dict[str, Path]) -> None:
    """Neither does the compiler, on its own account."""
    wanted = run("avr-nm", "-u", objects[name]).split()[1::2]
    assert [w for w in wanted if re.search(r"sf[23]?$|df[23]?$|^__f|alloc|^free$", w)] == []


def calls(objects: dict[str, Path]) -> Iterator[tuple[str, str]]:
    """Who calls whom in the machine code; a call by pointer is one of all it may reach."""
    pointed: set[str] = set()
    by_pointer: set[str] = set()
    for path in objects.values():
        function = ""
        for line in run("avr-objdump", "-dr", path).splitlines():
            if begin := re.match(r"[0-9a-f]+ <([^>]+)>:", line):
                function = begin[1]
            elif re.search(r"\te?i(call|jmp)\b", line):
                by_pointer.add(function)
            elif target := re.search(r": R_AVR_CALL\s+(?:\.text\.)?(\w+)$", line):
                yield function, target[1]
        relocations = run("avr-objdump", "-r", path)
        pointed.update(
            re.findall(r"R_AVR_\w*(?:_PM|_GS)\s+(?:\.text\.)?(\w+)$", relocations, re.MULTILINE)
        )
    assert by_pointer  # the EEPROM is read so
    assert pointed
    yield from ((caller, callee) for caller in by_pointer for callee in pointed)


def circle(graph: dict[str, set[str]]) -> list[str]:
    """A chain of calls that comes back to where it began, or nothing."""
    done: set[str] = set()

    def follow(function: str, path: list[str]) -> list[str]:
        if function in path:
            return [*path[path.index(function) :], function]
        if function in done:
            return []
        for callee in sorted(graph.get(function, ())):
            if found := follow(callee, [*path, function]):
                return found
        done.add(function)
        return []

    for function in sorted(graph):
        if found := follow(function, []):
            return found
    return []


def test_no_function_calls_itself_even_through_others(objects: dict[str, Path]) -> None:
    """The graph of calls of the whole image has no circle, so that its stack has a bound."""
    graph: dict[str, set[str]] = defaultdict(set)
    for caller, callee in calls(objects):
        graph[caller].add(callee)
    assert "wire_read" in graph["wire_hear"] | graph["complete"]
    assert circle(graph) == []
    graph["wire_crc_step"].add("wire_read")  # and it would be seen
    assert circle(graph)[0] == circle(graph)[-1]


# The safety core, SR-33.


def test_safety_core_is_small_and_knows_no_line() -> None:
    """At most 800 lines of code, none of them of lines, sessions or outputs."""
    paths = [path for pattern in CORE for path in FIRMWARE.glob(pattern)]
    assert len(paths) >= 4
    lines = [
        line
        for path in paths
        if path.suffix == ".c"
        for line in code_of(path).splitlines()
        if line.strip(" {};")
    ]
    assert len(lines) <= CORE_MOST_LINES
    for path in paths:
        assert re.search(r"\b(wire|unit|session|output|memory|board)_\w+", words_of(path)) is None


def test_nothing_but_the_safety_core_writes_its_state() -> None:
    """Other sources call it and read it; none assigns to a field of it."""
    written = re.compile(
        r"\bsafety(?:\.|->)[\w.\[\]]+\s*(?:[-+*/%&|^]|<<|>>)?=(?!=)|"
        r"\bsafety(?:\.|->)[\w.\[\]]+\s*(?:\+\+|--)|(?:\+\+|--)\w+(?:\.|->)safety\."
    )
    mine = {path.name for pattern in CORE for path in FIRMWARE.glob(pattern)}
    for path in SOURCES:
        found = written.search(words_of(path))
        assert (found is not None) <= (path.name in mine), (path.name, found)
    assert any(written.search(words_of(path)) for path in SOURCES if path.name in mine)


# Form.


def test_c_is_formatted() -> None:
    """`clang-format-19 -i` changes nothing."""
    paths = [*SOURCES, *HEADERS, *(FIRMWARE.parent / "tests").glob("**/*.[ch]")]
    ran = subprocess.run(
        [tool("clang-format-19"), "--dry-run", "-Werror", *paths],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
