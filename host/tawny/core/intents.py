"""What a person at the desk, or a button at the board, asks for.

Each intent is a request: the step accepts or refuses it with a code, and both are recorded.
Tagged structs, so that the desk can send them as JSON.
"""

from __future__ import annotations

import msgspec

from tawny.core.names import Phase


class Intent(msgspec.Struct, frozen=True, tag_field="intent"):
    """Base of every intent."""


class Prepare(Intent, frozen=True, tag="prepare"):
    """Start a day: the mould's state as the person looked at it, before any preheat.

    Attributes:
        empty: Nothing lies in the mould.
        dry: No water stands in the mould and the vents are clear.
        let_down: The press is not pumped up.
        dry_out: The heaters may be damp: heat up slowly first.
    """

    empty: bool
    dry: bool
    let_down: bool
    dry_out: bool = False


class Arm(Intent, frozen=True, tag="arm"):
    """Ask the board for its arming challenge; a person must then press ARM at the board."""


class Advance(Intent, frozen=True, tag="advance"):
    """Go on from the phase the person saw.

    Attributes:
        seen: The phase on their screen; another one now means that the tap is refused.
        from_board: The NEXT button or pedal wired to the board.
    """

    seen: Phase
    from_board: bool = False


class Mark(Intent, frozen=True, tag="mark"):
    """Mark a breath now."""


class HeatOff(Intent, frozen=True, tag="heat_off"):
    """Duty 0 and disarm; the pressing in hand is sealed as aborted."""


class Scrap(Intent, frozen=True, tag="scrap"):
    """Scrap this pressing and keep the mould hot."""

    reason: str = ""


class Pause(Intent, frozen=True, tag="pause"):
    """Stop between steps; the mould stays at setpoint."""


class Resume(Intent, frozen=True, tag="resume"):
    """Go on from a pause, from standby, or from heat by hand: back to the recipe's setpoints."""


class Standby(Intent, frozen=True, tag="standby"):
    """Rest between pressings, below the recipe's setpoints."""


class ManualHeat(Intent, frozen=True, tag="manual_heat"):
    """Give each half a fixed duty for some minutes; for whoever looks after the heating.

    Attributes:
        upper, lower: Duty, 0-1.
    """

    upper: float
    lower: float
    minutes: float


class EndDryOut(Intent, frozen=True, tag="end_dry_out"):
    """End the dry-out of the heaters and go on to the normal heat-up."""


class Announce(Intent, frozen=True, tag="announce"):
    """Tell what comes later, or withdraw it. It only informs: no heat follows from it.

    Attributes:
        what: "outage", "tariff", "press".
        at_utc_ms: When, by the wall clock; None: withdrawn.
        said_utc_ms: The wall clock as it was said.
    """

    what: str
    at_utc_ms: int | None
    said_utc_ms: int


class Acknowledge(Intent, frozen=True, tag="acknowledge"):
    """Seen: acknowledge one alarm, or every alarm on screen when `alarm` is empty."""

    alarm: str = ""


class ResetAlarm(Intent, frozen=True, tag="reset_alarm"):
    """Reset latched alarms of the host whose cause is gone; never the board's own trip."""

    alarm: str = ""


class Shelve(Intent, frozen=True, tag="shelve"):
    """Keep one alarm quiet for some minutes, where its class allows."""

    alarm: str
    minutes: float = 10.0


class ChooseRecipe(Intent, frozen=True, tag="choose_recipe"):
    """Use another recipe from the next pressing on."""

    name: str


class SetOperator(Intent, frozen=True, tag="set_operator"):
    """Name the person at the press."""

    name: str


class SetLot(Intent, frozen=True, tag="set_lot"):
    """Name the lot of residue in use."""

    name: str


class RescueStep(Intent, frozen=True, tag="rescue_step"):
    """Tick one step of the rescue card; `finish` closes it when every step is ticked."""

    step: str


class Confirm(Intent, frozen=True, tag="confirm"):
    """Let the simulated hand do what only a person at the board can: show presence, reset.

    On a real press nothing on the line can do either, and this does nothing.
    """


class TakeDesk(Intent, frozen=True, tag="take_desk"):
    """Sit down at the desk; the viewer there now loses it."""


class Quit(Intent, frozen=True, tag="quit"):
    """Heat off, seal, and end the owner."""


AnyIntent = (
    Prepare
    | Arm
    | Advance
    | Mark
    | HeatOff
    | Scrap
    | Pause
    | Resume
    | Standby
    | ManualHeat
    | EndDryOut
    | Announce
    | Acknowledge
    | ResetAlarm
    | Shelve
    | ChooseRecipe
    | SetOperator
    | SetLot
    | RescueStep
    | Confirm
    | TakeDesk
    | Quit
)
