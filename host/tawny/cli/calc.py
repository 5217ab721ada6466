"""`tawny calc`: the sums of the trade, each from its published source."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from tawny.errors import N_, InputError
from tawny.words import _

_HEX = re.compile(r"(?:0[xX])?([0-9A-Fa-f]{8})")

_json_option = click.option(
    "--json", "as_json", is_flag=True, help=_("Print one line of JSON instead of sentences.")
)


@click.group(name="calc", help=_("Sums of the trade: sensors, dose, steam, water."))
def group() -> None:
    """Hold the commands below."""


def _show(values: dict[str, object], lines: list[str], *, as_json: bool) -> None:
    """Print the values as one line of JSON, or the lines."""
    if as_json:
        click.echo(json.dumps(values, allow_nan=False))
    else:
        click.echo("\n".join(lines))


@group.command(help=_("Thermocouple voltage to temperature."))
@click.option(
    "--type", "letter", required=True, metavar="K|J|T", help=_("Thermocouple type, such as K.")
)
@click.option("--emf", required=True, help=_('Measured voltage, such as "6.000 mV".'))
@click.option(
    "--cold-junction", required=True, help=_('Temperature of the terminals, such as "25 degC".')
)
@_json_option
def thermocouple(*, letter: str, emf: str, cold_junction: str, as_json: bool) -> None:
    """Print the hot junction's temperature."""
    from tawny.core import thermocouple as core  # noqa: PLC0415 - the help stays light
    from tawny.core import units  # noqa: PLC0415

    letter = letter.upper()
    measured_mv = units.parse(emf, "mV")
    cold_c = units.parse(cold_junction, "degC")
    hot_c = core.compensate(letter, measured_mv, cold_c)
    _show(
        {
            "type": letter,
            "emf_mv": measured_mv,
            "cold_junction_c": cold_c,
            "temperature_c": hot_c,
        },
        [
            _("{hot_c:.3f} degC: type {letter}, {emf:g} mV, cold junction {cold_c:g} degC").format(
                hot_c=hot_c, letter=letter, emf=measured_mv, cold_c=cold_c
            )
        ],
        as_json=as_json,
    )


@group.command(help=_("Thermal dose of a temperature trace."))
@click.option(
    "--trace",
    required=True,
    type=click.Path(path_type=Path),
    help=_("CSV file with the columns t_s and temperature_c."),
)
@click.option("--reference", required=True, help=_('The recipe\'s temperature, "180 degC".'))
@click.option(
    "--activation-energy", required=True, help=_('Of the browning, such as "100 kJ/mol".')
)
@_json_option
def dose(*, trace: Path, reference: str, activation_energy: str, as_json: bool) -> None:
    """Print severity and equivalent time."""
    import math  # noqa: PLC0415 - with the rest of what only this command needs

    from tawny.cli.trace_csv import read_trace  # noqa: PLC0415
    from tawny.core import dose as core  # noqa: PLC0415
    from tawny.core import units  # noqa: PLC0415

    reference_c = units.parse(reference, "degC")
    activation = units.parse(activation_energy, "J/mol")
    samples = read_trace(trace)
    severity_min = core.severity_min(samples)
    equivalent_s = core.equivalent_s(samples, reference_c, activation)
    log10_severity = math.log10(severity_min)
    _show(
        {
            "samples": len(samples),
            "duration_s": samples[-1][0] - samples[0][0],
            "severity_min": severity_min,
            "log10_severity": log10_severity,
            "reference_c": reference_c,
            "activation_j_per_mol": activation,
            "equivalent_s": equivalent_s,
        },
        [
            _("{count} samples over {duration_s:g} s").format(
                count=len(samples), duration_s=samples[-1][0] - samples[0][0]
            ),
            _("equivalent time {equivalent_s:.1f} s at {reference_c:g} degC").format(
                equivalent_s=equivalent_s, reference_c=reference_c
            ),
            _("severity {severity_min:.1f} min, log10 {log10_severity:.3f}").format(
                severity_min=severity_min, log10_severity=log10_severity
            ),
        ],
        as_json=as_json,
    )


