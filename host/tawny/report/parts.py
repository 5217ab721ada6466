"""Lists of parts, and one part told in full: rows for people, plain values for programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from tawny.core.record import PressingRecord
from tawny.report.columns import utc_text
from tawny.store.reader import PartRow
from tawny.words import _
from tawny.words.numbers import (
    MISSING,
    grams,
    local_time,
    minutes,
    number,
    shortest,
    temperature,
)
from tawny.words.vocabulary import HALVES, PHASES, RESULTS

_LINE = "{:<9} {:<16} {:<22} {:<11} {:>6} {:>6} {:>6} {:>6} {:>7}  {}"


def part_object(row: PartRow) -> dict[str, Any]:
    """Return a part as the plain values of one JSON line."""
    return {
        "part_id": row.part_id,
        "pressing_id": row.pressing_id,
        "cavity": row.cavity,
        "recipe": row.recipe,
        "recipe_version": row.recipe_version,
        "result": row.result.value,
        "started_utc": utc_text(row.started_utc_ms),
        "ended_utc": utc_text(row.ended_utc_ms),
        "hold_s": row.hold_s,
        "equivalent_s": row.equivalent_s,
        "dose_gap": row.dose_gap,
        "severity_min": row.severity_min,
        "peak_c": row.peak_c,
        "mean_hold_c": row.mean_hold_c,
        "energy_kwh": row.energy_kwh,
        "alarms": list(row.alarms),
        "operator": row.operator,
        "lot": row.lot,
        "mould": row.mould,
        "simulated": row.simulated,
        "first_off": row.first_off,
    }


def parts_lines(rows: Iterable[PartRow], *, simulated: bool) -> Iterator[str]:
    """Yield a heading and one line for each part."""
    if simulated:
        yield _("SIMULATED: no part below was ever pressed.")
    yield _LINE.format(
        _("part"), _("pressed"), _("recipe"), _("result"), _("hold"), _("equiv."), _("peak"),
        _("mean"), _("energy"), _("remarks"),
    ).rstrip()  # fmt: skip
    results = {result: _(word) for result, word in RESULTS.items()}
    for row in rows:
        yield _LINE.format(
            row.part_id,
            local_time(row.ended_utc_ms).strftime("%Y-%m-%d %H:%M"),
            f"{row.recipe} {row.recipe_version}",
            results[row.result],
            minutes(row.hold_s),
            minutes(row.equivalent_s),
            number(row.peak_c),
            number(row.mean_hold_c),
            number(row.energy_kwh, 3),
            " ".join([_("first-off"), *row.alarms] if row.first_off else row.alarms),
        ).rstrip()


def part_lines(row: PartRow, record: PressingRecord) -> Iterator[str]:
    """Yield everything about one part, a fact on each line."""
    if row.simulated:
        yield _("SIMULATED: this part was never pressed.")
    peaks = ", ".join(
        f"{_(word)} {temperature(record.peak_c[half])}"
        for half, word in HALVES.items()
        if half in record.peak_c
    )
    recipe = record.recipe
    metered = _("metered") if record.energy_metered else _("estimated")
    for label, fact in (
        (_("part"), _("{part}, cavity {cavity} of {cavities}").format(
            part=row.part_id, cavity=row.cavity, cavities=record.cavities)),
        (_("pressing"), record.pressing_id),
        (_("result"), _(RESULTS[row.result])),
        (_("ended in"), _(PHASES[record.phase_at_end])),
        (_("first-off"), _("yes, check it apart from the others") if record.first_off
            else _("no")),
        (_("from"), _moment(record.started_utc_ms)),
        (_("to"), _moment(record.ended_utc_ms)),
        (_("recipe"), _("{name} version {version}, {hash}…").format(
            name=recipe.name, version=recipe.version, hash=recipe.sha256[:12])),
        (_("mould"), record.mould),
        (_("press"), record.press),
        (_("operator"), record.operator),
        (_("lot"), record.lot),
        (_("charge"), _("{charge}, {water} of it water added").format(
            charge=grams(record.charge_g), water=grams(record.water_g))),
        (_("hold"), _("{hold}, equivalent {equivalent}").format(
            hold=minutes(record.hold_s), equivalent=_dose(record))),
        (_("mean in hold"), temperature(record.mean_hold_c)),
        (_("peak"), peaks),
        (_("breaths"), ", ".join(f"{shortest(round(at_s, 1))} s" for at_s in record.breaths_s)),
        (_("energy"), _("{energy} kWh, {metered}").format(
            energy=number(record.energy_kwh, 3), metered=metered)),
        (_("alarms"), ", ".join(alarm.alarm for alarm in record.alarms)),
        (_("gaps"), ", ".join(
            f"{minutes(gap.start_s)} - {minutes(gap.end_s)}" for gap in record.gaps)),
        (_("program"), record.software_version),
        (_("board"), f"{record.board_id} {record.board_build}".strip()),
    ):  # fmt: skip
        yield f"{label:<13} {fact or MISSING}"


def _dose(record: PressingRecord) -> str:
    if record.equivalent_s is None and record.dose_gap:
        return _("unknown, because of a gap in the trace")
    return minutes(record.equivalent_s)


def _moment(utc_ms: int) -> str:
    return local_time(utc_ms).strftime("%Y-%m-%d %H:%M:%S %Z")
