"""What a simulated mould is made of: the `[model]` table of a mould file.

Every quantity of the file is text with its unit; the unit it is turned into stands beside
the field here, and an unknown key is refused. `[model.half]` holds for both halves,
`[model.upper]` and `[model.lower]` say what one of them has otherwise. The rest of a mould
file is the mould's passport and none of the simulator's business.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Final, Literal, TypeVar, get_args

import msgspec
from msgspec import Meta

from tawny.core import units
from tawny.core.names import Half
from tawny.errors import N_, QuantityError, SettingsError

DEMO_MOULD: Final = "saucer-160"
_SHIPPED: Final = resources.files("tawny") / "data" / "moulds"


def _above(unit: str) -> Meta:
    """Say which unit a field is read in; its values lie above 0."""
    return Meta(gt=0, extra={"unit": unit})


def _from(unit: str, least: float) -> Meta:
    """Say which unit a field is read in, and its least value."""
    return Meta(ge=least, extra={"unit": unit})


class HalfModel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One mould half with its heater and thermocouple.

    Attributes:
        heater_w: Power of the half's heaters at nominal mains.
        heater_j_per_k: Heat capacity of the heaters themselves.
        heater_w_per_k: From the heaters into the body.
        mass_kg: Metal of the half.
        specific_j_per_kg_k: Of that metal.
        surface_share: Share of the metal that counts as the cavity surface.
        body_w_per_k: From the body to the cavity surface.
        outer_cm2: Outside that loses heat to the room.
        platen_w_per_k: Into the platen, taken to be at room temperature.
        sensor_lag_s: First-order lag of the thermocouple behind the cavity surface.
        sensor_delay_s: Dead time behind that lag, in whole tenths of a second.
        sensor_noise_k: Standard deviation of a reading before its rounding.
        sensor_low: Share of the excess over the room that the sensor misses by its mounting.
    """

    heater_w: Annotated[float, _above("W")] = msgspec.field(name="heater")
    heater_j_per_k: Annotated[float, _above("J/K")] = msgspec.field(name="heater_capacity")
    heater_w_per_k: Annotated[float, _above("W/K")] = msgspec.field(name="heater_conductance")
    mass_kg: Annotated[float, _above("kg")] = msgspec.field(name="mass")
    specific_j_per_kg_k: Annotated[float, _above("J/kg/K")] = msgspec.field(name="specific_heat")
    surface_share: Annotated[float, _above("fraction")] = 0.3
    body_w_per_k: Annotated[float, _above("W/K")] = msgspec.field(name="body_conductance")
    outer_cm2: Annotated[float, _from("cm^2", 0)] = msgspec.field(name="outer_area")
    platen_w_per_k: Annotated[float, _from("W/K", 0)] = msgspec.field(name="platen_conductance")
    sensor_lag_s: Annotated[float, _above("s")] = msgspec.field(name="sensor_lag")
    sensor_delay_s: Annotated[float, _from("s", 0)] = msgspec.field(name="sensor_delay")
    sensor_noise_k: Annotated[float, _from("K", 0)] = msgspec.field(name="sensor_noise")
    sensor_low: Annotated[float, _from("fraction", 0)] = 0.0


class ChargeModel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a charge is like between the surfaces, whatever its mass.

    Attributes:
        area_cm2: Of each face, all cavities together.
        density_kg_per_m3: Of the dry material once pressed; gives the thickness.
        conductivity_w_per_m_k: Through it.
        specific_j_per_kg_k: Of the dry material at 0 °C.
        specific_rise_j_per_kg_k2: What that gains with each kelvin.
        contact_w_per_m2_k: Between a surface and the charge pressed against it.
        lying_w_per_m2_k: Between the lower surface and a charge that only lies on it.

    Source:
        The defaults of the specific heat are the line for dry wood of the USDA Wood
        Handbook, equation 4-16 (0.1031 + 0.003867 T kJ/kg K, T in kelvin), the density and
        conductivity its equation 4-15 near G 0.95 and 5 % moisture: a stand-in.
    """

    area_cm2: Annotated[float, _above("cm^2")] = msgspec.field(name="area")
    density_kg_per_m3: Annotated[float, _above("kg/m^3")] = msgspec.field(
        name="density", default=950.0
    )
    conductivity_w_per_m_k: Annotated[float, _above("W/m/K")] = msgspec.field(
        name="conductivity", default=0.2
    )
    specific_j_per_kg_k: Annotated[float, _above("J/kg/K")] = msgspec.field(
        name="specific_heat", default=1159.4
    )
    specific_rise_j_per_kg_k2: Annotated[float, _from("J/kg/K^2", 0)] = msgspec.field(
        name="specific_heat_rise", default=3.867
    )
    contact_w_per_m2_k: Annotated[float, _above("W/m^2/K")] = msgspec.field(
        name="contact", default=800.0
    )
    lying_w_per_m2_k: Annotated[float, _above("W/m^2/K")] = msgspec.field(
        name="lying_contact", default=150.0
    )


class MouldModel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole simulated mould and how its heaters are switched.

    Attributes:
        heat_up_c: The usual setpoint: the heat-up time is measured up to it.
        output: "ssr" or "relay".
        window_ms: Output window.
        supply_cap: What both duties may sum to, 1 to 2.
        identity: Step of the mould-identity resistor, 0 where there is none.
        limit_thermostat_c: Where the independent limit thermostats open, on the body.
        coupling_w_per_k: Between the cavity surfaces through the rim while closed.
        convection_w_per_m2_k: At the outside.
        emissivity: Outside and cavity.
        cavity_cm2: Of each surface, which loses heat while the mould is open.
        open_convection_w_per_m2_k: At the cavity surfaces while open.
    """

    ambient_c: Annotated[float, _from("degC", -20)] = msgspec.field(name="ambient", default=22.0)
    heat_up_c: Annotated[float, _above("degC")] = msgspec.field(name="heat_up_to")
    output: Literal["ssr", "relay"] = "ssr"
    window_ms: Annotated[float, _from("ms", 1000)] = msgspec.field(name="window")
    supply_cap: Annotated[float, Meta(ge=1, le=2, extra={"unit": "fraction"})] = 2.0
    identity: Annotated[int, Meta(ge=0, le=8)] = 0
    limit_thermostat_c: Annotated[float, _above("degC")] = msgspec.field(
        name="limit_thermostat", default=245.0
    )
    coupling_w_per_k: Annotated[float, _from("W/K", 0)] = msgspec.field(name="coupling")
    convection_w_per_m2_k: Annotated[float, _from("W/m^2/K", 0)] = msgspec.field(
        name="convection", default=9.0
    )
    emissivity: Annotated[float, _from("fraction", 0)]
    cavity_cm2: Annotated[float, _above("cm^2")] = msgspec.field(name="cavity_area")
    open_convection_w_per_m2_k: Annotated[float, _from("W/m^2/K", 0)] = msgspec.field(
        name="open_convection", default=12.0
    )
    charge: ChargeModel
    upper: HalfModel
    lower: HalfModel

    def half(self, half: Half) -> HalfModel:
        """Return one half's part."""
        return self.upper if half is Half.UPPER else self.lower


