"""What the loop keeps between two control steps, and what it is given for the next."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import msgspec

from tawny.core.loop.demand import Demand, Watch
from tawny.core.loop.seen import Seen
from tawny.core.loop.suspicion import Suspicion
from tawny.core.loop.thermal import Thermal


class Place(StrEnum):
    """How the mould stands."""

    SHUT = "shut"  # and empty
    OPEN = "open"
    PRESSED = "pressed"  # closed on a charge; a breath does not change it


class HalfLoop(msgspec.Struct, frozen=True, gc=False):
    """One half.

    Attributes:
        seen: What is believed of it; None before its first reading.
        integral: Of the law, in duty.
        full: It is heated at full duty as far as its peak allows.
        rests: It gets no heat: what a charge gives back would take it too high.
        duty: The last decided.
    """

    seen: Seen | None = None
    integral: float = 0.0
    full: bool = False
    rests: bool = False
    duty: float = 0.0


class Loop(msgspec.Struct, frozen=True, gc=False):
    """Both halves, and what is learned of the charge.

    Attributes:
        place: Of the mould at the last step.
        rising: On the way up, until both halves have landed.
        calm: Steps for which no look ahead is needed.
        setpoints_c: At the last step; None: no heat.
        thermal: The model at the last step.
        watch: What was unforeseen since the place changed; None: nobody looks.
        finite: Everything decided so far was a number.
        suspicion: Of a fault; nothing here decides a duty.
    """

    upper: HalfLoop = HalfLoop()
    lower: HalfLoop = HalfLoop()
    place: Place = Place.SHUT
    rising: bool = False
    calm: int = 0
    setpoints_c: tuple[float, float] | None = None
    thermal: Thermal | None = None
    demand: Demand = Demand()
    watch: Watch | None = None
    finite: bool = True
    suspicion: Suspicion = Suspicion()


class Given(NamedTuple):
    """What one control step knows.

    Attributes:
        thermal: The mould's model.
        setpoints_c: Of both halves; None: no heat.
        readings_c: Mean of the samples since the last step; None: no good one.
        shares: Delivered on-time since the last step, 0-1.
        dt_s: Since the last step.
        most: Most duty of a half, 0-1.
        cap: What both may sum to.
        place: How the mould stands.
        charging: Open, and about to be closed on a charge.
        charge: Which charge, for what was learned of it.
        teaches: A pressing that ends now may teach.
        room_c: Of the room.
        window_s: Output window.
        registers: Of both sensors, as last read; None: not known.
    """

    thermal: Thermal
    setpoints_c: tuple[float, float] | None
    readings_c: tuple[float, float]
    shares: tuple[float, float]
    dt_s: float
    most: float
    cap: float
    place: Place
    charging: bool
    charge: str
    teaches: bool
    room_c: float
    window_s: float
    registers: tuple[int, int] | None = None


Duties = tuple[float, float]
