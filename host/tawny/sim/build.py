"""One build of the simulated board: what is compiled in and what is fitted."""

from __future__ import annotations

from typing import Final
from zlib import crc32

import msgspec

from tawny.core import messages as m
from tawny.sim import limits, output, sense, trips
from tawny.sim.parameters import MouldModel

RELAY_LEAST_MS: Final = 2000
BOARD_ID: Final = "7a3e000000000001"


def _build_id() -> str:
    """Return the build: it changes with any compiled limit."""
    compiled = sorted(
        f"{module.__name__}.{name}={value}"
        for module in (limits, output, sense, trips)
        for name, value in vars(module).items()
        if name.isupper() and isinstance(value, int)
    )
    return f"{crc32(chr(10).join(compiled).encode('ascii')):08x}"


class Build(msgspec.Struct, frozen=True, kw_only=True):
    """What a board says of itself.

    Attributes:
        cap: What both duties may sum to, per mille.
        identity: Step of the mould-identity resistor.
        fit: The bits of `limits.fit`.
    """

    build: str = msgspec.field(default_factory=_build_id)
    board: str = BOARD_ID
    output: str = "ssr"
    window_ms: int = 1000
    cap: int = 2000
    zones: int = 2
    identity: int = 0
    fit: int = m.FIT_SWITCH | m.FIT_NEXT | m.FIT_LAMP | m.FIT_BUZZER

    @property
    def least_ms(self) -> int:
        """Minimum on and off of an output."""
        return RELAY_LEAST_MS if self.output == "relay" else 0


def build_for(model: MouldModel) -> Build:
    """Return the build that heats this mould."""
    fit = m.FIT_SWITCH | m.FIT_NEXT | m.FIT_LAMP | m.FIT_BUZZER
    return Build(
        output=model.output,
        window_ms=round(model.window_ms),
        cap=round(model.supply_cap * 1000),
        identity=model.identity,
        fit=fit | m.FIT_IDENTITY if model.identity else fit,
    )
