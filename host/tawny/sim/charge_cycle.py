"""One opening, charge and hold on the mould without noise, with given duties."""

from __future__ import annotations

from typing import Final, NamedTuple

from tawny.core.limits import OPEN_DUTY_MOST, OPEN_HEAT_MOST_S
from tawny.sim.mould import STEP_S, Mould
from tawny.sim.mould_rest import Pair, at_rest
from tawny.sim.parameters import MouldModel

DUTY_S: Final = 2.0
_SETTLED_LAGS: Final = 25.0
LYING_S: Final = 5.0


class Cycle(NamedTuple):
    """What happens to a mould that was at rest at its setpoints.

    Attributes:
        setpoints_c: Of the tips.
        open_s: From opening to closing.
        hold_s: From closing to the end.
        residue_g: Dry material of the charge; 0: no charge.
        water_g: All water in it.
        cup_c: Temperature of the charge before.
        lying_s: How long before closing it is put on the lower surface.
    """

    setpoints_c: Pair
    open_s: float
    hold_s: float
    residue_g: float
    water_g: float
    cup_c: float
    lying_s: float = LYING_S


class DutyStep(NamedTuple):
    """A stretch of constant duties, in steps of the mould, counted from closing."""

    start: int
    steps: int
    is_open: bool
    most: float


def duty_steps(cycle: Cycle) -> list[DutyStep]:
    """Return the stretches that duties are constant over, cut where the mould closes."""
    each, opening = round(DUTY_S / STEP_S), round(cycle.open_s / STEP_S)
    hold = round(cycle.hold_s / STEP_S)
    first = opening % each
    starts = [-opening] if first else []
    starts += range(first - opening, hold, each)
    ends = [*starts[1:], hold]
    latest = round(OPEN_HEAT_MOST_S / STEP_S) - opening
    return [
        DutyStep(start, end - start, start < 0, _most(start, latest))
        for start, end in zip(starts, ends, strict=True)
    ]


def _most(start: int, latest: int) -> float:
    """Return the most duty of a half: 1, half of it while open, nothing when open too long."""
    if start >= 0:
        return 1.0
    return OPEN_DUTY_MOST if start < latest else 0.0


def hold_duties(model: MouldModel, setpoints_c: Pair) -> Pair:
    """Return the duties that hold both setpoints."""
    upper, lower = at_rest(model, setpoints_c)
    return upper.power_w / model.upper.heater_w, lower.power_w / model.lower.heater_w


def rested(model: MouldModel, setpoints_c: Pair) -> Mould:
    """Return a closed, empty mould at rest with its tips at their setpoints."""
    mould = Mould(model, min(setpoints_c))
    upper, lower = at_rest(model, setpoints_c)
    mould.upper_heater_c, mould.upper_body_c, mould.upper_surface_c, _ = upper
    mould.lower_heater_c, mould.lower_body_c, mould.lower_surface_c, _ = lower
    settling_s = max(
        _SETTLED_LAGS * half.sensor_lag_s + half.sensor_delay_s
        for half in (model.upper, model.lower)
    )
    for _ in range(round(settling_s / STEP_S)):
        mould.step(upper.power_w * STEP_S, lower.power_w * STEP_S)
    return mould


def simulate(model: MouldModel, cycle: Cycle, duties: list[Pair]) -> list[Pair]:
    """Return both tips' deviations from setpoint, after each of the mould's steps from opening on.

    Args:
        model: The mould.
        cycle: What happens.
        duties: Of both halves, for each of `duty_steps`.
    """
    mould = rested(model, cycle.setpoints_c)
    upper_c, lower_c = cycle.setpoints_c
    loading = -min(round(cycle.lying_s / STEP_S), round(cycle.open_s / STEP_S))
    deviations_k = []
    for stretch, (upper, lower) in zip(duty_steps(cycle), duties, strict=True):
        upper_j = upper * model.upper.heater_w * STEP_S
        lower_j = lower * model.lower.heater_w * STEP_S
        mould.open = stretch.is_open
        for now in range(stretch.start, stretch.start + stretch.steps):
            if now == loading and cycle.residue_g > 0.0:
                mould.load(cycle.residue_g, cycle.water_g, cycle.cup_c)
            mould.step(upper_j, lower_j)
            deviations_k.append((mould.upper_tip_c - upper_c, mould.lower_tip_c - lower_c))
    return deviations_k
