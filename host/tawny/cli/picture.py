"""Pictures of the dashboard for the guide: `python -m tawny.cli.picture FILE.svg [COLSxROWS]`.

The program presses a part on the virtual clock up to the middle of its hold, and the screen
that it would then show draws itself.
"""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import TYPE_CHECKING

from tawny import __version__
from tawny.cli.virtual_press import VirtualPress
from tawny.core.names import Phase
from tawny.core.pressing import closed_s
from tawny.desk.messages import DESK_VERSION, Answer, Snap, Welcome
from tawny.settings.home import Home
from tawny.ui.app import Dashboard
from tawny.ui.picture import save_picture

if TYPE_CHECKING:
    from tawny.core.intents import AnyIntent
    from tawny.core.snapshot import Snapshot, TrendPoint
    from tawny.desk.messages import ToViewer

SIZE = (100, 30)
BEGIN_UTC_MS = 1_764_064_800_000  # an afternoon; a picture must not change from day to day
HOLD_SHOWN_S = 120.0
LONGEST_S = 7200.0
SETTLE_S = 0.3
ME = "Millbrook"


class StillViewer:
    """A viewer of one moment."""

    def __init__(self, snapshot: Snapshot, history: tuple[TrendPoint, ...]) -> None:
        """Keep what it shows."""
        self._said: tuple[ToViewer, ...] = (
            Welcome(DESK_VERSION, ME, __version__, history),
            Snap(snapshot),
        )

    async def open(self) -> None:
        """Do nothing: there is no line."""

    async def messages(self) -> AsyncIterator[ToViewer]:
        """Yield the moment, then stand still."""
        for message in self._said:
            yield message
        await asyncio.Event().wait()

    async def ask(self, intent: AnyIntent) -> Answer:  # noqa: ARG002 - nobody is asked
        """Refuse: a picture takes no intent."""
        return Answer(id=0, accepted=False)

    async def close(self) -> None:
        """Do nothing."""


def moment(home: Path) -> StillViewer:
    """Press a part up to the middle of its hold, and return what a viewer then sees."""
    with VirtualPress(
        Home(home), begin_utc_ms=BEGIN_UTC_MS, pressings=3, recipe="grain-apple", seed=1
    ) as virtual:
        press, lockstep = virtual.press, virtual.lockstep
        press.desk(ME, 0.0, 1, 0)

        def shown() -> bool:
            state = press.state
            held = state.cycle.phase is Phase.HOLD and closed_s(state) >= HOLD_SHOWN_S
            return press.pressings_ended > 0 and held

        if not lockstep.run(shown, LONGEST_S):
            raise AssertionError("the demo never held its second part")
        return StillViewer(press.snapshot(lockstep.now_ms), press.trend.since(-1.0))


async def draw(viewer: StillViewer, path: Path, size: tuple[int, int]) -> None:
    """Let the dashboard show a moment and save what it shows."""
    app = Dashboard(viewer)
    async with app.run_test(size=size) as pilot:
        await pilot.pause(SETTLE_S)
        save_picture(app, path, "tawny demo")


def main(arguments: list[str]) -> None:
    """Write one picture."""
    os.environ["TZ"] = "UTC"
    path = Path(arguments[0])
    columns, rows = (int(text) for text in arguments[1].split("x")) if arguments[1:] else SIZE
    with tempfile.TemporaryDirectory() as home:
        viewer = moment(Path(home))
    asyncio.run(draw(viewer, path, (columns, rows)))


if __name__ == "__main__":
    main(sys.argv[1:])
