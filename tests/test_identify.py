"""The fit of the thermal model: known processes found again, and when nothing is to be taken."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import control
import numpy as np
import pytest
from msgspec.structs import replace

from loop_plant import HEAVY, LIGHT, ROOM_C, STRONG, Half
from tawny.core.loop.identify import HalfFit, Row, fit_half, fit_mould
from tawny.core.loop.refine import judge
from tawny.core.loop.thermal import HalfThermal, Thermal
from tawny.core.snapshot import Code

if TYPE_CHECKING:
    from collections.abc import Sequence

ON_S, WHOLE_S = 300.0, 700.0


def coupled(plant: Half, exchange_g: float) -> control.StateSpace:
    """Two halves of three nodes each as a linear system; inputs heat in W, outputs the surfaces."""
    a = np.zeros((6, 6))
    b = np.zeros((6, 2))
    c = np.zeros((2, 6))
    for half in (0, 1):
        heater, body, surface = (3 * half + node for node in range(3))
        other = 3 * (1 - half) + 2
        a[heater, heater] = -plant.heater_g / plant.heater_j
        a[heater, body] = plant.heater_g / plant.heater_j
        a[body, heater] = plant.heater_g / plant.body_j
        a[body, body] = -(plant.heater_g + plant.spread_g + plant.loss_g) / plant.body_j
        a[body, surface] = plant.spread_g / plant.body_j
        a[surface, body] = plant.spread_g / plant.surface_j
        a[surface, surface] = -(plant.spread_g + exchange_g) / plant.surface_j
        a[surface, other] = exchange_g / plant.surface_j
        b[heater, half] = 1.0 / plant.heater_j
        c[half, surface] = 1.0
    return control.ss(a, b, c, np.zeros((2, 2)))


def heated(
    plant: Half, half: int, *, exchange_g: float = 15.0, noise_k: float = 0.0, on_s: float = ON_S
) -> list[Row]:
    """Readings while one half is heated alone and coasts, by python-control's own integrator."""
    at_s = np.arange(0.0, WHOLE_S, 0.2)
    power_w = np.zeros((2, len(at_s)))
    power_w[half, at_s < on_s] = plant.heater_w
    answer = control.forced_response(coupled(plant, exchange_g), at_s, power_w)
    late = np.clip(at_s - plant.delay_s, 0.0, None)
    noise = np.random.default_rng(7).normal(0.0, noise_k, (2, len(at_s)))
    temps = [
        ROOM_C + np.interp(late, at_s, answer.outputs[index]) + noise[index] for index in (0, 1)
    ]
    if noise_k:
        temps = [np.round(one * 4.0) / 4.0 for one in temps]
    on = np.minimum(at_s, on_s)
    return [
        Row(
            float(time_s),
            (float(temps[0][n]), float(temps[1][n])),
            (float(on[n]) if half == 0 else 0.0, float(on[n]) if half == 1 else 0.0),
        )
        for n, time_s in enumerate(at_s)
    ]


def both(plant: Half, **other: float) -> list[list[Row]]:
    """Each half heated alone, as commissioning does."""
    return [heated(plant, 0, **other), heated(plant, 1, **other)]


@pytest.mark.parametrize(("plant", "within"), [(LIGHT, 0.02), (HEAVY, 0.03), (STRONG, 0.03)])
@pytest.mark.parametrize("noise_k", [0.0, 0.2])
def test_identify_finds_a_known_process(plant: Half, within: float, noise_k: float) -> None:
    """R, the whole lag and the exchange of a chain of nodes, from conservation of energy.

    R = power over all heat capacity; the lag of a ramp behind its heat is the sum of time
    constants, whatever their order (first moment of the impulse response).
    """
    fits = fit_mould(both(plant, noise_k=noise_k), ROOM_C)
    assert fits is not None
    wanted = plant.thermal(15.0)
    for fit in fits:
        assert fit.half.rise_k_per_s == pytest.approx(wanted.rise_k_per_s, rel=within)
        assert fit.half.lag_s() == pytest.approx(wanted.lag_s(), rel=0.08)
        assert fit.half.exchange_per_s == pytest.approx(wanted.exchange_per_s, rel=0.08)
        assert fit.half.loss_per_s == pytest.approx(wanted.loss_per_s, rel=0.25)
        assert fit.residual_k <= 0.06 + 0.6 * noise_k


