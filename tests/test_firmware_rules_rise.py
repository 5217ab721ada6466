"""The board's C wants a rise where there is much duty: section 6.5, at its limits."""

from __future__ import annotations

import numpy as np
import pytest

from rules_twin import Twin, armed_twin, around, half
from tawny.sim.memory import HalfSlot


@pytest.mark.parametrize(
    ("slot", "setpoint", "window_reads", "due"),
    [
        (HalfSlot(500, 200, 600), 1800, 175, 44),  # 35 K at 0.5 K/s: 35 s, a quarter of 17.5 K
        (HalfSlot(500, 201, 600), 2000, 100, 25),  # 15 s would be less than 20 s
        (HalfSlot(5000, 3000, 600), 800, 100, 250),
        (HalfSlot(100, 1, 600), 1150, 2500, 125),
        (HalfSlot(401, 1, 600), 1150, 624, 125),  # 124 688 ms, rounded down to it
    ],
)
def test_rules_want_a_quarter_of_the_commissioned_rise(
    slot: HalfSlot, setpoint: int, window_reads: int, due: int
) -> None:
    """After the lag, over each window: a tenth less than a quarter of R x window trips."""
    for risen, word in ((due, ""), (due - 1, "norise")):
        twin = armed_twin(slot, halves=1)
        count = 0

        def read(tenths: int, twin: Twin = twin) -> str:
            nonlocal count
            count += 1
            one = half(tenths, duty=800, setpoint=setpoint, raw=count)
            return twin.read((one,), around())

        # The first read has an age of 0, and the lag must be passed.
        assert {read(300) for _ in range(slot.lag // 2 + 2)} == {""}
        words = [read(300 + risen * at // window_reads) for at in range(1, window_reads + 1)]
        assert words == [""] * (window_reads - 1) + [word]


def test_rules_want_a_rise_in_20_s_where_the_trip_point_is_below_the_setpoint() -> None:
    """The trip point may be reduced under a setpoint in force: the shortest window then."""
    for risen, word in ((25, ""), (24, "norise")):
        twin = armed_twin(HalfSlot(500, 1, 600), halves=1)
        board = around(trip=600)
        tenths = [300, 300, *(300 + risen * count // 100 for count in range(1, 101))]
        words = [
            twin.read((half(value, duty=800, setpoint=1800, raw=count),), board)
            for count, value in enumerate(tenths)
        ]
        assert words == [""] * 101 + [word]


def test_rules_judge_no_rise_only_far_below_setpoint_and_at_high_duty() -> None:
    """A still temperature trips 20.1 K below setpoint at duty 800, not nearer nor at 799."""
    for tenths, duty, reads in ((1599, 800, 277), (1600, 800, 0), (1599, 799, 0)):
        twin = armed_twin(halves=1)
        found = 0
        for count in range(1, 600):
            if twin.read((half(tenths, duty=duty, setpoint=1800, raw=count),), around()):
                found = count
                break
        assert found == reads


# The window without its division, for every R and every way from setpoint to trip point.


def test_rules_need_no_division_for_the_window() -> None:
    """Reads until the window is over, and the rise that is due, are those of the page's formula."""
    rise = np.arange(1, 5001, dtype=np.int64)
    for way in range(2301):
        window_ms = np.maximum(20_000, way * 50_000 // rise)
        reads = -(-window_ms // 200)
        pledged = np.maximum(100, -(-(way * 250 - (rise - 1) // 200) // rise))
        assert (reads == pledged).all()
        due = np.maximum((rise + 19) // 20, (way + 7) // 8)
        assert (due == -(-rise * window_ms // 400_000)).all()
        assert (rise * pledged + (rise - 1) // 200 + 5 * rise < 2**32).all()
