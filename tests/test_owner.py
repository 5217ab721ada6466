"""The owner's service thread, in this process: what it does with what reaches it late."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path
from queue import Queue

import pytest

from rig import Rig
from tawny.core.effects import Answered
from tawny.core.intents import AnyIntent, HeatOff, Prepare, Quit
from tawny.core.snapshot import Code
from tawny.link.reader import Heard
from tawny.service.clock import HostClock
from tawny.service.live import Owner, Wish

PREPARE = Prepare(empty=True, dry=True, let_down=True)
LATE = Answered(accepted=False, reason=Code("too_late"))


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
        owner.submit(Quit(), "test")
        assert owner.ended.wait(5.0)
        owner.join(5.0)
        assert owner.failure is None
