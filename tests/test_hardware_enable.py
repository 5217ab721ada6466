"""The enable circuit: it holds on the firmware's pulse train and lets go of everything else.

All figures are simulated. LEAST and MOST are the corners of tolerance and supply at which the relay
is hardest and easiest to hold; `campaigns/enable.py` goes through all of them.
"""

from __future__ import annotations

import csv
import re

import pytest

import draw_enable
from enable_rig import (
    CHANGE_S,
    FLOATING,
    LEAST,
    MOST,
    NETLIST,
    TRAIN_HZ,
    TRAIN_PART,
    level,
    measure,
    need_ngspice,
    needed_coil_v,
    netlist,
    pulses,
    simulate,
)

HARDWARE = NETLIST.parent
MODELLED = {"U1", "K1", "C5"}  # stand in the netlist under other names, or not at all

# ATmega48A/PA/88A/PA/168A/PA/328/P data sheet, "Alternate Port Functions": what a timer or the
# clock drives without the program (OC0A, OC0B, OC1A, OC1B, OC2A, OC2B, CLKO), and the serial TXD.
DRIVEN_BY_HARDWARE = {"PD6", "PD5", "PB1", "PB2", "PB3", "PD3", "PB0", "PD1"}

UNSTUCK = {"stuck high": level(5.5), "stuck low": level(0), "floating": FLOATING}

# What a reset, a boot loader, a hung timer or the surroundings could bring, at full swing.
STRANGERS = {
    "boot loader blinks at 4 Hz": pulses(4),
    "boot loader blinks at 10 Hz": pulses(10),
    "watchdog restarts each 16 ms, 1 ms of pulse": pulses(62.5, part=0.0625),
    "watchdog restarts each 250 ms, 20 ms of train": pulses(TRAIN_HZ)
    | {"gap": 1, "gap_after_s": CHANGE_S + 0.02, "burst_every_s": 1},
    "controller at 1 MHz instead of 16": pulses(TRAIN_HZ / 16),
    "50 Hz": pulses(50),
    "60 Hz": pulses(60),
    "100 Hz": pulses(100),
    "120 Hz": pulses(120),
    "250 Hz": pulses(250),
    "mains of 50 Hz on a broken wire": {"sine": 2.75, "sine_hz": 50},
    "mains of 60 Hz on a broken wire": {"sine": 2.75, "sine_hz": 60},
    "timer default 7.8 kHz": pulses(7812.5),
    "serial line, zeros at 76800 baud": pulses(7680, part=0.1),
    "serial line, worst byte for 42 ms of each 200": pulses(3840)
    | {"gap": 1, "gap_after_s": CHANGE_S + 0.042, "burst_every_s": 1},
}

BOTH_COUPLINGS = {"past_cc1": 1e-3, "past_cc2": 1e-3}
BOTH_TRANSISTORS = {"past_m1": 1e-3, "past_m2": 1e-3}


@pytest.fixture(autouse=True)
def _simulator() -> None:
    need_ngspice()


def test_enable_netlist_runs_as_it_stands() -> None:
    """The committed file alone, with nominal values: held with room, then let go."""
    seen = measure()

    assert seen.held
    assert seen.margin_v > 0.4 * seen.reference_v
    assert seen.pin_a < 0.020  # data sheet: 20 mA is the test condition of the output levels
    assert seen.lets_go


@pytest.mark.parametrize("part", [-TRAIN_PART, 0.0, TRAIN_PART])
def test_enable_holds_on_the_firmwares_train(part: float) -> None:
    """At the worst corner, with the clock 2 % off either way, 3 % of the threshold is left."""
    for other in (LEAST, LEAST | {"k_cs": 1.2}):
        seen = measure(other, {"train_hz": TRAIN_HZ * (1 + part)}, level(0))

        assert seen.held
        assert seen.margin_v > 0.03 * seen.reference_v


@pytest.mark.parametrize("celsius", [0.0, 50.0])
def test_enable_gives_the_coil_what_it_needs_to_pull_in(celsius: float) -> None:
    """At the least supply, with the transistors at their worst and the coil warm."""
    seen = measure(LEAST, {"celsius": celsius, "k_coil": 0.9}, level(0))

    assert seen.coil_v > needed_coil_v(celsius)


@pytest.mark.parametrize("corner", [LEAST, MOST], ids=["least", "most"])
@pytest.mark.parametrize("pin", UNSTUCK)
def test_enable_lets_go_of_a_pin_that_does_not_move(pin: str, corner: dict[str, float]) -> None:
    """Stuck high, stuck low or floating: contact open within 60 ms, 40 below what is asked."""
    seen = measure(corner, UNSTUCK[pin])

    assert seen.held
    assert seen.lets_go
    assert seen.open_s < 0.060


@pytest.mark.parametrize("k_cs", [0.8, 1.2], ids=["small store", "large store"])
@pytest.mark.parametrize("stranger", STRANGERS)
def test_enable_does_not_hold_on(stranger: str, k_cs: float) -> None:
    """A relay that is in falls within 100 ms and is not picked up again, at the easiest corner."""
    seen = measure(MOST, {"k_cs": k_cs}, STRANGERS[stranger])

    assert seen.held
    assert seen.lets_go


