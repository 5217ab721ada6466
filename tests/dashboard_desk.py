"""A dashboard under test: its owner, its pilot, and what its screen shows."""

from __future__ import annotations

import time
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

import msgspec

from fake_viewer import FakeViewer, screen_rows
from screens_factory import (
    make_half,
    make_trace,
)
from tawny.ui import marks
from tawny.ui.app import Dashboard

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from textual.pilot import Pilot

    from tawny.core.snapshot import Snapshot

SMALL, LARGE = (80, 24), (120, 40)


class Desk:
    """An app under test with its owner and its pilot."""

    def __init__(self, app: Dashboard, owner: FakeViewer, pilot: Pilot[None]) -> None:
        self.app = app
        self.owner = owner
        self.pilot = pilot

    def rows(self) -> list[str]:
        """Return what the screen shows."""
        return screen_rows(self.app)

    def text(self) -> str:
        """Return what the screen shows as one text."""
        return "\n".join(self.rows())

    async def show(self, snapshot: Snapshot) -> list[str]:
        """Let the owner send a snapshot and return what the screen shows then."""
        self.owner.put(snapshot)
        await self.pilot.pause()
        await self.pilot.pause()
        return self.rows()

    async def tap(self, *tapped: str) -> None:
        """Tap keys, and let what they ask for arrive."""
        await self.pilot.press(*tapped)
        await self.pilot.pause()
        await self.pilot.pause()


@asynccontextmanager
async def desk(
    snapshot: Snapshot | None,
    size: tuple[int, int] = SMALL,
    theme: str = "dark",
    shapes: marks.Marks = marks.UNICODE,
    now_s: list[float] | None = None,
) -> AsyncIterator[Desk]:
    """Run a dashboard on a snapshot, by the clock of `now_s` where one is given."""
    owner = FakeViewer(snapshot, make_trace())
    clock = time.monotonic if now_s is None else lambda: now_s[0]
    app = Dashboard(owner, theme=theme, clock=clock)  # type: ignore[arg-type]
    app.marks = shapes
    async with app.run_test(size=size) as pilot:
        for _again in range(3):
            await pilot.pause()
        yield Desk(app, owner, pilot)


def hotter(snapshot: Snapshot) -> Snapshot:
    """Return the next snapshot with another reading."""
    upper = make_half(process_value_c=182.4)
    return msgspec.structs.replace(snapshot, seq=snapshot.seq + 1, upper=upper)
