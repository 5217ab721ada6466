"""A moist charge between the two surfaces, in slices from the lower face to the upper.

Heat moves by conduction alone. A slice that reaches 100 °C with water in it stays there
until that water has left as steam, which goes out by the vents without meeting the other
slices. The state is each slice's heat content above 0 °C, so that no heat is made or lost.

The slices are too thin for explicit steps of the mould's length, so a step is the implicit
midpoint rule, linearised: one tridiagonal solve, and then every slice gains exactly what
crosses its two faces at the midpoint.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

from tawny.sim.parameters import ChargeModel

SLICES: Final = 8
BOILS_C: Final = 100.0
WATER_J_PER_KG_K: Final = 4186.0
EVAPORATION_J_PER_KG: Final = 2.2565e6  # at 100 °C, IAPWS-IF97
AIR_W_PER_M2_K: Final = 15.0  # convection and radiation of the open face, common practice
# A midpoint step times the fastest rate: at 4 what is fastest still dies to a third each step.
STEP_SHARE: Final = 4.0

_M2_PER_CM2: Final = 1e-4
_KG_PER_G: Final = 1e-3


class Charge:
    """One charge.

    Args:
        model: What the material is like.
        residue_g: Dry material.
        water_g: All water in it, its own and what was added.
        temperature_c: Of the cup it comes from.
        step_s: How long each `step` is.
    """

    def __init__(
        self,
        model: ChargeModel,
        *,
        residue_g: float,
        water_g: float,
        temperature_c: float,
        step_s: float,
    ) -> None:
        area_m2 = model.area_cm2 * _M2_PER_CM2
        dry_kg = residue_g * _KG_PER_G / SLICES
        self.thickness_m = dry_kg * SLICES / (model.density_kg_per_m3 * area_m2)
        slice_m = self.thickness_m / SLICES
        self._inner_w_per_k = model.conductivity_w_per_m_k * area_m2 / slice_m
        self._pressed_w_per_k = self._to_face(model.contact_w_per_m2_k * area_m2)
        self._lying_w_per_k = self._to_face(model.lying_w_per_m2_k * area_m2)
        self._open_w_per_k = self._to_face(AIR_W_PER_M2_K * area_m2)
        self._dry_j_per_k = dry_kg * model.specific_j_per_kg_k
        self._rise_j_per_k2 = dry_kg * model.specific_rise_j_per_kg_k2
        # A symmetric chain's fastest rate is at most twice its largest sum of conductances.
        rate_per_s = (
            2.0
            * (self._inner_w_per_k + max(self._inner_w_per_k, self._pressed_w_per_k))
            / self._dry_j_per_k
        )
        self._substeps = max(1, math.ceil(step_s * rate_per_s / STEP_SHARE))
        self._substep_s = step_s / self._substeps
        if not self._substep_s * rate_per_s <= STEP_SHARE * (1.0 + 1e-9):
            raise AssertionError(f"step of {self._substep_s} s is too long for {rate_per_s} /s")
        self._water_kg = [water_g * _KG_PER_G / SLICES] * SLICES
        self._linear_j_per_k = [self._dry_j_per_k] * SLICES
        self.slices_c = [temperature_c] * SLICES
        self._heat_j = [0.0] * SLICES
        for index in range(SLICES):
            self._linear_j_per_k[index] += self._water_kg[index] * WATER_J_PER_KG_K
            self._heat_j[index] = self._heat_of(index, temperature_c)
        self._wet = water_g > 0.0
        self.evaporated_j = 0.0  # left with the steam, reckoned from water at 0 °C

    @property
    def water_g(self) -> float:
        """Water still in it."""
        return sum(self._water_kg) / _KG_PER_G

    @property
    def stored_j(self) -> float:
        """Heat in it above 0 °C."""
        return math.fsum(self._heat_j)

    @property
    def core_c(self) -> float:
        """Temperature in the middle, by a parabola through the four slices around it."""
        a, b, c, d = self.slices_c[SLICES // 2 - 2 : SLICES // 2 + 2]
        return (9.0 * (b + c) - (a + d)) / 16.0

    def step(self, upper_c: float, lower_c: float) -> tuple[float, float]:
        """Advance one step pressed between two surfaces.

        Returns:
            Heat taken from the upper and from the lower surface, in J.
        """
        return self._advance(upper_c, self._pressed_w_per_k, lower_c, self._pressed_w_per_k)

    def step_open(self, air_c: float, lower_c: float) -> tuple[float, float]:
        """Advance one step lying on the lower surface of an open mould.

        Returns:
            Heat taken from the air and from the lower surface, in J.
        """
        return self._advance(air_c, self._open_w_per_k, lower_c, self._lying_w_per_k)

    def _advance(
        self, upper_c: float, upper_w_per_k: float, lower_c: float, lower_w_per_k: float
    ) -> tuple[float, float]:
        from_upper_j = from_lower_j = 0.0
        for _ in range(self._substeps):
            upper_j, lower_j = self._substep(
                upper_c, upper_w_per_k * self._substep_s, lower_c, lower_w_per_k * self._substep_s
            )
            from_upper_j += upper_j
            from_lower_j += lower_j
        if self._wet and max(self.slices_c) > BOILS_C:
            self._boil()
        return from_upper_j, from_lower_j

    def _substep(
        self, upper_c: float, upper_j_per_k: float, lower_c: float, lower_j_per_k: float
    ) -> tuple[float, float]:
        slices, linear, rise = self.slices_c, self._linear_j_per_k, self._rise_j_per_k2
        inner = self._inner_w_per_k * self._substep_s
        last = SLICES - 1
        # How far each slice goes up to the midpoint: (2 C + both conductances) · change,
        # less the neighbours' changes times the conductance between, is what it gains now.
        gains = [inner * (a - 2.0 * t + b) for a, t, b in zip(slices, slices[1:], slices[2:])]  # noqa: B905 - shifted
        first_gain = lower_j_per_k * (lower_c - slices[0]) + inner * (slices[1] - slices[0])
        last_gain = upper_j_per_k * (upper_c - slices[last]) + inner * (
            slices[last - 1] - slices[last]
        )
        pivot = 2.0 * (linear[0] + rise * slices[0]) + lower_j_per_k + inner
        ratio = inner / pivot
        change = first_gain / pivot
        ratios, changes = [ratio], [change]
        double_inner = 2.0 * inner
        for gain, c, t in zip(gains, linear[1:], slices[1:]):  # noqa: B905 - shifted
            pivot = 2.0 * (c + rise * t) + double_inner - inner * ratio
            change = (gain + inner * change) / pivot
            ratio = inner / pivot
            ratios.append(ratio)
            changes.append(change)
        pivot = 2.0 * (linear[last] + rise * slices[last]) + upper_j_per_k + inner - inner * ratio
        change = (last_gain + inner * change) / pivot
        middles = [slices[last] + change]
        for t, part, ratio in zip(slices[-2::-1], changes[::-1], ratios[::-1]):  # noqa: B905 - shifted
            change = part + ratio * change
            middles.append(t + change)
        middles.reverse()

        from_upper_j = upper_j_per_k * (upper_c - middles[last])
        from_lower_j = lower_j_per_k * (lower_c - middles[0])
        flows = [inner * (a - b) for a, b in pairwise(middles)]
        self._heat_j = [
            h + a - b
            for h, a, b in zip(
                self._heat_j, [from_lower_j, *flows], [*flows, -from_upper_j], strict=True
            )
        ]
        # Heat content c·T + r·T²/2 solved for T, in the form that also holds for r = 0.
        double_rise = 2.0 * rise
        self.slices_c = [
            2.0 * h / (c + math.sqrt(c * c + double_rise * h))
            for h, c in zip(self._heat_j, linear, strict=True)
        ]
        return from_upper_j, from_lower_j

    def _boil(self) -> None:
        """Let what heat a wet slice holds beyond 100 °C leave as steam."""
        for index, temperature_c in enumerate(self.slices_c):
            water_kg = self._water_kg[index]
            if temperature_c <= BOILS_C or water_kg <= 0.0:
                continue
            spare_j = self._heat_j[index] - self._heat_of(index, BOILS_C)
            steam_kg = min(water_kg, spare_j / EVAPORATION_J_PER_KG)
            gone_j = steam_kg * (EVAPORATION_J_PER_KG + WATER_J_PER_KG_K * BOILS_C)
            self._water_kg[index] = water_kg - steam_kg
            self._linear_j_per_k[index] -= steam_kg * WATER_J_PER_KG_K
            self._heat_j[index] -= gone_j
            self.evaporated_j += gone_j
            linear = self._linear_j_per_k[index]
            root = math.sqrt(linear * linear + 2.0 * self._rise_j_per_k2 * self._heat_j[index])
            self.slices_c[index] = 2.0 * self._heat_j[index] / (linear + root)
        self._wet = any(water_kg > 0.0 for water_kg in self._water_kg)

    def _heat_of(self, index: int, temperature_c: float) -> float:
        """Return what a slice holds at a temperature, in J above 0 °C."""
        return temperature_c * (
            self._linear_j_per_k[index] + 0.5 * self._rise_j_per_k2 * temperature_c
        )

    def _to_face(self, contact_w_per_k: float) -> float:
        """Return the conductance from the middle of the outermost slice through its contact."""
        return 1.0 / (1.0 / contact_w_per_k + 0.5 / self._inner_w_per_k)
