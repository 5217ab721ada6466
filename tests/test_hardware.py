"""What a maker builds from: tables, header and drawings agree; no page lacks its cautions."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

import draw
import pins
import sheet
import wiring
from c_core import defines
from needs import lacking
from pins import TableError

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"
FIRMWARE = HOUSE / "firmware"
PARTS = wiring.read_parts()
NETS = wiring.read_nets()
PINS = pins.read_pins()
SVG = "{http://www.w3.org/2000/svg}"


def drawn_ends() -> dict[str, set[tuple[str, str]]]:
    """Return what the committed drawings show: for each file its pairs of net and terminal."""
    return {
        path.name: {
            (group.get("data-net", ""), dot.get("data-end", ""))
            for group in ET.parse(path).iter(f"{SVG}g")  # noqa: S314  (drawn here)
            for dot in group.iter(f"{SVG}circle")
            if dot.get("data-end")
        }
        for path in sorted(HARDWARE.glob("*.svg"))
        if path.name != "circuits.svg"  # of another net list: tests/test_hardware_circuits.py
    }


def test_pins_header_is_made_from_the_table() -> None:
    """The firmware's header is, byte for byte, what the table of pins gives."""
    assert (FIRMWARE / "pins.h").read_text(encoding="ascii") == pins.header_text(pins.read_pins())


@pytest.mark.parametrize(
    ("port", "out", "pullup", "start", "active_low"),
    [
        ("B", 0b100111, 0b001000, 0b001110, 0b000000),
        ("C", 0b000001, 0b111110, 0b111110, 0b011010),
        ("D", 0b11110010, 0b00001100, 0b00001110, 0b00001001),
    ],
)
def test_pins_first_port_write_is_the_off_level(
    port: str, out: int, pullup: int, start: int, active_low: int
) -> None:
    """Heaters, pulse train, lamps and buzzer start low, both chip selects and the line high."""
    header = defines("pins")

    assert header[f"PINS_{port}_OUT"] == out
    assert header[f"PINS_{port}_PULLUP"] == pullup
    assert header[f"PINS_{port}_START"] == start
    assert header[f"PINS_{port}_ACTIVE_LOW"] == active_low


def test_pins_header_compiles_for_the_board(tmp_path: Path) -> None:
    """Every name of the header is a register or a number of this controller."""
    if shutil.which("avr-gcc") is None:
        lacking("avr-gcc is not installed")
    lines = []
    for pin in pins.read_pins():
        stem = f"PIN_{pin.name.upper()}"
        if pin.direction == "analogue":
            lines.append(f"ADMUX = {stem}_CHANNEL;")
        elif pin.direction == "out":
            lines.append(
                f"{stem}_PORT |= {stem}_MASK; {stem}_PORT &= (uint8_t)~(1u << {stem}_BIT);"
            )
        elif pin.is_digital:
            lines.append(f"GPIOR0 = ({stem}_PIN & {stem}_MASK) != 0;")
    lines += [
        f"PORT{port} = PINS_{port}_START; DDR{port} = PINS_{port}_OUT;" for port in pins.PORTS
    ]
    source = tmp_path / "all.c"
    source.write_text(
        '#include <avr/io.h>\n#include "pins.h"\nint main(void) {\n' + "\n".join(lines) + "\n}\n",
        encoding="ascii",
    )
    flags = ["-std=gnu11", "-Os", "-mmcu=atmega328p", "-Wall", "-Wextra", "-Wconversion", "-Werror"]

    subprocess.run(
        ["avr-gcc", *flags, f"-I{FIRMWARE}", "-c", source, "-o", tmp_path / "all.o"], check=True
    )


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("heater_upper,PD5,out,high,,switch", "at rest"),
        ("heater_upper,PD5,out,none,pull-down outside,switch", "level"),
        ("heater_upper,PE5,out,high,pull-down outside,switch", "no pin PE5"),
        ("heater_upper,PD5,into,high,pull-down outside,switch", "not known"),
        ("heater_upper,PD5,out,high,pull-down outside,a\na,PD5,in,low,b,c", "twice"),
        ("Heater,PD5,out,high,pull-down outside,switch", "lower-case"),
    ],
)
def test_pins_table_refuses_a_row_that_cannot_be_meant(
    tmp_path: Path, row: str, complaint: str
) -> None:
    """A slip in the table is an error, never a pin that does something else."""
    table = tmp_path / "pins.csv"
    table.write_text(f"{','.join(pins.COLUMNS)}\n{row}\n", encoding="ascii")

    with pytest.raises(TableError, match=complaint):
        pins.read_pins(table)