def test_identify_finds_nothing_in_too_little() -> None:
    """No rise, too short, or nothing at all: no fit."""
    still = [Row(n * 0.2, (22.0, 22.0), (0.0, 0.0)) for n in range(2000)]
    assert fit_mould([still], ROOM_C) is None
    assert fit_mould([], ROOM_C) is None
    assert fit_mould([heated(LIGHT, 0)[:200]], ROOM_C) is None
    assert fit_half([heated(LIGHT, 0, on_s=30.0)], 0, ROOM_C) is None


def test_identify_sees_whether_there_was_a_coast() -> None:
    """A ramp alone has none; after the heat it is counted in seconds."""
    ramp = [row for row in heated(LIGHT, 0) if row.at_s < ON_S]
    alone = fit_half([ramp], 0, ROOM_C)
    assert alone is not None
    assert alone.coast_s == 0.0
    whole = fit_half([heated(LIGHT, 0)], 0, ROOM_C)
    assert whole is not None
    assert whole.coast_s == pytest.approx(WHOLE_S - ON_S, abs=25.0)


def _fits(**changes: float) -> tuple[HalfFit, HalfFit]:
    fit = HalfFit(LIGHT.thermal(15.0), residual_k=0.1, rise_k=60.0, coast_s=300.0)
    return fit._replace(**changes), fit  # type: ignore[arg-type]


def test_refine_takes_a_good_fit() -> None:
    """What explains what was measured and saw a coast becomes the model."""
    verdict = judge(_fits(), None, heat_ups=0)
    assert verdict.why is None
    assert verdict.thermal is not None
    assert verdict.thermal.trusted
    assert verdict.thermal.upper == LIGHT.thermal(15.0)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"residual_k": 0.351}, "fit_unlike"),
        ({"residual_k": math.nan}, "fit_unlike"),
        ({"coast_s": 59.9}, "fit_no_coast"),
    ],
)
def test_refine_takes_no_fit_beyond_its_limits(changes: dict[str, float], code: str) -> None:
    """One step beyond a limit: refused, with its reason and half."""
    verdict = judge(_fits(**changes), None, heat_ups=0)
    assert verdict.thermal is None
    assert verdict.why is not None
    assert (verdict.why.code, verdict.why.fields["half"]) == (code, "upper")
    at_limit = {"residual_k": 0.35} if "residual_k" in changes else {"coast_s": 60.0}
    assert judge(_fits(**at_limit), None, heat_ups=0).thermal is not None


def test_refine_takes_no_fit_where_there_is_none() -> None:
    """Nothing found is said so."""
    assert judge(None, None, heat_ups=0).why == Code("fit_too_little")


def _scaled(half: HalfThermal, rise: float) -> HalfThermal:
    return replace(half, rise_k_per_s=half.rise_k_per_s * rise)


@pytest.mark.parametrize(
    ("rise", "taken"), [(1.24, True), (1.26, False), (0.81, True), (0.79, False)]
)
def test_refine_never_lets_a_heat_up_spoil_the_model(rise: float, taken: bool) -> None:  # noqa: FBT001
    """A later fit that says a quarter more or less is told, not taken."""
    own = LIGHT.thermal(15.0)
    before = Thermal(upper=own, lower=own, trusted=True)
    fit = HalfFit(_scaled(own, rise), residual_k=0.1, rise_k=150.0, coast_s=300.0)
    verdict = judge((fit, fit), before, heat_ups=1)
    assert (verdict.thermal is not None) is taken
    if not taken:
        assert verdict.why is not None
        assert verdict.why.code == "fit_far_off"
        assert verdict.why.fields["percent"] == round(100.0 * (rise - 1.0))


def _as_one(rows: Sequence[Row], power: float) -> list[Row]:
    """The same rows as if the heater had been stronger than its on-time says."""
    return [row._replace(on_s=(row.on_s[0] * power, row.on_s[1] * power)) for row in rows]


def test_identify_stays_near_the_model_before() -> None:
    """A heat-up with 10 % less supply moves R by less than that, and the lags hardly at all."""
    rows = [_as_one(one, 1.0 / 0.9) for one in both(LIGHT, noise_k=0.2)]
    own = LIGHT.thermal(15.0)
    fit = fit_half(rows, 0, ROOM_C, own)
    assert fit is not None
    assert 0.89 < fit.half.rise_k_per_s / own.rise_k_per_s < 0.99
    assert fit.half.lag_s() == pytest.approx(own.lag_s(), rel=0.15)
