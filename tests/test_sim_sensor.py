"""The simulated thermocouple and its converter, good and broken."""

from __future__ import annotations

import random

import pytest

from tawny.core import converter
from tawny.sim.sensor import Converter, SensorFault


def test_sim_mould_sensor_shows_the_chip_s_error_until_it_is_corrected() -> None:
    """A tip at 180 °C reads about 178.6 °C on the chip and 180 °C after the ITS-90 correction.

    The chip's own error at 180 °C with a cold junction of 25 °C is -1.41 K.
    """
    source = random.Random(3)  # noqa: S311 - noise
    chip = Converter(noise_k=0.0, room_c=21.0, source=source)
    raw = chip.read(180.0, 0)
    register = converter.decode(raw)

    assert register.fault is converter.Fault.GOOD
    assert register.cold_junction_c == pytest.approx(25.0, abs=2.1)
    assert register.thermocouple_c == pytest.approx(178.6, abs=0.3)
    corrected = converter.corrected_c(raw)
    assert corrected == pytest.approx(180.0, abs=0.16)  # half a step of 0.25 K, and rounding


def test_sim_mould_sensor_drifts_with_its_cold_junction_but_reads_true() -> None:
    """The cold junction wanders by kelvins in an hour; the corrected reading does not."""
    chip = Converter(noise_k=0.0, room_c=21.0, source=random.Random(5))  # noqa: S311 - noise
    raws = [chip.read(180.0, hour_ms) for hour_ms in range(0, 5_400_000, 60_000)]
    cold = [converter.decode(raw).cold_junction_c for raw in raws]

    assert max(cold) - min(cold) == pytest.approx(3.0, abs=0.2)
    assert all(abs(float(converter.corrected_c(raw)) - 180.0) < 0.2 for raw in raws)


def test_sim_mould_sensor_faults_look_as_they_do_at_the_chip() -> None:
    """Open sets the bit, shorted reads the cold junction, reversed falls, stuck stays."""
    chip = Converter(noise_k=0.1, room_c=21.0, source=random.Random(7))  # noqa: S311 - noise
    good = chip.read(120.0, 0)
    chip.fault = SensorFault.OPEN
    assert converter.fault_of(chip.read(120.0, 0)) is converter.Fault.OPEN
    chip.fault = SensorFault.SHORTED
    shorted = converter.decode(chip.read(120.0, 0))
    assert shorted.thermocouple_c == pytest.approx(shorted.cold_junction_c, abs=0.25)
    chip.fault = SensorFault.REVERSED
    assert converter.decode(chip.read(120.0, 0)).thermocouple_c < -60.0
    chip.fault = SensorFault.GOOD
    good = chip.read(120.0, 0)
    chip.fault = SensorFault.STUCK
    assert {chip.read(float(t), 0) for t in range(100, 140)} == {good}
