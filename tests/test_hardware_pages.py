"""The maker's pages: their cautions, links and figures."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import iapws
import pytest
import thermocouple_its90

from tawny.core.steam import saturation_kpa

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"

# What each row of the page's table gives is computed anew from its own first columns.
HEATING = re.compile(
    r"^\| ([^|]+) \| (\d+) \| ([\d.]+) \| (\d+) \| ([\d.]+) \| (\d+) \|$", re.MULTILINE
)


def test_hazards_table_of_heating_is_computed() -> None:
    """Rise is P / (m c); the time from 180 to 250 degC follows from it."""
    rows = HEATING.findall((HARDWARE / "hazards.md").read_text(encoding="utf-8"))

    assert len(rows) >= 5
    for _, power_w, mass_kg, heat, rise, seconds in rows:
        k_per_s = float(power_w) / (float(mass_kg) * float(heat))
        assert float(rise) == pytest.approx(k_per_s, abs=0.005)
        assert float(seconds) == pytest.approx(70.0 / k_per_s, abs=0.5)


def hazards() -> list[list[str]]:
    """Return the rows of the analysis, cells stripped."""
    text = (HARDWARE / "hazards.md").read_text(encoding="utf-8")
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| H-")
    ]


def test_hazards_are_numbered_and_complete() -> None:
    """H-1 upwards without a gap; each has who, harm, cause, what acts, and what remains."""
    numbers = [int(row[0].removeprefix("H-")) for row in hazards()]

    assert numbers[0] == 1
    assert all(later == earlier + 1 for earlier, later in pairwise(numbers))
    for row in hazards():
        single = len(row) == 6
        assert single or len(row) == 5, row[0]
        assert all(row), row[0]
        if single:
            assert re.search(r"\b[123FEP]\b", row[4]), row[0]


@pytest.mark.parametrize(
    "subject",
    [
        *("fire", "smoke", "shock", "scald", "burn", "jack", "creep", "prop", "steam", "moisture"),
        *("volunteers", "visitors", "children", "fell_fast", "thermal fuse", "polarity"),
        *("swapped", "welded", "limit thermostat", "parting line", "isolator", "solvent"),
    ],
)
def test_hazards_leave_no_subject_out(subject: str) -> None:
    """What must be looked at stands in a row of the analysis."""
    assert any(subject in " ".join(row).lower() for row in hazards())


def test_hazards_name_the_pairs_that_leave_the_thermal_fuse() -> None:
    """Output shorted and contactor welded leaves only the fuse, and without it nothing."""
    pairs = {row[0]: row for row in hazards() if len(row) == 5}

    only = [row for row in pairs.values() if "only F" in row[3]]
    assert any("output shorted" in row[1] and "contactor welded" in row[2] for row in only)
    assert any(row[3] == "**nothing**" for row in pairs.values())


def test_hazards_cited_elsewhere_exist() -> None:
    """Every H-number in a table or page of this folder is a row of the analysis."""
    known = {row[0] for row in hazards()}

    for path in [*HARDWARE.glob("*.md"), *HARDWARE.glob("*.csv")]:
        text = path.read_text(encoding="utf-8")
        assert set(re.findall(r"\bH-\d+\b", text)) <= known, path.name


PAGES = {path.name: path for path in sorted(HARDWARE.glob("*.md"))}
OURS = (
    *("README.md", "hazards.md", "building.md", "probes.md", "variants.md"),
    *("commissioning.md", "calibration.md", "yearly.md", "bench.md"),
)


def page(name: str) -> str:
    """Return a page of the folder, white space made one."""
    return " ".join(PAGES[name].read_text(encoding="utf-8").replace("\n> ", "\n").split())


def caution(name: str) -> str:
    """Return the caution that opens a page, in small letters and without its marks."""
    text = PAGES[name].read_text(encoding="utf-8")
    block = re.match(r"# [^\n]+\n\n((?:> ?[^\n]*\n)+)", text)
    assert block, name
    return " ".join(block[1].replace("\n>", "\n").replace("*", "").lower().split())


@pytest.mark.parametrize("name", OURS)
@pytest.mark.parametrize(
    "said",
    [
        r"prop(ped)? (the platens )?before a hand enters the gap",
        r"no solvent or spray on a hot mould",
        r"never pump up during heat-up",
        r"stand aside of the parting line",
        r"(not|nothing (here )?is) certified",
        r"simulation only",
        r"licensed electrician",
        r"rules of your country",
    ],
)
def test_pages_open_with_their_cautions(name: str, said: str) -> None:
    """The cautions stand on top of every page that touches mains, heat, steam or the jack."""
    assert re.search(said, caution(name))


@pytest.mark.parametrize("name", ["README.md", "hazards.md", "building.md", "commissioning.md"])
def test_pages_say_that_the_button_does_not_release_the_jack(name: str) -> None:
    """Whoever builds, labels or tests the heat-off button reads it there."""
    assert "does not release the jack" in caution(name)


def test_pages_link_to_what_is_there() -> None:
    """Each relative link of a page or of the firmware's names a file that exists."""
    for path in [*PAGES.values(), HOUSE / "firmware" / "README.md"]:
        for target in re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8")):
            assert not target.startswith("http"), target
            assert (path.parent / target).exists(), (path.name, target)


