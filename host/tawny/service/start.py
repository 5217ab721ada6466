"""The state a press begins from: settings, the number of the next pressing, what was left open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.state import CycleState, State

if TYPE_CHECKING:
    from tawny.core.equipment import Mould, Press
    from tawny.core.recipe import Recipe
    from tawny.core.snapshot import RescueView


def initial_state(
    press: Press,
    mould: Mould,
    recipes: tuple[Recipe, ...],
    recipe: Recipe,
    *,
    next_number: int = 1,
    rescue: RescueView | None = None,
) -> State:
    """Return where a press begins: idle, nothing confirmed, no heat wanted.

    Args:
        rescue: The card of a pressing that an earlier owner left open.
    """
    return State(
        press=press,
        mould=mould,
        recipes=tuple(one for one in recipes if one.mould == mould.name),
        recipe=recipe,
        cycle=CycleState(next_number=next_number, rescue=rescue),
    )
