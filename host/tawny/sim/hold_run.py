"""One controller on one mould: commissioning, heat-up, hold, heat-up again, pressings."""

from __future__ import annotations

import random
import time
from statistics import fmean, median
from typing import TYPE_CHECKING, Final

import msgspec

from tawny.core.limits import OPEN_DUTY_MOST, READ_MS
from tawny.sim.charge_cycle import LYING_S
from tawny.sim.hold_bounds import CUP_C, HOLD_S, OPEN_S, charge_g, setpoints_c
from tawny.sim.hold_figures import (
    BAND_K,
    Holding,
    Recovery,
    dose_rate,
    heat_up_s,
    holding,
    overshoot_k,
    recovery,
    variation,
)
from tawny.sim.lane import CONTROL_MS, Driver, Lane, Row
from tawny.sim.lane_commission import Learned, commissioned, learned, soak_s, uncommissioned
from tawny.sim.lane_drive import LoopDriver, RivalDriver
from tawny.sim.rivals.choice import rival

if TYPE_CHECKING:
    from tawny.sim.parameters import MouldModel

TAWNY: Final = "tawny"
HEAT_UP_MOST_S: Final = 8 * 3600.0
SETTLE_S: Final = 600.0  # from both halves' arrival to the hold that is judged
JUDGED_S: Final = 1800.0
LANDED_S: Final = 300.0  # after soak, the program too ends what a heat-up teaches
JITTER_S: Final = 3.0
DEMOULD_S: Final = 10.0  # of the opening: then the next charge comes
LEAST_S, MOST_S = 180.0, 300.0  # of a hold that its dose ends
LEARNED_FROM: Final = 5  # the pressing


class HeatUp(msgspec.Struct, frozen=True, kw_only=True):
    """One heat-up from room.

    Attributes:
        time_s: Until no tip is more than 1 K below setpoint any more; None: never.
        overshoot_k: Highest of a tip above setpoint, up to the end of the hold that follows.
        given_j: Heat until then; None as above.
    """

    time_s: float | None
    overshoot_k: float
    given_j: float | None


class Pressings(msgspec.Struct, frozen=True, kw_only=True):
    """Of all pressings, and of the learned ones: from the fifth on.

    Attributes:
        recovery_s, dip_k: Median of the learned ones.
        recoveries_s: Of each.
        hold_s: Mean time that the dose-ended holds took.
        surface_cv, core_cv: Spread of the true dose of identical charges, holds ended by dose.
        clock_surface_cv, clock_core_cv: The same had each ended after 240 s.
        given_share: On-time of both heaters over all that supply and open mould allow, in the
            learned ones; near 1 no controller could have given more, and the pace is too fast.
        part_j: Heat for each part, opening to opening, mean of the learned ones.
        switchings_per_h: Of each half.
    """

    recovery_s: float | None
    dip_k: float
    recoveries_s: tuple[float | None, ...]
    hold_s: float
    surface_cv: float | None
    core_cv: float | None
    clock_surface_cv: float | None
    clock_core_cv: float | None
    given_share: float
    part_j: float
    switchings_per_h: tuple[float, float]


class Learning(msgspec.Struct, frozen=True, kw_only=True):
    """What a loop knew of the mould.

    Attributes:
        trusted: It had a fitted model for the first heat-up.
        residuals_k: Of that fit, of each half; None: nothing was fitted.
        later_refined: The first heat-up refined the model for the later one.
        later_why: Code of why it did not.
    """

    trusted: bool
    residuals_k: tuple[float, float] | None
    later_refined: bool
    later_why: str


class Run(msgspec.Struct, frozen=True, kw_only=True):
    """What one controller did.

    Attributes:
        learning: What the loop knew of the mould; None: a rival.
        later: None where it was not asked for.
        hold, pressings: None as well where the setpoint was never reached.
        hold_switchings_per_h: Of each half.
        imbalance_j: Heat that the mould's books miss at the end; nought but for rounding.
        simulated_s: Heat-ups, hold and pressings; commissioning is not counted.
        cpu_s: What the processor spent on these; fits are not counted.
    """

    learning: Learning | None
    first: HeatUp
    later: HeatUp | None
    hold: Holding | None
    hold_switchings_per_h: tuple[float, float] | None
    pressings: Pressings | None
    imbalance_j: float
    simulated_s: float
    cpu_s: float


class Traces(msgspec.Struct):
    """Rows of the first heat-up with its hold, and of the last pressing."""

    heat_up: list[Row] = []
    pressing: list[Row] = []
    closed_s: float = 0.0


