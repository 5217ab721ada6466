"""The physical mould: where the heat goes, in steps of a tenth of a second.

Per half: heater -> body -> cavity surface, and behind the surface the thermocouple with its
lag and dead time. The body loses heat to the room and into the platen; closed, the surfaces
exchange heat through the rim and through the charge; open, they lose it to the room.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

from tawny.core.names import Half
from tawny.sim.charge import Charge
from tawny.sim.parameters import HalfModel, MouldModel

STEP_MS: Final = 100
STEP_S: Final = STEP_MS / 1000.0
STEP_SHARE: Final = 0.2  # most that one step times the fastest rate may be
CHARGE_EACH_STEPS: Final = 2  # the charge's own steps are implicit and may be longer
DETACHED_LAG_S: Final = 20.0  # a thermocouple hanging in warm air beside the mould
DETACHED_SHARE: Final = 0.3  # of the mould's excess over the room that this air has

_M2_PER_CM2: Final = 1e-4
_KELVIN: Final = 273.15
_STEFAN_BOLTZMANN: Final = 5.670374419e-8  # W/m²K⁴, CODATA 2018
_HOTTEST_C: Final = 400.0  # radiation is at its stiffest here; the sensor's range ends here


class _HalfConstants:
    """What one step of a half multiplies with."""

    def __init__(self, mould: MouldModel, half: HalfModel, step_s: float) -> None:
        metal_j_per_k = half.mass_kg * half.specific_j_per_kg_k
        self.heater_j_per_k = half.heater_j_per_k
        self.surface_j_per_k = metal_j_per_k * half.surface_share
        self.body_j_per_k = metal_j_per_k - self.surface_j_per_k
        outer_m2 = half.outer_cm2 * _M2_PER_CM2
        self.heater_w_per_k = half.heater_w_per_k
        self.body_w_per_k = half.body_w_per_k
        self.loss_w_per_k = outer_m2 * mould.convection_w_per_m2_k + half.platen_w_per_k
        self.loss_w_per_k4 = outer_m2 * mould.emissivity * _STEFAN_BOLTZMANN
        self.low = half.sensor_low
        self.lag = min(1.0, step_s / half.sensor_lag_s)
        self.rate_per_s = self._fastest(mould, half)

    def _fastest(self, mould: MouldModel, half: HalfModel) -> float:
        """Return a bound of the fastest rate of change: twice each node's own, or the sensor's."""
        cavity_m2 = mould.cavity_cm2 * _M2_PER_CM2
        radiation = 4.0 * _STEFAN_BOLTZMANN * (_HOTTEST_C + _KELVIN) ** 3 * mould.emissivity
        open_w_per_k = cavity_m2 * (mould.open_convection_w_per_m2_k + radiation)
        charge_w_per_k = mould.charge.area_cm2 * _M2_PER_CM2 * mould.charge.contact_w_per_m2_k
        outer_w_per_k = self.loss_w_per_k + half.outer_cm2 * _M2_PER_CM2 * radiation
        surface_w_per_k = self.body_w_per_k + max(
            open_w_per_k, mould.coupling_w_per_k + charge_w_per_k
        )
        return max(
            2.0 * self.heater_w_per_k / self.heater_j_per_k,
            2.0 * (self.heater_w_per_k + self.body_w_per_k + outer_w_per_k) / self.body_j_per_k,
            2.0 * surface_w_per_k / self.surface_j_per_k,
            1.0 / half.sensor_lag_s,
        )


class Mould:
    """Both halves and what lies between them.

    Args:
        model: What it is made of.
        start_c: Temperature of everything at the start; None: of the room.

    Attributes:
        brought_j: Heat that charges brought in with them, less what they took out again.
    """

    def __init__(self, model: MouldModel, start_c: float | None = None) -> None:
        self.model = model
        fastest = max(
            _HalfConstants(model, half, STEP_S).rate_per_s for half in (model.upper, model.lower)
        )
        self._substeps = max(1, math.ceil(STEP_S * fastest / STEP_SHARE))
        self._step_s = STEP_S / self._substeps
        if not self._step_s * fastest <= STEP_SHARE * (1.0 + 1e-9):
            raise AssertionError(f"step of {self._step_s} s is too long for {fastest} /s")
        self._upper = _HalfConstants(model, model.upper, self._step_s)
        self._lower = _HalfConstants(model, model.lower, self._step_s)
        cavity_m2 = model.cavity_cm2 * _M2_PER_CM2
        self._open_w_per_k = cavity_m2 * model.open_convection_w_per_m2_k
        self._open_w_per_k4 = cavity_m2 * model.emissivity * _STEFAN_BOLTZMANN
        self._room_k4 = (model.ambient_c + _KELVIN) ** 4

        start = model.ambient_c if start_c is None else start_c
        self.upper_heater_c = self.upper_body_c = self.upper_surface_c = start
        self.lower_heater_c = self.lower_body_c = self.lower_surface_c = start
        self._upper_lagged_c = self._lower_lagged_c = start
        self._upper_delay = self._delay(model.upper, start)
        self._lower_delay = self._delay(model.lower, start)
        self.upper_detached = self.lower_detached = False
        self.open = False
        self.charge: Charge | None = None
        self._charge_steps = 0
        self.given_j = 0.0  # by the heaters
        self.lost_j = 0.0  # to room and platen
        self.evaporated_j = 0.0  # with the steam of charges taken out since
        self.brought_j = 0.0
        self._start_j = self.stored_j

    @staticmethod
    def _delay(half: HalfModel, start_c: float) -> deque[float]:
        steps = round(half.sensor_delay_s / STEP_S)
        return deque([start_c] * (steps + 1), maxlen=steps + 1)

    @property
    def upper_tip_c(self) -> float:
        """True temperature of the upper thermocouple's tip."""
        return self._upper_delay[0]

    @property
    def lower_tip_c(self) -> float:
        """True temperature of the lower thermocouple's tip."""
        return self._lower_delay[0]

    def body_c(self, half: Half) -> float:
        """Return the temperature where a half's limit thermostat sits."""
        return self.upper_body_c if half is Half.UPPER else self.lower_body_c

    @property
    def stored_j(self) -> float:
        """Heat in metal and charge above 0 °C."""
        stored_j = math.fsum(
            (
                self._upper.heater_j_per_k * self.upper_heater_c,
                self._upper.body_j_per_k * self.upper_body_c,
                self._upper.surface_j_per_k * self.upper_surface_c,
                self._lower.heater_j_per_k * self.lower_heater_c,
                self._lower.body_j_per_k * self.lower_body_c,
                self._lower.surface_j_per_k * self.lower_surface_c,
            )
        )
        return stored_j + (self.charge.stored_j if self.charge else 0.0)

    @property
    def imbalance_j(self) -> float:
        """Heat that the books cannot account for; nought but for rounding."""
        steam_j = self.evaporated_j + (self.charge.evaporated_j if self.charge else 0.0)
        gained_j = self.given_j + self.brought_j - self.lost_j - steam_j
        return self.stored_j - self._start_j - gained_j

    def load(self, residue_g: float, water_g: float, temperature_c: float) -> None:
        """Put a charge on the lower surface; what lay there goes."""
        self.unload()
        self.charge = Charge(
            self.model.charge,
            residue_g=residue_g,
            water_g=water_g,
            temperature_c=temperature_c,
            step_s=STEP_S * CHARGE_EACH_STEPS,
        )
        self._charge_steps = 0
        self.brought_j += self.charge.stored_j

    def unload(self) -> None:
        """Take the charge out."""
        if self.charge is not None:
            self.brought_j -= self.charge.stored_j
            self.evaporated_j += self.charge.evaporated_j
            self.charge = None

    def step(self, upper_j: float, lower_j: float) -> None:
        """Advance one step of `STEP_S`.

        Args:
            upper_j: Heat that the upper heater got in it.
            lower_j: The same of the lower.
        """
        self.given_j += upper_j + lower_j
        if self.charge is not None:
            self._charge_steps += 1
            if self._charge_steps % CHARGE_EACH_STEPS == 0:
                self._exchange(self.charge)
        if self._substeps == 1:
            self._advance(upper_j, lower_j)
        else:
            for _ in range(self._substeps):
                self._advance(upper_j / self._substeps, lower_j / self._substeps)
        self._upper_delay.append(self._upper_lagged_c)
        self._lower_delay.append(self._lower_lagged_c)

    def _exchange(self, charge: Charge) -> None:
        """Let the charge take its heat from the surfaces, or from the air while open."""
        if self.open:
            air_j, lower_j = charge.step_open(self.model.ambient_c, self.lower_surface_c)
            self.lost_j -= air_j
        else:
            upper_j, lower_j = charge.step(self.upper_surface_c, self.lower_surface_c)
            self.upper_surface_c -= upper_j / self._upper.surface_j_per_k
        self.lower_surface_c -= lower_j / self._lower.surface_j_per_k

    def _advance(self, upper_j: float, lower_j: float) -> None:
        """Advance the metal and the thermocouples; explicit, on plain floats, for speed."""
        step_s = self._step_s
        up, lo = self._upper, self._lower
        room_c = self.model.ambient_c
        upper_body_c, lower_body_c = self.upper_body_c, self.lower_body_c
        upper_c, lower_c = self.upper_surface_c, self.lower_surface_c

        upper_in_w = up.heater_w_per_k * (self.upper_heater_c - upper_body_c)
        lower_in_w = lo.heater_w_per_k * (self.lower_heater_c - lower_body_c)
        upper_on_w = up.body_w_per_k * (upper_body_c - upper_c)
        lower_on_w = lo.body_w_per_k * (lower_body_c - lower_c)
        square = (upper_body_c + _KELVIN) ** 2
        upper_loss_w = up.loss_w_per_k * (upper_body_c - room_c) + up.loss_w_per_k4 * (
            square * square - self._room_k4
        )
        square = (lower_body_c + _KELVIN) ** 2
        lower_loss_w = lo.loss_w_per_k * (lower_body_c - room_c) + lo.loss_w_per_k4 * (
            square * square - self._room_k4
        )
        if self.open:
            square = (upper_c + _KELVIN) ** 2
            upper_out_w = self._open_w_per_k * (upper_c - room_c) + self._open_w_per_k4 * (
                square * square - self._room_k4
            )
            square = (lower_c + _KELVIN) ** 2
            lower_out_w = self._open_w_per_k * (lower_c - room_c) + self._open_w_per_k4 * (
                square * square - self._room_k4
            )
            self.lost_j += (upper_loss_w + lower_loss_w + upper_out_w + lower_out_w) * step_s
        else:
            upper_out_w = self.model.coupling_w_per_k * (upper_c - lower_c)
            lower_out_w = -upper_out_w
            self.lost_j += (upper_loss_w + lower_loss_w) * step_s

        self.upper_heater_c += (upper_j - upper_in_w * step_s) / up.heater_j_per_k
        self.lower_heater_c += (lower_j - lower_in_w * step_s) / lo.heater_j_per_k
        self.upper_body_c += (upper_in_w - upper_on_w - upper_loss_w) * step_s / up.body_j_per_k
        self.lower_body_c += (lower_in_w - lower_on_w - lower_loss_w) * step_s / lo.body_j_per_k
        self.upper_surface_c += (upper_on_w - upper_out_w) * step_s / up.surface_j_per_k
        self.lower_surface_c += (lower_on_w - lower_out_w) * step_s / lo.surface_j_per_k
        if self.upper_detached:
            air_c = room_c + DETACHED_SHARE * (upper_c - room_c)
            self._upper_lagged_c += (air_c - self._upper_lagged_c) * step_s / DETACHED_LAG_S
        else:
            tip_c = upper_c - up.low * (upper_c - room_c)
            self._upper_lagged_c += (tip_c - self._upper_lagged_c) * up.lag
        if self.lower_detached:
            air_c = room_c + DETACHED_SHARE * (lower_c - room_c)
            self._lower_lagged_c += (air_c - self._lower_lagged_c) * step_s / DETACHED_LAG_S
        else:
            tip_c = lower_c - lo.low * (lower_c - room_c)
            self._lower_lagged_c += (tip_c - self._lower_lagged_c) * lo.lag
