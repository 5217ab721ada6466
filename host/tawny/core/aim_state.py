"""What is remembered of the working setpoint: standby, a dry-out, heat by hand, a ramp."""

from __future__ import annotations

from enum import StrEnum

import msgspec


class Aim(StrEnum):
    """Why the halves are held where they are."""

    PRESS = "press"  # the recipe's setpoints
    STANDBY = "standby"
    DRY_OUT = "dry_out"
    MANUAL = "manual"


class DryOut(msgspec.Struct, frozen=True):
    """A slow first heat-up for heaters that may be damp.

    Attributes:
        stage: Counts from 0.
        held_ms: How long both halves were warm enough in this stage.
        cold_ms: How long this stage has lasted without.
    """

    stage: int = 0
    held_ms: int = 0
    cold_ms: int = 0


class Manual(msgspec.Struct, frozen=True):
    """A fixed duty for each half.

    Attributes:
        upper, lower: Duty, 0-1.
        until_ms: On the press clock.
        over: Why it has ended and the duty is 0: "", "time", "ceiling", "doubt".
    """

    upper: float
    lower: float
    until_ms: int
    over: str = ""


class AimState(msgspec.Struct, frozen=True, gc=False):
    """Where the working setpoint stands.

    Attributes:
        upper_c, lower_c: Working setpoints; None: not begun.
        dry_asked: The next heat-up begins with a dry-out.
        easing: After heat by hand the setpoint comes from the value there is.
        closings: Pressings finished since the mould was last heated up.
        warmed, warmed_ms: Which half ("upper", "lower", "") stays above its band without heat of
            its own while the other is held, and for how long.
    """

    upper_c: float | None = None
    lower_c: float | None = None
    standby: bool = False
    dry_asked: bool = False
    dry: DryOut | None = None
    manual: Manual | None = None
    easing: bool = False
    closings: int = 0
    warmed: str = ""
    warmed_ms: int = 0
