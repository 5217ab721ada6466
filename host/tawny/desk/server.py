"""The owner's end of the desk: runs in its main thread, and waits for no viewer.

A viewer that does not keep up gets fewer pictures, never old ones in a row, and is let go
when it has taken nothing for 10 s. Intents go to the service thread; heat off is taken from
any viewer, all else only from the one at the desk.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from pathlib import Path
from typing import Final, Protocol

import msgspec

from tawny.core.effects import Answered
from tawny.core.intents import AnyIntent, HeatOff, Quit, TakeDesk
from tawny.core.snapshot import Code, Snapshot, TrendPoint
from tawny.desk import messages as d
from tawny.desk import socket_file
from tawny.desk.connection import Connection, TooLongError
from tawny.desk.seat import Desk

PUBLISH_EVERY_S: Final = 0.25
POINTS_EVERY_S: Final = 1.0
HELLO_WITHIN_S: Final = 5.0
SLOW_S: Final = 10.0
CLOSE_WITHIN_S: Final = 1.0
VIEWERS_MOST: Final = 16
ASKS_MOST: Final = 16
# A viewer gives up an intent after 5 s: one that lay in a line while the owner stood still, or
# the computer slept, is refused before that and never done behind its back.
ASK_GOOD_S: Final = 3.0
NAME_MOST: Final = 40


def _too_late(sent_s: float | None, now_s: float) -> bool:
    return sent_s is not None and not now_s - sent_s <= ASK_GOOD_S


class Source(Protocol):
    """What the desk needs of the owner; each may be called from the main thread."""

    def latest_snapshot(self) -> Snapshot:
        """Return the newest picture."""

    def points_since(self, host_s: float) -> tuple[TrendPoint, ...]:
        """Return the trend's points after a moment of the host clock."""

    def submit(self, intent: AnyIntent, who: str) -> Future[Answered]:
        """Hand an intent to the service thread."""


class _Viewer:
    def __init__(self, connection: Connection, name: str) -> None:
        self.connection = connection
        self.name = name
        self.seq = -1
        self.point_s = -1.0
        self.asks: set[asyncio.Task[None]] = set()


