"""Mould files that are not in the program: what nobody tuned for."""

from __future__ import annotations

from pathlib import Path

# A bread plate of cast iron, its halves unlike, heated by bands; from memory of such things.
IRON = """
[model]
heat_up_to = "165 degC"
window = "2 s"
coupling = "9 W/K"
emissivity = "60 %"
cavity_area = "300 cm^2"

[model.charge]
area = "260 cm^2"

[model.half]
heater = "1100 W"
heater_capacity = "260 J/K"
heater_conductance = "14 W/K"
mass = "5.2 kg"
specific_heat = "500 J/kg/K"
body_conductance = "70 W/K"
outer_area = "800 cm^2"
platen_conductance = "0.9 W/K"
sensor_lag = "4 s"
sensor_delay = "0.8 s"
sensor_noise = "0.2 K"

[model.lower]
mass = "6.1 kg"
heater = "1250 W"
"""
WEAK = IRON.replace('"1100 W"', '"90 W"').replace('"1250 W"', '"95 W"')


def mould_file(folder: Path, text: str = IRON) -> Path:
    """Write a mould file and return its path."""
    path = folder / "plate.toml"
    path.write_text(text, encoding="utf-8")
    return path