def test_pages_show_the_drawings_and_name_each_page() -> None:
    """The index shows the wiring and leads to every drawing and page."""
    text = PAGES["README.md"].read_text(encoding="utf-8")

    for shown in ("](layers.svg)", "![Coil chain", "![Power circuit"):
        assert shown in text
    for path in [*HARDWARE.glob("*.svg"), *(PAGES[name] for name in OURS)]:
        assert path.name == "README.md" or f"]({path.name})" in text


def test_pages_claim_no_conformity() -> None:
    """No page says that this complies with anything, or that a mould may be opened safely."""
    for path in PAGES.values():
        text = page(path.name).lower()
        for claim in ("complies with", "compliant with", "food safe", "certified to", "fail-safe"):
            assert claim not in text, (path.name, claim)
        for match in re.finditer(r"safe to open", text):
            before = text[max(0, match.start() - 60) : match.start()]
            assert re.search(r"\b(no|never)\b", before), path.name


def rows(name: str, pattern: str) -> list[tuple[str, ...]]:
    """Return the rows of a page's tables that fit a pattern."""
    text = PAGES[name].read_text(encoding="utf-8")
    return re.findall(pattern, text, re.MULTILINE)


def test_boiling_table_agrees_with_an_independent_package() -> None:
    """IAPWS-IF97 region 4 by the iapws package, to the table's last digit, 0.1 K."""
    found = rows("calibration.md", r"^\| (\d+) \| ([\d.]+) \| (-?\d+) \|$")

    assert [int(hpa) for hpa, _, _ in found] == list(range(700, 1061, 20))
    for hpa, boils_c, _ in found:
        water = iapws.IAPWS97(P=float(hpa) / 10_000.0, x=0.0)
        assert float(boils_c) == pytest.approx(water.T - 273.15, abs=0.0501)


def test_boiling_table_agrees_with_the_host() -> None:
    """The host's own saturation line gives the row's pressure back, to what 0.1 K changes."""
    for hpa, boils_c, _ in rows("calibration.md", r"^\| (\d+) \| ([\d.]+) \| (-?\d+) \|$"):
        assert saturation_kpa(float(boils_c)) * 10.0 == pytest.approx(float(hpa), abs=2.0)


def test_boiling_table_heights_are_those_of_the_standard_atmosphere() -> None:
    """ISO 2533: 15 degC and 1013.25 hPa at sea level, 6.5 K less each kilometre."""
    exponent = 287.05287 * 0.0065 / 9.80665

    for hpa, _, height_m in rows("calibration.md", r"^\| (\d+) \| ([\d.]+) \| (-?\d+) \|$"):
        expected_m = 288.15 / 0.0065 * (1.0 - (float(hpa) / 1013.25) ** exponent)
        assert float(height_m) == pytest.approx(expected_m, abs=5.0)


