"""What commissioning, proof test and flashing ask for agrees with program and board."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tawny.core import commission, recipe
from tawny.core.commission_steps import STEPS
from tawny.core.limits import COMMISSIONING_NO_RISE_S, SETPOINT_BELOW_TRIP_K
from tawny.words.commission import STEPS as HEADINGS

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"
TEXT = (HARDWARE / "commissioning.md").read_text(encoding="utf-8")
BODY, FORM = TEXT.split("## The form")
YEARLY = (HARDWARE / "yearly.md").read_text(encoding="utf-8")
MAKEFILE = (HOUSE / "firmware" / "Makefile").read_text(encoding="ascii")


def step(number: str) -> str:
    """Return a step of the page by its number in the form, white space made one."""
    part, place = number.split(".")
    section = re.search(rf"^## {part}\. .*?(?=^## |\Z)", BODY, re.MULTILINE | re.DOTALL)[0]
    found = re.search(rf"^{place}\. .*?(?=^\d+\. |^\n|\Z)", section, re.MULTILINE | re.DOTALL)
    return " ".join(found[0].split())


def row(number: str) -> str:
    """Return the form's row of a step."""
    return re.search(rf"^\| {re.escape(number)} \|[^\n]*", FORM, re.MULTILINE)[0]


@pytest.mark.parametrize(
    ("number", "taken_out", "put_back", "asked"),
    [
        ("1.3", "J1 open", "**Close J1;", "J1 closed"),
        ("1.6", "A1 unplugged", "Plug A1 in again", "A1 plugged in"),
        ("3.4", "F2 and F3 out", "fuses in", "F2 and F3 in"),
        ("3.4", "link across A3.11-14", "**link out**", "link out"),
        ("3.4", "wire from K1.13 to X1", "the wire out", "earth wire"),
        ("4.3", "sensor in a dry block", "**Put the sensor back", "sensors back"),
        ("6.3", "out of its hole", "**Put it back, clamped", "probes back"),
    ],
)
def test_commissioning_puts_back_what_it_takes_out(
    number: str, taken_out: str, put_back: str, asked: str
) -> None:
    """In the same step, after it; and the form has a place for it."""
    said = step(number)

    assert said.index(taken_out) < said.index(put_back)
    assert asked in row(number)


def test_commissioning_tries_the_chain_without_the_board() -> None:
    """Each contact of the chain, the holding contact and J1; A3 bridged, no heat possible."""
    said = step("3.4")

    for subject in (
        "USB unplugged",
        "still in after 3 s",
        "Heat-off button",
        "T1",
        "T2",
        "isolator",
    ):
        assert subject in said, subject
    assert said.rstrip(".").endswith("ARM brings nothing in")


@pytest.mark.parametrize("line", ["Y3", "Y4", "Y6", "Y8"])
def test_yearly_tries_the_chain_without_the_board(line: str) -> None:
    """What the board would do as well proves nothing of layer 3."""
    assert "3.4" in re.search(rf"^\| {line} \|[^\n]*", YEARLY, re.MULTILINE)[0]


def test_yearly_judges_no_contact_by_ear() -> None:
    """A welded contact makes the same sound."""
    assert "or listen" not in YEARLY


def test_commissioning_page_uses_a_setpoint_that_a_recipe_takes() -> None:
    """Part 6 works with the least recipe, and a trip point that the program can set for it."""
    part = re.search(r"^## 6\. .*?(?=^## )", BODY, re.MULTILINE | re.DOTALL)[0]
    setpoint_c = float(re.search(r"recipe of (\d+) degC", part)[1])

    assert setpoint_c == recipe.SETPOINT_LEAST_C
    assert f"trip - {SETPOINT_BELOW_TRIP_K:.0f} K" in part
    assert "rip point as part 5 left it" in part


def test_commissioning_page_heats_no_half_whose_probe_is_out() -> None:
    """The over-temperature trip is tried where nothing can heat."""
    said = step("6.3")

    assert said.index("isolator off and locked") < said.index("out of its hole")
    assert "disarmed" in said


