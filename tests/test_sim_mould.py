"""The simulated mould: its books balance, and it agrees with closed solutions."""

from __future__ import annotations

import math
from pathlib import Path

import msgspec
import pytest

from tawny.core.names import Half
from tawny.errors import SettingsError
from tawny.sim import parameters
from tawny.sim.charge import EVAPORATION_J_PER_KG
from tawny.sim.commission import measure
from tawny.sim.mould import STEP_S, STEP_SHARE, Mould
from tawny.sim.parameters import ChargeModel, HalfModel, MouldModel

# The plants whose figures the shipped moulds follow: setpoint, and duty that holds it.
HOLD_DUTY = {
    "light-aluminium": (0.25, 0.25),
    "heavy-steel": (0.31, 0.31),
    "underpowered": (0.63, 0.63),
    "overpowered": (0.12, 0.12),
    "offset-sensor": (0.23, 0.23),
}


def lossless(mould: MouldModel) -> MouldModel:
    """The same mould, wrapped so well that nothing leaves it while it is closed."""
    halves = {
        half.value: msgspec.structs.replace(
            mould.half(half), outer_cm2=0.0, platen_w_per_k=0.0, sensor_low=0.0
        )
        for half in Half
    }
    return msgspec.structs.replace(mould, **halves)


def run(mould: Mould, seconds: float, upper_w: float = 0.0, lower_w: float = 0.0) -> None:
    """Let a mould live with constant heating."""
    for _ in range(round(seconds / STEP_S)):
        mould.step(upper_w * STEP_S, lower_w * STEP_S)


def surfaces(mould: Mould) -> tuple[float, float]:
    """What the halves have at their cavity."""
    return mould.upper_surface_c, mould.lower_surface_c


@pytest.mark.parametrize("name", parameters.shipped_moulds())
def test_sim_mould_conserves_energy(name: str) -> None:
    """Through heating, charging, boiling, opening and unloading, no heat is made or lost."""
    mould = Mould(parameters.load(name))
    power = mould.model.upper.heater_w, mould.model.lower.heater_w
    run(mould, 900.0, *power)
    for _ in range(3):
        mould.open = True
        run(mould, 20.0, *power)
        mould.load(30.0, 8.0, 25.0)
        run(mould, 5.0)
        mould.open = False
        run(mould, 120.0, *power)
        mould.open = True
        run(mould, 5.0)
        mould.unload()
    moved_j = mould.given_j + mould.lost_j + mould.evaporated_j

    assert mould.evaporated_j > 0.015 * EVAPORATION_J_PER_KG  # the charges did boil
    assert mould.lost_j > 0.0
    assert abs(mould.imbalance_j) < 0.001 * moved_j
    # The books are exact, so that rounding is all that may be left.
    assert abs(mould.imbalance_j) < 1e-6 * moved_j


def test_sim_mould_ramps_at_power_over_heat_capacity() -> None:
    """Without losses every node settles to P/(m·c) in K/s, and stays behind by a constant."""
    model = lossless(parameters.load("light-aluminium"))
    half = model.upper
    mould = Mould(model)
    capacity_j_per_k = half.mass_kg * half.specific_j_per_kg_k + half.heater_j_per_k
    run(mould, 200.0, half.heater_w, half.heater_w)
    before_c = mould.upper_surface_c
    run(mould, 100.0, half.heater_w, half.heater_w)

    rate_k_per_s = half.heater_w / capacity_j_per_k
    assert (mould.upper_surface_c - before_c) / 100.0 == pytest.approx(rate_k_per_s, rel=1e-6)
    # What flows into a node that rises at that rate drops across its conductance.
    metal_j_per_k = half.mass_kg * half.specific_j_per_kg_k
    assert mould.upper_heater_c - mould.upper_body_c == pytest.approx(
        metal_j_per_k * rate_k_per_s / half.heater_w_per_k, rel=1e-6
    )
    assert mould.upper_body_c - mould.upper_surface_c == pytest.approx(
        half.surface_share * metal_j_per_k * rate_k_per_s / half.body_w_per_k, rel=1e-6
    )
    # A first-order lag and a dead time behind a ramp: late by their sum.
    late_s = half.sensor_lag_s + half.sensor_delay_s
    assert mould.upper_surface_c - mould.upper_tip_c == pytest.approx(
        rate_k_per_s * late_s, rel=0.02
    )


