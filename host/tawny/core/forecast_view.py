"""What a viewer sees of a forecast: moments by the wall clock, and the lines that tell them."""

from __future__ import annotations

import math

from tawny.core.forecast_plan import Closing, Forecast, PressAt
from tawny.core.plan_state import Announced
from tawny.core.snapshot import AheadView, Code, Field
from tawny.core.state import State


def ahead_view(state: State, foreseen: Forecast, offset_ms: int) -> AheadView | None:
    """Return what is foreseen and announced, or None where there is nothing of it."""
    now_utc_ms = state.host_ms + offset_ms
    said = {
        what: moment.at_utc_ms
        for what, moment in state.plan.moments().items()
        if moment.at_utc_ms > now_utc_ms
    }
    closing, press = foreseen.closing, foreseen.press
    cycle = foreseen.cycle
    counted = 0 if cycle is None else cycle.counted
    if foreseen.touchable_ms is None and foreseen.why is None and not said and not counted:
        return None
    lines = [] if press is None else press_lines(press, state.host_ms, offset_ms)
    if closing is not None:
        line = closing_line(closing, offset_ms)
        lines = [line, *lines] if state.cycle.heat_wanted else [*lines, line]
    return AheadView(
        touchable_utc_ms=_utc(foreseen.touchable_ms, offset_ms),
        why=foreseen.why,
        outage_utc_ms=said.get(Announced.OUTAGE),
        tariff_utc_ms=said.get(Announced.TARIFF),
        press_utc_ms=said.get(Announced.PRESS),
        close_by_utc_ms=None if closing is None else closing.close_by_ms + offset_ms,
        closings_left=None if closing is None else closing.closings,
        parts_left=None if closing is None else closing.parts,
        cycle_s=None if cycle is None else cycle.cycle_s,
        out_s=None if cycle is None else cycle.out_s,
        cycles_counted=counted,
        switch_on_by_utc_ms=None if press is None else _utc(press.by_ms, offset_ms),
        margin_s=None if press is None or press.by_ms is None else press.margin_s,
        lines=tuple(lines),
    )


def closing_line(closing: Closing, offset_ms: int) -> Code:
    """Return the sentence of what fits in before something."""
    fields: dict[str, Field] = {"what": closing.what, "at_utc_ms": closing.at_ms + offset_ms}
    if closing.in_hand_late:
        return Code("closing_in_hand_late", fields)
    if closing.closings == 0:
        return Code("closing_none", fields)
    fields["close_by_utc_ms"] = closing.close_by_ms + offset_ms
    if closing.parts is not None:
        fields["parts"] = closing.parts
    return Code("closing_last", fields)


def press_lines(press: PressAt, now_ms: int, offset_ms: int) -> list[Code]:
    """Return the sentence of when to switch on; none where it is heated in time."""
    fields: dict[str, Field] = {"at_utc_ms": press.at_ms + offset_ms}
    if press.ready_ms is not None:
        fields["ready_at_utc_ms"] = press.ready_ms + offset_ms
    if press.why is not None:
        return [press.why]
    if press.by_ms is None:
        return [Code("press_late", fields)] if press.late else []
    if press.late:
        return [Code("press_late_rests" if press.rests else "press_late_off", fields)]
    fields["by_utc_ms"] = press.by_ms + offset_ms
    fields["margin_min"] = math.ceil(press.margin_s / 60.0)
    code = "press_by" if press.by_ms > now_ms else "press_now"
    return [Code(code + "_rests" if press.rests else code, fields)]


def _utc(host_ms: int | None, offset_ms: int) -> int | None:
    return None if host_ms is None else host_ms + offset_ms