def misread(wrong: str) -> float:
    """What a type K converter at 30 degC shows of 180 degC, by thermocouple-its90's functions."""
    kind = thermocouple_its90.get("K")
    cold_mv, hot_mv = kind.emf(30.0), kind.emf(180.0)
    if match := re.fullmatch(r"type ([A-Z]) probe", wrong):
        other = thermocouple_its90.get(match[1])
        mv = other.emf(180.0) - other.emf(30.0)
    elif match := re.fullmatch(r"copper leads from a joint at (\d+) degC", wrong):
        mv = hot_mv - kind.emf(float(match[1]))
    elif match := re.fullmatch(r"extension reversed at both ends, joint at (\d+) degC", wrong):
        joint_mv = kind.emf(float(match[1]))
        mv = hot_mv - joint_mv - (joint_mv - cold_mv)
    else:
        assert wrong == "probe reversed"
        mv = cold_mv - hot_mv
    return float(kind.temperature(mv + cold_mv))


def test_probes_wrong_wires_read_what_the_page_says() -> None:
    """ITS-90 functions of an independent package, to the degree; low is the dangerous side."""
    found = rows("probes.md", r"^\| ([^|]+) \| (-?\d+) \| ([^|]+) \|$")

    assert len(found) >= 11
    for wrong, shown_c, side in found:
        assert float(shown_c) == pytest.approx(misread(wrong), abs=0.5), wrong
        if wrong != "probe reversed":
            assert side == ("low: dangerous" if float(shown_c) < 180.0 else "high")


def test_probes_name_both_colour_systems() -> None:
    """IEC: green and white; ANSI: yellow, red being the minus wire; both named."""
    text = PAGES["probes.md"].read_text(encoding="utf-8")

    assert re.search(r"^\| IEC 60584-3[^|]*\| green \| green \| white \|$", text, re.MULTILINE)
    ansi = re.findall(
        r"^\| ANSI MC96.1 / ASTM E230[^|]*\| (\w+) \| (\w+) \| \*\*(\w+)\*\* \|$",
        text,
        re.MULTILINE,
    )
    assert ansi == [("brown", "yellow", "red"), ("yellow", "yellow", "red")]


def test_building_thermal_fuse_table_is_computed() -> None:
    """A place with share k of the excess: its temperature, and the half's when the fuse opens."""
    found = rows("building.md", r"^\| (\d+) \| ([\d.]+) \| (\d+) \| (\d+) \| (\d+) \| (\d+) \|$")

    assert len(found) >= 3
    for room, share, at_200, at_250, fuse, half in found:
        room_c, k = float(room), float(share)
        assert float(at_200) == pytest.approx(room_c + k * (200.0 - room_c), abs=0.51)
        assert float(at_250) == pytest.approx(room_c + k * (250.0 - room_c), abs=0.51)
        assert float(half) == pytest.approx(room_c + (float(fuse) - room_c) / k, abs=0.51)
        assert float(fuse) > float(at_250)


def test_building_heat_sink_is_computed() -> None:
    """Loss is drop times current; the sink's resistance is what is left of the temperature."""
    found = re.search(
        r"([\d.]+) V at most .* times ([\d.]+) A is ([\d.]+) W each, ([\d.]+) W for both.*"
        r"\((\d+) - (\d+)\) / [\d.]+ = ([\d.]+) K/W",
        page("building.md"),
    )
    assert found
    drop_v, current_a, one_w, both_w, base_c, inside_c, k_per_w = map(float, found.groups())

    assert current_a == pytest.approx(1000.0 / 230.0, abs=0.005)
    assert one_w == pytest.approx(drop_v * current_a, abs=0.05)
    assert both_w == pytest.approx(2.0 * drop_v * current_a, abs=0.05)
    assert k_per_w == pytest.approx((base_c - inside_c) / both_w, abs=0.05)


