"""The linear programme of a recovery: duties, the linear mould's states, and the band.

Every state and every duty is a variable, so that the matrix stays sparse.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from tawny.sim.charge_cycle import Cycle, duty_steps
from tawny.sim.mould import STEP_S
from tawny.sim.mould_linear import SENSORS, STATES, LinearMould
from tawny.sim.mould_rest import Pair
from tawny.sim.parameters import MouldModel

if TYPE_CHECKING:
    from tawny.sim.mould_linear import Matrix

EACH_S: Final = 1.0  # between moments at which the tips are looked at
_INPUTS: Final = 2
_METHOD: Final = "highs-ipm"  # quicker here than the simplex
_DEAR: Final = 1000.0  # a kelvin beyond the band against a kelvin of dip


class Solution(NamedTuple):
    """Duties of each stretch, and both tips' deviations at each moment that is looked at."""

    duties: list[Pair]
    deviations_k: Matrix


class Programme:
    """All courses that a cycle allows.

    Args:
        model: The mould.
        cycle: What happens.
        band_k: How far from setpoint a tip may be.

    Attributes:
        times_s: Moments from closing on, from which the tips may be asked to stay in the band.
    """

    def __init__(self, model: MouldModel, cycle: Cycle, band_k: float) -> None:
        import numpy as np  # noqa: PLC0415 - heavy, and only here
        from scipy import sparse  # noqa: PLC0415 - heavy

        self._band_k = band_k
        self._cap = model.supply_cap
        self._stretches = duty_steps(cycle)
        opening, hold = round(cycle.open_s / STEP_S), round(cycle.hold_s / STEP_S)
        each = round(EACH_S / STEP_S)
        first = -(opening // each) * each
        self._moments = [*range(first, hold, each), hold]
        self._opening = opening
        self.times_s = [one * STEP_S for one in self._moments if one >= 0]
        self._before_closing = len(self._moments) - len(self.times_s)

        self._count = len(self._stretches)
        self._duties_at = STATES * self._count
        self._excess_at = self._duties_at + _INPUTS * self._count
        self._width = self._excess_at + 2  # the excess over the band, and what is minimised beside
        linear = LinearMould(model, cycle.setpoints_c)
        dynamics = sparse.lil_matrix((STATES * self._count, self._width))
        for index, stretch in enumerate(self._stretches):
            grown, driven = linear.step(stretch.steps * STEP_S, is_open=stretch.is_open)
            rows = slice(STATES * index, STATES * (index + 1))
            dynamics[rows, rows] = np.eye(STATES)
            if index:
                dynamics[rows, STATES * (index - 1) : STATES * index] = -grown
            dynamics[rows, self._duties_of(index)] = -driven
        self._dynamics = dynamics.tocsr()
        tips = sparse.lil_matrix((2 * len(self._moments), self._width))
        delays = [round(half.sensor_delay_s / STEP_S) for half in (model.upper, model.lower)]
        for moment, at in enumerate(self._moments):
            for half, delay in enumerate(delays):
                for columns, values in self._sensor(linear, half, at - delay):
                    tips[2 * moment + half, columns] = values
        self._tips = tips.tocsr()
        shared = sparse.lil_matrix((self._count, self._width))
        for index in range(self._count):
            shared[index, self._duties_of(index)] = 1.0
        self._shared = shared.tocsr()
        self._base = np.zeros(_INPUTS * self._count)
        self._offsets_k = np.zeros(2 * len(self._moments))

    def about(self, duties: list[Pair], course: list[Pair]) -> None:
        """Take what is possible as differences from what these duties did to the mould."""
        import numpy as np  # noqa: PLC0415 - heavy, and only here

        self._base = np.array(duties).ravel()
        driven = self._tips[:, self._duties_at : self._excess_at]
        self._offsets_k = self._seen_k(course).ravel() - driven @ self._base

    def least_excess_k(self, moment: int) -> float:
        """Return by how much the band must be passed, if tips stay in it from a moment on."""
        found = self._solve(self._rows_of_band(moment), excess=1.0, beside=0.0)
        return float(found[self._excess_at])

    def least_dip(self, moment: int) -> Solution:
        """Return the course that passes the band least, from a moment on, and then dips least."""
        rows = [*self._rows_of_band(moment), self._rows(-1.0, 0, beside=True, room_k=0.0)]
        return self._solution(self._solve(rows, excess=_DEAR, beside=1.0))

    def differs_k(self, solution: Solution, course: list[Pair]) -> float:
        """Return by how much a course of the mould differs from the linear one."""
        return float(abs(self._seen_k(course) - solution.deviations_k).max())

    def _duties_of(self, index: int) -> slice:
        first = self._duties_at + _INPUTS * index
        return slice(first, first + _INPUTS)

    def _sensor(self, linear: LinearMould, half: int, at: int) -> list[tuple[slice, Matrix]]:
        """Return what a thermocouple's own temperature at a moment is made of."""
        for index, stretch in enumerate(self._stretches):
            if stretch.start < at <= stretch.start + stretch.steps:
                length_s = (at - stretch.start) * STEP_S
                grown, driven = linear.step(length_s, is_open=stretch.is_open)
                parts = [(self._duties_of(index), driven[SENSORS[half]])]
                if index:
                    before = slice(STATES * (index - 1), STATES * index)
                    parts.append((before, grown[SENSORS[half]]))
                return parts
        return []  # before the opening

    def _seen_k(self, course: list[Pair]) -> Matrix:
        """Return a course at the moments that are looked at."""
        import numpy as np  # noqa: PLC0415 - heavy, and only here

        whole = np.array([(0.0, 0.0), *course])
        seen: Matrix = whole[np.array(self._moments) + self._opening]
        return seen

    def _rows_of_band(self, moment: int) -> list[tuple[Matrix, Matrix]]:
        """Return the band's top at all moments, and its bottom from one on."""
        from_row = self._before_closing + moment
        return [
            self._rows(1.0, 0, beside=False, room_k=self._band_k),
            self._rows(-1.0, from_row, beside=False, room_k=self._band_k),
        ]

    def _rows(
        self, sign: float, moment: int, *, beside: bool, room_k: float
    ) -> tuple[Matrix, Matrix]:
        """Return sign · deviation <= room + excess (or + what is minimised beside) as rows."""
        from scipy import sparse  # noqa: PLC0415 - heavy, and only here

        first = 2 * moment
        rows = sign * self._tips[first:]
        slack = sparse.lil_matrix(rows.shape)
        slack[:, self._excess_at + int(beside)] = -1.0
        return (rows + slack).tocsr(), room_k - sign * self._offsets_k[first:]

    def _solve(self, rows: list[tuple[Matrix, Matrix]], *, excess: float, beside: float) -> Matrix:
        """Return all variables at the least cost."""
        import numpy as np  # noqa: PLC0415 - heavy, and only here
        from scipy import sparse  # noqa: PLC0415 - heavy, and only here
        from scipy.optimize import linprog  # noqa: PLC0415 - heavy

        cost = np.zeros(self._width)
        cost[self._excess_at :] = (excess, beside)
        most = np.repeat([stretch.most for stretch in self._stretches], _INPUTS)
        lowest, highest = np.full(self._width, -np.inf), np.full(self._width, np.inf)
        lowest[self._duties_at :], highest[self._duties_at : self._excess_at] = 0.0, most
        limits = [*rows, (self._shared, np.full(self._count, self._cap))]
        driven = self._dynamics[:, self._duties_at : self._excess_at]
        answer = linprog(
            cost,
            A_ub=sparse.vstack([left for left, _ in limits], format="csr"),
            b_ub=np.concatenate([right for _, right in limits]),
            A_eq=self._dynamics,
            b_eq=driven @ self._base,
            bounds=np.column_stack([lowest, highest]),
            method=_METHOD,
        )
        if answer.status != 0:
            raise AssertionError(f"a programme that is always possible: {answer.message}")
        found: Matrix = answer.x
        return found

    def _solution(self, found: Matrix) -> Solution:
        duties = found[self._duties_at : self._excess_at].reshape(-1, _INPUTS)
        deviations_k = (self._tips @ found + self._offsets_k).reshape(-1, 2)
        return Solution([(float(a), float(b)) for a, b in duties], deviations_k)
