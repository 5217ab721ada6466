"""The press profile and the mould passports as files, to and from the core's structs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, NamedTuple

from tawny.core import limits
from tawny.core.equipment import HalfModel, Mould, Press
from tawny.core.units import parse, parse_difference_k
from tawny.errors import N_, SettingsError
from tawny.settings.decode import read_file
from tawny.settings.marks import (
    Choice,
    FileTable,
    Name,
    Quantity,
    Reading,
    Whole,
    split_reading,
)
from tawny.settings.recipes import GAUGE_UNITS

_Force = Annotated[str, Quantity("kN", "100 kN", 1.0, 5000.0)]
_Power = Annotated[str, Quantity("W", "750 W", 10.0, 20_000.0)]

# The wire's ranges for R, lag and heat-up time: `firmware/PROTOCOL.md` section 4.
_Rise = Annotated[str, Quantity("K/s", "0.2 K/s", 0.001, 5.0)]
_Lag = Annotated[str, Quantity("s", "15 s", 0.1, 300.0)]
_HeatUp = Annotated[str, Quantity("s", "12 min", 60.0, 7200.0)]


class HydraulicsTable(FileTable, frozen=True, kw_only=True):
    """Ram, gauge and what the makers' plates say."""

    ram_area: Annotated[str, Quantity("cm^2", "50 cm^2", 0.5, 5000.0)]
    gauge_most: Annotated[str, Reading(GAUGE_UNITS, "200 bar")]
    jack: _Force
    frame: _Force


class SupplyTable(FileTable, frozen=True, kw_only=True):
    """What the supply of both heaters may give."""

    heaters: Annotated[str, Quantity("W", "1.5 kW", 10.0, 50_000.0)]
    breaker: Annotated[str, Quantity("A", "16 A", 1.0, 200.0)]


class OutputTable(FileTable, frozen=True, kw_only=True):
    """What switches the heaters."""

    kind: Annotated[str, Choice(("ssr", "relay"))]
    window: Annotated[str, Quantity("s", "1 s", 1.0, 60.0)]


class StandbyTable(FileTable, frozen=True, kw_only=True):
    """Resting warm between pressings: how far below the recipe, and when it is offered."""

    drop: Annotated[
        str, Quantity("K", "40 K", limits.STANDBY_DROP_LEAST_K, limits.STANDBY_DROP_MOST_K)
    ] = "40 K"
    offer_after: Annotated[
        str, Quantity("s", "15 min", limits.STANDBY_OFFER_LEAST_S, limits.STANDBY_OFFER_MOST_S)
    ] = "15 min"


class DryOutTable(FileTable, frozen=True, kw_only=True):
    """The slow first heat-up for heaters that may be damp."""

    temperature: Annotated[
        str, Quantity("degC", "110 degC", limits.DRY_LEAST_C, limits.DRY_MOST_C)
    ] = "110 degC"
    hold: Annotated[
        str, Quantity("s", "60 min", limits.DRY_HOLD_LEAST_S, limits.DRY_HOLD_MOST_S)
    ] = "60 min"
    duty_most: Annotated[
        str, Quantity("fraction", "40 %", limits.DRY_DUTY_LEAST, limits.DRY_DUTY_MOST)
    ] = "40 %"


class FirstOffTable(FileTable, frozen=True, kw_only=True):
    """How many pressings of each heat-up are checked apart."""

    pressings: Annotated[int, Whole(0, limits.FIRST_OFF_MOST)] = 1


class PressTable(FileTable, frozen=True, kw_only=True):
    """A press profile of schema 1."""

    name: Annotated[str, Name("press-1")]
    workshop: Annotated[str, Name("Millbrook workshop")]
    simulated: bool = False
    port: str = ""
    ambient: Annotated[str, Quantity("degC", "22 degC", -20.0, 50.0)] = "22 degC"
    hydraulics: HydraulicsTable
    supply: SupplyTable
    output: OutputTable
    standby: StandbyTable = StandbyTable()
    dry_out: DryOutTable = DryOutTable()
    first_off: FirstOffTable = FirstOffTable()


class HalfTable(FileTable, frozen=True, kw_only=True):
    """One half: its heater, its metal, and what commissioning measured."""

    heater: _Power
    mass: Annotated[str, Quantity("kg", "4 kg", 0.05, 500.0)]
    rise: _Rise
    lag: _Lag
    heat_up: _HeatUp
    cooling_time: Annotated[str, Quantity("s", "20 min", 30.0, 100_000.0)]