def test_commissioning_page_names_what_the_program_walks() -> None:
    """Every number in the program's headings is a step of the page."""
    named = set(re.findall(r"\b\d\.\d+\b", " ".join(map(str, HEADINGS.values()))))
    known = set(re.findall(r"^\| (\d\.\d+) \|", FORM, re.MULTILINE))

    assert {"2.2", "2.4", "2.5", "4.1", "4.5", "5.1", "7.8"} <= named <= known


def test_commissioning_page_and_program_agree_on_bounds() -> None:
    """Which rise is refused, that the chain is tried without heat, and how long ARM may be held."""
    least, most = commission.USUAL_PART
    assert f"refuses below {least} and above {most}" in step("5.3")

    part = re.search(r"^## 4\. .*?(?=^1\. )", BODY, re.MULTILINE | re.DOTALL)[0]
    chain = [s for s in STEPS if s.code in {"heat_off", "thermostat", "mains", "permission"}]
    stages = [stage for s in chain for stage in s.stages if stage.heats is not None]
    assert stages
    assert all(stage.heats == 0.0 for stage in stages)
    assert "at duty 0: nothing is heated" in " ".join(part.split())
    within_s = float(re.search(r"within (\d+) s", " ".join(part.split()))[1])
    assert all(within_s <= stage.within_s < COMMISSIONING_NO_RISE_S for stage in stages)


def test_firmware_make_writes_the_fuses_of_the_page() -> None:
    """The bytes of the table and of the command are the same, and one command reads them back."""
    page = (HOUSE / "firmware" / "README.md").read_text(encoding="utf-8")
    table = re.findall(r"^\| (?:low|high|extended) \| ([0-9A-F]{2}) \|", page, re.MULTILINE)
    written = re.findall(r"-U ([lhe])fuse:w:0x([0-9a-f]{2}):m", MAKEFILE)

    assert [(kind, byte.upper()) for kind, byte in written] == list(zip("lhe", table, strict=True))
    assert re.findall(r"-U ([lhe])fuse:r:-:h", MAKEFILE) == ["l", "h", "e"]
    assert "make fuses-read" in page
    assert "make fuses-read" in step("2.1")


@pytest.mark.parametrize(
    "said",
    [
        *("prop the platens before a hand", "no solvent or spray on a hot mould"),
        *("never pump up during heat-up", "stand aside of the parting line"),
        *("does not release the jack", "licensed electrician", "rules of your country"),
    ],
)
def test_firmware_page_opens_with_the_cautions_of_the_others(said: str) -> None:
    """Who flashes stands at the same press."""
    page = (HOUSE / "firmware" / "README.md").read_text(encoding="utf-8")
    opening = " ".join(
        re.match(r"# [^\n]+\n\n((?:> ?[^\n]*\n)+)", page)[1].replace("\n>", " ").split()
    )

    assert said in opening.lower()


def test_variants_numbers_the_bits_of_what_is_fitted() -> None:
    """The page's bits and values are those that the firmware compiles."""
    page = (HARDWARE / "variants.md").read_text(encoding="utf-8")
    header = (HOUSE / "firmware" / "unit.h").read_text(encoding="ascii")
    compiled = [
        int(value, 16) for value in re.findall(r"#define UNIT_FIT_\w+ (0x[0-9A-Fa-f]+)u", header)
    ]
    order = re.findall(r"#define UNIT_FIT_(\w+) ", header)
    names = ("mould switch", "NEXT/MARK", "force", "identity", "call lamp", "buzzer")
    said = [
        (int(bit), name, int(value))
        for bit, name, value in re.findall(r"(\d) ([A-Za-z/ ]+) \((\d+)\)", page)
    ]

    assert order == ["SWITCH", "NEXT", "FORCE", "IDENTITY", "LAMP", "BUZZER"]
    assert said == [
        (bit, name, value) for bit, (name, value) in enumerate(zip(names, compiled, strict=True))
    ]
    default = int(re.search(r"FIT \?= (0x[0-9a-f]+)", MAKEFILE)[1], 16)
    assert f"`0x{default:x}`, all but force" in page
    assert default == sum(compiled) - compiled[2]
    assert f"`0x{default - compiled[1] - compiled[4]:x}`" in page
