"""What the list of parts says of ratings, connectors and earth, beside what the pages compute."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import wiring

HOUSE = Path(__file__).resolve().parent.parent
HARDWARE = HOUSE / "hardware"
PARTS = wiring.read_parts()
NETS = wiring.read_nets()
NET_OF = {str(end): net.name for net in NETS.values() for end in net.ends}
BUILDING = " ".join((HARDWARE / "building.md").read_text(encoding="utf-8").split())


@pytest.mark.parametrize("fuse", ["F2", "F3", "F6"])
def test_parts_fuses_on_mains_break_the_short_circuit_current(fuse: str) -> None:
    """A fuse that the supply's short-circuit current bursts protects nothing."""
    assert "breaking capacity above the supply's short-circuit current" in PARTS[fuse].rating


def test_parts_isolator_breaks_the_load() -> None:
    """It is what a person reaches for when everything else has failed on."""
    assert "load-break" in PARTS["Q1"].rating


@pytest.mark.parametrize("switch", ["V1", "V2", "V1R", "V2R"])
def test_parts_output_switches_state_their_insulation(switch: str) -> None:
    """Between mains and the board stands what a data sheet says, not a hope."""
    assert PARTS[switch].separates == "reinforced"
    assert "data sheet states reinforced insulation" in PARTS[switch].notes


def test_parts_heat_sink_holds_what_the_page_computes() -> None:
    """Its K/W, times the loss of both switches, stays within what the page allows at the base."""
    found = re.search(r"([\d.]+) W for both.*?\((\d+) - (\d+)\)", BUILDING)
    loss_w, base_c, inside_c = map(float, found.groups())
    k_per_w, around_c = map(
        float, re.search(r"([\d.]+) K/W .* at (\d+) degC", PARTS["HS1"].rating).groups()
    )

    assert around_c == inside_c
    assert inside_c + k_per_w * loss_w <= base_c
    assert f"{k_per_w} K/W or less" in BUILDING


def test_parts_heat_sink_is_earthed_by_its_own_lead() -> None:
    """Bare metal under mains switches, also in an insulating enclosure."""
    assert NET_OF["HS1.PE"] == "PE"
    assert "an accessible heat sink is earthed in any enclosure" in PARTS["W2"].notes


@pytest.mark.parametrize(("coil_ma", "fits"), [(50.0, True), (80.0, False)])
def test_parts_on_5_v_stay_below_what_the_isolated_side_gives(
    *, coil_ma: float, fits: bool
) -> None:
    """Relay variant, everything on at once; with coils of 80 mA it would be too much."""
    given = float(re.search(r"5 V ([\d.]+) A", PARTS["A4"].rating)[1]) * 1000.0
    lamps = sum(float(re.search(r"(\d+) mA", PARTS[mark].rating)[1]) for mark in ("H1", "H2", "P1"))
    a3 = 50.0  # coil of 250 mW at 5 V: enable_parts.csv
    wetting = 5.0 * sum(PARTS[f"R{number}"].rating == "1 kohm" for number in range(14, 21))
    rest = 35.0  # controller, converters, bridge; own estimate

    assert (2 * coil_ma + lamps + a3 + wetting + rest < given) is fits
    if fits:
        for relay in ("V1R", "V2R"):
            assert f"up to {coil_ma:.0f} mA" in PARTS[relay].rating


@pytest.mark.parametrize(("plug", "heater", "earth"), [("X2", "E1", "W1.1"), ("X4", "E2", "W1.2")])
def test_wiring_unplugs_heater_fuse_and_earth_with_the_half(
    plug: str, heater: str, earth: str
) -> None:
    """No way round the connector: neither line, nor neutral, nor the earth of the half."""
    ends = [net for net in NETS.values() if any(end.part == heater for end in net.ends)]
    inside = {net.name for net in ends}

    assert NET_OF[f"{heater}.PE"] == NET_OF[earth] != "PE"
    assert wiring.reaches(PARTS, NETS, NET_OF[f"{heater}.PE"], "PE")
    for net in inside:
        assert not wiring.reaches(PARTS, NETS, net, "L4", opened=[plug])
        assert not wiring.reaches(PARTS, NETS, net, "N4", opened=[plug])
        assert not wiring.reaches(PARTS, NETS, net, "PE", opened=[plug])


@pytest.mark.parametrize("plug", ["X7", "X8", "X9", "X10", "X11"])
def test_wiring_keeps_mains_out_of_the_plugs_of_thermostat_and_probe(plug: str) -> None:
    """Each has wires of one class, and it is not mains."""
    classes = {net.wires for net in NETS.values() for end in net.ends if end.part == plug}

    assert len(classes) == 1
    assert "mains" not in classes


@pytest.mark.parametrize(("one", "other"), [("X2", "X4"), ("X7", "X8"), ("X9", "X10")])
def test_parts_connectors_of_the_halves_are_not_to_be_exchanged(one: str, other: str) -> None:
    """Heater and thermostat do not fit the other half's; the probe, of one shape, is marked."""
    for mark, not_this in ((one, other), (other, one)):
        notes = PARTS[mark].notes
        assert f"does not fit {not_this}" in notes or "marked" in notes, mark
        assert "lock" in PARTS[mark].rating, mark
    for mark in ("X2", "X4"):
        assert "earth first in and last out" in PARTS[mark].notes
        assert "sockets and not pins on the live side" in PARTS[mark].notes


def test_wiring_earths_everything_that_can_be_touched() -> None:
    """Five leads of W1, two of W2, the heat sink and the supply meet at the bar."""
    earthed = {str(end) for end in NETS["PE"].ends}

    assert {"W1.3", "W1.4", "W1.5", "W2.1", "W2.2", "HS1.PE", "G1.PE", "J1.2"} <= earthed
