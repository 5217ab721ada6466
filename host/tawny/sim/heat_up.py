"""Heat-ups of one mould from one start, each taken up again where it parts from the others."""

from __future__ import annotations

import copy
import math
from typing import Final

from tawny.sim.heat_up_run import (
    BAND_K,
    LONGEST_STEPS,
    NEVER,
    STALL_K,
    STALL_STEPS,
    Live,
    Outcome,
    Switching,
)
from tawny.sim.mould import STEP_S, Mould
from tawny.sim.mould_rest import Pair
from tawny.sim.parameters import MouldModel

_MARK_STEPS: Final = 100  # between moments from which a run may be taken up again
_SHARE: Final = 0.001  # a share of the supply is bisected to this
_UNCAPPED: Final = 2.0  # both duties can sum to no more


class HeatUp:
    """A mould's heat-ups from one start.

    Args:
        model: The mould, closed and empty.
        setpoints_c: Of the tips.
        start_c: Of everything at the start; None: the room.
    """

    def __init__(self, model: MouldModel, setpoints_c: Pair, start_c: float | None) -> None:
        self._model = model
        self._setpoints_c = setpoints_c
        self._start_c = start_c
        self._marks: dict[float, list[Mould]] = {}

    def run(self, switching: Switching, *, peak_of: int | None = None) -> Outcome:
        """Heat up once.

        Args:
            switching: When to switch off, and how the supply is shared.
            peak_of: End as soon as this half's first peak is known, or is beyond the band;
                None: go on until all is known.
        """
        if switching.share not in self._marks:
            self._marks[switching.share] = self._marked(switching.share)
        marks = self._marks[switching.share]
        first_s = min(*switching.off_s, len(marks) * _MARK_STEPS * STEP_S)
        at = min(len(marks) - 1, int(first_s / STEP_S) // _MARK_STEPS)
        live = Live(self._copy(marks[at]), at * _MARK_STEPS, self._setpoints_c, switching)
        while not live.ended(peak_of):
            live.step()
        return live.outcome()

    def _marked(self, share: float) -> list[Mould]:
        """Return the mould each so many steps at full duty, up to the first arrival of a half."""
        mould = Mould(self._model, self._start_c)
        upper_j = share * self._model.upper.heater_w * STEP_S
        lower_j = min(1.0, self._model.supply_cap - share) * self._model.lower.heater_w * STEP_S
        upper_c, lower_c = (setpoint_c - BAND_K for setpoint_c in self._setpoints_c)
        marks, before = [self._copy(mould)], -math.inf
        while len(marks) * _MARK_STEPS < LONGEST_STEPS:
            for _ in range(_MARK_STEPS):
                mould.step(upper_j, lower_j)
            # Both tips rise together or not at all: the sum stands still where they do.
            now = mould.upper_tip_c + mould.lower_tip_c
            if mould.upper_tip_c >= upper_c or mould.lower_tip_c >= lower_c:
                break
            if abs(now - before) < STALL_K / (STALL_STEPS / _MARK_STEPS):
                break
            before = now
            marks.append(self._copy(mould))
        return marks

    def _copy(self, mould: Mould) -> Mould:
        return copy.deepcopy(mould, {id(self._model): self._model})


def shares_to_try(model: MouldModel, heat_up: HeatUp) -> list[float]:
    """Return duties of the upper half while both heat, one of which is near the best.

    Equal heaters do best when both halves arrive together. A duty given to the stronger heater
    brings more heat, so that with a cap it may do better to go first.
    """
    cap = model.supply_cap
    if not cap < _UNCAPPED:
        return [1.0]
    low, high = cap - 1.0, 1.0
    while high - low > _SHARE:
        share = (low + high) / 2.0
        upper_s, lower_s = heat_up.run(Switching((NEVER, NEVER), share, (0.0, 0.0))).alone_s
        if upper_s == lower_s:
            low = high = share
        elif upper_s > lower_s:
            low = share
        else:
            high = share
    together = (low + high) / 2.0
    if model.upper.heater_w == model.lower.heater_w:
        return [together]
    return [together, 1.0 if model.upper.heater_w > model.lower.heater_w else cap - 1.0]
