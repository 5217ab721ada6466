"""From the step's figures to the record of a pressing."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import msgspec

from tawny import __version__
from tawny.core.alarm_list import ALARMS
from tawny.core.messages import PROTOCOL_MAJOR
from tawny.core.names import Half, Phase, Result
from tawny.core.record import AlarmNote, GapNote, PressingRecord, RecipeCopy
from tawny.store.codes import pressing_code

if TYPE_CHECKING:
    from tawny.core.effects import PressingEnded
    from tawny.core.recipe import Recipe
    from tawny.core.state import State


def record_of(
    end: PressingEnded,
    state: State,
    *,
    started: tuple[int, int],
    ended: tuple[int, int],
    simulated: bool,
) -> PressingRecord:
    """Return the record of a pressing that has just ended.

    Args:
        state: The state in which it ended; names operator, lot, mould and board.
        started, ended: Wall time and host clock, in milliseconds.
    """
    figures = end.figures
    recipe = cast("Recipe", figures["recipe"])
    gaps = cast("tuple[tuple[int, int], ...]", figures["gaps"])
    alarms = cast("tuple[str, ...]", figures["alarms"])
    alarms_ms = cast("tuple[int, ...]", figures["alarms_ms"])
    return PressingRecord(
        pressing_id=pressing_code(end.number),
        number=end.number,
        recipe=RecipeCopy(
            name=recipe.name,
            version=recipe.version,
            sha256=recipe.digest(),
            copy=msgspec.to_builtins(recipe),
        ),
        started_utc_ms=started[0],
        ended_utc_ms=ended[0],
        started_mono_ms=started[1],
        ended_mono_ms=ended[1],
        result=cast("Result", figures["result"]),
        phase_at_end=cast("Phase", figures["phase_at_end"]),
        boot_id=str(state.link.boot),
        peak_c={
            Half.UPPER: cast("float | None", figures["upper_peak_c"]),
            Half.LOWER: cast("float | None", figures["lower_peak_c"]),
        },
        mean_hold_c=cast("float | None", figures["mean_hold_c"]),
        hold_s=cast("float", figures["hold_s"]),
        equivalent_s=cast("float | None", figures["equivalent_s"]),
        severity_min=cast("float | None", figures["severity_min"]),
        dose_gap=cast("bool", figures["dose_gap"]),
        energy_kwh=cast("float", figures["energy_kwh"]),
        alarms=tuple(
            AlarmNote(
                alarm=code, utc_ms=ended[0] - ended[1] + at_ms, priority=ALARMS[code].priority
            )
            for code, at_ms in zip(alarms, alarms_ms, strict=True)
        ),
        operator=state.operator,
        lot=state.lot,
        mould=state.mould.name,
        press=state.press.name,
        charge_g=recipe.charge_g(),
        water_g=recipe.water_g,
        cavities=state.mould.cavities,
        breaths_s=cast("tuple[float, ...]", figures["breaths_s"]),
        gaps=tuple(GapNote(start_s=a / 1000.0, end_s=b / 1000.0) for a, b in gaps),
        software_version=__version__,
        board_id=state.link.board,
        board_build=state.link.build,
        protocol_version=PROTOCOL_MAJOR,
        simulated=simulated,
        extra={
            "workshop": state.press.workshop,
            "closed_s": figures["closed_s"],
            "release_equivalent_s": figures["release_equivalent_s"],
            "reason": figures["reason"],
        },
        first_off=cast("bool", figures["first_off"]),
    )