def test_sim_mould_settles_where_losses_equal_power() -> None:
    """T∞ - Ta = P/UA where only convection and the platen take heat (lumped closed form)."""
    model = msgspec.structs.replace(
        parameters.load("light-aluminium"), emissivity=0.0, coupling_w_per_k=0.0
    )
    half = model.upper
    loss_w_per_k = half.outer_cm2 * 1e-4 * model.convection_w_per_m2_k + half.platen_w_per_k
    mould = Mould(model)
    run(mould, 12 * half.mass_kg * half.specific_j_per_kg_k / loss_w_per_k, 150.0, 75.0)

    assert mould.upper_body_c - model.ambient_c == pytest.approx(150.0 / loss_w_per_k, rel=1e-4)
    assert mould.lower_body_c - model.ambient_c == pytest.approx(75.0 / loss_w_per_k, rel=1e-4)


def test_sim_mould_radiates_by_stefan_and_boltzmann() -> None:
    """At rest a half radiates A·ε·σ·(T⁴ - Ta⁴) and convects h·A·(T - Ta), no more."""
    model = parameters.load("heavy-steel")
    mould = Mould(model, 180.0)
    before_j = mould.lost_j
    mould.step(0.0, 0.0)
    lost_w = (mould.lost_j - before_j) / STEP_S
    area_m2 = model.upper.outer_cm2 * 1e-4
    radiated_w = area_m2 * model.emissivity * 5.670374e-8 * (453.15**4 - 295.15**4)
    convected_w = (area_m2 * model.convection_w_per_m2_k + model.upper.platen_w_per_k) * 158.0

    assert lost_w == pytest.approx(2 * (radiated_w + convected_w), rel=1e-6)


@pytest.mark.parametrize(("name", "duties"), HOLD_DUTY.items())
def test_sim_mould_holds_its_setpoint_with_the_duty_it_was_made_for(
    name: str, duties: tuple[float, float]
) -> None:
    """The duty that holds the usual setpoint is within 0.03 of what the plant stands for."""
    model = parameters.load(name)
    wanted_c = model.heat_up_c
    mould = Mould(model, wanted_c)
    given_j = [0.0, 0.0]
    steps = 30_000
    for step in range(2 * steps):
        heat_j = [
            half.heater_w * STEP_S if tip_c < wanted_c else 0.0
            for half, tip_c in (
                (model.upper, mould.upper_tip_c),
                (model.lower, mould.lower_tip_c),
            )
        ]
        mould.step(*heat_j)
        if step >= steps:
            given_j = [a + b for a, b in zip(given_j, heat_j, strict=True)]

    for given, half, duty in zip(given_j, (model.upper, model.lower), duties, strict=True):
        assert given / (steps * STEP_S * half.heater_w) == pytest.approx(duty, abs=0.03)


def test_sim_mould_steps_are_short_against_its_fastest_rate() -> None:
    """No step times the fastest rate is above 0.2, also where a sensor is very quick."""
    model = parameters.load("light-aluminium")
    quick = msgspec.structs.replace(model.upper, sensor_lag_s=0.1)
    mould = Mould(msgspec.structs.replace(model, upper=quick), 150.0)
    run(mould, 5.0)

    assert STEP_S / 0.1 > STEP_SHARE  # a whole step would be too long
    assert mould.upper_tip_c == pytest.approx(mould.upper_surface_c, abs=0.2)


def test_sim_mould_opening_cools_the_surfaces_and_closing_couples_them() -> None:
    """An open mould loses more; a closed one brings its halves together."""
    model = parameters.load("saucer-160")
    closed, opened = Mould(model, 180.0), Mould(model, 180.0)
    opened.open = True
    run(closed, 60.0)
    run(opened, 60.0)
    assert max(surfaces(opened)) < min(surfaces(closed)) - 1.0

    apart = Mould(model, 100.0)
    apart.upper_body_c = apart.upper_surface_c = 140.0
    run(apart, 600.0)
    assert abs(surfaces(apart)[0] - surfaces(apart)[1]) < 8.0


