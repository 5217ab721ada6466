"""The state of the heart: frozen, complete, and all that the next step knows."""

from __future__ import annotations

import msgspec

from tawny.core.aim_state import AimState
from tawny.core.alarms import Standings
from tawny.core.equipment import Mould, Press
from tawny.core.loop.state import Loop
from tawny.core.messages import Tele
from tawny.core.names import LinkStatus, Phase, Quality
from tawny.core.plan_state import Plan
from tawny.core.recipe import Recipe
from tawny.core.snapshot import Code, PartView, RescueView

STATE_SCHEMA = 1


class HalfState(msgspec.Struct, frozen=True, gc=False):
    """One mould half as the host knows it.

    Attributes:
        counter: The board's sample counter; standing still means a stale sensor.
        fresh_ms: The board's clock at the last new good sample.
        sum_c, count: Good samples since the last control step.
        given_ms: On-time delivered since the last control step.
        operations: How often its output has switched on since the heat-up began.
        was_on: It was on in the last frame.
        delivered: Delivered duty over the last few seconds, for the screen.
        same_ms: How long the raw register has not moved at a duty that should move it.
        probe_ms: What is left of the duty step that tests a still sensor.
        still_duty: What the loop asked for when that step began, None without one.
        setpoint_c: What `in_band` and `reached` were judged by.
        reached: It has been in band at this setpoint; deviations count from then on.
        cutoff_c: Host cut-off; falls with a lowered setpoint only as the half cools.
        above_cutoff: The value is at the host cut-off now.
        cut: No heat until the alarm of the cut-off, or of a value that is no number, is reset.
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
    given_ms: int = 0
    operations: int = 0
    was_on: bool = False
    delivered: float = 0.0
    duty: float = 0.0
    setpoint_c: float | None = None
    in_band: bool = False
    reached: bool = False
    same_ms: int = 0
    probe_ms: int = 0
    cutoff_c: float | None = None
    above_cutoff: bool = False
    cut: bool = False
    finite: bool = True
    still_duty: float | None = None


class LinkState(msgspec.Struct, frozen=True, gc=False):
    """The link and the board behind it.

    Attributes:
        boot: Of the board last seen; -1 until there was one.
        last_host_ms: Host clock of the last good line.
        board_ms: Board clock of the last frame; -1 where none of this boot came yet.
        next_count: Presses of NEXT/MARK counted so far; -1 where the count is not known.
        mould_slot: Whose R and lag the board judges by; 0: none, or not known.
        arming: "", "asked", "press_arm".
        bad_rate: Lines that the board dropped in the last second.
        late_ms: Host clock when this computer last left the press waiting.
    """

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
    mould_slot: int = 0
    window_s: float = 1.0
    fitted: int = 0
    last_host_ms: int = -1_000_000
    board_ms: int = -1
    next_count: int = -1
    arming: str = ""
    why: str = ""
    bad_lines: int = 0
    bad_rate: int = 0
    presence_left_s: int = 0
    operations: int = 0
    refused_kind: str = ""
    refused_why: str = ""
    refused_ms: int = -1_000_000
    late_ms: int = -1_000_000


class PressingState(msgspec.Struct, frozen=True, gc=False):
    """The pressing in hand. Clocks are the press clock in ms.

    Attributes:
        closed_ms: The mould was closed on the charge: its switch says so, or the tap.
        hold_ended_ms: Release began; dose and hold count up to here.
        equivalent_s, severity_min: From closing to the end of the hold.
        release_equivalent_s: What came on top until opening.
        gaps: Start and end of what was not seen, since the beginning.
        alarms, alarms_ms: What was raised meanwhile, each once, and when on the host clock.
        off_sum_k, off_count: Deviation of both halves, from closing to the end of the hold.
        first_off: Among the first pressings of a heat-up: checked apart, and nothing to learn from.
    """

    number: int
    recipe: Recipe
    began_ms: int
    closed_ms: int | None = None
    hold_ended_ms: int | None = None
    equivalent_s: float = 0.0
    severity_min: float = 0.0
    release_equivalent_s: float = 0.0
    dose_gap: bool = False
    gaps: tuple[tuple[int, int], ...] = ()
    upper_peak_c: float | None = None
    lower_peak_c: float | None = None
    hold_sum_c: float = 0.0
    hold_count: int = 0
    off_sum_k: float = 0.0
    off_count: int = 0
    upper_on_ms: int = 0
    lower_on_ms: int = 0
    breaths_s: tuple[float, ...] = ()
    alarms: tuple[str, ...] = ()
    alarms_ms: tuple[int, ...] = ()
    scrapped: bool = False
    reason: str = ""
    first_off: bool = False


class CycleState(msgspec.Struct, frozen=True, gc=False):
    """Where the pressing stands.

    Attributes:
        clock_ms: The press clock: the board's clock carried over its restarts.
        confirmed_ms: Host clock when the mould was seen empty, dry and let down.
        advanced_ms, tapped_ms: Host clock of the last advance, and of the last tap at all.
        soaking_ms: Press clock since when both halves have been in band.
        charge_due: A charge is to be announced as soon as the board takes one.
        charged_ms, disarmed_ms: Press clock of the last announcement, and of the last disarming
            of a board that nobody asked to arm.
        opened_ms: Press clock since when the mould stands open.
        fell: The board saw a half fall fast outside a charge, and holds the heat at 0 until the
            next charge or arming.
        since_clean, since_oil: Pressings since then; None: not known, so due.
        lost: Why heat was lost last; empty once it is wanted again.
        restarted, restarted_ms: Cause of the board's last restart, and host clock since when it
            is shown; empty once it was shown long enough.
        rescue_ms: Host clock of the interruption the card is about; None: an earlier owner's.
    """

    phase: Phase = Phase.IDLE
    since_ms: int = 0
    clock_ms: int = 0
    paused_from: Phase | None = None
    confirmed: bool = False
    confirmed_ms: int | None = None
    heat_wanted: bool = False
    advanced_ms: int = -1_000_000
    tapped_ms: int = -1_000_000
    soaking_ms: int | None = None
    charge_due: bool = False
    charged_ms: int = -1_000_000
    disarmed_ms: int = -1_000_000
    opened_ms: int | None = None
    fell: bool = False
    pressing: PressingState | None = None
    next_number: int = 1
    since_clean: int | None = 0
    since_oil: int | None = None
    sound: str = "off"
    lost: str = ""
    restarted: str = ""
    restarted_ms: int = -1_000_000
    rescue: RescueView | None = None
    rescue_ms: int | None = None


class State(msgspec.Struct, frozen=True, gc=False):
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
    loop: Loop = Loop()
    loop_ms: int = -1
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
    aim: AimState = AimState()
    plan: Plan = Plan()

    def recipe_in_use(self) -> Recipe:
        """Return the recipe of the pressing in hand, or the one of the next."""
        return self.recipe if self.cycle.pressing is None else self.cycle.pressing.recipe