def test_drawings_are_made_from_the_tables() -> None:
    """Each committed drawing is, byte for byte, what the tables give, and no other lies there."""
    made = draw.sheets()

    own = {"enable.svg"}  # drawn from its netlist: tests/test_hardware_enable.py
    assert {path.name for path in made} | own == {path.name for path in HARDWARE.glob("*.svg")}
    for path, drawing in made.items():
        assert path.read_text(encoding="utf-8") == drawing.svg(), path.name


def test_drawings_show_every_wire_and_no_other() -> None:
    """Every terminal of the net list is drawn on some sheet, on its own net."""
    shown = set().union(*drawn_ends().values())

    assert shown == {(net.name, str(end)) for net in NETS.values() for end in net.ends}


def test_drawings_show_every_pin_of_the_table() -> None:
    """Each pin stands on one of the controller's two sheets, on the net that bears its name."""
    sheets = drawn_ends()
    shown = sheets["controller.svg"] | sheets["inputs.svg"]

    for pin in PINS:
        assert (pin.name, f"A1.{pin.pin}") in shown
    assert {end.terminal for net in NETS.values() for end in net.ends if end.part == "A1"} == {
        *(pin.pin for pin in PINS),
        "5V",
        "GND",
    }


def test_drawings_keep_their_words_on_the_sheet() -> None:
    """No word leaves its sheet, and all are dark on white."""
    for path in HARDWARE.glob("*.svg"):
        root = ET.parse(path).getroot()  # noqa: S314  (drawn here)
        width, height = float(root.get("width", "0")), float(root.get("height", "0"))
        assert root.get("fill") == "#111111"
        for text in root.iter(f"{SVG}text"):
            assert text.get("fill") is None
            wide = 0.6 * float(text.get("font-size", "0")) * len(text.text or "")
            x, y = float(text.get("x", "0")), float(text.get("y", "0"))
            left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor", "")]
            assert 0 <= left <= width - wide, text.text
            assert 0 < y < height, text.text


def test_drawings_tell_wires_apart_in_black_and_white() -> None:
    """Classes of wire differ in width or dashes, and every colour prints dark."""
    looks = [(width, dashes) for _, width, dashes in sheet.WIRES.values()]

    assert len(set(looks)) == len(looks) == len(wiring.CLASSES)
    for colour, _, _ in sheet.WIRES.values():
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert 0.299 * red + 0.587 * green + 0.114 * blue < 0.35 * 255, colour


def test_wiring_names_only_parts_of_the_list() -> None:
    """Every part of the wiring is in the list; in the list alone are variants and what is no part
    of a circuit: enclosure, glands, terminals, cables.
    """
    wired = {end.part for net in NETS.values() for end in net.ends}

    assert wired <= set(PARTS)
    assert set(PARTS) - wired == {
        *("V1R", "V2R", "BX1", "GL1", "TB1", "TB2"),
        *("CB1", "CB2", "CB3", "CB4", "CB5"),
    }


@pytest.mark.parametrize("opened", ["F1", "S1", "T1", "T2", "X7", "X8", "A3"])
def test_wiring_opens_the_coil_by_any_one_contact_of_the_chain(opened: str) -> None:
    """Fuse, heat-off button, either thermostat or its plug, the board's permission: each alone."""
    assert wiring.reaches(PARTS, NETS, "C0", "C6")
    assert not wiring.reaches(PARTS, NETS, "C0", "C6", opened=[opened])


def test_wiring_starts_by_a_hand_and_holds_by_the_contactor() -> None:
    """Without start relay and holding contact nothing reaches the coil; either one will do."""
    assert not wiring.reaches(PARTS, NETS, "C0", "C6", opened=["K2", "K1.13"])
    assert wiring.reaches(PARTS, NETS, "C0", "C6", opened=["K2"])
    assert wiring.reaches(PARTS, NETS, "C0", "C6", opened=["K1.13"])


