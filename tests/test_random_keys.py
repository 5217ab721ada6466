"""A key held down, an elbow, a cat: the whole program under keys that nobody meant."""

from __future__ import annotations

import random
import string
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from textual.events import Key

from fake_viewer import FakeViewer
from rig import Rig
from tawny.core import intents as ask
from tawny.core.limits import ADVANCE_APART_S
from tawny.core.names import BoardState, Phase
from tawny.core.state import State
from tawny.core.tap import permissives
from tawny.desk.messages import Answer
from tawny.ui.app import Dashboard

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from tawny.core.intents import AnyIntent

pytestmark = pytest.mark.asyncio

VIEWER = "me"
WORK = (
    Phase.READY,
    Phase.OIL,
    Phase.FILL,
    Phase.CLOSE,
    Phase.BREATHE,
    Phase.HOLD,
    Phase.RELEASE,
    Phase.OPEN,
    Phase.DEMOULD,
)
TAPPED = tuple(phase for phase in WORK if phase is not Phase.HOLD)
REST = (Phase.IDLE, Phase.PREHEAT, Phase.SOAK, Phase.COOL)
# All of them but three that end things on purpose: h takes the heat off, q asks to leave, x to
# scrap. Each has a test of its own.
KEYS = (
    *(letter for letter in string.ascii_lowercase if letter not in "hqx"),
    *string.digits,
    *("space",) * 8,
    *("enter", "tab", "backspace", "up", "down", "left", "right", "home", "end", "delete"),
    *("f1", "f5", "f12", "ctrl+c", "ctrl+q", "ctrl+z", "ctrl+d", "ctrl+p", "ctrl+s", "shift+tab"),
    *("full_stop", "comma", "plus", "minus", "slash", "question_mark", "ä", "escape", "escape"),
)


class Room(FakeViewer):
    """A dashboard in front of a whole press on a virtual clock, and what the press did."""

    def __init__(self, rig: Rig) -> None:
        super().__init__()
        self.rig = rig
        self.tapped = 0
        self.wrong: list[str] = []
        self.advanced: list[Phase] = []
        self._advanced_ms = -10_000
        rig.press.desk(VIEWER, 0.0, 1, rig.lockstep.now_ms)
        self.show()

    async def ask(self, intent: AnyIntent) -> Answer:
        """Put what the screen asks to the press, and look at what it does."""
        self.tapped += 1
        now_ms, before = self.rig.lockstep.now_ms, self.rig.press.state
        given = self.rig.press.ask(intent, VIEWER, now_ms)
        if isinstance(intent, ask.Advance) and self.rig.phase is not before.cycle.phase:
            self._judge(intent, before, now_ms)
        return Answer(0, given.accepted, given.reason)

    def show(self) -> None:
        """Send the screen a picture of now."""
        self.put(self.rig.press.snapshot(self.rig.lockstep.now_ms))

    def pass_time(self, seconds: float) -> None:
        """Let time pass and show what came of it."""
        self.rig.run(seconds)
        self.show()

    def _judge(self, intent: ask.Advance, before: State, now_ms: int) -> None:
        phase = before.cycle.phase
        unmet = [one.code for one in permissives(before) if not one.met]
        if unmet:
            self.wrong.append(f"{phase.value} passed {unmet}")
        if now_ms - self._advanced_ms < ADVANCE_APART_S * 1000:
            self.wrong.append(f"{phase.value} twice within {ADVANCE_APART_S} s")
        if intent.seen is not phase:
            self.wrong.append(f"{phase.value} by a tap meant for {intent.seen.value}")
        self._advanced_ms = now_ms
        self.advanced.append(phase)


@asynccontextmanager
async def room(home: Path, phase: Phase) -> AsyncIterator[tuple[Room, Pilot[None]]]:
    """Yield a dashboard on a press that has been brought into a phase."""
    with Rig(home, start_c=22.0 if phase is Phase.PREHEAT else 178.0) as rig:
        bring(rig, phase)
        viewer = Room(rig)
        app = Dashboard(viewer, clock=lambda: rig.lockstep.now_ms / 1000.0)
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(3):
                await pilot.pause()
            yield viewer, pilot
            assert app.return_code is None


