"""Viewers that hang, fall behind, come again, or are no viewers."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest

from desk_house import SNAPSHOT, House, desk_at, first, within
from tawny.core import intents
from tawny.desk import messages as d
from tawny.desk.client import DeskClient
from tawny.desk.server import SLOW_S
from tawny.errors import TawnyError


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[House]:
    """An owner's desk in a folder of its own."""
    async with desk_at(tmp_path / "desk.sock") as made:
        yield made


async def test_desk_hung_viewer_costs_the_others_nothing_and_is_let_go(house: House) -> None:
    """It gets nothing more once it takes nothing; after 10 s its line ends."""
    reader, writer = await house.raw()
    writer.write(b'{"type":"hello","version":1,"name":"hung","desk":true}\n')
    await within(reader.readline())
    writer.transport.pause_reading()  # type: ignore[attr-defined]
    big = msgspec.structs.replace(SNAPSHOT, press="x" * 400_000)
    house.source.latest_snapshot = lambda: msgspec.structs.replace(  # type: ignore[method-assign]
        big, seq=house.source.seq
    )
    house.source.seq = 1
    client, _ = await house.viewer("ana", desk=False)
    await first(client, d.Snap)
    for seq in range(2, 5):
        house.source.seq = seq
        await first(client, d.Snap)
    hung = house.server._viewers["hung"].connection  # noqa: SLF001 - what waits for it
    assert hung._waiting_bytes < 2 * 400_000  # noqa: SLF001 - one picture at most
    assert house.server.desk()[2] == 2
    house.clock.now_s += SLOW_S + 1.0
    await house.until(lambda: house.server.desk()[2] == 1)
    house.source.seq = 5
    newest = await first(client, d.Snap)

    assert isinstance(newest, d.Snap)
    assert newest.snapshot.seq == 5
    assert house.server.desk()[0] == ""
    writer.transport.abort()


async def test_desk_viewer_that_falls_behind_gets_the_newest_picture_next(house: House) -> None:
    """What it did not take is left out, not queued."""
    client, _ = await house.viewer("ana")
    seen: list[int] = []
    async with asyncio.timeout(8.0):
        async for message in client.messages():
            if isinstance(message, d.Snap):
                seen.append(message.snapshot.seq)
                if len(seen) == 3:
                    break
                await asyncio.sleep(0.7)

    assert all(later - earlier >= 2 for earlier, later in pairwise(seen))


async def test_desk_lets_nobody_in_who_never_greets(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line without a greeting ends by itself and counts as no viewer."""
    monkeypatch.setattr("tawny.desk.server.HELLO_WITHIN_S", 0.1)
    reader, writer = await house.raw()
    assert b"bad_message" in await within(reader.read())
    writer.close()

    assert house.server.desk()[2] == 0


# The client.


async def test_desk_client_asks_for_the_desk_unless_told_otherwise(house: House) -> None:
    """The argument of opening goes before the one of making."""
    client = DeskClient(house.path, name="ana")
    house.clients.append(client)
    await client.open(desk=False)
    assert house.server.desk()[0] == ""
    await client.open()

    await house.until(lambda: house.server.desk()[0].startswith("ana"))


async def test_desk_client_may_be_opened_again_after_closing(house: House) -> None:
    """As the dashboard does until the owner answers; closing twice does nothing."""
    client, _ = await house.viewer("ana")
    await client.close()
    await client.close()
    with pytest.raises(ConnectionError):
        await client.ask(intents.Arm())
    await house.until(lambda: house.server.desk()[2] == 0)
    welcome = await client.open()

    assert welcome.viewer == "ana"
    assert await first(client, d.Welcome) == welcome
    assert (await client.ask(intents.Confirm())).accepted


async def test_desk_client_refuses_what_is_no_owner(tmp_path: Path) -> None:
    """Something else at that socket is named, not waited for."""

    async def talk(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 hello\n")
        await writer.drain()
        writer.close()

    path = tmp_path / "desk.sock"
    server = await asyncio.start_unix_server(talk, path)
    with pytest.raises(TawnyError, match="does not answer as the owner of a press"):
        await DeskClient(path).open()
    server.close()


async def test_desk_client_ends_its_messages_when_the_owner_dies(tmp_path: Path) -> None:
    """No goodbye, just the end; an open question fails at once."""

    async def die(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(msgspec.json.encode(d.Welcome(1, "ana", "0.1.0", ())) + b"\n")
        while b"ask" not in await reader.readline():
            pass
        writer.transport.abort()

    path = tmp_path / "desk.sock"
    server = await asyncio.start_unix_server(die, path)
    client = DeskClient(path)
    await client.open()
    with pytest.raises(ConnectionError):
        await client.ask(intents.HeatOff())

    assert [type(message) async for message in client.messages()] == [d.Welcome]
    await client.close()
    server.close()
