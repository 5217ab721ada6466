"""The moist charge between the halves: the plate series, the boil, the books."""

from __future__ import annotations

import pytest

from tawny.sim import parameters
from tawny.sim.charge import BOILS_C, EVAPORATION_J_PER_KG, SLICES, Charge
from tawny.sim.parameters import ChargeModel


def dry(thickness_mm: float) -> tuple[ChargeModel, Charge]:
    """A dry charge of constant specific heat in perfect contact."""
    model = ChargeModel(
        area_cm2=200.0,
        density_kg_per_m3=1000.0,
        conductivity_w_per_m_k=0.2,
        specific_j_per_kg_k=1500.0,
        specific_rise_j_per_kg_k2=0.0,
        contact_w_per_m2_k=1e9,
    )
    residue_g = 1000.0 * thickness_mm * 1e-3 * 200.0 * 1e-4 * 1000.0
    charge = Charge(model, residue_g=residue_g, water_g=0.0, temperature_c=20.0, step_s=0.02)
    return model, charge


# Plate with both faces held, centre and mean of (T - Ts)/(T0 - Ts) by Fourier number: the
# series of Carslaw and Jaeger, as in Incropera ch. 5.
PLATE_CENTRE = [(0.1, 0.94931), (0.2, 0.77231), (0.5, 0.37078), (1.0, 0.10798)]
PLATE_MEAN = [(0.2, 0.49591), (0.5, 0.23605)]
PLATE_TOLERANCE = 0.012  # of the step: what eight slices leave


def warm(thickness_mm: float, fourier: float) -> Charge:
    """A dry charge that has been between faces of 120 °C for so long."""
    model, charge = dry(thickness_mm)
    diffusivity = model.conductivity_w_per_m_k / (
        model.density_kg_per_m3 * model.specific_j_per_kg_k
    )
    seconds = fourier * (charge.thickness_m / 2.0) ** 2 / diffusivity
    for _ in range(round(seconds / 0.02)):
        charge.step(120.0, 120.0)
    return charge


@pytest.mark.parametrize(("fourier", "expected"), PLATE_CENTRE)
def test_sim_mould_dry_charge_follows_the_plate_series(fourier: float, expected: float) -> None:
    """The middle of a dry charge warms as the series for a plate says."""
    charge = warm(6.0, fourier)

    assert (120.0 - charge.core_c) / 100.0 == pytest.approx(expected, abs=PLATE_TOLERANCE)


@pytest.mark.parametrize(("fourier", "expected"), PLATE_MEAN)
def test_sim_mould_dry_charge_takes_the_heat_of_the_plate_series(
    fourier: float, expected: float
) -> None:
    """Its mean temperature, and so the heat it took, is that of the series."""
    charge = warm(6.0, fourier)
    mean_c = sum(charge.slices_c) / SLICES

    assert (120.0 - mean_c) / 100.0 == pytest.approx(expected, abs=PLATE_TOLERANCE)


def test_sim_mould_charge_stays_at_100_degrees_until_its_water_is_gone() -> None:
    """Each slice waits at 100 °C while it is wet, and water leaves only as heat arrives."""
    model = parameters.load("saucer-160").charge
    charge = Charge(model, residue_g=34.0, water_g=8.0, temperature_c=22.0, step_s=0.2)
    plateau_s = 0.0
    taken_j = 0.0
    start_j = charge.stored_j
    water_g = charge.water_g
    while charge.water_g > 0.0:
        upper_j, lower_j = charge.step(180.0, 180.0)
        taken_j += upper_j + lower_j
        assert charge.water_g <= water_g
        water_g = charge.water_g
        if charge.core_c > BOILS_C - 0.5:
            plateau_s += 0.2
            if water_g > 0.0:
                assert min(charge.slices_c) == pytest.approx(BOILS_C, abs=0.5)
        assert plateau_s < 200.0

    # The driest slices are hot long before the wettest, which no lumped model shows.
    assert max(charge.slices_c) > 120.0
    assert plateau_s > 5.0
    assert charge.evaporated_j == pytest.approx(0.008 * (EVAPORATION_J_PER_KG + 4186.0 * 100.0))
    assert charge.stored_j - start_j == pytest.approx(taken_j - charge.evaporated_j, rel=1e-9)


def test_sim_mould_wet_charge_needs_about_as_long_as_computed_elsewhere() -> None:
    """Centre to 171 °C of 3 mm between 180 °C faces: about 24 s dry, 37 s at 10 % water.

    Finite differences made apart from this model (k 0.2, rho 1000, cp 1700, free venting).
    A front that boils its way through eight slices is within an eighth of them.
    """
    model = ChargeModel(
        area_cm2=200.0,
        density_kg_per_m3=1000.0,
        specific_j_per_kg_k=1700.0,
        specific_rise_j_per_kg_k2=0.0,
        contact_w_per_m2_k=1e9,
    )
    found = []
    for water_g in (0.0, 6.0):
        charge = Charge(model, residue_g=60.0, water_g=water_g, temperature_c=20.0, step_s=0.1)
        seconds = 0.0
        while charge.core_c < 171.0:
            charge.step(180.0, 180.0)
            seconds += 0.1
        found.append(seconds)

    assert found == pytest.approx([24.0, 37.0], rel=1 / SLICES)


def test_sim_mould_charge_gains_the_heat_of_its_rising_specific_heat() -> None:
    """A dry charge of wood's specific heat stores the integral of equation 4-16."""
    model = parameters.load("saucer-160").charge
    charge = Charge(model, residue_g=100.0, water_g=0.0, temperature_c=20.0, step_s=0.2)
    start_j = charge.stored_j
    for _ in range(2000):
        charge.step(180.0, 180.0)

    # USDA Wood Handbook, eq. 4-16: 0.1031 + 0.003867 T kJ/kgK; mean of 20 and 180 degC.
    mean_j_per_kg_k = 1000.0 * (0.1031 + 0.003867 * (273.15 + 100.0))
    assert charge.stored_j - start_j == pytest.approx(0.1 * mean_j_per_kg_k * 160.0, rel=1e-3)