def test_building_identity_resistors_are_told_apart_by_the_board() -> None:
    """Each resistor of the page, 2 % off either way, is its own step in the firmware's code."""
    cells = [
        cell.strip()
        for cell in PAGES["building.md"]
        .read_text(encoding="utf-8")
        .split("| R21 kohm |")[1]
        .split("\n")[0]
        .strip("| ")
        .split("|")
    ]
    code = (HOUSE / "firmware" / "unit.c").read_text(encoding="ascii")
    apart = int(re.search(r"\(adc \+ 51u\) / (\d+)u", code)[1])
    within = int(re.search(r"off <= (\d+)u", code)[1])

    assert len(cells) == 8
    for step, cell in enumerate(cells, start=1):
        for off in (0.98, 1.0, 1.02):
            ohm = float(cell) * off
            adc = 1023.0 * ohm / (10.0 + ohm)
            assert abs(adc - apart * step) <= within, cell


def test_firmware_page_fuses_are_those_the_board_asks_for() -> None:
    """The bytes to write pass the board's own check, and keep what must last."""
    text = (HOUSE / "firmware" / "README.md").read_text(encoding="utf-8")
    code = (HOUSE / "firmware" / "board_check.c").read_text(encoding="ascii")
    byte = {
        name: int(value, 16)
        for name, value in re.findall(
            r"^\| (low|high|extended) \| ([0-9A-F]{2}) \|", text, re.MULTILINE
        )
    }
    asked = {
        name: int(value, 16)
        for name, value in re.findall(r"#define (FUSE_\w+) 0x([0-9A-Fa-f]+)u", code)
    }

    assert byte["high"] & asked["FUSE_HIGH_MASK"] == asked["FUSE_HIGH_RIGHT"]
    assert byte["extended"] & asked["FUSE_EXTENDED_MASK"] == asked["FUSE_EXTENDED_RIGHT"]
    assert byte["high"] & 0b0000_1000 == 0, "EESAVE"
    assert byte["high"] & 0b1110_0000 == 0b1100_0000, (
        "RSTDISBL, DWEN unprogrammed, SPIEN programmed"
    )
    assert byte["low"] == 0b1111_0111


def test_commissioning_form_has_every_step() -> None:
    """Each numbered step of a part has its row in the form, and no row is without a step."""
    text = PAGES["commissioning.md"].read_text(encoding="utf-8")
    body, form = text.split("## The form")
    steps = []
    for part, section in re.findall(
        r"^## (\d)\. [^\n]+\n(.*?)(?=^## |\Z)", body, re.MULTILINE | re.DOTALL
    ):
        steps += [f"{part}.{number}" for number in re.findall(r"^(\d+)\. ", section, re.MULTILINE)]

    assert len(steps) >= 38
    assert re.findall(r"^\| (\d\.\d+) \|", form, re.MULTILINE) == steps


def test_yearly_cites_steps_that_exist() -> None:
    """A number in brackets is a row of the commissioning form; the proof covers each layer."""
    known = set(
        re.findall(
            r"^\| (\d\.\d+) \|", PAGES["commissioning.md"].read_text(encoding="utf-8"), re.MULTILINE
        )
    )
    cited = set(
        re.findall(r"\b(\d\.\d+)\b(?=[,)])", PAGES["yearly.md"].read_text(encoding="utf-8"))
    )

    assert {"4.1", "4.2", "4.3", "4.4", "4.5", "6.1", "6.2", "6.3"} <= cited
    assert cited <= known


@pytest.mark.parametrize(
    "subject",
    [
        *("brown-out", "fuses", "crystal's tolerance", "EEPROM", "DTR", "converter's time", "EMC"),
        "the contactor itself",
    ],
)
def test_bench_names_what_cannot_be_shown_here(subject: str) -> None:
    """Each has why, a test, and when it is good."""
    found = [
        row
        for row in rows("bench.md", r"^\| (N\d+) \| ([^|]+) \| ([^|]+) \| ([^|]+) \| ([^|]+) \|$")
        if subject in row[1]
    ]

    assert found
    assert all(len(cell.strip()) > 8 for cell in found[0][2:])
