"""One heat-up at full duty with given moments of switching off, on the mould without noise.

A half heats until its moment, coasts until its peak is known, and is then held.
"""

from __future__ import annotations

import math
from enum import Enum, auto
from typing import Final, NamedTuple

from tawny.sim.mould import STEP_S, Mould
from tawny.sim.mould_rest import Pair, half_at_rest, surface_at

BAND_K: Final = 1.0  # heated up: within this of the setpoint
NEVER: Final = math.inf
LONGEST_STEPS: Final = round(12 * 3600 / STEP_S)
_FALLEN_K: Final = 0.01  # below its highest, a coasting tip has had its peak
STALL_STEPS: Final = 600
STALL_K: Final = 0.001  # what moves less than this in that many steps has come to rest
_HEATER_S: Final = 2.0  # a held half brings its heater to where it should be in about that
_BODY_S: Final = 20.0  # and its body


class _Phase(Enum):
    HEATING = auto()
    COASTING = auto()
    HELD = auto()


class Switching(NamedTuple):
    """What decides a heat-up.

    Attributes:
        off_s: When each half goes off; `NEVER`: it stays on.
        share: Duty of the upper half while both heat; the lower has what the supply leaves.
        held_k: Above its setpoint, where each half is held once its peak is known.
    """

    off_s: Pair
    share: float
    held_k: Pair


class Outcome(NamedTuple):
    """What came of it, up to where the run was ended.

    Attributes:
        reached_s: When both tips were within the band at once; infinity: they were not.
        alone_s: When each tip first was no more than the band below its setpoint.
        peaks_c: Highest of each tip until its peak was known.
        after_c: Highest of each tip since both had reached; minus infinity: they did not.
        held_c: Highest of each tip since then; minus infinity: it was not held.
        given_j: By the heaters until both had reached; until the end, if they did not.
        ended_s: When the run was ended.
    """

    reached_s: float
    alone_s: Pair
    peaks_c: Pair
    after_c: Pair
    held_c: Pair
    given_j: float
    ended_s: float


class Live:
    """A heat-up under way.

    Args:
        mould: How it is by now.
        steps: Of the mould that led there, with both halves on.
        setpoints_c: Of the tips.
        switching: What decides the heat-up.

    Attributes:
        steps: Of the mould so far.
    """

    def __init__(self, mould: Mould, steps: int, setpoints_c: Pair, switching: Switching) -> None:
        self.mould = mould
        self.steps = steps
        self._began = steps
        self._model = mould.model
        self._halves = (mould.model.upper, mould.model.lower)
        self._setpoints_c = setpoints_c
        self._switching = switching
        self._phases = [_Phase.HEATING, _Phase.HEATING]
        self._tips = (mould.upper_tip_c, mould.lower_tip_c)
        self._before: Pair = self._tips
        self._stalled = False
        self.peaks = list(self._tips)
        self.held = [-math.inf, -math.inf]
        self.after = [-math.inf, -math.inf]
        self.alone = [NEVER, NEVER]
        self.reached_s = NEVER
        self._reached_j = math.nan
        self._look()

    def outcome(self) -> Outcome:
        """Return what came of it so far."""
        return Outcome(
            self.reached_s,
            (self.alone[0], self.alone[1]),
            (self.peaks[0], self.peaks[1]),
            (self.after[0], self.after[1]),
            (self.held[0], self.held[1]),
            self.mould.given_j if self.reached_s == NEVER else self._reached_j,
            self.steps * STEP_S,
        )

    def ended(self, peak_of: int | None) -> bool:
        """Whether all is known that was asked, or nothing more will happen."""
        if self._stalled or self.steps >= LONGEST_STEPS:
            return True
        if peak_of is not None:
            beyond_c = self._setpoints_c[peak_of] + BAND_K
            return self._phases[peak_of] is _Phase.HELD or self.peaks[peak_of] > beyond_c
        return self.reached_s < NEVER and all(
            phase is _Phase.HELD or off_s == NEVER
            for phase, off_s in zip(self._phases, self._switching.off_s, strict=True)
        )

    def step(self) -> None:
        """Advance the mould by one of its steps."""
        upper, lower = self._duties(self.steps * STEP_S)
        self.mould.step(
            upper * self._halves[0].heater_w * STEP_S, lower * self._halves[1].heater_w * STEP_S
        )
        self.steps += 1
        self._tips = (self.mould.upper_tip_c, self.mould.lower_tip_c)
        self._look()
        if (self.steps - self._began) % STALL_STEPS == 0:
            moved_k = max(abs(a - b) for a, b in zip(self._tips, self._before, strict=True))
            self._stalled = moved_k < STALL_K
            self._before = self._tips

    def _look(self) -> None:
        """Take note of where both tips are."""
        now_s = self.steps * STEP_S
        inside = True
        for half, tip_c in enumerate(self._tips):
            above_k = tip_c - self._setpoints_c[half]
            inside = inside and abs(above_k) <= BAND_K
            if above_k >= -BAND_K and self.alone[half] == NEVER:
                self.alone[half] = now_s
            if self._phases[half] is _Phase.HELD:
                self.held[half] = max(self.held[half], tip_c)
                continue
            self.peaks[half] = max(self.peaks[half], tip_c)
            if self._phases[half] is _Phase.COASTING and tip_c < self.peaks[half] - _FALLEN_K:
                self._phases[half] = _Phase.HELD
        if inside and self.reached_s == NEVER:
            self.reached_s, self._reached_j = now_s, self.mould.given_j
        if self.reached_s < NEVER:
            self.after = [max(a, b) for a, b in zip(self.after, self._tips, strict=True)]

    def _duties(self, now_s: float) -> Pair:
        """Return both duties of the coming step, and move on those halves that go off in it."""
        on, duties = [0.0, 0.0], [0.0, 0.0]
        for half in range(2):
            if self._phases[half] is _Phase.HEATING:
                left = (self._switching.off_s[half] - now_s) / STEP_S
                on[half] = min(1.0, max(0.0, left))
                if on[half] < 1.0:
                    self._phases[half] = _Phase.COASTING
            elif self._phases[half] is _Phase.HELD:
                duties[half] = self._held_duty(half)
        cap, share = self._model.supply_cap, self._switching.share
        if on[0] > 0.0 and on[1] > 0.0:
            return on[0] * share, on[1] * min(1.0, cap - share)
        for half in range(2):
            if on[half] > 0.0:
                duties[half] = on[half] * min(1.0, cap - duties[1 - half])
        return duties[0], min(duties[1], cap - duties[0])

    def _held_duty(self, half: int) -> float:
        """Return the duty that brings body and heater to where they hold a half."""
        part, mould = self._halves[half], self.mould
        wanted_c = self._setpoints_c[half] + self._switching.held_k[half]
        surface_c = surface_at(part, self._model.ambient_c, wanted_c)
        if half:
            heater_c, body_c, other_c = (
                mould.lower_heater_c,
                mould.lower_body_c,
                mould.upper_surface_c,
            )
        else:
            heater_c, body_c, other_c = (
                mould.upper_heater_c,
                mould.upper_body_c,
                mould.lower_surface_c,
            )
        rest = half_at_rest(self._model, part, surface_c, other_c)
        metal_j_per_k = part.mass_kg * part.specific_j_per_kg_k
        into_w = rest.power_w + metal_j_per_k * (rest.body_c - body_c) / _BODY_S
        wanted_heater_c = body_c + into_w / part.heater_w_per_k
        power_w = into_w + part.heater_j_per_k * (wanted_heater_c - heater_c) / _HEATER_S
        return min(1.0, max(0.0, power_w / part.heater_w))
