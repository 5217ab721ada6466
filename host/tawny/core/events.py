"""What happens to the press: the step's inputs, and the only things it ever learns.

All times are integer milliseconds, so that a recorded event is exactly the event that
was lived: `host_ms` on a clock that counts suspend, `board_ms` on the board's own.
"""

from __future__ import annotations

import msgspec

from tawny.core.intents import AnyIntent
from tawny.core.loop.thermal import Thermal
from tawny.core.messages import Tele
from tawny.core.snapshot import Code


class Event(msgspec.Struct, frozen=True, gc=False, tag_field="event"):
    """Base of every event."""

    host_ms: int


class Frame(Event, frozen=True, tag="frame"):
    """One good line of telemetry.

    Attributes:
        board_ms: The board's clock, unwrapped within one boot.
    """

    boot: int
    board_ms: int
    tele: Tele


class Tick(Event, frozen=True, tag="tick"):
    """Each 0.25 s, also with no link."""


class Asked(Event, frozen=True, tag="asked"):
    """A person asked for something."""

    who: str
    intent: AnyIntent


class LinkUp(Event, frozen=True, tag="link_up"):
    """The board's identity is confirmed."""

    port: str
    board: str
    build: str
    boot: int
    cause: str
    latch: str
    ceiling_c: float
    trip_c: float
    setpoint_most_c: float
    supply_cap: float
    window_ms: int
    fitted: int
    mould_slot: int
    upper_rise_k_per_s: float
    upper_lag_s: float
    lower_rise_k_per_s: float
    lower_lag_s: float


class LinkDown(Event, frozen=True, tag="link_down"):
    """The link is closed, lost or refused."""

    reason: Code
    refused: bool = False


class BoardRestarted(Event, frozen=True, tag="board_restarted"):
    """The board started again in the middle of a session."""

    boot: int
    cause: str


class BoardSaid(Event, frozen=True, tag="board_said"):
    """An entry of the board's event log, as it happened."""

    code: str
    value_c: float | None


class BoardStatus(Event, frozen=True, tag="board_status"):
    """The board's slow status line."""

    why: str
    bad_lines: int
    presence_left_s: int
    window_left_s: int
    operations: int


class LimitsSeen(Event, frozen=True, tag="limits_seen"):
    """The board's limits, read again after a change."""

    trip_c: float
    setpoint_most_c: float


class MouldSeen(Event, frozen=True, tag="mould_seen"):
    """Which mould slot the board uses, read again after a change; 0: none."""

    slot: int


class Arming(Event, frozen=True, tag="arming"):
    """Where the arming exchange stands: asked, press_arm, armed, expired."""

    step: str


class Refusal(Event, frozen=True, tag="refusal"):
    """The board refused a request."""

    kind: str
    why: str


class StoreChanged(Event, frozen=True, tag="store_changed"):
    """The record began or ceased to be written."""

    ok: bool
    reason: Code | None = None


class DeskChanged(Event, frozen=True, tag="desk_changed"):
    """Who sits at the desk; `empty_s` grows while nobody does."""

    viewer: str
    empty_s: float
    viewers: int


class ThermalLearned(Event, frozen=True, tag="thermal_learned"):
    """A thermal model was fitted.

    Attributes:
        mould: Whose.
        thermal: None: it was not taken, and the one before stays.
    """

    mould: str
    thermal: Thermal | None


AnyEvent = (
    Frame
    | Tick
    | Asked
    | LinkUp
    | LinkDown
    | BoardRestarted
    | BoardSaid
    | BoardStatus
    | LimitsSeen
    | MouldSeen
    | Arming
    | Refusal
    | StoreChanged
    | DeskChanged
    | ThermalLearned
)
