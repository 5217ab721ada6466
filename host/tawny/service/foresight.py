"""The last forecast, kept for a few seconds: it is shown often and the mould changes slowly."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.forecast_plan import foresee

if TYPE_CHECKING:
    from tawny.core.forecast_plan import Forecast
    from tawny.core.state import State

KEPT_MS = 5000


class Foresight:
    """Works a forecast out anew each few seconds, or once something has changed."""

    def __init__(self) -> None:
        self._last: Forecast | None = None
        self._basis: tuple[object, ...] = ()

    def look(self, state: State, offset_ms: int) -> Forecast:
        """Return what is foreseen; `offset_ms` turns the host clock into UTC."""
        last, basis = self._last, _basis(state)
        if last is None or basis != self._basis or not 0 <= state.host_ms - last.made_ms < KEPT_MS:
            last = foresee(state, offset_ms)
            self._last, self._basis = last, basis
        return last


def _basis(state: State) -> tuple[object, ...]:
    """Return what makes a forecast an old one at once when it changes."""
    cycle, link, aims = state.cycle, state.link, state.aim
    pressing = cycle.pressing
    return (
        cycle.phase,
        cycle.opened_ms is None,
        None if pressing is None else pressing.closed_ms,
        aims.standby,
        aims.dry is None,
        aims.dry_asked,
        state.recipe.name,
        state.plan,
        link.status,
        link.supply_cap,
        state.upper.quality,
        state.lower.quality,
    )
