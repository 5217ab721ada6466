"""A whole press on a virtual clock, with what a test asks of it."""

from __future__ import annotations

from pathlib import Path

from tawny.cli.virtual_press import VirtualPress
from tawny.core.intents import AnyIntent
from tawny.core.names import Phase
from tawny.settings.home import Home

BEGIN_UTC_MS = 1_750_000_000_000


class Rig(VirtualPress):
    """One press with everything around it; close it, or let a test's `with` do so.

    Args:
        home: Where settings and record lie.
        start_c: Temperature of the mould at the start; warm saves the heat-up.
        person: How many pressings somebody presses by themselves.
    """

    def __init__(
        self,
        home: Path,
        *,
        recipe: str = "grain-apple",
        seed: int = 1,
        start_c: float | None = 150.0,
        person: int = 0,
    ) -> None:
        super().__init__(
            Home(home),
            begin_utc_ms=BEGIN_UTC_MS,
            pressings=person,
            recipe=recipe,
            seed=seed,
            start_c=start_c,
        )

    @property
    def phase(self) -> Phase:
        """The phase now."""
        return self.press.state.cycle.phase

    def ask(self, intent: AnyIntent) -> bool:
        """Ask as the operator; say whether it was accepted."""
        return self.press.ask(intent, "tester", self.lockstep.now_ms).accepted

    def run(self, seconds: float) -> None:
        """Let so much time pass."""
        self.lockstep.run(lambda: False, seconds)

    def until(self, phase: Phase, most_s: float = 3600.0) -> None:
        """Run until a phase begins; fail if it does not."""
        assert self.lockstep.run(lambda: self.phase is phase, most_s), (phase, self.phase)

    def alarms(self) -> set[str]:
        """Return the alarms that stand."""
        return {one.alarm for one in self.press.state.alarms}
