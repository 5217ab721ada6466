"""The state of the heart: frozen, complete, and all that the next step knows."""

from __future__ import annotations

import msgspec

from tawny.core.alarms import Standings
from tawny.core.equipment import Mould, Press
from tawny.core.messages import Tele
from tawny.core.names import LinkStatus, Phase, Quality
from tawny.core.recipe import Recipe
from tawny.core.snapshot import Code, PartView, RescueView

STATE_SCHEMA = 1


class HalfState(msgspec.Struct, frozen=True):
    """One mould half as the host knows it.

    Attributes:
        counter: The board's sample counter; standing still means a stale sensor.
        fresh_ms: The board's clock at the last new good sample.
        sum_c, count: Good samples since the last control step.
        lagged: Delivered duty behind the commissioned lag.
        delivered: Delivered duty over the last few seconds, for the screen.
        same_ms: How long the raw register has not moved at a duty that should move it.
        probe_ms: What is left of the duty step that tests a still sensor.
        cutoff_c: Host cut-off; falls with a lowered setpoint only as the half cools.
        above_cutoff: The value is at the host cut-off now.
        cut: The host cut-off acts until its alarm is reset.
    """

    quality: Quality = Quality.BAD
    value_c: float | None = None
    raw: int = 0
    counter: int = -1
    on_ms: int = -1
    fresh_ms: int = -1_000_000
    sum_c: float = 0.0
    count: int = 0
    mean_c: float | None = None
    lagged: float = 0.0
    delivered: float = 0.0
    integral: float = 0.0
    duty: float = 0.0
    in_band: bool = False
    reached: bool = False
    same_ms: int = 0
    probe_ms: int = 0
    cutoff_c: float | None = None
    above_cutoff: bool = False
    cut: bool = False
    finite: bool = True


class LinkState(msgspec.Struct, frozen=True):
    """The link and the board behind it."""

    status: LinkStatus = LinkStatus.CLOSED
    reason: Code | None = None
    port: str = ""
    board: str = ""
    build: str = ""
    boot: int = -1
    cause: str = "unknown"
    ceiling_c: float = 230.0
    trip_c: float = 215.0
    setpoint_most_c: float = 200.0
    supply_cap: float = 2.0
    window_s: float = 1.0
    fitted: int = 0
    last_host_ms: int = -1_000_000
    board_ms: int = -1
    next_count: int = -1
    arming: str = ""
    why: str = ""
    bad_lines: int = 0
    bad_rate: float = 0.0
    presence_left_s: int = 0
    operations: int = 0
    refused_kind: str = ""
    refused_why: str = ""
    refused_ms: int = -1_000_000
    late: bool = False


class PressingState(msgspec.Struct, frozen=True):
    """The pressing in hand. Clocks are the press clock in ms."""

    number: int
    recipe: Recipe
    began_ms: int
    closed_ms: int | None = None
    hold_ended_ms: int | None = None
    equivalent_s: float = 0.0
    severity_min: float = 0.0
    dose_gap: bool = False
    gaps: tuple[tuple[int, int], ...] = ()
    upper_peak_c: float | None = None
    lower_peak_c: float | None = None
    hold_sum_c: float = 0.0
    hold_count: int = 0
    upper_on_ms: int = 0
    lower_on_ms: int = 0
    breaths_s: tuple[float, ...] = ()
    alarms: tuple[str, ...] = ()
    scrapped: bool = False
    reason: str = ""


class CycleState(msgspec.Struct, frozen=True):
    """Where the pressing stands.

    Attributes:
        clock_ms: The press clock: the board's clock carried over its restarts.
        advanced_ms, tapped_ms: Host clock of the last advance, and of the last tap at all.
        soaking_ms: Press clock since when both halves have been in band.
    """

    phase: Phase = Phase.IDLE
    since_ms: int = 0
    clock_ms: int = 0
    paused_from: Phase | None = None
    confirmed: bool = False
    heat_wanted: bool = False
    advanced_ms: int = -1_000_000
    tapped_ms: int = -1_000_000
    soaking_ms: int | None = None
    charged_ms: int = -1_000_000
    opened_ms: int | None = None
    pressing: PressingState | None = None
    next_number: int = 1
    since_clean: int = 0
    since_oil: int = 0
    sound: str = "off"
    interrupted: str = ""
    restarted: str = ""
    rescue: RescueView | None = None


class State(msgspec.Struct, frozen=True):
    """Everything."""

    press: Press
    mould: Mould
    recipes: tuple[Recipe, ...]
    recipe: Recipe
    upper: HalfState = HalfState()
    lower: HalfState = HalfState()
    link: LinkState = LinkState()
    cycle: CycleState = CycleState()
    tele: Tele | None = None
    alarms: Standings = ()
    host_ms: int = 0
    frames: int = 0
    control_ms: int = -1
    operator: str = ""
    lot: str = ""
    store_ok: bool = True
    store_reason: Code | None = None
    desk_viewer: str = ""
    desk_empty_s: float = 0.0
    viewers: int = 0
    ending: bool = False
    last_parts: tuple[PartView, ...] = ()
    parts_today: int = 0
