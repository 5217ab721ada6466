"""What a hand can do at the simulated press, and what can go wrong there.

Tagged structs, so that they cross a socket as JSON: `{"do": "press_arm", "hold_ms": 300}`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

from tawny.core.names import Half, ResetCause
from tawny.sim.sensor import SensorFault

_Hold = Annotated[int, Meta(ge=1, le=3_600_000)]
_Grams = Annotated[float, Meta(ge=0.0, le=100_000.0)]


class HeaterFault(StrEnum):
    """What is wrong with a heater's circuit."""

    GOOD = "good"
    WELDED = "welded"  # its relay stays on
    OPEN = "open"  # no current flows


class ContactorFault(StrEnum):
    """What is wrong with the contactor."""

    GOOD = "good"
    WELDED = "welded"  # does not let go
    OPEN = "open"  # does not pull in


class Command(
    msgspec.Struct, frozen=True, tag_field="do", forbid_unknown_fields=True, kw_only=True
):
    """Base of every command."""


class PressArm(Command, frozen=True, tag="press_arm"):
    """Press ARM/RESET and let go again."""

    hold_ms: _Hold = 300


class HoldArm(Command, frozen=True, tag="hold_arm"):
    """Hold ARM/RESET down until told otherwise, or let go of it."""

    down: bool


class PressNext(Command, frozen=True, tag="press_next"):
    """Press NEXT/MARK and let go again."""

    hold_ms: _Hold = 150


class ResetTrip(Command, frozen=True, tag="reset_trip"):
    """Hold RESET for 3 s, as a person does who has seen to the cause."""


class OpenMould(Command, frozen=True, tag="open_mould"):
    """Open the mould."""


class CloseMould(Command, frozen=True, tag="close_mould"):
    """Close the mould."""


class LoadCharge(Command, frozen=True, tag="load_charge"):
    """Put a charge into the open mould: dry residue, all its water, its temperature."""

    residue_g: Annotated[float, Meta(ge=5.0, le=100_000.0)]
    water_g: _Grams
    temperature_c: Annotated[float, Meta(ge=0.0, le=90.0)] = 22.0


class UnloadCharge(Command, frozen=True, tag="unload_charge"):
    """Take out what lies in the open mould."""


class HeatOffButton(Command, frozen=True, tag="heat_off_button"):
    """Press the heat-off button in, or turn it out again."""

    pressed: bool


class Mains(Command, frozen=True, tag="mains"):
    """Lose the mains at the coil chain, or give it back and press its start."""

    on: bool


class Thermostat(Command, frozen=True, tag="thermostat"):
    """Open a limit thermostat, or reset it by hand."""

    opened: bool


class SetSensor(Command, frozen=True, tag="sensor"):
    """Break or mend a thermocouple."""

    half: Half
    fault: SensorFault


class SetHeater(Command, frozen=True, tag="heater"):
    """Break or mend a heater's circuit."""

    half: Half
    fault: HeaterFault


class SetContactor(Command, frozen=True, tag="contactor"):
    """Break or mend the contactor."""

    fault: ContactorFault


class LineNoise(Command, frozen=True, tag="line_noise"):
    """Turn over bits of the line, both ways, each with this chance."""

    bit_error_rate: Annotated[float, Meta(ge=0.0, le=0.5)]


class Plug(Command, frozen=True, tag="plug"):
    """Pull the USB plug out, or put it in again."""

    plugged: bool


class Restart(Command, frozen=True, tag="restart"):
    """Reset the board."""

    cause: ResetCause = ResetCause.POWER
    selftest_fails: bool = False


class Look(Command, frozen=True, tag="look"):
    """Change nothing; the answer says how things stand."""


AnyCommand = (
    PressArm
    | HoldArm
    | PressNext
    | ResetTrip
    | OpenMould
    | CloseMould
    | LoadCharge
    | UnloadCharge
    | HeatOffButton
    | Mains
    | Thermostat
    | SetSensor
    | SetHeater
    | SetContactor
    | LineNoise
    | Plug
    | Restart
    | Look
)


class Scene(msgspec.Struct, frozen=True):
    """How things stand at the press, true temperatures included.

    Attributes:
        now_ms: Of the simulated world.
        core_c: In the middle of the charge, None without one.
        water_g: Still in the charge.
    """

    now_ms: int
    state: str
    first_out: str
    contactor: bool
    lamp: str
    sound: str
    hot: bool
    open: bool
    plugged: bool
    upper_c: float
    lower_c: float
    core_c: float | None
    water_g: float


class Answer(msgspec.Struct, frozen=True):
    """What became of a command.

    Attributes:
        done: Whether it was carried out.
        why: If not: "mould_closed", "nothing_inside", "too_hot", "already_down", or what is
            wrong with the command itself.
        scene: How things stand after it.
    """

    done: bool
    why: str = ""
    scene: Scene | None = None
