"""The small circuits of the controller side: drawn from their tables, and right by their values.

All figures are computed from the tables' nominal values and tolerances; nothing here is built.
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

import wiring
from wiring import End

HARDWARE = Path(__file__).resolve().parent.parent / "hardware"
SVG = "{http://www.w3.org/2000/svg}"
MAIN = wiring.read_parts()
OWN = wiring.read_parts(wiring.CIRCUIT_PARTS)
PARTS = MAIN | OWN
NETS = wiring.read_nets(wiring.CIRCUIT_WIRING)
NET_OF = {str(end): net.name for net in NETS.values() for end in net.ends}

SUPPLY_V = 5.0
OWN_PULL_UP_LEAST_OHM = (
    20_000.0  # ATmega328P data sheet, "DC Characteristics": 20 to 50 kohm; memory
)
LOW_MOST_V = 0.3 * SUPPLY_V  # the same table, input low voltage; from memory
LED_V = (
    0.9,
    1.3,
)  # infrared diode of an optocoupler: hardly lit, and at 5 mA; typical class values


def value(mark: str) -> float:
    """Return a part's value in ohm, farad or volt."""
    number, unit = re.match(r"([\d.]+) (kohm|ohm|nF|uF|V)\b", PARTS[mark].rating).groups()
    return float(number) * {"kohm": 1e3, "ohm": 1.0, "nF": 1e-9, "uF": 1e-6, "V": 1.0}[unit]


def test_circuits_draw_every_wire_of_their_list_and_no_other() -> None:
    """Every terminal of the circuits' net list is drawn, on its own net."""
    root = ET.parse(HARDWARE / "circuits.svg")  # noqa: S314  (drawn here)
    shown = {
        (group.get("data-net"), dot.get("data-end"))
        for group in root.iter(f"{SVG}g")
        for dot in group.iter(f"{SVG}circle")
        if dot.get("data-end")
    }

    assert shown == {(net.name, str(end)) for net in NETS.values() for end in net.ends}


def test_circuits_name_only_parts_of_the_two_lists() -> None:
    """A part of a circuit bears the mark of what it stands in, and is in one list only."""
    used = {end.part for net in NETS.values() for end in net.ends}

    assert used <= set(PARTS)
    assert set(OWN) <= used
    assert not set(OWN) & set(MAIN)
    assert all(mark.split("-")[0] in MAIN for mark in OWN)


def test_circuits_agree_with_the_wiring_they_stand_in() -> None:
    """A part of the main list is on the same net in both, but for the lead before a filter."""
    outside = {str(end): net.name for net in wiring.read_nets().values() for end in net.ends}

    for end, net in NET_OF.items():
        if end in outside and net != "button_lead":
            assert outside[end] == net, end


@pytest.mark.parametrize(
    ("pull", "module"),
    [
        *(("R1", "A2.i1"), ("R2", "A2.i2"), ("R3", "A2.i3"), ("R5", "A2.i4"), ("R10", "A2.i5")),
        *(("R4", "A3.in"), ("R6", "U3.CS"), ("R7", "U4.CS")),
    ],
)
def test_circuits_pull_at_the_far_end_of_the_lead(pull: str, module: str) -> None:
    """A lead from the controller that breaks leaves output and converter off."""
    outside = {str(end): net.name for net in wiring.read_nets().values() for end in net.ends}

    assert MAIN[pull].notes.startswith(f"sits at {module}:")
    assert outside[f"{pull}.1"] == outside[module]


def test_circuit_of_the_driver_is_off_when_nothing_drives_it() -> None:
    """The pull-down at its input reaches the gate, and the diode blocks from 5 V to the output."""
    assert NET_OF["R2.1"] == NET_OF["A2.i2"] == NET_OF["A2-R1.1"]
    assert NET_OF["R2.2"] == NET_OF["A2-M1.S"] == "GND"
    assert NET_OF["A2-R1.2"] == NET_OF["A2-M1.G"]
    assert NET_OF["A2-M1.D"] == NET_OF["A2-D1.A"] == NET_OF["A2.o2"]
    assert NET_OF["A2-D1.K"] == "V5"
    assert value("A2-R1") < value("R2") / 20


def led_a(chain_v: float, zener_v: float, diode_v: float) -> float:
    """Return the current through the optocoupler's diode, never below 0."""
    through = (chain_v - zener_v - diode_v) / value("U1-R1")
    return max(0.0, through - diode_v / value("U1-R2"))


def test_circuit_of_the_sense_is_dark_below_8_v_and_lit_at_20() -> None:
    """Zener 5 % low and the diode hardly lit: dark at 8 V. All worst at 20 V: the pin is low."""
    zener_v = value("U1-Z1")
    needed_a = SUPPLY_V / value("R18") + SUPPLY_V / OWN_PULL_UP_LEAST_OHM
    ratio_when_old = 0.5 * float(re.search(r"(\d+) %", PARTS["U1-O1"].rating)[1]) / 100.0

    assert led_a(8.0, 0.95 * zener_v, LED_V[0]) == 0.0
    assert ratio_when_old * led_a(20.0, 1.05 * zener_v, LED_V[1]) > needed_a
    assert led_a(24.0, zener_v, LED_V[1]) < 0.005


def test_circuit_of_the_sense_without_its_zener_would_not_be_dark() -> None:
    """What the Zener diode is for: without it 8 V gives more than the pin needs."""
    assert led_a(8.0, 0.0, LED_V[1]) > SUPPLY_V / value("R18")


def test_circuit_of_the_sense_bears_a_chain_below_0_v() -> None:
    """A diode lies across the optocoupler's, the other way round."""
    assert NET_OF["U1-D1.K"] == NET_OF["U1-O1.A"] == NET_OF["U1-Z1.A"]
    assert NET_OF["U1-D1.A"] == NET_OF["U1-O1.K"] == "M24"
    assert NET_OF["U1-Z1.K"] == NET_OF["U1-R1.2"]


def test_circuit_of_the_converter_is_silent_while_it_is_not_selected() -> None:
    """Its data reach the bus through a buffer that its own select opens; nothing pulls up."""
    main = wiring.read_nets()

    assert NET_OF["U3-U4.OE"] == NET_OF["U3.CS"] == NET_OF["R6.1"]
    assert "tri-state" in OWN["U3-U4"].what
    assert "active low" in OWN["U3-U4"].rating
    for nets in (NETS, main):
        rails = {end.part for end in nets["V5"].ends if end.part.startswith("R")}
        assert not rails & {end.part for end in nets["data"].ends}
    assert End("R8", "2") in NETS["GND"].ends
    assert NET_OF["U3-U4.VCC"] == "V5"
    assert NET_OF["U3-U1.VCC"] == NET_OF["U3-U3.VCC"] == "V33"


def test_circuit_of_an_input_reads_low_and_bears_24_v() -> None:
    """A closed contact is low against the controller's own pull-up; 24 V drive less than 6 mA."""
    series = value("A1-R1")

    assert SUPPLY_V * series / (series + OWN_PULL_UP_LEAST_OHM) < min(0.75, LOW_MOST_V)
    assert (24.0 - SUPPLY_V - 0.5) / series < 0.006
    assert series * value("A1-C1") < 0.001  # far below the 25 ms in which the board must act
    assert NET_OF["R17.1"] == NET_OF["A1-R1.1"] != NET_OF["A1.PC2"]
