"""Each heat-up teaches: its rows are kept until the halves have landed, then fitted.

Only an ordinary heat-up counts, with the mould shut and empty from its begin to the end of what is
fitted: by the recipe's setpoints, not in a dry-out, on standby or by hand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.core.aim import aim_of
from tawny.core.aim_state import Aim
from tawny.core.events import Frame, ThermalLearned
from tawny.core.intake import ON_MS_WRAP
from tawny.core.loop.identify import Row
from tawny.core.names import Phase, Quality
from tawny.core.record import ThermalRecord
from tawny.service.fitting import Order

if TYPE_CHECKING:
    from tawny.core.events import AnyEvent
    from tawny.core.state import State
    from tawny.service.fitting import Fitter, Found

HEATING: Final = frozenset({Phase.PREHEAT, Phase.SOAK, Phase.READY})
LANDED_MOST_S: Final = 300.0  # of what comes after the halves have landed
LONGEST_S: Final = 3 * 3600.0
GAP_MOST_S: Final = 1.5
ROW_S: Final = 0.35  # each second sample: the fit takes means over a second


class Learning:
    """Follows a press from event to event.

    Args:
        fitter: Does the fits.
    """

    def __init__(self, fitter: Fitter) -> None:
        self._fitter = fitter
        self._rows: list[Row] | None = None
        self._on_s = (0.0, 0.0)
        self._counts = (0, 0)
        self._ready_s: float | None = None
        self._ordered: tuple[str, float] | None = None

    def take(self, before: State, event: AnyEvent, after: State) -> None:
        """Take in one event."""
        phase = after.cycle.phase
        if phase is Phase.PREHEAT and before.cycle.phase in (Phase.IDLE, Phase.COOL):
            self._rows, self._on_s, self._ready_s = [], (0.0, 0.0), None
        if self._rows is None or not isinstance(event, Frame):
            return
        whole = (
            after.upper.quality is Quality.GOOD
            and after.lower.quality is Quality.GOOD
            and aim_of(after) is Aim.PRESS
        )
        if not whole or not after.cycle.heat_wanted:
            self._rows = None
        elif phase not in HEATING or after.cycle.opened_ms is not None:
            self._order(after)
        else:
            self._add(event, after)

    def _add(self, event: Frame, after: State) -> None:
        rows = self._rows
        upper_c, lower_c = after.upper.value_c, after.lower.value_c
        if rows is None or upper_c is None or lower_c is None:
            return
        at_s = after.cycle.clock_ms / 1000.0
        if rows:
            since_s = at_s - rows[-1].at_s
            if not 0.0 <= since_s <= GAP_MOST_S:
                self._rows = None
                return
            if since_s < ROW_S:
                return
        counts = (event.tele.uo, event.tele.lo)
        if rows:
            steps = (
                (now - one) % ON_MS_WRAP for now, one in zip(counts, self._counts, strict=True)
            )
            upper_ms, lower_ms = steps
            self._on_s = (self._on_s[0] + upper_ms / 1000.0, self._on_s[1] + lower_ms / 1000.0)
        self._counts = counts
        rows.append(Row(at_s, (upper_c, lower_c), self._on_s))
        if after.cycle.phase is Phase.READY and self._ready_s is None:
            self._ready_s = at_s
        landed_s = 0.0 if self._ready_s is None else at_s - self._ready_s
        if landed_s > LANDED_MOST_S:
            self._order(after)
        elif at_s - rows[0].at_s > LONGEST_S:
            self._rows = None

    def _order(self, state: State) -> None:
        rows, self._rows = self._rows, None
        thermal = state.mould.thermal
        before = thermal if thermal is not None and thermal.trusted else None
        if not rows or self._ready_s is None:
            return
        # The first model of a mould that was never commissioned with this program: no refinement.
        heat_ups = 0 if before is None else before.heat_ups + 1
        self._ordered = (state.mould.name, state.press.ambient_c)
        self._fitter.start(Order((tuple(rows),), state.press.ambient_c, before, heat_ups))

    def learned(self, host_ms: int) -> tuple[ThermalRecord, ThermalLearned] | None:
        """Return what is to be recorded and stepped of a fit that has ended, once."""
        found = self._fitter.found()
        if found is None or self._ordered is None:
            return None
        (mould, room_c), self._ordered = self._ordered, None
        record = record_of(found, mould=mould, origin="heat_up", room_c=room_c)
        return record, ThermalLearned(host_ms=host_ms, mould=mould, thermal=found.thermal)

    def close(self) -> None:
        """Give up a fit that runs."""
        self._fitter.close()


def record_of(found: Found, *, mould: str, origin: str, room_c: float) -> ThermalRecord:
    """Return what the record keeps of a fit."""
    return ThermalRecord(
        mould=mould,
        origin=origin,
        thermal=found.thermal,
        why=found.why,
        upper_residual_k=round(found.residual_k[0], 3),
        lower_residual_k=round(found.residual_k[1], 3),
        rise_k=round(found.rise_k, 1),
        coast_s=round(found.coast_s, 1),
        room_c=room_c,
    )
