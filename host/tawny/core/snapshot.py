"""What viewers see: one frozen picture of the press, published after each step.

Plain values and codes; `tawny.words` turns codes into sentences. Absent means None,
never a stand-in number.
"""

from __future__ import annotations

import msgspec

from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    LinkStatus,
    Phase,
    Priority,
    Quality,
    ResetCause,
    Result,
)

SNAPSHOT_VERSION = 1
Field = str | int | float | bool


class Code(msgspec.Struct, frozen=True):
    """A code with the values its sentence names."""

    code: str
    fields: dict[str, Field] = {}


class HalfView(msgspec.Struct, frozen=True):
    """One mould half."""

    quality: Quality
    process_value_c: float | None  # the last good value when stale
    setpoint_c: float | None  # None: no heat wanted
    deviation_k: float | None
    in_band: bool
    duty: float  # commanded, 0-1
    delivered: float  # measured at the board over the last seconds, 0-1
    raw: int = 0


class LinkView(msgspec.Struct, frozen=True):
    """The serial link."""

    status: LinkStatus
    port: str
    silence_s: float  # since the last good line
    board_id: str = ""
    build: str = ""
    reset_cause: ResetCause = ResetCause.UNKNOWN
    bad_lines: int = 0
    reason: Code | None = None  # why it is refused or closed


class BoardView(msgspec.Struct, frozen=True):
    """The board's own state."""

    state: BoardState
    first_out: FirstOut
    trip_c: float
    ceiling_c: float
    mould_open: bool | None  # None: no switch fitted
    heat_off_button: bool
    mains: bool
    contactor: bool
    hot_lamp: bool
    arming: str = ""  # "", "asked", "press_arm"
    lock_reason: str = ""  # why the board is locked, one word of the protocol


class Permissive(msgspec.Struct, frozen=True):
    """One thing that must be true before the next step."""

    code: str
    met: bool
    fields: dict[str, Field] = {}


class Figure(msgspec.Struct, frozen=True):
    """The one big figure of the screen.

    Attributes:
        kind: "time_left" (s), "time_to_ready" (s), "time_to_breath" (s), "elapsed" (s),
            "grams" (g), "temperature" (degC), "drying" (s), "none".
        value: In the unit of its kind.
        over: The recipe's limit for it is passed: abnormal.
    """

    kind: str
    value: float | None = None
    over: bool = False


class HoldView(msgspec.Struct, frozen=True):
    """The dose-ended hold."""

    elapsed_s: float
    left_s: float  # estimate, clock seconds
    least_s: float
    most_s: float
    equivalent_s: float
    wanted_equivalent_s: float
    longer_s: float  # clock seconds beyond the recipe's own time, negative: shorter
    cause_k: float  # mean deviation of the mould since closing that explains it


class BreatheView(msgspec.Struct, frozen=True):
    """Breaths asked for and marked."""

    done: int
    wanted: int
    next_in_s: float | None


class AimView(msgspec.Struct, frozen=True):
    """What the halves are held at, and why, where that is not simply the recipe.

    Attributes:
        kind: "press" on a ramp, "standby", "dry_out", "manual".
        upper_goal_c, lower_goal_c: Where the working setpoints are going.
        rising: They are not there yet.
        stage, stages: Of a dry-out, from 1.
        left_s: Of a dry-out, an estimate, or of heat by hand; None: not known.
        over: Why heat by hand has ended: "time", "ceiling", "doubt".
    """

    kind: str
    upper_goal_c: float
    lower_goal_c: float
    rising: bool = False
    stage: int = 0
    stages: int = 0
    left_s: float | None = None
    over: str = ""


