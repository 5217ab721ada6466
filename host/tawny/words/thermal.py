"""A mould's thermal model in words: how well it is known, or why a fit was not taken."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.errors import N_
from tawny.words import _
from tawny.words.numbers import number, seconds
from tawny.words.sentences import half_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tawny.core.loop.thermal import HalfThermal
    from tawny.core.record import ThermalRecord
    from tawny.core.snapshot import Code

REFUSALS = {
    "fit_too_little": N_("there was too little rise or time to learn from"),
    "fit_unlike": N_(
        "the {half} half did not behave like a heated mould: measured and computed differ by"
        " {residual_k:.2f} K, at most {most_k:.2f} K is taken"
    ),
    "fit_no_coast": N_("it had no time without heat after the rise"),
    "fit_no_mould": N_("the {half} half rises by {rise_mk} mK/s, which is no mould"),
    "fit_far_off": N_(
        "the {half} half heats by {percent:+d} % of what it did: look at the supply, then the"
        " heater, then the insulation; if that is as it should be, commission the mould anew"
    ),
    "fit_failed": N_("the computation failed or took too long"),
}


def thermal_origin(origin: str) -> str:
    """Return what a model was fitted to."""
    return _("fitted to a heat-up") if origin == "heat_up" else _("fitted at commissioning")


def thermal_lines(record: ThermalRecord) -> Iterator[str]:
    """Yield what a fit came to, a line for each half."""
    if record.thermal is None:
        yield _(
            "The loop has no model of this mould yet: {why}. It heats carefully and learns."
        ).format(why=why_not(record.why))
        return
    yield _("The loop knows this mould:")
    residuals = (record.upper_residual_k, record.lower_residual_k)
    for name, half, residual_k in zip(
        ("upper", "lower"), record.thermal.halves(), residuals, strict=True
    ):
        yield _half_line(name, half, residual_k)


def why_not(code: Code | None) -> str:
    """Return why a fit was not taken."""
    if code is None or code.code not in REFUSALS:
        return _("it was not taken")
    fields = {**code.fields}
    if "half" in fields:
        fields["half"] = half_name(str(fields["half"]))
    return _(REFUSALS[code.code]).format(**fields)


def _half_line(name: str, half: HalfThermal, residual_k: float) -> str:
    return _(
        "  {half}: rises {rise} mK/s at full heat, its heater {heater} and its metal {metal} late;"
        " computed and measured differ by {residual} K"
    ).format(
        half=half_name(name),
        rise=number(1000.0 * half.rise_k_per_s, 0),
        heater=seconds(half.heater_lag_s),
        metal=seconds(half.spread_lag_s + half.dead_time_s),
        residual=number(residual_k, 2),
    )
