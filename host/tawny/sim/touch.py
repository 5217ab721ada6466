"""What each command of a hand does to the world, or why it cannot."""

from __future__ import annotations

from functools import singledispatch
from typing import TYPE_CHECKING, Final

from tawny.core import messages as m
from tawny.core.names import Half
from tawny.sim import commands as c

if TYPE_CHECKING:
    from tawny.sim.world import World

RESET_HOLD_MS: Final = 3000
THERMOSTAT_BELOW_K: Final = 30.0  # a limit thermostat lets itself be reset so far below


def touch(world: World, command: c.AnyCommand) -> str:
    """Carry a command out; return why not, empty if it was."""
    return _touch(command, world) or ""


@singledispatch
def _touch(command: c.Command, world: World) -> str | None:
    raise AssertionError(f"no such command: {command!r} in {world!r}")


@_touch.register(c.PressArm)
def _press_arm(command: c.PressArm, world: World) -> str | None:
    return _press(world, m.IN_ARM, command.hold_ms)


@_touch.register(c.HoldArm)
def _hold_arm(command: c.HoldArm, world: World) -> None:
    world.set_input(m.IN_ARM, on=command.down)


@_touch.register(c.PressNext)
def _press_next(command: c.PressNext, world: World) -> str | None:
    return _press(world, m.IN_NEXT, command.hold_ms)


@_touch.register(c.ResetTrip)
def _reset_trip(_: c.ResetTrip, world: World) -> str | None:
    return _press(world, m.IN_ARM, RESET_HOLD_MS)


def _press(world: World, bit: int, hold_ms: int) -> str | None:
    if world.board.inputs & bit:
        return "already_down"
    world.set_input(bit, on=True)
    world.after(hold_ms, lambda: world.set_input(bit, on=False))
    return None


@_touch.register(c.OpenMould)
def _open(_: c.OpenMould, world: World) -> None:
    world.mould.open = True
    world.set_input(m.IN_OPEN, on=True)


@_touch.register(c.CloseMould)
def _close(_: c.CloseMould, world: World) -> None:
    world.mould.open = False
    world.set_input(m.IN_OPEN, on=False)


@_touch.register(c.LoadCharge)
def _load(command: c.LoadCharge, world: World) -> str | None:
    if not world.mould.open:
        return "mould_closed"
    world.mould.load(command.residue_g, command.water_g, command.temperature_c)
    return None


@_touch.register(c.UnloadCharge)
def _unload(_: c.UnloadCharge, world: World) -> str | None:
    if not world.mould.open:
        return "mould_closed"
    if world.mould.charge is None:
        return "nothing_inside"
    world.mould.unload()
    return None


@_touch.register(c.HeatOffButton)
def _heat_off(command: c.HeatOffButton, world: World) -> None:
    world.set_input(m.IN_BUTTON, on=command.pressed)


@_touch.register(c.Mains)
def _mains(command: c.Mains, world: World) -> None:
    world.set_input(m.IN_MAINS, on=command.on)


@_touch.register(c.Thermostat)
def _thermostat(command: c.Thermostat, world: World) -> str | None:
    hottest_c = max(world.mould.body_c(half) for half in Half)
    limit_c = world.mould.model.limit_thermostat_c
    if not command.opened and hottest_c > limit_c - THERMOSTAT_BELOW_K:
        return "too_hot"
    world.set_input(m.IN_THERMOSTAT, on=command.opened)
    return None


@_touch.register(c.SetSensor)
def _sensor(command: c.SetSensor, world: World) -> None:
    world.set_sensor(command.half, command.fault)


@_touch.register(c.SetHeater)
def _heater(command: c.SetHeater, world: World) -> None:
    world.heaters[command.half is Half.LOWER] = command.fault


@_touch.register(c.SetContactor)
def _contactor(command: c.SetContactor, world: World) -> None:
    world.set_contactor(command.fault)


@_touch.register(c.LineNoise)
def _noise(command: c.LineNoise, world: World) -> None:
    world.line.bit_error_rate = command.bit_error_rate


@_touch.register(c.Plug)
def _plug(command: c.Plug, world: World) -> None:
    world.line.plugged = command.plugged


@_touch.register(c.Restart)
def _restart(command: c.Restart, world: World) -> None:
    world.selftest_fails = command.selftest_fails
    world.restart(command.cause)


@_touch.register(c.Look)
def _look(_: c.Look, __: World) -> None:
    return None