def run(
    model: MouldModel,
    controller: str,
    *,
    seed: int,
    pressings: int,
    record: bool = True,
    later: bool = True,
    traces: Traces | None = None,
) -> Run:
    """Run the scenario.

    Args:
        model: A mould that can reach its setpoint.
        controller: "tawny" or one of the rivals.
        seed: Of all chance; the same seed, the same run.
        pressings: How many.
        record: The mould was commissioned; else the loop begins with a guess.
        later: Heat up a second time, before the pressings.
        traces: Filled in where given.

    Raises:
        InputError: If there is no such controller.
    """
    known: Learned | None = None
    if controller == TAWNY:
        known = commissioned(model, seed) if record else Learned(uncommissioned(model))
    begin_s = time.process_time()
    lane, driver = Lane(model, seed=seed), _driver(model, controller, known)
    first, arrived_s = _heat_up(lane, driver, SETTLE_S)
    hold = hold_switchings = again = pressed = after = None
    simulated_s = 0.0
    if arrived_s is not None:
        count, before = len(lane.rows), (lane.switchings[0], lane.switchings[1])
        lane.run(driver, lane.now_ms + round(JUDGED_S * 1000.0))
        # Judged over all of it: a half that falls again later had not arrived.
        first = _judged(lane)
        hold = holding(lane.rows[count:], setpoints_c(model))
        hold_switchings = _per_h(lane, before, JUDGED_S)
        if traces is not None:
            traces.heat_up = lane.rows
        if known is not None:
            landed_s = arrived_s + soak_s(model) + LANDED_S
            rows = [row for row in lane.rows if row.at_s <= landed_s]
            before_s = time.process_time()
            after = learned(model, rows, known.thermal)
            begin_s += time.process_time() - before_s
    if arrived_s is not None and later:
        simulated_s += lane.now_ms / 1000.0
        lane, driver = Lane(model, seed=seed + 1), _driver(model, controller, after)
        again, _ = _heat_up(lane, driver, SETTLE_S)
    if arrived_s is not None and pressings > 0:
        pressed = _pressings(lane, driver, pressings, seed + 2, traces)
    return Run(
        learning=None if known is None else _learning(known, after),
        first=first,
        later=again,
        hold=hold,
        hold_switchings_per_h=hold_switchings,
        pressings=pressed,
        imbalance_j=lane.mould.imbalance_j,
        simulated_s=simulated_s + lane.now_ms / 1000.0,
        cpu_s=time.process_time() - begin_s,
    )


def _learning(known: Learned, after: Learned | None) -> Learning:
    refined = after is not None and after.thermal is not known.thermal
    return Learning(
        trusted=known.thermal.trusted,
        residuals_k=known.residuals_k,
        later_refined=refined,
        later_why="" if after is None else after.why,
    )


def _driver(model: MouldModel, controller: str, known: Learned | None) -> Driver:
    both_c = setpoints_c(model)
    if known is not None:
        return LoopDriver(known.thermal, model, both_c)
    return RivalDriver(rival(controller, model), both_c)


def _heat_up(lane: Lane, driver: Driver, then_s: float) -> tuple[HeatUp, float | None]:
    """Heat up until both tips have been within 1 K below setpoint, and go on for a time.

    Returns:
        Its figures, and when they first were there; None: never.
    """
    least_c = lane.model.heat_up_c - BAND_K
    arrived_s = None
    while arrived_s is None and lane.now_ms < HEAT_UP_MOST_S * 1000.0:
        lane.run(driver, lane.now_ms + CONTROL_MS)
        if min(lane.rows[-1].tips_c) >= least_c:
            arrived_s = lane.rows[-1].at_s
    if arrived_s is not None:
        lane.run(driver, lane.now_ms + round(then_s * 1000.0))
    return _judged(lane), arrived_s


def _judged(lane: Lane) -> HeatUp:
    both_c = setpoints_c(lane.model)
    time_s = heat_up_s(lane.rows, both_c)
    given_j = None
    if time_s is not None:
        (on_ms,) = (row.on_ms for row in lane.rows if row.at_s == time_s)
        given_j = _given_j(lane.model, on_ms)
    return HeatUp(time_s=time_s, overshoot_k=overshoot_k(lane.rows, both_c), given_j=given_j)


def _given_j(model: MouldModel, on_ms: tuple[int, int]) -> float:
    return (model.upper.heater_w * on_ms[0] + model.lower.heater_w * on_ms[1]) / 1000.0


def _per_h(lane: Lane, before: tuple[int, int], span_s: float) -> tuple[float, float]:
    upper, lower = (
        (now - one) * 3600.0 / span_s for now, one in zip(lane.switchings, before, strict=True)
    )
    return upper, lower


