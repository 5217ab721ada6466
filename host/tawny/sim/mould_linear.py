"""The mould linearised about its rest: exact steps of any length, open and closed.

State, each a difference from some course of the mould: of the upper half heater, body, surface
and thermocouple, then the same of the lower. A thermocouple's dead time is not in it: its tip
is the thermocouple some steps of the mould ago. Inputs: both duties.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.sim.mould_rest import KELVIN, M2_PER_CM2, STEFAN_BOLTZMANN, Pair, at_rest
from tawny.sim.parameters import MouldModel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

STATES: Final = 8
SENSORS: Final = (3, 7)
_HEATER, _BODY, _SURFACE, _SENSOR = range(4)
_OF_A_HALF: Final = 4


class LinearMould:
    """A mould near the rest that both tips have at these temperatures.

    Args:
        model: The mould.
        tips_c: Of the rest.
    """

    def __init__(self, model: MouldModel, tips_c: Pair) -> None:
        self._model = model
        self._rests = at_rest(model, tips_c)
        self._steps: dict[tuple[bool, float], tuple[Matrix, Matrix]] = {}

    def rates(self, *, is_open: bool) -> tuple[Matrix, Matrix]:
        """Return how the state's rates, in K/s, follow from the state and from the duties."""
        import numpy as np  # noqa: PLC0415 - heavy, and only here

        model = self._model
        of_state, of_duty = np.zeros((STATES, STATES)), np.zeros((STATES, 2))
        for index, half in enumerate((model.upper, model.lower)):
            rest = self._rests[index]
            first, other = index * _OF_A_HALF, (1 - index) * _OF_A_HALF
            heater, body = first + _HEATER, first + _BODY
            surface, sensor = first + _SURFACE, first + _SENSOR
            metal_j_per_k = half.mass_kg * half.specific_j_per_kg_k
            surface_j_per_k = metal_j_per_k * half.surface_share
            body_j_per_k = metal_j_per_k - surface_j_per_k
            outer_m2 = half.outer_cm2 * M2_PER_CM2

            of_duty[heater, index] = half.heater_w / half.heater_j_per_k
            for one, two, w_per_k in (
                (heater, body, half.heater_w_per_k),
                (body, surface, half.body_w_per_k),
            ):
                one_j_per_k = half.heater_j_per_k if one == heater else body_j_per_k
                two_j_per_k = body_j_per_k if two == body else surface_j_per_k
                of_state[one, one] -= w_per_k / one_j_per_k
                of_state[one, two] += w_per_k / one_j_per_k
                of_state[two, two] -= w_per_k / two_j_per_k
                of_state[two, one] += w_per_k / two_j_per_k
            convected = outer_m2 * model.convection_w_per_m2_k + half.platen_w_per_k
            loss_w_per_k = convected + outer_m2 * self._radiation(rest.body_c)
            of_state[body, body] -= loss_w_per_k / body_j_per_k
            if is_open:
                cavity_m2 = model.cavity_cm2 * M2_PER_CM2
                open_w_per_m2_k = model.open_convection_w_per_m2_k + self._radiation(rest.surface_c)
                of_state[surface, surface] -= cavity_m2 * open_w_per_m2_k / surface_j_per_k
            else:
                of_state[surface, surface] -= model.coupling_w_per_k / surface_j_per_k
                of_state[surface, other + _SURFACE] += model.coupling_w_per_k / surface_j_per_k
            of_state[sensor, surface] = (1.0 - half.sensor_low) / half.sensor_lag_s
            of_state[sensor, sensor] = -1.0 / half.sensor_lag_s
        return of_state, of_duty

    def step(self, length_s: float, *, is_open: bool) -> tuple[Matrix, Matrix]:
        """Return what a step with constant duties multiplies the state and the duties with."""
        key = (is_open, round(length_s, 6))
        if key not in self._steps:
            import numpy as np  # noqa: PLC0415 - heavy, and only here
            from scipy.linalg import expm  # noqa: PLC0415 - heavy

            of_state, of_duty = self.rates(is_open=is_open)
            size = STATES + of_duty.shape[1]
            both = np.zeros((size, size))
            both[:STATES, :STATES], both[:STATES, STATES:] = of_state, of_duty
            grown = expm(both * length_s)
            self._steps[key] = (grown[:STATES, :STATES], grown[:STATES, STATES:])
        return self._steps[key]

    def _radiation(self, surface_c: float) -> float:
        """Return what radiation adds to a surface's loss for each kelvin, in W/m²K."""
        return 4.0 * self._model.emissivity * STEFAN_BOLTZMANN * (surface_c + KELVIN) ** 3