@group.command(help=_("Water to add to reach a moisture."))
@click.option("--mass", required=True, help=_('Residue now, such as "1000 g".'))
@click.option("--from", "from_", required=True, help=_('Its moisture on wet basis, such as "8 %".'))
@click.option("--to", required=True, help=_('Moisture wanted on wet basis, such as "12 %".'))
@_json_option
def water(*, mass: str, from_: str, to: str, as_json: bool) -> None:
    """Print the grams of water to add."""
    from tawny.core import moisture as core  # noqa: PLC0415
    from tawny.core import units  # noqa: PLC0415

    mass_g = units.parse(mass, "g")
    from_wet = units.parse(from_, "fraction")
    to_wet = units.parse(to, "fraction")
    add_g = core.water_to_add_g(mass_g, from_wet, to_wet)
    _show(
        {
            "mass_g": mass_g,
            "from_wet": from_wet,
            "to_wet": to_wet,
            "water_g": add_g,
            "total_g": mass_g + add_g,
        },
        [
            _("add {add_g:.2f} g of water: {total_g:.2f} g at {to_percent:g} % wet basis").format(
                add_g=add_g, total_g=mass_g + add_g, to_percent=to_wet * 100.0
            )
        ],
        as_json=as_json,
    )


@group.command(help=_("Steam and opening force, as upper bounds."))
@click.option("--water", "water_", required=True, help=_('All water in the charge, such as "4 g".'))
@click.option("--temperature", help=_('Of the mould, such as "180 degC"; 100 degC if not given.'))
@click.option("--mould-diameter", help=_('Of a round cavity, such as "160 mm".'))
@_json_option
def steam(
    *, water_: str, temperature: str | None, mould_diameter: str | None, as_json: bool
) -> None:
    """Print litres of steam, and the bound of the force where a diameter is given."""
    from tawny.core import steam as core  # noqa: PLC0415
    from tawny.core import units  # noqa: PLC0415

    if mould_diameter is not None and temperature is None:
        raise InputError(
            N_('--mould-diameter also needs --temperature, such as --temperature "180 degC"')
        )
    water_g = units.parse(water_, "g")
    mould_c = 100.0 if temperature is None else units.parse(temperature, "degC")
    litres = core.steam_litres(water_g, mould_c)
    values: dict[str, object] = {
        "water_g": water_g,
        "temperature_c": mould_c,
        "steam_litres": litres,
    }
    lines = [
        _("{water_g:g} g of water is at most {litres:.1f} L of free steam at {at_c:g} degC").format(
            water_g=water_g, litres=litres, at_c=mould_c
        )
    ]
    if mould_diameter is not None:
        diameter_mm = units.parse(mould_diameter, "mm")
        area_cm2 = core.disc_area_cm2(diameter_mm)
        steam_kn = core.opening_force_bound_kn(mould_c, area_cm2)
        air_kn = core.opening_force_bound_kn(mould_c, area_cm2, shut_in_c=core.SHUT_IN_C)
        values |= {
            "diameter_mm": diameter_mm,
            "area_cm2": area_cm2,
            "steam_force_bound_kn": steam_kn,
            "steam_and_air_force_bound_kn": air_kn,
        }
        lines += [
            _(
                "shut in at {at_c:g} degC under {diameter_mm:g} mm it pushes the halves apart with"
                " at most {steam_kn:.1f} kN, with the air shut in too {air_kn:.1f} kN"
            ).format(at_c=mould_c, diameter_mm=diameter_mm, steam_kn=steam_kn, air_kn=air_kn),
            _(
                "This is the most it could be, never a permission to open:"
                " release slowly, stand aside."
            ),
        ]
    _show(values, lines, as_json=as_json)


@group.command(help=_("Raw converter register to temperature."))
@click.option("--raw", required=True, help=_("Its 32 bits as 8 hexadecimal digits."))
@_json_option
def converter(*, raw: str, as_json: bool) -> None:
    """Print what the chip reports, the corrected temperature and the fault."""
    from tawny.core import converter as core  # noqa: PLC0415

    match = _HEX.fullmatch(raw.strip())
    if match is None:
        raise InputError(
            N_('register "{raw}" is not 8 hexadecimal digits, such as 0B401900'), raw=raw
        )
    bits = int(match[1], 16)
    register = core.decode(bits)
    corrected = core.corrected_c(bits)
    bad = isinstance(corrected, core.Fault)
    _show(
        {
            "raw": f"{bits:08X}",
            "fault": register.fault.value,
            "linear_c": register.thermocouple_c,
            "cold_junction_c": register.cold_junction_c,
            "corrected_c": None if bad else corrected,
        },
        [
            _("register reports {linear_c:g} degC, cold junction {cold_c:g} degC").format(
                linear_c=register.thermocouple_c, cold_c=register.cold_junction_c
            ),
            _("no temperature: {fault}").format(fault=register.fault.value)
            if bad
            else _("corrected {corrected_c:.2f} degC").format(corrected_c=corrected),
        ],
        as_json=as_json,
    )
