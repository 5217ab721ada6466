"""An owner of the test's own behind a real desk, and a clock to move."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import Future
from contextlib import asynccontextmanager
from pathlib import Path

import msgspec

from tawny.core import intents
from tawny.core.effects import Answered
from tawny.core.names import BoardState, FirstOut, LinkStatus, Phase, Quality
from tawny.core.snapshot import (
    BoardView,
    Code,
    Figure,
    HalfView,
    LinkView,
    Snapshot,
    TrendPoint,
)
from tawny.desk import messages as d
from tawny.desk.client import DeskClient
from tawny.desk.server import DeskServer

HALF = HalfView(Quality.GOOD, 180.0, 180.0, 0.0, True, 0.3, 0.3)  # noqa: FBT003 - in order
SNAPSHOT = Snapshot(
    seq=0,
    utc_ms=0,
    host_s=0.0,
    simulated=True,
    simulated_hand=False,
    press="Millbrook 1",
    mould="saucer 160",
    recipe="spent grain saucer",
    recipe_version=1,
    operator="Ana",
    lot="grain 7",
    link=LinkView(LinkStatus.UP, "/dev/ttyUSB0", 0.1),
    board=BoardView(
        state=BoardState.ARMED,
        first_out=FirstOut.NONE,
        trip_c=215.0,
        ceiling_c=230.0,
        mould_open=None,
        heat_off_button=False,
        mains=True,
        contactor=True,
        hot_lamp=True,
    ),
    upper=HALF,
    lower=HALF,
    armed=True,
    heat=True,
    phase=Phase.HOLD,
    phase_elapsed_s=12.0,
    paused_from=None,
    sentence=Code("hold_no_topup"),
    figure=Figure("time_left", 90.0),
    next_phase=None,
    permissives=(),
    setpoint_c=180.0,
    band_k=3.0,
    ready_at_utc_ms=None,
    pressing_id="",
    hold=None,
    breathe=None,
    rescue=None,
    alarms=(),
    last_parts=(),
    parts_today=0,
    recipes=("spent grain saucer",),
    recording=True,
    store_reason=None,
    presence_left_s=1800.0,
)


class Source:
    """The owner's service thread, played: each look is a newer picture."""

    def __init__(self) -> None:
        self.seq = 0
        self.points: list[TrendPoint] = []
        self.asked: list[tuple[str, intents.AnyIntent]] = []
        self.answer: Answered | None = Answered(accepted=True)
        self.open: list[Future[Answered]] = []

    def latest_snapshot(self) -> Snapshot:
        """A newer picture than the last."""
        self.seq += 1
        return msgspec.structs.replace(SNAPSHOT, seq=self.seq)

    def points_since(self, host_s: float) -> tuple[TrendPoint, ...]:
        """The points after a moment."""
        return tuple(point for point in self.points if point.host_s > host_s)

    def submit(self, intent: intents.AnyIntent, who: str) -> Future[Answered]:
        """Answer at once, or never where there is no answer."""
        self.asked.append((who, intent))
        future: Future[Answered] = Future()
        if self.answer is not None:
            future.set_result(self.answer)
        else:
            self.open.append(future)
        return future


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now_s = 500.0

    def __call__(self) -> float:
        """The time."""
        return self.now_s


class House:
    """An owner's desk in a folder, and what opens there."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.source = Source()
        self.clock = Clock()
        self.server = DeskServer(path, self.source, owner_version="0.1.0", clock_s=self.clock)
        self.clients: list[DeskClient] = []

    async def viewer(self, name: str, *, desk: bool = True) -> tuple[DeskClient, d.Welcome]:
        """A viewer that has greeted."""
        client = DeskClient(self.path, name=name, desk=desk, clock_s=self.clock)
        self.clients.append(client)
        return client, await client.open()

    async def raw(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """A bare line to the desk."""
        return await asyncio.open_unix_connection(self.path)

    async def until(self, true: Callable[[], bool]) -> None:
        """Let the loop run until something holds."""
        async with asyncio.timeout(5.0):
            while not true():  # noqa: ASYNC110 - the owner has no event for each of these
                await asyncio.sleep(0.01)


@asynccontextmanager
async def desk_at(path: Path) -> AsyncIterator[House]:
    """An owner's desk, closed afterwards with all its viewers."""
    house = House(path)
    await house.server.start()
    try:
        yield house
    finally:
        await house.server.close(Code("stopped"))
        for client in house.clients:
            await client.close()


async def first(client: DeskClient, kind: type[d.ToViewer]) -> d.ToViewer:
    """The next message of a kind."""
    async with asyncio.timeout(5.0):
        async for message in client.messages():
            if isinstance(message, kind):
                return message
    raise AssertionError("the line ended")


async def within(wait: Awaitable[bytes]) -> bytes:
    """Something that comes within 5 s."""
    async with asyncio.timeout(5.0):
        return await wait


# The seat, on a fake clock.


def point(host_s: float) -> TrendPoint:
    """One second of the trend."""
    return TrendPoint(host_s, 0, 179.0, 181.0, None, None, 180.0, 215.0, Phase.HOLD)