@pytest.mark.parametrize(
    ("hertz", "span_s", "swing_most_v"),
    [(62_500.0, 5e-3, 0.4), (1e6, 1e-3, 0.03), (8e6, 5e-4, 5e-3)],
)
def test_enable_does_not_pump_on_fast_clocks(
    hertz: float, span_s: float, swing_most_v: float
) -> None:
    """A timer's or the clock's output leaves too little behind R1 and C1 to open two diodes.

    What the store holds came from the first rise, and is an eighth of the reference.
    """
    text = netlist(MOST | pulses(hertz) | {"change_s": 1e-9})
    text = re.sub(r"(?m)^\.meas .*\n", "", text).replace(
        ".tran 50u 0.26 0 20u\n",
        f".tran {span_s / 50} {span_s} 0 {0.05 / hertz}\n"
        f".meas tran swing_v PP v(slow) FROM={span_s - 4 / hertz} TO={span_s}\n"
        f".meas tran end_v FIND v(store) AT={0.99 * span_s}\n",
    )

    found = simulate(text)

    assert 0 < found["swing_v"] < swing_most_v
    assert found["end_v"] < 0.13


def test_enable_does_not_hold_on_250_hz_at_the_least_supply_either() -> None:
    """There the reference is lower too: of all corners this one comes nearest to holding."""
    seen = measure(MOST, {"k_cs": 0.8, "vdd": 4.5}, pulses(250, vdd=4.5))

    assert seen.held
    assert seen.lets_go


@pytest.mark.parametrize("hertz", [976.5625, 490.2])
def test_enable_cannot_tell_a_timer_near_its_own_train(hertz: float) -> None:
    """What the circuit does not reject, said plainly: hence the next test."""
    assert not measure(MOST, pulses(hertz)).lets_go


def test_enable_hangs_on_a_pin_no_hardware_can_toggle() -> None:
    """Only the program's interrupt reaches the pin, and that asks the permission count."""
    with (HARDWARE / "pins.csv").open(encoding="ascii") as file:
        pin = {row["name"]: row["pin"] for row in csv.DictReader(file)}

    assert pin["contactor_train"] not in DRIVEN_BY_HARDWARE
    assert pin["contactor_train"].startswith("P")


@pytest.mark.parametrize("short", [*BOTH_COUPLINGS, *BOTH_TRANSISTORS])
def test_enable_stands_one_short(short: str) -> None:
    """One coupling capacitor or one transistor shorted: a stuck pin still lets go."""
    for pin in UNSTUCK.values():
        seen = measure(MOST, {short: 1e-3}, pin)

        assert seen.held
        assert seen.lets_go


def test_enable_without_its_capacitors_would_hold_and_is_seen_to() -> None:
    """The bench tells: no coupling capacitor, and a pin stuck high holds for ever."""
    seen = measure(MOST, BOTH_COUPLINGS, level(5.5))

    assert seen.held
    assert not seen.lets_go
    assert seen.released_s is None
    assert seen.left_v > 0


def test_enable_with_both_transistors_shorted_would_hold_and_is_seen_to() -> None:
    """The bench tells: two shorts in the driver, and nothing lets go."""
    seen = measure(MOST, BOTH_TRANSISTORS, level(0))

    assert seen.released_s is None
    assert not seen.lets_go


def test_enable_bears_a_dirty_board() -> None:
    """1 Mohm of damp flux from the supply to the store or to the input holds nothing."""
    for node in ("store", "pump", "in"):
        leak = ((".tran 50u", f"Rdamp v5 {node} 1meg\n.tran 50u"),)

        assert measure(MOST, level(0), lines=leak).lets_go


def test_enable_parts_are_those_of_the_netlist() -> None:
    """Each element of the circuit is in the parts list, with the same value, and no other."""
    drawn = {}
    circuit = NETLIST.read_text(encoding="ascii").split("* -- The circuit.")[1]
    for line in circuit.splitlines():
        if found := re.match(r"([RCDM]\d|Rin) \w+ \w+ (?:\w+ \w+ )?\{?([\w.]+)", line):
            drawn[found[1]] = found[2]
    with (HARDWARE / "enable_parts.csv").open(encoding="ascii") as file:
        listed = {row["id"]: row["rating"] for row in csv.DictReader(file)}

    assert set(drawn) <= set(listed)
    assert set(listed) - set(drawn) == MODELLED
    for name, value in drawn.items():
        if name[0] in "RC":
            number, unit = re.fullmatch(r"(\d+)([kun])", value).groups()
            kind = "ohm" if name[0] == "R" else "F"
            assert listed[name].startswith(f"{number} {unit}{kind} "), name


def test_enable_drawing_is_that_of_the_netlist() -> None:
    """The committed drawing is what the program draws: each part, with the netlist's value."""
    drawing = draw_enable.draw()

    assert draw_enable.DRAWING.read_text(encoding="utf-8") == drawing
    marks = set(re.findall(r">(?:A3-)?(\w+)</text>", drawing))
    with (HARDWARE / "enable_parts.csv").open(encoding="ascii") as file:
        listed = {row["id"] for row in csv.DictReader(file)}
    assert listed - {"U1", "C5"} <= marks
    assert {"U1a", "U1b"} <= marks
    assert ">120 kΩ</text>" in drawing
    assert ">A3-K1</text>" in drawing, "K1 alone is the contactor's mark"
