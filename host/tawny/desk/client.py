"""A viewer's end of the desk.

It pings each second while the viewer shows that it is alive: it takes messages, or calls
`alive`. A viewer that hangs stops pinging, and the owner knows that nobody is at the desk.
"""

from __future__ import annotations

import asyncio
import getpass
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

import msgspec

from tawny.core.intents import AnyIntent
from tawny.desk import messages as d
from tawny.desk import socket_file
from tawny.errors import N_, TawnyError

PING_EVERY_S: Final = 1.0
ALIVE_S: Final = 2.0
WELCOME_WITHIN_S: Final = 5.0
ANSWER_WITHIN_S: Final = 5.0
_LINE_MOST_BYTES: Final = 64 * 1024 * 1024  # a welcome carries hours of trend
_REFUSALS: Final = {
    "bad_version": N_(
        "the owner of this press is version {owner_version} and this program another; "
        "end the owner, then start again"
    ),
    "too_many_viewers": N_("{most} viewers watch this press already; close one of them"),
}


class DeskClient:
    """One viewer's line to the owner of a press; it may be opened again after closing.

    Args:
        path: The desk's socket.
        name: Who looks, as others see it; the user's name where none is given.
        desk: Ask for the desk if it is free.
        clock_s: Seconds that count suspend, the same as the owner's.
    """

    def __init__(
        self,
        path: Path,
        *,
        name: str = "",
        desk: bool = True,
        clock_s: Callable[[], float] = d.boot_clock_s,
    ) -> None:
        self._path = path
        self._clock_s = clock_s
        self._name = name or getpass.getuser()
        self._wants_desk = desk
        self._writer: asyncio.StreamWriter | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._answers: dict[int, asyncio.Future[d.Answer]] = {}
        self._number = 0
        self._waiting: deque[d.ToViewer] = deque()
        self._arrived = asyncio.Event()
        self._over = False
        self._alive_s = time.monotonic()

    async def open(self, desk: bool | None = None) -> d.Welcome:  # noqa: FBT001 - the word is the meaning
        """Connect, greet, and return the owner's welcome.

        Args:
            desk: Ask for the desk if it is free; None means as given at the start.

        Raises:
            OSError: Nobody listens there.
            TawnyError: The owner refuses this viewer, or says nothing.
        """
        await self.close()
        socket_file.check_path(self._path)
        reader, writer = await asyncio.open_unix_connection(self._path, limit=_LINE_MOST_BYTES)
        self._writer = writer
        wants_desk = self._wants_desk if desk is None else desk
        self._send(d.Hello(d.DESK_VERSION, self._name, wants_desk))
        try:
            async with asyncio.timeout(WELCOME_WITHIN_S):
                welcome = await _receive(reader)
        except (TimeoutError, msgspec.MsgspecError) as error:
            await self.close()
            raise TawnyError(
                N_("what listens at {path} does not answer as the owner of a press"),
                path=self._path,
            ) from error
        if not isinstance(welcome, d.Welcome) or welcome.version != d.DESK_VERSION:
            await self.close()
            raise _refusal(welcome)
        self._over = False
        self._waiting.append(welcome)
        self.alive()
        self._tasks = [
            asyncio.create_task(self._read(reader)),
            asyncio.create_task(self._ping()),
        ]
        return welcome

    async def messages(self) -> AsyncIterator[d.ToViewer]:
        """Yield what the owner sends, beginning with its welcome; ends when the line does.

        A picture that was not taken before the next one came is left out. Answers go to
        whoever asked.
        """
        while True:
            while self._waiting:
                self.alive()
                yield self._waiting.popleft()
            if self._over:
                return
            self._arrived.clear()
            await self._arrived.wait()

    async def ask(self, intent: AnyIntent) -> d.Answer:
        """Send an intent and return its answer.

        Raises:
            OSError: The line is gone.
            TimeoutError: No answer came in time.
        """
        if self._writer is None or self._over:
            raise ConnectionError
        self._number += 1
        number = self._number
        answer: asyncio.Future[d.Answer] = asyncio.get_running_loop().create_future()
        self._answers[number] = answer
        try:
            self._send(d.Ask(number, intent, self._clock_s()))
            async with asyncio.timeout(ANSWER_WITHIN_S):
                return await answer
        finally:
            self._answers.pop(number, None)

    def alive(self) -> None:
        """The viewer draws: keep pinging for 2 s more."""
        self._alive_s = time.monotonic()

    async def close(self) -> None:
        """Close the line; closing twice does nothing."""
        tasks, self._tasks = self._tasks, []
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        writer, self._writer = self._writer, None
        if writer is not None:
            with suppress(OSError):
                writer.close()
                await writer.wait_closed()
        self._end()
        self._waiting.clear()

    def _send(self, message: d.ToOwner) -> None:
        if self._writer is not None:
            self._writer.write(msgspec.json.encode(message) + b"\n")

    async def _read(self, reader: asyncio.StreamReader) -> None:
        try:
            while (message := await _receive(reader)) is not None:
                self._take(message)
        except (OSError, msgspec.MsgspecError, asyncio.LimitOverrunError):
            pass  # the same as an end of the line: the viewer greets again
        finally:
            self._end()

    def _take(self, message: d.ToViewer) -> None:
        if isinstance(message, d.Answer):
            answer = self._answers.get(message.id)
            if answer is not None and not answer.done():
                answer.set_result(message)
            return
        if isinstance(message, d.Snap):
            for old in [one for one in self._waiting if isinstance(one, d.Snap)]:
                self._waiting.remove(old)
        self._waiting.append(message)
        self._arrived.set()

    async def _ping(self) -> None:
        while True:
            if time.monotonic() - self._alive_s <= ALIVE_S:
                self._send(d.Ping())
            await asyncio.sleep(PING_EVERY_S)

    def _end(self) -> None:
        self._over = True
        self._arrived.set()
        for answer in self._answers.values():
            if not answer.done():
                answer.set_exception(ConnectionResetError())


async def _receive(reader: asyncio.StreamReader) -> d.ToViewer | None:
    try:
        line = await reader.readuntil(b"\n")
    except asyncio.IncompleteReadError:
        return None
    message: d.ToViewer = msgspec.json.decode(line, type=d.ToViewer)
    return message


def _refusal(message: d.ToViewer | None) -> TawnyError:
    if isinstance(message, d.Welcome):
        fields: dict[str, object] = {"owner_version": message.owner_version}
        return TawnyError(_REFUSALS["bad_version"], **fields)
    if isinstance(message, d.Bye) and message.reason.code in _REFUSALS:
        return TawnyError(_REFUSALS[message.reason.code], **message.reason.fields)
    return TawnyError(N_("the owner of this press lets no viewer in now; try again"))
