"""Commissioning in a lane: each half alone at full duty from rest, then its coast; and the fit."""

from __future__ import annotations

from statistics import fmean
from typing import TYPE_CHECKING, Final, NamedTuple

from tawny.core.equipment import HalfModel
from tawny.core.loop.guess import guessed
from tawny.core.loop.identify import Row as FitRow
from tawny.core.loop.identify import fit_mould
from tawny.core.loop.refine import judge
from tawny.sim.commission import measure
from tawny.sim.lane import CONTROL_MS, Lane, Moment
from tawny.sim.lane_drive import Rest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tawny.core.loop.state import Duties
    from tawny.core.loop.thermal import Thermal
    from tawny.sim.lane import Row
    from tawny.sim.parameters import MouldModel

# As `core/commission_steps.py` has it; a test holds the two together.
HEAT_UNTIL_C: Final = 97.0
HEAT_ENOUGH_K: Final = 60.0
HEAT_MOST_S: Final = 580.0
COOL_TO_C: Final = 70.0
EVEN_DRIFT_K: Final = 0.8
STEADY_S: Final = 20.0
REST_AFTER_S: Final = 300.0
REST_MOST_S: Final = 7200.0

_SOAK_S_PER_KG: Final = 15.0  # as `core/equipment.py` has it

_DRIFT_S: Final = 20.0  # as `service/commission_samples.py` judges it
_MEAN_S: Final = 5.0
_EACH_MS: Final = 2000
_STEP_S: Final = CONTROL_MS / 1000.0


class Learned(NamedTuple):
    """What the loop is given, and where it comes from.

    Attributes:
        thermal: The model; as before where none was taken.
        residuals_k: Of both fits; None: nothing was fitted.
        why: Code of why the fit was not taken; "": it was.
        took_s: How long commissioning lasted.
    """

    thermal: Thermal
    residuals_k: tuple[float, float] | None = None
    why: str = ""
    took_s: float = 0.0


class _Pulse:
    """Full duty of one half until what ends the stage of commissioning."""

    def __init__(self, half: int, from_c: float, begin_ms: int) -> None:
        self._half, self._from_c, self._begin_ms = half, from_c, begin_ms
        self.over = False

    def decide(self, moment: Moment) -> Duties:
        reading_c = moment.readings_c[self._half]
        self.over = self.over or (
            reading_c >= HEAT_UNTIL_C
            or reading_c - self._from_c >= HEAT_ENOUGH_K
            or (moment.now_ms - self._begin_ms) / 1000.0 >= HEAT_MOST_S
        )
        if self.over:
            return 0.0, 0.0
        return (0.0, 1.0) if self._half else (1.0, 0.0)


def commissioned(model: MouldModel, seed: int) -> Learned:
    """Return the model that commissioning leads to, or the guess where it leads to none."""
    lane = Lane(model, seed=seed)
    stretches = [_measured(lane, half) for half in (0, 1)]
    found = _learned(model, stretches, uncommissioned(model), heat_ups=0)
    return found._replace(took_s=lane.now_ms / 1000.0)


def learned(model: MouldModel, rows: Sequence[Row], thermal: Thermal) -> Learned:
    """Return the model after a heat-up: refined, or fitted for the first time.

    Args:
        model: The mould.
        rows: From room until the halves have landed, mould shut and empty.
        thermal: What the loop had.
    """
    return _learned(model, [rows], thermal, heat_ups=thermal.heat_ups + thermal.trusted)


def soak_s(model: MouldModel) -> float:
    """Return how long the halves must stay in band before they count as soaked."""
    return min(max(_SOAK_S_PER_KG * max(model.upper.mass_kg, model.lower.mass_kg), 30.0), 600.0)


def _learned(
    model: MouldModel, stretches: Sequence[Sequence[Row]], thermal: Thermal, *, heat_ups: int
) -> Learned:
    before = thermal if thermal.trusted else None
    fits = fit_mould([fit_rows(rows) for rows in stretches], model.ambient_c, before)
    verdict = judge(fits, before, heat_ups=heat_ups)
    return Learned(
        thermal if verdict.thermal is None else verdict.thermal,
        None if fits is None else (fits[0].residual_k, fits[1].residual_k),
        "" if verdict.why is None else verdict.why.code,
    )


def uncommissioned(model: MouldModel) -> Thermal:
    """Return the guess from R, lag and loss, as they stand in a passport."""
    found = measure(model)
    upper, lower = (
        HalfModel(
            rise_k_per_s=one.rise_k_per_s,
            lag_s=one.lag_s,
            heat_up_s=one.heat_up_s,
            loss_per_s=one.loss_per_s,
            heater_w=half.heater_w,
            mass_kg=half.mass_kg,
        )
        for one, half in ((found.upper, model.upper), (found.lower, model.lower))
    )
    return guessed(upper, lower)


def fit_rows(rows: Sequence[Row]) -> list[FitRow]:
    """Return rows of a lane as the fit takes them: a mean of two reads is a quarter step old."""
    return [
        FitRow(row.at_s - _STEP_S / 4.0, row.readings_c, (row.on_ms[0] / 1e3, row.on_ms[1] / 1e3))
        for row in rows
    ]


def _measured(lane: Lane, half: int) -> Sequence[Row]:
    """Return the rows of a half: rest, heat, coast."""
    resting = Rest()
    begin, steady_ms, most_ms = len(lane.rows), 0, lane.now_ms + round(REST_MOST_S * 1000.0)
    while steady_ms < STEADY_S * 1000.0 and lane.now_ms < most_ms:
        lane.run(resting, lane.now_ms + _EACH_MS)
        steady_ms = steady_ms + _EACH_MS if _at_rest(lane.rows, half) else 0
    begin = max(begin, len(lane.rows) - round((STEADY_S + _DRIFT_S) / _STEP_S))
    pulse = _Pulse(half, lane.rows[-1].readings_c[half], lane.now_ms)
    while not pulse.over:
        lane.run(pulse, lane.now_ms + CONTROL_MS)
    lane.run(resting, lane.now_ms + round(REST_AFTER_S * 1000.0))
    return lane.rows[begin:]


def _at_rest(rows: Sequence[Row], half: int) -> bool:
    count, part = round(_DRIFT_S / _STEP_S), round(_MEAN_S / _STEP_S)
    if len(rows) < count or not rows[-1].readings_c[half] <= COOL_TO_C:
        return False
    early, late = rows[-count : part - count], rows[-part:]
    return all(
        abs(
            fmean(row.readings_c[one] for row in late) - fmean(row.readings_c[one] for row in early)
        )
        <= EVEN_DRIFT_K
        for one in (0, 1)
    )
