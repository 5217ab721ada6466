"""The owner's service thread, in this process: what it does with what reaches it late."""

from __future__ import annotations

import math
from concurrent.futures import Future
from pathlib import Path
from queue import Queue

import pytest

from rig import Rig
from tawny.core.effects import Answered
from tawny.core.intents import AnyIntent, HeatOff, Prepare
from tawny.core.names import Phase, Quality
from tawny.core.snapshot import Code
from tawny.link.reader import Heard
from tawny.service.clock import HostClock
from tawny.service.live import Owner, Wish

PREPARE = Prepare(empty=True, dry=True, let_down=True)
LATE = Answered(accepted=False, reason=Code("too_late"))


def test_store_that_stands_still_is_an_alarm_after_2_s_and_the_press_goes_on(
    tmp_path: Path,
) -> None:
    """Nothing reaches the disk: told within 2.5 s, by its name; gone again once it writes."""
    with Rig(tmp_path, start_c=175.0, person=1) as rig:
        rig.until(Phase.HOLD)
        recorder = rig.recorder
        recorder._clock = lambda: rig.lockstep.now_ms / 1000.0  # noqa: SLF001
        recorder.flush()
        recorder._not_before_s = math.inf  # noqa: SLF001 - a disk that does not answer
        rig.run(1.5)
        assert not rig.alarms()
        rig.run(1.75)
        assert rig.alarms() == {"store_stalled"}
        assert not rig.press.snapshot(rig.lockstep.now_ms).recording
        assert rig.phase is Phase.HOLD
        assert rig.press.state.upper.quality is Quality.GOOD

        store = rig.store._db  # noqa: SLF001
        store.pragma("max_page_count", store.pragma("page_count"))
        recorder._not_before_s = 0.0  # noqa: SLF001
        rig.run(8.0)
        assert "store_full" in rig.alarms()
        store.pragma("max_page_count", 1 << 30)
        recorder.flush()
        rig.run(5.0)
        assert rig.press.snapshot(rig.lockstep.now_ms).recording


@pytest.mark.parametrize(
    ("intent", "waited_ms", "answer"),
    [
        (PREPARE, 2500, Answered(accepted=True)),
        (PREPARE, 3500, LATE),
        (HeatOff(), 60_000, Answered(accepted=True)),
    ],
)
def test_owner_does_nothing_that_waited_too_long_but_heat_off(
    tmp_path: Path, intent: AnyIntent, waited_ms: int, answer: Answered
) -> None:
    """An intent of before a standstill is refused, and the core never hears of it."""
    with Rig(tmp_path) as rig:
        clock, inbox = HostClock(), Queue[Heard]()
        owner = Owner(rig.press, clock, inbox)
        given: Future[Answered] = Future()
        inbox.put(Wish(clock.now_ms() - waited_ms, intent, "ana", given))
        owner.start()
        assert given.result(5.0) == answer
        assert rig.press.state.cycle.confirmed is (intent is PREPARE and answer.accepted)
        owner.end("test", 5.0)
        assert owner.ended.is_set()
        assert owner.failure is None
        assert rig.press.state.ending


def test_owner_that_never_began_has_nothing_to_end(tmp_path: Path) -> None:
    """A desk that cannot be opened leaves an owner that never ran."""
    with Rig(tmp_path) as rig:
        owner = Owner(rig.press, HostClock(), Queue[Heard]())
        owner.end("fault", 5.0)
        assert not owner.ended.is_set()
        assert not rig.press.state.ending
