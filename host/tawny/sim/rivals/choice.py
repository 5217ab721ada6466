"""The rivals by name."""

from __future__ import annotations

from typing import Final

from tawny.core.tuning_rules import amigo_pid, simc
from tawny.errors import N_, InputError
from tawny.sim.parameters import MouldModel
from tawny.sim.rivals.pair import Pair, Rival
from tawny.sim.rivals.relay import RelayTuned
from tawny.sim.rivals.simple import Thermostat, tuned, untuned
from tawny.sim.rivals.step_response import processes

NAMES: Final = ("thermostat", "untuned", "simc", "amigo", "relay")


def rival(name: str, model: MouldModel) -> Rival:
    """Return a fresh controller.

    Args:
        name: One of `NAMES`. Those two that need a step test make it first, once per model.
        model: The mould; the other three learn nothing from it.

    Raises:
        InputError: If there is no such controller, or a half of the mould does not heat.
    """
    if name == "thermostat":
        return Pair(Thermostat(), Thermostat())
    if name == "untuned":
        return Pair(untuned(), untuned())
    if name == "relay":
        return Pair(RelayTuned(), RelayTuned())
    if name not in NAMES:
        raise InputError(
            N_('no controller "{name}": choose one of {names}'), name=name, names=", ".join(NAMES)
        )
    rule = simc if name == "simc" else amigo_pid
    upper, lower = processes(model)
    return Pair(tuned(rule(upper)), tuned(rule(lower)))