def shipped_moulds() -> tuple[str, ...]:
    """Return the names of the moulds that come with the program."""
    names = (entry.name.removesuffix(".toml") for entry in _SHIPPED.iterdir())
    return tuple(sorted(name for name in names if not name.startswith("_")))


def load(mould: str) -> MouldModel:
    """Return the model of a mould.

    Args:
        mould: The name of one that comes with the program, or a path to a file.

    Raises:
        SettingsError: If there is no such file, or it has no good `[model]` table.
    """
    if mould in shipped_moulds():
        return _shipped(mould)
    path = Path(mould)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            N_('mould "{mould}" cannot be read: give a file, or one of {shipped}'),
            mould=mould,
            shipped=", ".join(shipped_moulds()),
        ) from error
    return parse(text, where=mould)


@cache
def _shipped(name: str) -> MouldModel:
    return parse((_SHIPPED / f"{name}.toml").read_text(encoding="utf-8"), where=name)


def parse(text: str, *, where: str) -> MouldModel:
    """Return the model that the text of a mould file holds.

    Args:
        text: TOML.
        where: The file's name, for the error.

    Raises:
        SettingsError: If it is not TOML, or the `[model]` table is missing or wrong.
    """
    try:
        table = tomllib.loads(text).get("model")
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            N_("{where} is not a TOML file: {reason}"), where=where, reason=str(error)
        ) from error
    if not isinstance(table, dict):
        raise SettingsError(
            N_("{where} has no [model] table: the simulator needs one"), where=where
        )
    try:
        return _model(table)
    except (SettingsError, msgspec.ValidationError) as error:
        raise SettingsError(
            N_("{where}, [model]: {reason}"), where=where, reason=str(error)
        ) from error


def _model(table: dict[str, Any]) -> MouldModel:
    given = dict(table)
    both = given.pop("half", {})
    for half in Half:
        own = given.get(half.value, {})
        if not isinstance(both, dict) or not isinstance(own, dict):
            raise SettingsError(
                N_("[model.half] and [model.{half}] must be tables"), half=half.value
            )
        given[half.value] = _quantities(both | own, HalfModel)
    if isinstance(given.get("charge"), dict):
        given["charge"] = _quantities(given["charge"], ChargeModel)
    return msgspec.convert(_quantities(given, MouldModel), MouldModel)


_Struct = TypeVar("_Struct", bound=msgspec.Struct)


def _quantities(table: dict[str, Any], struct: type[_Struct]) -> dict[str, Any]:
    """Turn each quantity of a table into a number of the unit that its field names."""
    units_of = {
        field.encode_name: argument.extra["unit"]
        for field in msgspec.structs.fields(struct)
        for argument in get_args(field.type)
        if isinstance(argument, Meta) and argument.extra
    }
    numbers = dict(table)
    for key, unit in units_of.items():
        if key not in table:
            continue
        if not isinstance(table[key], str):
            raise SettingsError(
                N_('{key} must be text with its unit, such as "3 {unit}"'), key=key, unit=unit
            )
        try:
            numbers[key] = units.parse(table[key], unit)
        except QuantityError as error:
            raise SettingsError(N_("{key}: {reason}"), key=key, reason=str(error)) from error
    return numbers