class AheadView(msgspec.Struct, frozen=True):
    """What is foreseen and what was announced; it only informs.

    Attributes:
        touchable_utc_ms: Both halves below the touching limit, about.
        why: Why nobody can say when it is ready, or touchable.
        outage_utc_ms, tariff_utc_ms, press_utc_ms: As announced.
        close_by_utc_ms: The last closing whose part is out before an outage or dearer tariff.
        closings_left, parts_left: Still to come before it; None: it is not heated.
        cycle_s, out_s: The usual pressing: from closing to closing, and to the part in hand.
        cycles_counted: Of this shift, to tell it by; 0: by the recipe's own times.
        switch_on_by_utc_ms, margin_s: To press at the time announced, the margin counted.
        lines: The sentences of it, the most pressing first.
    """

    touchable_utc_ms: int | None = None
    why: Code | None = None
    outage_utc_ms: int | None = None
    tariff_utc_ms: int | None = None
    press_utc_ms: int | None = None
    close_by_utc_ms: int | None = None
    closings_left: int | None = None
    parts_left: int | None = None
    cycle_s: float | None = None
    out_s: float | None = None
    cycles_counted: int = 0
    switch_on_by_utc_ms: int | None = None
    margin_s: float | None = None
    lines: tuple[Code, ...] = ()


class AlarmView(msgspec.Struct, frozen=True):
    """One alarm that is not normal."""

    alarm: str  # its code
    state: AlarmState
    priority: Priority
    since_utc_ms: int
    first_out: bool
    shelvable: bool
    latching: bool
    fields: dict[str, Field] = {}
    quiet_until_utc_ms: int | None = None


class RescueView(msgspec.Struct, frozen=True):
    """The rescue card after an interruption."""

    pressing: str
    phase: Phase  # where it was interrupted
    cause: Code
    water_g: float  # water still in the charge at most
    steam_litres: float  # free steam that water could make
    closed: bool  # the mould may be closed and under pressure
    steps: tuple[str, ...]  # codes in order
    ticked: tuple[str, ...]
    since_utc_ms: int


class PartView(msgspec.Struct, frozen=True):
    """A finished part in the list of the last ones."""

    part_id: str
    pressing_id: str
    recipe: str
    result: Result
    hold_s: float
    equivalent_s: float | None
    peak_c: float | None
    ended_utc_ms: int
    first_off: bool = False


class Snapshot(msgspec.Struct, frozen=True):
    """One picture of the press."""

    seq: int
    utc_ms: int
    host_s: float
    simulated: bool
    simulated_hand: bool  # the space bar also works the simulated hand
    press: str
    mould: str
    recipe: str
    recipe_version: int
    operator: str
    lot: str
    link: LinkView
    board: BoardView
    upper: HalfView
    lower: HalfView
    armed: bool
    heat: bool  # some duty is commanded
    phase: Phase
    phase_elapsed_s: float
    paused_from: Phase | None
    sentence: Code  # the next action, one sentence
    figure: Figure
    next_phase: Phase | None  # where a tap leads now, None: no tap now
    permissives: tuple[Permissive, ...]
    setpoint_c: float
    band_k: float
    ready_at_utc_ms: int | None
    pressing_id: str
    hold: HoldView | None
    breathe: BreatheView | None
    rescue: RescueView | None
    alarms: tuple[AlarmView, ...]
    last_parts: tuple[PartView, ...]
    parts_today: int
    recipes: tuple[str, ...]
    recording: bool
    store_reason: Code | None
    presence_left_s: float | None
    desk_viewer: str = ""
    viewers: int = 0
    lower_setpoint_c: float | None = None  # None: that of the upper half
    aim: AimView | None = None  # None: the recipe's setpoints
    first_off: bool = False  # the pressing in hand, or else the next
    ahead: AheadView | None = None
    learning: bool = False  # no model of the mould was accepted yet: heated with care


class TrendPoint(msgspec.Struct, frozen=True, array_like=True):
    """One second of the trend, so that a peak of one sample is never lost.

    `host_s` is the owner's clock; an absent value means no good sample in that second.
    """

    host_s: float
    utc_ms: int
    upper_min_c: float | None
    upper_max_c: float | None
    lower_min_c: float | None
    lower_max_c: float | None
    setpoint_c: float | None
    trip_c: float
    phase: Phase
    event: str = ""  # a code: breath, alarm, phase change
    lower_setpoint_c: float | None = None
