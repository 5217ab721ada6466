"""The desk over real Unix sockets: viewers, the seat, take-over, and viewers that hang."""

from __future__ import annotations

import asyncio
import getpass
import os
import socket
import stat
from collections.abc import AsyncIterator
from pathlib import Path

import msgspec
import pytest

from desk_house import House, desk_at, point, within
from tawny.core.snapshot import (
    Code,
)
from tawny.desk import messages as d
from tawny.desk.client import DeskClient
from tawny.desk.server import VIEWERS_MOST
from tawny.desk.socket_file import listen_at
from tawny.errors import BusyError, InputError, TawnyError


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[House]:
    """An owner's desk in a folder of its own."""
    async with desk_at(tmp_path / "desk.sock") as made:
        yield made


async def test_desk_socket_is_for_its_user_alone(house: House) -> None:
    """Mode 0600, and gone after the owner closed."""
    assert stat.S_IMODE(house.path.stat().st_mode) == 0o600
    await house.server.close(Code("quit"))

    assert not house.path.exists()


def test_desk_socket_replaces_one_that_a_dead_owner_left(tmp_path: Path) -> None:
    """A socket nobody listens at is stale."""
    path = tmp_path / "desk.sock"
    left = socket.socket(socket.AF_UNIX)
    left.bind(os.fspath(path))
    left.close()
    listening = listen_at(path)

    with socket.socket(socket.AF_UNIX) as viewer:
        viewer.connect(os.fspath(path))
    listening.close()


async def test_desk_socket_of_a_living_owner_is_never_taken(house: House) -> None:
    """The second owner is refused with a sentence, and the first goes on."""
    with pytest.raises(BusyError, match="has an owner already"):
        listen_at(house.path)
    _, welcome = await house.viewer("ana")

    assert welcome.viewer == "ana"


def test_desk_socket_never_replaces_a_file(tmp_path: Path) -> None:
    """Something else of that name is left as it is."""
    path = tmp_path / "desk.sock"
    path.write_text("mine", encoding="ascii")
    with pytest.raises(InputError, match="in the way"):
        listen_at(path)

    assert path.read_text(encoding="ascii") == "mine"


@pytest.mark.parametrize("length", [108, 200])
async def test_desk_path_longer_than_the_kernel_takes_is_a_sentence(
    tmp_path: Path, length: int
) -> None:
    """At both ends: what, how long, how long at most, what to do."""
    path = tmp_path / ("x" * (length - len(os.fsencode(tmp_path)) - 1))
    with pytest.raises(InputError, match=f"path of {length} bytes, more than 107"):
        listen_at(path)
    with pytest.raises(InputError, match="choose a home folder with a shorter path"):
        await DeskClient(path).open()


async def test_desk_path_of_the_longest_length_works(tmp_path: Path) -> None:
    """107 bytes."""
    path = tmp_path / ("x" * (107 - len(os.fsencode(tmp_path)) - 1))
    async with desk_at(path) as house:
        _, welcome = await house.viewer("ana")

    assert welcome.viewer == "ana"


async def test_desk_without_an_owner_is_an_error_of_the_system(tmp_path: Path) -> None:
    """The dashboard tries again on it."""
    with pytest.raises(FileNotFoundError):
        await DeskClient(tmp_path / "desk.sock").open()


# Viewers.


async def test_desk_welcomes_with_the_trend_so_far_then_pictures_and_points(house: House) -> None:
    """Welcome first; each picture newer than the last; points only once."""
    house.source.points = [point(1.0), point(2.0)]
    client, welcome = await house.viewer("ana")
    assert welcome == d.Welcome(d.DESK_VERSION, "ana", "0.1.0", (point(1.0), point(2.0)))
    house.source.points.append(point(3.0))
    got: list[d.ToViewer] = []
    async with asyncio.timeout(5.0):
        async for message in client.messages():
            got.append(message)
            house.clock.now_s += 0.3
            if isinstance(message, d.Points):
                break

    assert got[0] == welcome
    assert got[-1] == d.Points((point(3.0),))
    seqs = [message.snapshot.seq for message in got if isinstance(message, d.Snap)]
    assert seqs == sorted(set(seqs))
    assert seqs


