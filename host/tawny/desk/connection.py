"""One line of JSON after another over a stream, read and written without ever waiting to write."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from contextlib import suppress
from types import UnionType
from typing import Any, ClassVar, Final, TypeVar, overload

import msgspec

_Message = TypeVar("_Message", bound=msgspec.Struct)
_SEND_BUFFER_BYTES: Final = 32 * 1024  # small: what lies there is old when it is read
_END_WITHIN_S: Final = 0.5


class TooLongError(Exception):
    """A line is longer than any that the other end has a reason to send."""


class Connection:
    """The owner's end of one viewer's line.

    Args:
        reader: What the viewer sends.
        writer: What it gets.
        clock_s: Seconds that count suspend.
    """

    LINE_MOST_BYTES: ClassVar[int] = 64 * 1024
    _encoder: ClassVar[msgspec.json.Encoder] = msgspec.json.Encoder()

    def __init__(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        clock_s: Callable[[], float],
    ) -> None:
        self._reader = reader
        self._writer = writer
        self._clock_s = clock_s
        self._taken_s = clock_s()
        end = writer.get_extra_info("socket")
        if end is not None:
            end.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER_BYTES)

    @property
    def ready(self) -> bool:
        """Whether everything sent so far has left this process."""
        return self._waiting_bytes == 0

    @property
    def behind_s(self) -> float:
        """For how long something has waited to be taken."""
        now_s = self._clock_s()
        if self.ready:
            self._taken_s = now_s
        return now_s - self._taken_s

    @property
    def _waiting_bytes(self) -> int:
        transport = self._writer.transport
        return 0 if transport.is_closing() else transport.get_write_buffer_size()

    @overload
    async def receive(self, kind: type[_Message]) -> _Message | None: ...
    @overload
    async def receive(self, kind: UnionType) -> Any: ...

    async def receive(self, kind: Any) -> Any:
        """Return the next message, or None at the end of the line.

        Raises:
            msgspec.MsgspecError: It is not one of these messages.
            TooLongError: Its line is too long.
            OSError: The line broke.
        """
        try:
            line = await self._reader.readuntil(b"\n")
        except asyncio.IncompleteReadError:
            return None
        except asyncio.LimitOverrunError as error:
            raise TooLongError from error
        return msgspec.json.decode(line, type=kind)

    @classmethod
    def line_of(cls, message: msgspec.Struct) -> bytes:
        """Return a message as its line, to send it to several."""
        return cls._encoder.encode(message) + b"\n"

    def send(self, message: msgspec.Struct) -> None:
        """Send a message; it waits in memory until the viewer takes it."""
        self.send_line(self.line_of(message))

    def send_line(self, line: bytes) -> None:
        """Send a line made before."""
        if not self._writer.transport.is_closing():
            self._writer.write(line)

    async def end(self, last: msgspec.Struct) -> None:
        """Send a last message, give the viewer a moment to take it, and close."""
        self.send(last)
        with suppress(OSError, TimeoutError):
            async with asyncio.timeout(_END_WITHIN_S):
                self._writer.close()
                await self._writer.wait_closed()
        self.abort()

    def abort(self) -> None:
        """Close at once; what was not taken is lost."""
        self._writer.transport.abort()