@pytest.mark.parametrize("opened", ["S1", "T1", "T2", "X7", "X8"])
def test_wiring_puts_the_second_sense_behind_what_opens(opened: str) -> None:
    """Button and thermostats open between the two senses; the fuse opens before both."""
    net_of = {str(end): net.name for net in NETS.values() for end in net.ends}
    supply, behind = net_of["U1.+"], net_of["U2.+"]

    assert not wiring.reaches(PARTS, NETS, supply, behind, opened=[opened])
    assert not wiring.reaches(PARTS, NETS, "C0", supply, opened=["F1"])
    assert wiring.reaches(PARTS, NETS, "C0", behind, opened=["K1", "K2", "A3"])


@pytest.mark.parametrize(
    ("heater", "branch"), [("E1", ["F2", "V1", "X2", "F4"]), ("E2", ["F3", "V2", "X4", "F5"])]
)
def test_wiring_frees_each_heater_by_every_layer(heater: str, branch: list[str]) -> None:
    """Isolator, RCD, breaker and contactor open both leads; fuse, output and thermal fuse one."""
    net_of = {str(end): net.name for net in NETS.values() for end in net.ends}
    live, neutral = net_of[f"{heater}.1"], net_of[f"{heater}.2"]
    parts = {mark: part for mark, part in PARTS.items() if mark not in {"E1", "E2"}}

    assert wiring.reaches(parts, NETS, "L0", live)
    assert wiring.reaches(parts, NETS, "N0", neutral)
    for part in ("Q1", "Q2", "Q3", "K1"):
        assert not wiring.reaches(parts, NETS, "L0", live, opened=[part]), part
        assert not wiring.reaches(parts, NETS, "N0", neutral, opened=[part]), part
    for part in branch:
        assert not wiring.reaches(parts, NETS, "L0", live, opened=[part]), part


def test_wiring_keeps_mains_apart_by_reinforced_separation() -> None:
    """A part with mains and anything else, or with the computer's wires, separates them soundly."""
    for mark, classes in wiring.mixed_parts(NETS).items():
        if "mains" in classes or "computer" in classes:
            assert PARTS[mark].separates == "reinforced", mark
        elif "chain" in classes:
            assert PARTS[mark].separates in {"functional", "reinforced"}, mark
    assert {"K1", "V1", "V2", "G1"} == {
        mark for mark, classes in wiring.mixed_parts(NETS).items() if "mains" in classes
    }


@pytest.mark.parametrize(
    ("pin", "end"),
    [
        *(("mains", "U1.C"), ("chain", "U2.C"), ("button", "S1.21"), ("mirror", "K1.21")),
        *(
            ("arm", "S2.13"),
            ("next", "S3.1"),
            ("mould_switch", "S4.1"),
            ("contactor_train", "A3.in"),
        ),
        *(("select_upper", "U3.CS"), ("select_lower", "U4.CS"), ("identity", "R21.1")),
    ],
)
def test_wiring_brings_each_signal_to_its_pin(pin: str, end: str) -> None:
    """No two signals are exchanged on their way to the controller."""
    assert end in map(str, NETS[pin].ends)


@pytest.mark.parametrize(
    ("pin", "switch", "heater", "probe", "converter", "neutral"),
    [
        ("heater_upper", "V1", "E1", "B1", "U3", "X2.4"),
        ("heater_lower", "V2", "E2", "B2", "U4", "X4.4"),
    ],
)
def test_wiring_does_not_exchange_the_halves(
    pin: str, switch: str, heater: str, probe: str, converter: str, neutral: str
) -> None:
    """The output of a half drives the switch of its heater; its probe goes to its converter."""
    net_of = {str(end): net.name for net in NETS.values() for end in net.ends}
    driver = next(end.terminal for end in NETS[pin].ends if end.part == "A2")

    assert net_of[f"A2.o{driver.removeprefix('i')}"] == net_of[f"{switch}.-"]
    parts = {mark: part for mark, part in PARTS.items() if mark not in {"E1", "E2"}}
    assert wiring.reaches(
        parts, NETS, net_of[f"{switch}.2"], net_of[f"{heater}.1"], opened=["V1", "V2"]
    )
    assert net_of[f"{heater}.2"] == net_of[neutral]
    for sign, other in ("+-", "-+"):
        tip = net_of[f"{probe}.{sign}"]
        assert wiring.reaches(parts, NETS, tip, net_of[f"{converter}.T{sign}"])
        assert not wiring.reaches(parts, NETS, tip, net_of[f"{converter}.T{other}"])


