"""What people announced for later, and how the shift's pressings went. All of it only informs."""

from __future__ import annotations

from enum import StrEnum

import msgspec

DONE_KEPT = 9


class Announced(StrEnum):
    """What can be announced."""

    OUTAGE = "outage"  # the supply is switched off from then on
    TARIFF = "tariff"  # electricity costs more from then on
    PRESS = "press"  # somebody wants to press from then on


class Moment(msgspec.Struct, frozen=True):
    """A moment of the wall clock.

    Attributes:
        at_utc_ms: As it was said.
        at_ms: The same on the host clock as it ran then; past it, it is forgotten.
    """

    at_utc_ms: int
    at_ms: int


class Done(msgspec.Struct, frozen=True):
    """A pressing that was completed: press clock of its closing, and of the part in hand."""

    recipe: str
    closed_ms: int
    out_ms: int


class Plan(msgspec.Struct, frozen=True):
    """What is announced, and the last pressings of this shift."""

    outage: Moment | None = None
    tariff: Moment | None = None
    press: Moment | None = None
    done: tuple[Done, ...] = ()

    def moments(self) -> dict[Announced, Moment]:
        """Return what is announced."""
        said = {
            Announced.OUTAGE: self.outage,
            Announced.TARIFF: self.tariff,
            Announced.PRESS: self.press,
        }
        return {what: moment for what, moment in said.items() if moment is not None}
