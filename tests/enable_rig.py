"""The enable circuit on a simulated bench: `hardware/enable.cir` with other values, by ngspice."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

from needs import lacking

NETLIST = Path(__file__).resolve().parent.parent / "hardware" / "enable.cir"

TRAIN_HZ = 1000  # the firmware's interrupt toggles the pin each 0.5 ms
TRAIN_PART = 0.02  # what its clock may be off
CHANGE_S = 0.12  # of the netlist: from here on the pin does something else
MECHANICAL_S = 0.010  # coil current gone to contact open, "release time" of small power relays
RELEASE_MOST_S = 0.100
OPERATE_PART = 0.70  # of 5 V at 20 degC, at most: what the parts list asks of the relay
SELF_HEATING_K = 15  # of the coil by its own current; from memory for 250 mW
COPPER_PER_K = 0.0039

# Low and high end of each tolerance; the second one brings the relay nearer to holding.
ENDS: dict[str, tuple[float, float]] = {
    "vdd": (4.5, 5.5),
    "k_cc": (0.8, 1.2),
    "k_clp": (1.2, 0.8),
    "k_r1": (1.05, 0.95),
    "k_rb": (0.95, 1.05),
    "k_ref": (0.95, 1.05),
    "k_is": (0.5, 2.0),
    "celsius": (0.0, 50.0),
    "offset": (-9e-3, 9e-3),
}
# What matters too little to double the number of corners: kept at its worse end.
LEAST = {name: ends[0] for name, ends in ENDS.items()} | {
    "r_pin": 40,
    "bias": 0.0,
    "vth": 1.5,
    "k_is_ref": 2.0,
    "k_cs": 0.8,
}
MOST = {name: ends[1] for name, ends in ENDS.items()} | {
    "r_pin": 25,
    "bias": 250e-9,
    "vth": 0.4,
    "k_is_ref": 0.5,
    "k_cs": 1.2,
    "k_coil": 0.9,
    "l_coil": 0.35,
}

Lines = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one run measured; volts, amperes, seconds."""

    margin_v: float  # the least of store minus reference while the train runs, offset taken off
    reference_v: float
    coil_v: float  # the least while the train runs
    pin_a: float  # the most out of the controller's pin
    released_s: float | None  # from the change to the coil's release current; None: stays in
    left_v: float  # the most of store minus reference 100 to 140 ms after it, offset added

    @property
    def open_s(self) -> float:
        """From the change to the open contact, the relay's own time included."""
        return math.inf if self.released_s is None else self.released_s + MECHANICAL_S

    @property
    def held(self) -> bool:
        """Whether the circuit held while the train ran."""
        return self.margin_v > 0 and self.coil_v > 0.9 * 4.5

    @property
    def lets_go(self) -> bool:
        """Whether the contact opened in time, stayed open, and nothing is about to close it."""
        return self.open_s <= RELEASE_MOST_S and self.left_v < 0


def level(volts: float) -> dict[str, float]:
    """Return the netlist's values for a pin that stays where it is."""
    return {"low": volts, "high": volts}


def pulses(hertz: float, *, part: float = 0.5, vdd: float = 5.5) -> dict[str, float]:
    """Return the netlist's values for another train, high for a part of each period."""
    return {"high": vdd, "high_s": part / hertz - 20e-9, "every_s": 1 / hertz}


FLOATING = {"floats": 1.0}


def corners() -> list[dict[str, float]]:
    """Return every combination of the ends of the significant tolerances."""
    return [dict(zip(ENDS, ends, strict=True)) for ends in product(*ENDS.values())]


def needed_coil_v(celsius: float) -> float:
    """Return what the relay needs to pull in when its coil is warm."""
    warmer_k = celsius + SELF_HEATING_K - 20
    return OPERATE_PART * 5.0 * (1 + COPPER_PER_K * warmer_k)


def netlist(values: dict[str, float], lines: Lines = ()) -> str:
    """Return the committed netlist with some parameters and, for faults, lines replaced."""
    text = NETLIST.read_text(encoding="ascii")
    for name, value in values.items():
        text, count = re.subn(rf"(?m)^(\.param .*\b{name}=)\S+", rf"\g<1>{value!r}", text)
        if count != 1:
            raise KeyError(name)
    for old, new in lines:
        if text.count(old) != 1:
            raise KeyError(old)
        text = text.replace(old, new)
    return text


def simulate(text: str) -> dict[str, float]:
    """Return what a netlist's `.meas` lines found; those that found nothing are absent."""
    run = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"], input=text, capture_output=True, text=True, check=False
    )
    said = run.stdout + run.stderr
    if "No. of Data Rows" not in said or "aborted" in said:
        raise RuntimeError(said[-3000:])
    found = re.findall(r"(?m)^(\w+)\s+=\s+(-?[\d.]+e[+-]\d+)", said)
    return {name: float(value) for name, value in found}


@cache
def has_ngspice() -> bool:
    """Whether the simulator is there."""
    return shutil.which("ngspice") is not None


def need_ngspice() -> None:
    """Leave the test out where there is no simulator."""
    if not has_ngspice():
        lacking("ngspice is not installed (Debian package ngspice)")


def measure(*values: dict[str, float], lines: Lines = ()) -> Seen:
    """Run the circuit once with these values, later ones before earlier ones."""
    together: dict[str, float] = {}
    for some in values:
        together |= some
    found = simulate(netlist(together, lines))
    offset = together.get("offset", 0.0)
    went = found["left_a"] < found["release_limit_a"]
    return Seen(
        margin_v=found["margin_v"] + offset,
        reference_v=found["reference_v"],
        coil_v=found["coil_v"],
        pin_a=found["pin_a"],
        released_s=found.get("released_s", CHANGE_S) - CHANGE_S if went else None,
        left_v=found["left_v"] + offset,
    )