class DeskServer:
    """The socket, the viewers, and the desk.

    Args:
        path: Where the socket is made.
        source: The owner.
        owner_version: The program's version, shown by viewers.
        clock_s: Seconds that count suspend.
    """

    def __init__(
        self,
        path: Path,
        source: Source,
        *,
        owner_version: str,
        clock_s: Callable[[], float] = d.boot_clock_s,
    ) -> None:
        self._path = path
        self._source = source
        self._owner_version = owner_version
        self._clock_s = clock_s
        self._desk = Desk(clock_s())
        self._viewers: dict[str, _Viewer] = {}
        self._server: asyncio.Server | None = None
        self._publishing: asyncio.Task[None] | None = None
        self._connections: dict[Connection, asyncio.Task[None] | None] = {}

    def desk(self) -> tuple[str, float, int]:
        """Return who is at the desk, how long it has been empty, and the number of viewers.

        Any thread may call this, also while the main thread stands still.
        """
        return self._desk.look(self._clock_s())

    def desk_empty_s(self, now_s: float) -> float:
        """Return for how long nobody has been at the desk."""
        return self._desk.empty_s(now_s)

    async def start(self) -> None:
        """Make the socket and listen.

        Raises:
            BusyError: Another owner listens there.
            InputError: The socket cannot be made there.
        """
        listening = socket_file.listen_at(self._path)
        self._made = self._path.lstat()
        self._server = await asyncio.start_unix_server(
            self._serve, sock=listening, limit=Connection.LINE_MOST_BYTES
        )
        self._publishing = asyncio.create_task(self._publish())

    async def close(self, reason: Code) -> None:
        """Say goodbye to every viewer and remove the socket."""
        if self._publishing is not None:
            self._publishing.cancel()
        if self._server is not None:
            self._server.close()
        socket_file.remove(self._path, self._made)
        serving = [task for task in self._connections.values() if task is not None]
        await asyncio.gather(*(one.end(d.Bye(reason)) for one in self._connections))
        if serving:
            await asyncio.wait(serving, timeout=CLOSE_WITHIN_S)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connection = Connection(reader, writer, self._clock_s)
        viewer: _Viewer | None = None
        self._connections[connection] = asyncio.current_task()
        try:
            viewer = await self._greet(connection)
            if viewer is None:
                return
            while (message := await connection.receive(d.Ask | d.Ping | d.Hello)) is not None:
                self._take(viewer, message)
        except (msgspec.MsgspecError, TooLongError):
            await connection.end(d.Bye(Code("bad_message")))
        except (OSError, asyncio.IncompleteReadError):
            pass  # the viewer has gone
        finally:
            del self._connections[connection]
            if viewer is not None:
                self._let_go(viewer)
            connection.abort()

    async def _greet(self, connection: Connection) -> _Viewer | None:
        try:
            async with asyncio.timeout(HELLO_WITHIN_S):
                hello = await connection.receive(d.Hello)
        except TimeoutError:
            await connection.end(d.Bye(Code("bad_message")))
            return None
        if hello is None:
            return None
        if hello.version != d.DESK_VERSION:
            versions: dict[str, str | int | float | bool] = {
                "viewer": hello.version,
                "owner": d.DESK_VERSION,
                "owner_version": self._owner_version,
            }
            await connection.end(d.Bye(Code("bad_version", versions)))
            return None
        if len(self._viewers) >= VIEWERS_MOST:
            await connection.end(d.Bye(Code("too_many_viewers", {"most": VIEWERS_MOST})))
            return None
        viewer = _Viewer(connection, self._free_name(hello.name))
        self._viewers[viewer.name] = viewer
        self._desk.count(len(self._viewers))
        now_s = self._clock_s()
        if hello.desk and self._desk.free(now_s):
            self._desk.sit(viewer.name, now_s)
        history = self._source.points_since(viewer.point_s)
        viewer.point_s = history[-1].host_s if history else viewer.point_s
        connection.send(d.Welcome(d.DESK_VERSION, viewer.name, self._owner_version, history))
        return viewer

    def _free_name(self, wanted: str) -> str:
        """A name that no other viewer has, so that the one at the desk is one alone."""
        base = "".join(c for c in wanted if c.isprintable()).strip()[:NAME_MOST] or "viewer"
        name, number = base, 2
        while name in self._viewers:
            name, number = f"{base} ({number})", number + 1
        return name

    def _take(self, viewer: _Viewer, message: d.Ask | d.Ping | d.Hello) -> None:
        match message:
            case d.Ping():
                self._desk.ping(viewer.name, self._clock_s())
            case d.Ask():
                self._ask(viewer, message)
            case d.Hello():
                pass  # said already

    def _ask(self, viewer: _Viewer, ask: d.Ask) -> None:
        now_s = self._clock_s()
        intent = ask.intent
        if isinstance(intent, TakeDesk):
            self._desk.sit(viewer.name, now_s)
            viewer.connection.send(d.Answer(ask.id, accepted=True))
            return
        if not isinstance(intent, HeatOff):
            if not isinstance(intent, Quit) and _too_late(ask.sent_s, now_s):
                viewer.connection.send(d.Answer(ask.id, accepted=False, reason=Code("too_late")))
                return
            if not self._desk.holder:
                self._desk.sit(viewer.name, now_s)
            if viewer.name != self._desk.holder:
                viewer.connection.send(d.Answer(ask.id, accepted=False, reason=Code("not_at_desk")))
                return
            if len(viewer.asks) >= ASKS_MOST:
                viewer.connection.send(d.Answer(ask.id, accepted=False, reason=Code("too_soon")))
                return
        # Heat off goes to the service thread whatever else waits there.
        answer = self._source.submit(intent, viewer.name)
        task = asyncio.create_task(self._answer(viewer, ask.id, answer))
        viewer.asks.add(task)
        task.add_done_callback(viewer.asks.discard)

    @staticmethod
    async def _answer(viewer: _Viewer, number: int, answer: Future[Answered]) -> None:
        # Shielded: a viewer that goes must not cancel what the service thread still answers.
        answered = await asyncio.shield(asyncio.wrap_future(answer))
        viewer.connection.send(d.Answer(number, accepted=answered.accepted, reason=answered.reason))

    async def _publish(self) -> None:
        points_s = self._clock_s()
        while True:
            await asyncio.sleep(PUBLISH_EVERY_S)
            now_s = self._clock_s()
            if not self._viewers:
                continue
            snapshot = self._source.latest_snapshot()
            line = Connection.line_of(d.Snap(snapshot))
            with_points = now_s - points_s >= POINTS_EVERY_S
            points_s = now_s if with_points else points_s
            for viewer in list(self._viewers.values()):
                connection = viewer.connection
                if connection.behind_s > SLOW_S:
                    self._let_go(viewer)
                    connection.abort()
                elif connection.ready:
                    if viewer.seq != snapshot.seq:
                        connection.send_line(line)
                        viewer.seq = snapshot.seq
                    if with_points:
                        self._send_points(viewer)

    def _send_points(self, viewer: _Viewer) -> None:
        points = self._source.points_since(viewer.point_s)
        if points:
            viewer.connection.send(d.Points(points))
            viewer.point_s = points[-1].host_s

    def _let_go(self, viewer: _Viewer) -> None:
        if self._viewers.pop(viewer.name, None) is None:
            return
        self._desk.leave(viewer.name)
        self._desk.count(len(self._viewers))
        for task in viewer.asks:
            with suppress(asyncio.InvalidStateError):
                task.cancel()