def test_wiring_pulls_each_pin_as_the_table_says() -> None:
    """A pull that the table of pins puts outside is a resistor to the right rail, of its own."""
    for pin in PINS:
        if not pin.rest.endswith("outside"):
            continue
        rail = "V5" if pin.rest.startswith("pull-up") else "GND"
        pulls = [
            end.part
            for end in NETS[pin.name].ends
            if end.part.startswith("R") and wiring.End(end.part, "2") in NETS[rail].ends
        ]
        assert pulls, pin.name


def test_wiring_leaves_every_output_off_when_nothing_drives_it() -> None:
    """With the controller in reset each output is pulled to its off level."""
    for pin in PINS:
        if pin.direction == "out" and pin.name != "transmit":
            assert pin.rest == ("pull-up" if pin.active == "low" else "pull-down") + " outside"


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("C9,chain,F1,9", "two ends"),
        ("C9,steam,F1,9\nC9,steam,S1,9", "class"),
        ("C9,chain,F1,9\nC9,mains,S1,9", "class"),
        ("C9,chain,F1,9\nC9,chain,F1,9", "wired twice"),
    ],
)
def test_wiring_refuses_a_row_that_cannot_be_meant(
    tmp_path: Path, row: str, complaint: str
) -> None:
    """A slip in the net list is an error."""
    table = tmp_path / "wiring.csv"
    table.write_text(f"net,class,part,terminal\n{row}\n", encoding="ascii")

    with pytest.raises(TableError, match=complaint):
        wiring.read_nets(table)


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("F1,fuse,1 A,why,9,all,-,1-2,", "layer"),
        ("F1,fuse,1 A,why,3,moon,-,1-2,", "variant"),
        ("F1,fuse,1 A,why,3,all,well,1-2,", "separation"),
        ("F1,fuse,,why,3,all,-,1-2,", "rating"),
        ("F1,fuse,1 A,why,3,all,-,1-2,\nF1,fuse,1 A,why,3,all,-,1-2,", "twice"),
    ],
)
def test_parts_refuse_a_row_that_cannot_be_meant(tmp_path: Path, row: str, complaint: str) -> None:
    """A slip in the list of parts is an error."""
    table = tmp_path / "parts.csv"
    head = "part,what,rating,why,layer,variant,separates,paths,notes"
    table.write_text(f"{head}\n{row}\n", encoding="ascii")

    with pytest.raises(TableError, match=complaint):
        wiring.read_parts(table)


def first_figure(mark: str, unit: str) -> float:
    """Return the first figure of a part's rating that has this unit."""
    match = re.search(rf"([\d.]+) {unit}\b", PARTS[mark].rating)
    assert match, (mark, unit)
    return float(match[1])


def test_parts_are_rated_for_the_heaters_they_carry() -> None:
    """Every part in a heater's way carries its current, and fuses stand below what they guard."""
    volts = 230.0
    one_a = first_figure("E1", "W") / volts
    both_a = one_a + first_figure("E2", "W") / volts

    for fuse, switch, link in (("F2", "V1", "F4"), ("F3", "V2", "F5")):
        assert 1.25 * one_a <= first_figure(fuse, "A") < first_figure(switch, "A")
        assert first_figure(fuse, "A") < first_figure(link, "A")
    assert 1.25 * both_a <= first_figure("Q3", "A") <= first_figure("K1", "A")
    assert first_figure("K1", "A") >= 2 * both_a
    assert first_figure("Q1", "A") >= first_figure("Q3", "A")
    assert first_figure("Q2", "A") >= first_figure("Q3", "A")


def test_parts_of_the_chain_carry_its_current() -> None:
    """The chain's contacts are rated above its fuse or at it."""
    for mark in ("S1", "T1", "T2", "S2", "A3", "K2"):
        assert first_figure(mark, "A") >= first_figure("F1", "A"), mark


def test_parts_name_no_make() -> None:
    """Generic classes only: no trade mark, no order number, no shop."""
    with (HARDWARE / "parts.csv").open(encoding="ascii", newline="") as file:
        for row in csv.DictReader(file):
            for text in row.values():
                assert not re.search(r"®|™|https?:|www\.|\b\d{3,}-\d{3,}\b", text)