async def test_desk_refuses_a_viewer_of_another_version(house: House) -> None:
    """The viewer hears both versions and the line ends; the desk goes on."""
    reader, writer = await house.raw()
    writer.write(b'{"type":"hello","version":99,"name":"late"}\n')
    bye = msgspec.json.decode(await within(reader.readline()), type=d.Bye)

    assert bye.reason.code == "bad_version"
    assert bye.reason.fields == {"viewer": 99, "owner": 1, "owner_version": "0.1.0"}
    assert await within(reader.read()) == b""
    writer.close()
    assert (await house.viewer("ana"))[1].viewer == "ana"


async def refused_by_bye(path: Path, reason: Code) -> TawnyError:
    """What opening raises at an owner that only says goodbye."""

    async def refuse(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(msgspec.json.encode(d.Bye(reason)) + b"\n")
        writer.close()

    server = await asyncio.start_unix_server(refuse, path)
    with pytest.raises(TawnyError) as caught:
        await DeskClient(path).open()
    server.close()
    return caught.value


async def test_desk_client_says_what_a_refusal_means(tmp_path: Path) -> None:
    """One sentence for another version, and one for what it does not know."""
    versions: dict[str, str | int | float | bool] = {
        "viewer": 1, "owner": 2, "owner_version": "0.9.1",
    }  # fmt: skip
    newer = await refused_by_bye(tmp_path / "newer", Code("bad_version", versions))
    odd = await refused_by_bye(tmp_path / "odd", Code("something_later"))

    assert "the owner of this press is version 0.9.1" in str(newer)
    assert "lets no viewer in now" in str(odd)


GREETING = b'{"type":"hello","version":1,"name":"odd"}\n'
NONSENSE = (b"not json\n", b'{"type":"ask"}\n', b"x" * 200_000 + b"\n", b"\xff\xfe\n", b"[1]\n")


@pytest.mark.parametrize("said", [b'{"type":"hello"}\n', b'{"type":"ping"}\n', *NONSENSE])
async def test_desk_lets_nobody_in_who_greets_with_nonsense(house: House, said: bytes) -> None:
    """The line ends with the reason."""
    reader, writer = await house.raw()
    writer.write(said)
    said_back = await within(reader.read())
    writer.close()

    assert msgspec.json.decode(said_back, type=d.Bye) == d.Bye(Code("bad_message"))
    assert house.source.asked == []


@pytest.mark.parametrize(
    "said",
    [b'{"type":"ask","id":1,"intent":{"intent":"open_press"}}\n',
     b'{"type":"ask","id":1,"intent":{"intent":"advance","seen":"later"}}\n', *NONSENSE],
)  # fmt: skip
async def test_desk_ends_the_line_of_a_viewer_that_says_nonsense(house: House, said: bytes) -> None:
    """Nothing is done, and it no longer counts as a viewer."""
    reader, writer = await house.raw()
    writer.write(GREETING)
    assert b"welcome" in await within(reader.readline())
    writer.write(said)
    last = (await within(reader.read())).splitlines()[-1]
    writer.close()
    await house.until(lambda: house.server.desk()[2] == 0)

    assert msgspec.json.decode(last, type=d.Bye) == d.Bye(Code("bad_message"))
    assert house.source.asked == []


async def test_desk_gives_every_viewer_a_name_of_its_own(house: House) -> None:
    """Two windows of one person are two viewers; control characters are left out."""
    names = [(await house.viewer(name))[1].viewer for name in ("ana", "ana", "a\x1bn\na", "")]

    assert names == ["ana", "ana (2)", "ana (3)", getpass.getuser()]
    assert house.server.desk()[2] == 4


async def test_desk_takes_a_bounded_number_of_viewers(house: House) -> None:
    """The next one hears why."""
    for number in range(VIEWERS_MOST):
        await house.viewer(f"v{number}")
    with pytest.raises(TawnyError, match=f"{VIEWERS_MOST} viewers watch this press already"):
        await house.viewer("one more")


async def test_desk_says_goodbye_before_it_closes(house: House) -> None:
    """The viewer's messages end with the reason."""
    client, _ = await house.viewer("ana")
    await house.server.close(Code("quit"))
    got = [message async for message in client.messages()]

    assert got[-1] == d.Bye(Code("quit"))


# Intents.
