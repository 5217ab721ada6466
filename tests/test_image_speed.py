"""The compiled image is simulated fast enough to live through days."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from campaigns.speed import share, speeds
from image_feeder import Feeder
from image_press import Day
from tawny.sim.parameters import DEMO_MOULD, load

# Wanted of a machine that does nothing else. Here the processor's time counts, and half is enough:
# a busy neighbour on the same core takes the rest.
WITH_MOULD, WITH_HOST = 100.0, 50.0
BUSY = 0.5
AWAKE_MOST = 0.10


@pytest.mark.slow
def test_speed_with_the_mould() -> None:
    """Image and mould, at rest and with the contactor's train."""
    at_rest, heating = speeds(20.0)
    assert at_rest >= WITH_MOULD * BUSY
    assert heating >= WITH_MOULD * BUSY


@pytest.mark.slow
def test_speed_with_the_whole_host(tmp_path: Path) -> None:
    """Image, mould, the whole host and its record, one part pressed."""
    with Day(tmp_path, "image", start_c=172.0, person=1) as day:
        begin_s = time.process_time()
        assert day.lockstep.run(lambda: day.person.finished, 1800.0)
        spent_s = time.process_time() - begin_s
        assert day.lockstep.now_ms / 1000.0 / spent_s >= WITH_HOST * BUSY


@pytest.mark.slow
def test_speed_is_not_spent_on_being_awake() -> None:
    """Armed and heating, the controller sleeps most of the time: nothing runs without need."""
    feeder = Feeder("image", load(DEMO_MOULD), setpoint_c=180.0, start_c=150.0)
    feeder.arm()
    found = share(feeder.world.board.chip, 0.2)
    assert found.awake < AWAKE_MOST * (found.awake + found.asleep)
    assert sum(found.by_function.values()) == found.awake