def bring(rig: Rig, phase: Phase) -> None:
    """Go on to a phase as a person would, without haste."""
    if phase is Phase.IDLE:
        rig.run(5.0)
        return
    rig.run(5.0)
    rig.ask(ask.Prepare(empty=True, dry=True, let_down=True))
    if phase is Phase.COOL:
        rig.until(Phase.PREHEAT, 30.0)
        rig.ask(ask.HeatOff())
        rig.run(2.0)
        assert rig.phase is phase
    for _ in range(600):
        if rig.phase is phase:
            break
        rig.ask(ask.Advance(seen=rig.phase))
        rig.run(3.0)
    assert rig.phase is phase


async def tap(pilot: Pilot[None], *keys: str) -> None:
    """Tap keys one after another, as fast as the screen takes them."""
    for key in keys:
        letter = " " if key == "space" else key if len(key) == 1 else None
        pilot.app.post_message(Key(key, letter))
        await pilot.pause(0)
    await pilot.pause(0)


@pytest.mark.parametrize("phase", TAPPED)
async def test_random_keys_space_held_down_advances_once(tmp_path: Path, phase: Phase) -> None:
    """The bar held for six seconds at 20 characters a second goes on by one phase, not two."""
    async with room(tmp_path, phase) as (press, pilot):
        await tap(pilot, "space")
        press.pass_time(0.5)  # the delay before a key repeats
        for _ in range(110):
            await tap(pilot, "space")
            press.pass_time(0.05)

        assert press.wrong == []
        # Breaths are still to come: the permissive stops even the first tap.
        assert press.advanced == ([] if phase is Phase.BREATHE else [phase])


@pytest.mark.parametrize("phase", TAPPED)
async def test_random_keys_elbow_advances_once_at_most(tmp_path: Path, phase: Phase) -> None:
    """Many keys at one moment, the bar among them several times: one step at most."""
    async with room(tmp_path, phase) as (press, pilot):
        await tap(pilot, "space", "n", "space", "m", "space", "comma", "b", "space", "v", "space")

        assert press.wrong == []
        assert len(press.advanced) <= 1


async def test_random_keys_tap_behind_the_time_does_nothing(tmp_path: Path) -> None:
    """On a screen that still shows the hold, a tap after its end does not go on to opening."""
    async with room(tmp_path, Phase.HOLD) as (press, pilot):
        press.rig.until(Phase.RELEASE)  # and the screen has not heard of it
        await tap(pilot, "space")
        assert press.tapped == 1
        assert press.advanced == []

        press.pass_time(2.0)
        await pilot.pause(0)
        await tap(pilot, "space")
        assert press.advanced == [Phase.RELEASE]


@pytest.mark.parametrize("phase", [*REST, *WORK])
async def test_random_keys_never_pass_a_permissive_nor_stop_heat_off(
    tmp_path: Path, phase: Phase
) -> None:
    """Half a minute of any keys: no step past what must hold, no crash; then h works."""
    chance = random.Random(phase.value)  # noqa: S311 - the same keys each time
    async with room(tmp_path, phase) as (press, pilot):
        for _ in range(120):
            await tap(pilot, chance.choice(KEYS))
            press.pass_time(chance.choice((0.05, 0.1, 0.25, 0.6)))
            assert press.wrong == []
        assert press.tapped > 0

        await tap(pilot, "escape", "escape", "escape", "h")
        press.pass_time(1.0)
        assert not press.rig.press.state.cycle.heat_wanted
        assert press.rig.press.state.tele is not None
        assert press.rig.press.state.tele.st != BoardState.ARMED.value
        snapshot = press.rig.press.snapshot(press.rig.lockstep.now_ms)
        assert (snapshot.upper.duty, snapshot.lower.duty) == (0.0, 0.0)
        assert not snapshot.heat


@pytest.mark.parametrize("opener", ["s", "x", "c", "o", "l", "v", "question_mark", "q"])
async def test_random_keys_heat_off_works_over_every_question(tmp_path: Path, opener: str) -> None:
    """Whatever question lies open, h takes the heat off; where a name is typed, after Escape."""
    async with room(tmp_path, Phase.HOLD) as (press, pilot):
        await tap(pilot, opener)
        if opener in {"o", "l"}:
            await tap(pilot, "escape")
        await tap(pilot, "h")
        press.pass_time(1.0)

        assert press.rig.phase is Phase.COOL
        assert not press.rig.press.state.cycle.heat_wanted
