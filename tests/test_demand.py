"""What is learned of a charge: rows that settle, and what they are worth to the loop."""

from __future__ import annotations

import math

import pytest

from loop_plant import LIGHT, STEP_S, Rig
from tawny.core.loop.demand import (
    ROW_S,
    ROWS_MOST,
    Demand,
    Watch,
    after_opening,
    after_pressing,
    row_at,
    rows_from,
    watched,
)
from tawny.core.loop.state import Place

DEAD_S = (0.0, 0.0)


def seen(values: list[float], *, charging: bool = False) -> Watch:
    """A watch of one value each row, the same for both halves."""
    watch = Watch()
    for value in values:
        for _ in range(5):
            watch = watched(watch, (value, value), ROW_S / 5.0, charging=charging)
    return watch


def test_demand_learns_all_of_the_first_and_less_of_each_later() -> None:
    """One pressing: as seen. Each later one adds a smaller share, never less than a fifth."""
    demand = after_pressing(Demand(), seen([0.5] * 40), DEAD_S, "a")
    assert row_at(demand.pressed[0], 10.0) == pytest.approx(0.5)
    more = after_pressing(demand, seen([0.2] * 40), DEAD_S, "a")
    assert row_at(more.pressed[0], 10.0) == pytest.approx(0.6)
    for _ in range(10):
        more = after_pressing(more, seen([0.0] * 40), DEAD_S, "a")
    last = after_pressing(more, seen([0.5] * 40), DEAD_S, "a")
    gained = row_at(last.pressed[0], 10.0) - row_at(more.pressed[0], 10.0)
    assert gained == pytest.approx(0.1)
    assert last.pressings == 13


def test_demand_shifts_what_was_seen_to_when_it_was_taken() -> None:
    """Seen 4 s late, and later still where the reading is: rows begin where the charge did."""
    values = [0.0] * 5 + [0.4] * 35
    prompt = after_pressing(Demand(), seen(values), (0.0, 6.0), "a")
    assert row_at(prompt.pressed[0], 6.5) == pytest.approx(0.4)
    assert row_at(prompt.pressed[0], 4.0) < 0.2
    assert row_at(prompt.pressed[1], 0.5) == pytest.approx(0.4)


def test_demand_begins_anew_for_another_charge() -> None:
    """What one recipe's charge takes says nothing of another's."""
    demand = after_pressing(Demand(), seen([0.5] * 40), DEAD_S, "a")
    other = after_pressing(demand, seen([0.1] * 40), DEAD_S, "b")
    assert (other.charge, other.pressings) == ("b", 1)
    assert row_at(other.pressed[0], 10.0) == pytest.approx(0.1)


@pytest.mark.parametrize(("rows", "learns"), [(16, True), (14, False)])
def test_demand_learns_nothing_of_a_short_closing(rows: int, learns: bool) -> None:  # noqa: FBT001
    """Under 30 s it was no pressing."""
    demand = after_pressing(Demand(), seen([0.5] * rows), DEAD_S, "a")
    assert (demand.pressings == 1) is learns


def test_demand_keeps_rows_bounded_and_smooth() -> None:
    """Noise of alternating sign, pressing by pressing, does not add up; rows end at 10 min."""
    demand = Demand()
    for count in range(60):
        noise = [0.3 * (-1) ** (row + count) for row in range(400)]
        demand = after_pressing(demand, seen(noise), DEAD_S, "a")
    assert len(demand.pressed[0]) <= ROWS_MOST
    assert max(map(abs, demand.pressed[0][20:])) < 0.2


def test_demand_knows_the_usual_filling() -> None:
    """The median of the last nine; an opening without a charge does not count."""
    demand = Demand()
    assert demand.usual_filling_s() is None
    for rows in (10, 30, 12, 11, 13):
        watch = seen([0.0] * rows, charging=True)
        demand = after_opening(demand, watch, DEAD_S, pressed=rows != 30)
    assert demand.usual_filling_s() == pytest.approx(24.0, abs=0.1)


def test_demand_rows_go_on_as_the_last() -> None:
    """Beyond what is known the last row goes on; where nothing is, nothing is taken."""
    assert rows_from((0.1, 0.2), 2.0, 3) == [0.2, 0.2, 0.2]
    assert rows_from((), 0.0, 2) == [0.0, 0.0]


def _press(rig: Rig, pressings: int) -> list[float]:
    """Press some cold charges; return each one's deviation summed over time, in K s."""
    found = []
    for _ in range(pressings):
        rig.place, rig.charging, rig.taken_w = Place.OPEN, True, (60.0, 60.0)
        rig.run(30.0)
        rig.place, rig.charging = Place.PRESSED, False
        off_ks = 0.0
        for second in range(200):
            heat_w = 500.0 * math.exp(-second / 25.0)
            rig.taken_w = (heat_w, heat_w)
            off_ks += sum(max(abs(one - 180.0) for one in pair) for pair in rig.run(1.0)) * STEP_S
        found.append(off_ks)
        rig.taken_w = (0.0, 0.0)
    rig.place = Place.SHUT
    return found


def test_demand_makes_the_loop_meet_a_charge() -> None:
    """A charge that takes 500 W at first: once known, the mould is off by a fifth less, or more."""
    rig = Rig(LIGHT)
    rig.run(1500.0)
    first, *_, last = _press(rig, 5)
    assert last <= 0.8 * first
    assert rig.loop.demand.pressings == 4  # the last one is not over yet
    untaught = Rig(LIGHT)
    untaught.teaches = False
    untaught.run(1500.0)
    assert _press(untaught, 5)[-1] >= 0.9 * first
    assert untaught.loop.demand.pressings == 0