class _Doses:
    """What both faces and the core of a charge got so far, in equivalent seconds at setpoint."""

    def __init__(self, lane: Lane) -> None:
        self._lane = lane
        self._both_c = setpoints_c(lane.model)
        self.told_s = self.surface_s = self.core_s = 0.0

    def add(self, span_s: float) -> None:
        lane, both_c = self._lane, self._both_c
        mould, charge = lane.mould, lane.mould.charge
        self.told_s += dose_rate(lane.shown_c, both_c) * span_s
        surfaces_c = (mould.upper_surface_c, mould.lower_surface_c)
        self.surface_s += dose_rate(surfaces_c, both_c) * span_s
        if charge is not None:
            self.core_s += dose_rate((charge.core_c, charge.core_c), both_c) * span_s


class _Pressed(msgspec.Struct, frozen=True):
    """One pressing; doses as (surface, core)."""

    recovery: Recovery
    hold_s: float
    by_dose: tuple[float, float]
    by_clock: tuple[float, float]
    given_j: float
    on_s: float
    allowed_s: float


def _pressings(
    lane: Lane, driver: Driver, count: int, seed: int, traces: Traces | None
) -> Pressings:
    source = random.Random(seed)  # noqa: S311 - chance, not secrets
    before, begin_ms = (lane.switchings[0], lane.switchings[1]), lane.now_ms
    done = [_pressing(lane, driver, source, traces) for _ in range(count)]
    learned = done[LEARNED_FROM - 1 :] or done[-1:]
    times_s = [one.recovery.time_s for one in learned]
    ordered = sorted(float("inf") if time_s is None else time_s for time_s in times_s)
    middle_s = median(ordered)

    def spread(*, by_dose: bool, core: bool) -> float | None:
        return variation([(one.by_dose if by_dose else one.by_clock)[core] for one in done])

    return Pressings(
        recovery_s=None if middle_s == float("inf") else middle_s,
        dip_k=median(one.recovery.dip_k for one in learned),
        recoveries_s=tuple(one.recovery.time_s for one in done),
        hold_s=fmean(one.hold_s for one in done),
        surface_cv=spread(by_dose=True, core=False),
        core_cv=spread(by_dose=True, core=True),
        clock_surface_cv=spread(by_dose=False, core=False),
        clock_core_cv=spread(by_dose=False, core=True),
        given_share=sum(one.on_s for one in learned) / sum(one.allowed_s for one in learned),
        part_j=fmean(one.given_j for one in learned),
        switchings_per_h=_per_h(lane, before, (lane.now_ms - begin_ms) / 1000.0),
    )


def _pressing(lane: Lane, driver: Driver, source: random.Random, traces: Traces | None) -> _Pressed:
    """Open, fill, close, hold until both ways to end a hold have been reached."""
    begin_ms, begin_row, begin_j = lane.now_ms, len(lane.rows), lane.mould.given_j
    begin_on_ms = sum(lane.output.delivered_ms)
    opening_s = OPEN_S + source.uniform(-JITTER_S, JITTER_S)
    closed_ms = begin_ms + round(opening_s * 1000.0 / READ_MS) * READ_MS
    lane.open(charging=False)
    lane.run(driver, begin_ms + round(DEMOULD_S * 1000.0))
    lane.charging = True
    lane.run(driver, closed_ms - round(LYING_S * 1000.0))
    dry_g, water_g = charge_g(lane.model)
    lane.mould.load(dry_g, water_g, CUP_C)
    lane.run(driver, closed_ms)
    lane.close()
    doses = _Doses(lane)
    by_dose = by_clock = None
    hold_s = 0.0
    while by_dose is None or by_clock is None:
        lane.run(driver, lane.now_ms + READ_MS)
        doses.add(READ_MS / 1000.0)
        held_s = (lane.now_ms - closed_ms) / 1000.0
        if by_clock is None and held_s >= HOLD_S:
            by_clock = doses.surface_s, doses.core_s
        if by_dose is None and (held_s >= MOST_S or (held_s >= LEAST_S and doses.told_s >= HOLD_S)):
            by_dose, hold_s = (doses.surface_s, doses.core_s), held_s
    rows, cap = lane.rows[begin_row:], lane.model.supply_cap
    if traces is not None:
        traces.pressing, traces.closed_s = rows, closed_ms / 1000.0
    return _Pressed(
        recovery(rows, setpoints_c(lane.model), closed_ms / 1000.0),
        hold_s,
        by_dose,
        by_clock,
        lane.mould.given_j - begin_j,
        (sum(lane.output.delivered_ms) - begin_on_ms) / 1000.0,
        (closed_ms - begin_ms) / 1000.0 * min(2.0 * OPEN_DUTY_MOST, cap)
        + (lane.now_ms - closed_ms) / 1000.0 * cap,
    )
