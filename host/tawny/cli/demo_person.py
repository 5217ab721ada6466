"""The person of the headless demo: looks at the press and taps, at an unhurried pace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from tawny.core import intents as ask
from tawny.core.names import BoardState, LinkStatus, Phase
from tawny.core.pressing import closed_s

if TYPE_CHECKING:
    from tawny.service.press import Press

# Seconds from the start of a phase to the tap that ends it: what a practised person takes.
DWELL_S: Final = {
    Phase.READY: 4.0,
    Phase.CLEAN: 20.0,
    Phase.OIL: 8.0,
    Phase.FILL: 18.0,
    Phase.CLOSE: 6.0,
    Phase.RELEASE: 10.0,
    Phase.OPEN: 4.0,
    Phase.DEMOULD: 8.0,
}
WHO: Final = "demo"
AGAIN_MS: Final = 1000


class Person:
    """Presses parts until told to stop.

    Args:
        press: The press, asked directly.
        parts: How many pressings to finish before switching the heat off.
    """

    def __init__(self, press: Press, pressings: int) -> None:
        """Begin at the switched-off press."""
        self._press = press
        self.pressings = pressings
        self._asked_ms = -AGAIN_MS
        self.finished = False

    def look(self, now_ms: int) -> None:
        """Look at the press and do what is next."""
        if now_ms - self._asked_ms < AGAIN_MS:
            return
        intent = self._next()
        if intent is not None:
            self._asked_ms = now_ms
            self._press.ask(intent, WHO, now_ms)

    def _next(self) -> ask.AnyIntent | None:
        state = self._press.state
        cycle, tele = state.cycle, state.tele
        if state.link.status is not LinkStatus.UP or tele is None:
            return None
        if cycle.rescue is not None:
            return ask.Advance(seen=cycle.phase)
        if cycle.phase in (Phase.IDLE, Phase.COOL):
            if self.finished or tele.st != BoardState.READY.value or state.link.arming:
                return None
            return ask.Prepare(empty=True, dry=True, let_down=True)
        if cycle.phase is Phase.BREATHE and cycle.pressing is not None:
            done, breaths = len(cycle.pressing.breaths_s), cycle.pressing.recipe.breaths
            due = done < len(breaths) and closed_s(state) >= breaths[done].at_s + 1.0
            return ask.Mark() if due else None
        dwell_s = DWELL_S.get(cycle.phase)
        if dwell_s is None or cycle.clock_ms - cycle.since_ms < dwell_s * 1000:
            return None
        if cycle.phase is Phase.READY and cycle.pressing is None and self._done():
            self.finished = True
            return ask.HeatOff()
        return ask.Advance(seen=cycle.phase)

    def _done(self) -> bool:
        return self._press.pressings_ended >= self.pressings
