"""The operator's hands in the demo: they do at the press what the screen has just asked for.

They follow the phases that the operator at the desk steps through and never go ahead of
them; they never reset a trip, which is a deliberate act of its own.
"""

from __future__ import annotations

from typing import Final

from tawny.core.names import Phase
from tawny.core.snapshot import Snapshot
from tawny.sim.hand import Hand

REACH_S: Final = 1.0  # from being asked to the press of ARM
FILL_S: Final = 2.0  # from the open mould to the charge in it
STORED_WET: Final = 0.08  # moisture of stored residue, wet basis: common practice

_WORK_OPEN: Final = (Phase.CLEAN, Phase.OIL, Phase.FILL, Phase.OPEN, Phase.DEMOULD)
_CLOSED: Final = (Phase.CLOSE, Phase.BREATHE, Phase.HOLD, Phase.RELEASE)


class HandFollower:
    """Plays a person's hands after the snapshots of a press.

    Args:
        hand: The hand that acts.
    """

    def __init__(self, hand: Hand) -> None:
        self._hand = hand
        self._phase: Phase | None = None
        self._open = False  # what these hands did last
        self._loaded = False
        self._asked_s: float | None = None
        self._pressed = False

    def follow(self, snapshot: Snapshot) -> None:
        """Do what this snapshot asks of the hands, once."""
        self._arm(snapshot)
        before, self._phase = self._phase, snapshot.phase
        if before is None:
            self._open = bool(snapshot.board.mould_open)
        elif snapshot.phase is not before:
            self._begin(snapshot.phase, before)
        if (
            snapshot.phase is Phase.FILL
            and self._open
            and not self._loaded
            and snapshot.phase_elapsed_s >= FILL_S
        ):
            self._load(snapshot)

    def _arm(self, snapshot: Snapshot) -> None:
        if snapshot.board.arming != "press_arm":
            self._asked_s, self._pressed = None, False
            return
        if self._asked_s is None:
            self._asked_s = snapshot.host_s
        if not self._pressed and snapshot.host_s - self._asked_s >= REACH_S:
            self._pressed = True
            self._hand.press_arm()

    def _begin(self, phase: Phase, before: Phase) -> None:
        """A phase begins that the operator has gone on to."""
        if phase in _WORK_OPEN:
            self._set_open(opened=True)
            if phase in (Phase.FILL, Phase.DEMOULD):  # a scrapped charge may still lie inside
                self._clear()
        elif phase in _CLOSED:
            self._set_open(opened=False)
        elif before in _WORK_OPEN:
            self._clear()
            self._set_open(opened=False)

    def _clear(self) -> None:
        if self._loaded:
            self._loaded = False
            self._hand.unload()

    def _set_open(self, *, opened: bool) -> None:
        if opened != self._open:
            self._open = opened
            if opened:
                self._hand.open_mould()
            else:
                self._hand.close_mould()

    def _load(self, snapshot: Snapshot) -> None:
        """Put in what the sentence on the screen says."""
        fields = snapshot.sentence.fields
        charge_g, water_g = fields.get("charge_g"), fields.get("water_g")
        cavities = fields.get("cavities", 1)
        if (
            isinstance(charge_g, (int, float))
            and isinstance(water_g, (int, float))
            and isinstance(cavities, (int, float))
        ):
            residue_g = charge_g - water_g
            self._loaded = True
            self._hand.load_charge(
                residue_g=cavities * residue_g * (1.0 - STORED_WET),
                water_g=cavities * (water_g + residue_g * STORED_WET),
            )
