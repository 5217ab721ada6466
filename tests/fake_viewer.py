"""A viewer whose owner is played by the test: it stands for another process."""

from __future__ import annotations

import asyncio
import io
from collections.abc import AsyncIterator, Iterable
from typing import TYPE_CHECKING

from rich.console import Console

from tawny.core.intents import AnyIntent
from tawny.core.snapshot import Code, Snapshot, TrendPoint
from tawny.desk.messages import DESK_VERSION, Answer, Bye, Points, Snap, ToViewer, Welcome

if TYPE_CHECKING:
    from textual.app import App

END = None


class FakeViewer:
    """Yields what the test puts in, and keeps what the screen asks for."""

    def __init__(self, snapshot: Snapshot | None = None, trace: Iterable[TrendPoint] = ()) -> None:
        self.asked: list[AnyIntent] = []
        self.refuse_with: Code | None = None
        self.dead = False
        self.opened = 0
        self.closed = 0
        self._trace = tuple(trace)
        self._first = snapshot
        self._queue: asyncio.Queue[ToViewer | None] = asyncio.Queue()

    async def open(self) -> None:
        """Connect, if there is an owner."""
        self.opened += 1
        if self.dead:
            raise ConnectionRefusedError

    async def messages(self) -> AsyncIterator[ToViewer]:
        """Welcome the viewer, then yield what the test puts in."""
        yield Welcome(DESK_VERSION, "me", "0.0", self._trace)
        if self._first is not None:
            yield Snap(self._first)
        while (message := await self._queue.get()) is not END:
            yield message

    async def ask(self, intent: AnyIntent) -> Answer:
        """Keep the intent and answer as the test wants."""
        if self.dead:
            raise ConnectionResetError
        self.asked.append(intent)
        return Answer(len(self.asked), self.refuse_with is None, self.refuse_with)

    async def close(self) -> None:
        """Note that the line was closed."""
        self.closed += 1

    def put(self, snapshot: Snapshot) -> None:
        """Send a snapshot."""
        self._queue.put_nowait(Snap(snapshot))

    def put_points(self, points: Iterable[TrendPoint]) -> None:
        """Send seconds of the trend."""
        self._queue.put_nowait(Points(tuple(points)))

    def say_goodbye(self, code: str) -> None:
        """End the line with a reason."""
        self._queue.put_nowait(Bye(Code(code)))
        self._queue.put_nowait(END)


def screen_rows(app: App[None]) -> list[str]:
    """Return the screen as rows of text, as a person sees it."""
    width, height = app.size
    console = Console(
        width=width, height=height, file=io.StringIO(), force_terminal=True, record=True
    )
    compositor = app.screen._compositor  # noqa: SLF001 - as the framework's own screenshot
    console.print(
        compositor.render_update(full=True, screen_stack=app._background_screens)  # noqa: SLF001
    )
    text = console.export_text(styles=False)
    return [row.rstrip() for row in text.split("\n")][:height]
