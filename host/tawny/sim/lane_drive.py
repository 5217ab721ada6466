"""What decides the duties in a lane: the core's loop, or one of those it is compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.loop.state import Given, Loop
from tawny.core.loop.step import loop_step
from tawny.sim.heard import Heard

if TYPE_CHECKING:
    from tawny.core.loop.state import Duties
    from tawny.core.loop.thermal import Thermal
    from tawny.sim.lane import Moment
    from tawny.sim.mould_rest import Pair
    from tawny.sim.parameters import MouldModel
    from tawny.sim.rivals.pair import Rival

CHARGE = "bench"


class LoopDriver:
    """The core's loop, given what the core gives it.

    Args:
        thermal: Model of the mould.
        model: The mould, for what the loop is told of press and room.
        setpoints_c: None: no heat.
        room_c: Of the room as the press is told; None: as it is.

    Attributes:
        loop: What it keeps.
    """

    def __init__(
        self,
        thermal: Thermal,
        model: MouldModel,
        setpoints_c: Pair | None,
        room_c: float | None = None,
    ) -> None:
        self.loop = Loop()
        self.thermal = thermal
        self.setpoints_c = setpoints_c
        self._room_c = model.ambient_c if room_c is None else room_c
        self._cap = model.supply_cap
        self._window_s = model.window_ms / 1000.0

    def decide(self, moment: Moment) -> Duties:
        """Step the loop."""
        self.loop, duties = loop_step(self.loop, self.given(moment))
        return duties

    def given(self, moment: Moment) -> Given:
        """Return what the core gives its loop at such a moment."""
        return Given(
            thermal=self.thermal,
            setpoints_c=self.setpoints_c,
            readings_c=moment.readings_c,
            shares=moment.shares,
            dt_s=moment.dt_s,
            most=moment.most,
            cap=self._cap,
            place=moment.place,
            charging=moment.charging,
            charge=CHARGE,
            teaches=True,
            room_c=self._room_c,
            window_s=self._window_s,
        )


class RivalDriver:
    """A rival; the supply's cap is the board's to keep."""

    def __init__(self, rival: Rival, setpoints_c: Pair) -> None:
        self.rival = rival
        self.setpoints_c = setpoints_c

    def decide(self, moment: Moment) -> Duties:
        """Ask it."""
        return self.rival.decide(
            Heard(
                moment.now_ms,
                moment.readings_c,
                self.setpoints_c,
                moment.most,
                moment.dt_s,
            )
        )


class Rest:
    """No heat."""

    def decide(self, moment: Moment) -> Duties:  # noqa: ARG002 - whatever it hears
        """Return nothing for both."""
        return 0.0, 0.0