class MouldTable(FileTable, frozen=True, kw_only=True):
    """A mould passport of schema 1."""

    name: Annotated[str, Name("saucer-160")]
    slot: Annotated[int, Whole(1, 8)]
    metal: Annotated[str, Name("aluminium")]
    cavities: Annotated[int, Whole(1, 24)]
    area: Annotated[str, Quantity("cm^2", "201 cm^2", 1.0, 20_000.0)]
    stops: bool
    vents: Annotated[int, Whole(0, 200)]
    rated_force: _Force
    rated_temperature: Annotated[str, Quantity("degC", "220 degC", 60.0, 400.0)]
    note: str = ""
    upper: HalfTable
    lower: HalfTable


class PressFile(NamedTuple):
    """A press profile, whether everything in its home folder is simulated, and the port.

    Attributes:
        port: Of the board: best a name under /dev/serial/by-id; empty where none is set.
    """

    press: Press
    simulated: bool
    port: str = ""


def read_press(path: Path) -> PressFile:
    """Return the press profile in a file.

    Raises:
        SettingsError: For the first mistake in it.
    """
    table = read_file(path, PressTable)
    gauge_most, gauge_unit = split_reading(table.hydraulics.gauge_most, GAUGE_UNITS)
    window_s = parse(table.output.window, "s")
    least_s, most_s = (1.0, 2.0) if table.output.kind == "ssr" else (10.0, 60.0)
    if not least_s <= window_s <= most_s:
        raise SettingsError(
            N_(
                '{file}: output.window = "{text}" is not between {least_s:g} s and {most_s:g} s, '
                "the range for {kind}; correct it"
            ),
            file=path,
            text=table.output.window,
            least_s=least_s,
            most_s=most_s,
            kind=table.output.kind,
        )
    press = Press(
        name=table.name,
        workshop=table.workshop,
        ram_area_cm2=parse(table.hydraulics.ram_area, "cm^2"),
        gauge_unit=gauge_unit,
        gauge_most=gauge_most,
        jack_kn=parse(table.hydraulics.jack, "kN"),
        frame_kn=parse(table.hydraulics.frame, "kN"),
        supply_w=parse(table.supply.heaters, "W"),
        breaker_a=parse(table.supply.breaker, "A"),
        output=table.output.kind,
        window_s=window_s,
        ambient_c=parse(table.ambient, "degC"),
        standby_drop_k=parse_difference_k(table.standby.drop),
        standby_offer_s=parse(table.standby.offer_after, "s"),
        dry_c=parse(table.dry_out.temperature, "degC"),
        dry_hold_s=parse(table.dry_out.hold, "s"),
        dry_duty=parse(table.dry_out.duty_most, "fraction"),
        first_off=table.first_off.pressings,
    )
    return PressFile(press, table.simulated, table.port.strip())


def read_mould(path: Path) -> Mould:
    """Return the mould passport in a file.

    Raises:
        SettingsError: For the first mistake in it.
    """
    table = read_file(path, MouldTable)
    return Mould(
        name=table.name,
        slot=table.slot,
        metal=table.metal,
        cavities=table.cavities,
        area_cm2=parse(table.area, "cm^2"),
        upper=_half(table.upper),
        lower=_half(table.lower),
        stops=table.stops,
        vents=table.vents,
        rated_kn=parse(table.rated_force, "kN"),
        rated_c=parse(table.rated_temperature, "degC"),
        note=table.note,
    )


def read_moulds(folder: Path) -> tuple[Mould, ...]:
    """Return every mould of a folder, by name.

    Raises:
        SettingsError: If a file is wrong, or two moulds share a name or a slot of the board.
    """
    moulds: dict[str, Mould] = {}
    for path in sorted(folder.glob("*.toml")):
        mould = read_mould(path)
        for other in moulds.values():
            if mould.name == other.name:
                raise SettingsError(
                    N_("{file}: mould {name} is described twice; give this one another name"),
                    file=path,
                    name=mould.name,
                )
            if mould.slot == other.slot:
                raise SettingsError(
                    N_("{file}: slot {slot} already belongs to mould {other}; choose another slot"),
                    file=path,
                    slot=mould.slot,
                    other=other.name,
                )
        moulds[mould.name] = mould
    return tuple(moulds[name] for name in sorted(moulds))


def _half(table: HalfTable) -> HalfModel:
    return HalfModel(
        rise_k_per_s=parse(table.rise, "K/s"),
        lag_s=parse(table.lag, "s"),
        heat_up_s=parse(table.heat_up, "s"),
        loss_per_s=1.0 / parse(table.cooling_time, "s"),
        heater_w=parse(table.heater, "W"),
        mass_kg=parse(table.mass, "kg"),
    )
