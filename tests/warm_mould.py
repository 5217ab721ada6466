"""A mould of one node in each half behind `Play`: it heats by the duties that the step sends.

Made for what the working setpoint does; how well a loop holds is not judged with it.
"""

from __future__ import annotations

from msgspec.structs import replace

from core_events import FRAME_MS, PRESS, ROOM_C, Play, make_state
from tawny.core.names import Phase
from tawny.core.recipe import Recipe
from tawny.core.state import State

FRAME_S = FRAME_MS / 1000.0


class WarmMould:
    """Both halves rise by R x duty and lose a share of their excess over the room each second.

    Attributes:
        strength: Of each heater, against what is commissioned; 0: it is dead.
    """

    def __init__(self, play: Play, *, start_c: float = ROOM_C) -> None:
        self.play = play
        self.strength = [1.0, 1.0]
        play.set_c(start_c)

    def run(self, seconds: float) -> None:
        """Let time pass, heating by what was sent."""
        for _ in range(round(seconds / FRAME_S)):
            self.frame()

    def frame(self) -> None:
        """Let one frame pass."""
        play = self.play
        play.frame()
        values = (play.upper_c, play.lower_c)
        states = (play.state.upper, play.state.lower)
        models = (play.state.mould.upper, play.state.mould.lower)
        after_c = [
            value_c
            + FRAME_S
            * (
                model.rise_k_per_s * half.duty * strength
                - model.loss_per_s * (value_c - PRESS.ambient_c)
            )
            if value_c is not None
            else None
            for value_c, half, model, strength in zip(
                values, states, models, self.strength, strict=True
            )
        ]
        play.upper_c, play.lower_c = after_c

    def until(self, phase: Phase, most_s: float = 7200.0) -> None:
        """Let time pass until a phase has come."""
        for _ in range(round(most_s / FRAME_S)):
            if self.play.phase is phase:
                return
            self.frame()
        raise AssertionError(f"{phase} has not come, still {self.play.phase}")


def at_recipe(recipe: Recipe, **press: object) -> State:
    """Return a press that was just switched on, with this recipe alone."""
    return make_state(recipes=(recipe,), press=replace(PRESS, **press))