def test_sim_mould_detached_sensor_falls_by_more_than_a_mould_can() -> None:
    """A thermocouple that comes out falls towards the air: more than 5 K in 5 s."""
    mould = Mould(parameters.load("saucer-160"), 180.0)
    mould.lower_detached = True
    before_c = mould.lower_tip_c
    run(mould, 5.0)

    assert before_c - mould.lower_tip_c > 10.0
    assert mould.upper_tip_c == pytest.approx(180.0, abs=1.0)


def test_sim_mould_commissioning_finds_what_the_model_is_made_of() -> None:
    """R lies below P/(m·c) and near it, the lag above the heater's own, the rest in range."""
    for name in parameters.shipped_moulds():
        model = parameters.load(name)
        measured = measure(model)
        for half in Half:
            part, found = model.half(half), measured.half(half)
            metal_j_per_k = part.mass_kg * part.specific_j_per_kg_k + part.heater_j_per_k
            lossless_k_per_s = part.heater_w / metal_j_per_k
            if half is Half.UPPER or name != "coupled-steel":
                assert 0.7 * lossless_k_per_s < found.rise_k_per_s < lossless_k_per_s
            assert found.lag_s > math.log(2.0) * part.heater_j_per_k / part.heater_w_per_k
            assert 60.0 < found.heat_up_s < 7200.0
            assert 1e-4 < found.loss_per_s < 2e-3


GOOD_FILE = (Path(parameters.__file__).parents[1] / "data/moulds/saucer-160.toml").read_text()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[model", "[modle", "no [model] table"),
        ("mass =", "maas =", "maas"),
        ('mass = "3.6 kg"', "mass = 3.6", "unit"),
        ('mass = "3.6 kg"', 'mass = "3.6"', "unit"),
        ('mass = "3.6 kg"', 'mass = "3,6 kg"', "point"),
        ('mass = "3.6 kg"', 'mass = "-3.6 kg"', "> 0"),
        ('mass = "3.6 kg"', 'mass = "nan kg"', "finite"),
        ('heater = "900 W"', 'heater = "900 K"', "heater"),
        ('heater = "900 W"', "", "heater"),
        ('output = "ssr"', 'output = "triac"', "output"),
        ("identity = 1", "identity = 9", "identity"),
        ("[model.charge]", "[model.change]", "change"),
        ('heat_up_to = "185 degC"', 'heat_up_to = "185 K"', "heat_up_to"),
        ("[model]", "[model", "TOML"),
    ],
)
def test_sim_mould_file_with_a_mistake_is_refused(old: str, new: str, said: str) -> None:
    """Each mistake gets one sentence that names it."""
    assert old in GOOD_FILE
    with pytest.raises(SettingsError) as refused:
        parameters.parse(GOOD_FILE.replace(old, new), where="saucer.toml")

    assert said in str(refused.value)
    assert "saucer.toml" in str(refused.value)


def test_sim_mould_file_of_a_passport_may_hold_other_tables() -> None:
    """Only `[model]` is the simulator's business."""
    model = parameters.parse(
        'name = "mine"\n\n' + GOOD_FILE + "\n[passport]\nslot = 1\n", where="x"
    )

    assert model == parameters.load("saucer-160")
    assert isinstance(model.lower, HalfModel)
    assert model.lower.mass_kg != model.upper.mass_kg


def test_sim_mould_that_is_not_there_is_named_with_those_that_are() -> None:
    """A wrong name says which moulds ship."""
    with pytest.raises(SettingsError, match="saucer-160"):
        parameters.load("soucer")


def test_sim_mould_page_documents_every_key_of_a_mould_file() -> None:
    """The guide's tables name the keys that a file may hold, with the unit each is read in."""
    page = (Path(parameters.__file__).parents[1] / "guide/simulated-moulds.md").read_text()
    rows = [
        (cells[1].strip("` "), cells[2].strip())
        for cells in (line.split("|") for line in page.splitlines() if line.startswith("| `"))
    ]
    fields = [
        field
        for struct in (MouldModel, ChargeModel, HalfModel)
        for field in msgspec.structs.fields(struct)
        if field.encode_name not in ("charge", "upper", "lower")
    ]
    units = [
        next((m.extra["unit"] for m in getattr(field.type, "__metadata__", ()) if m.extra), "-")
        for field in fields
    ]
    written = {"fraction": "%", "ms": "s"}
    assert rows == [
        (field.encode_name, written.get(unit, unit))
        for field, unit in zip(fields, units, strict=True)
    ]
