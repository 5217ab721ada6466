"""The desk over real Unix sockets: viewers, the seat, take-over, and viewers that hang."""

from __future__ import annotations

import asyncio
import getpass
import os
import socket
import stat
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import Future
from contextlib import asynccontextmanager
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest

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
from tawny.desk.seat import Desk
from tawny.desk.server import ASKS_MOST, SLOW_S, VIEWERS_MOST, DeskServer
from tawny.desk.socket_file import listen_at
from tawny.errors import BusyError, InputError, TawnyError

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
        client = DeskClient(self.path, name=name, desk=desk)
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


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[House]:
    """An owner's desk in a folder of its own."""
    async with desk_at(tmp_path / "desk.sock") as made:
        yield made


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


def test_desk_is_empty_from_the_start_and_while_nobody_sits() -> None:
    """Its emptiness is counted from when the owner began."""
    desk = Desk(100.0)

    assert desk.look(100.0) == ("", 0.0, 0)
    assert desk.empty_s(160.0) == 60.0
    assert desk.free(100.0)


def test_desk_is_empty_when_its_viewer_has_not_pinged_for_2_s() -> None:
    """Counted from its last ping; the next ping fills it again."""
    desk = Desk(0.0)
    desk.sit("ana", 100.0)
    assert desk.empty_s(102.0) == 0.0
    assert not desk.free(102.0)
    assert desk.empty_s(102.1) == pytest.approx(2.1)
    assert desk.free(102.1)
    assert desk.holder == "ana"
    desk.ping("ana", 110.0)

    assert desk.empty_s(111.0) == 0.0


def test_desk_is_empty_at_once_when_its_viewer_leaves() -> None:
    """Since it was last seen; another viewer's pings or leaving change nothing."""
    desk = Desk(0.0)
    desk.sit("ana", 100.0)
    desk.ping("ben", 101.0)
    desk.leave("ben")
    assert desk.holder == "ana"
    desk.ping("ana", 101.0)
    desk.leave("ana")

    assert desk.look(101.5) == ("", pytest.approx(0.5), 0)


def test_desk_goes_to_whoever_takes_it() -> None:
    """One alone sits there."""
    desk = Desk(0.0)
    desk.sit("ana", 1.0)
    desk.sit("ben", 2.0)
    desk.ping("ana", 3.5)

    assert desk.holder == "ben"
    assert desk.empty_s(4.5) == pytest.approx(2.5)


# The socket.


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


def point(host_s: float) -> TrendPoint:
    """One second of the trend."""
    return TrendPoint(host_s, 0, 179.0, 181.0, None, None, 180.0, 215.0, Phase.HOLD)


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


async def test_desk_answers_each_intent_with_what_the_core_said(house: House) -> None:
    """Accepted, or refused with the core's own reason; the core hears who asked."""
    client, _ = await house.viewer("ana")
    assert (await client.ask(intents.Arm())).accepted
    house.source.answer = Answered(accepted=False, reason=Code("not_ready", {"lock_reason": "x"}))
    answer = await client.ask(intents.Advance(seen=Phase.FILL))

    assert (answer.accepted, answer.reason) == (False, Code("not_ready", {"lock_reason": "x"}))
    assert house.source.asked == [
        ("ana", intents.Arm()),
        ("ana", intents.Advance(seen=Phase.FILL)),
    ]


async def test_desk_refuses_whoever_is_not_there_but_for_heat_off(house: House) -> None:
    """Doubt goes to heat off: that is taken from anybody."""
    await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    for intent in (intents.Arm(), intents.Quit(), intents.Acknowledge(), intents.Confirm()):
        answer = await ben.ask(intent)
        assert (answer.accepted, answer.reason) == (False, Code("not_at_desk"))
    assert house.source.asked == []

    assert (await ben.ask(intents.HeatOff())).accepted
    assert house.source.asked == [("ben", intents.HeatOff())]
    assert house.server.desk()[0] == "ana"


async def test_desk_is_taken_over_on_asking(house: House) -> None:
    """The one there now loses it, and may take it back."""
    ana, _ = await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    assert (await ben.ask(intents.TakeDesk())).accepted
    assert house.server.desk()[0] == "ben"

    assert not (await ana.ask(intents.Arm())).accepted
    assert (await ben.ask(intents.Arm())).accepted
    assert (await ana.ask(intents.TakeDesk())).accepted
    assert house.server.desk()[0] == "ana"


async def test_desk_seats_the_first_who_wants_it_and_no_onlooker(house: House) -> None:
    """A viewer that only watches leaves the desk empty."""
    await house.viewer("wall", desk=False)
    assert house.server.desk()[0] == ""
    await house.viewer("ana")
    await house.viewer("ben")

    assert house.server.desk() == ("ana", 0.0, 3)


async def test_desk_that_is_empty_seats_whoever_acts(house: House) -> None:
    """With nobody there, a viewer that asks for something has sat down."""
    ana, _ = await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    await ana.close()
    await house.until(lambda: house.server.desk()[0] == "")

    assert (await ben.ask(intents.Confirm())).accepted
    assert house.server.desk()[0] == "ben"


async def test_desk_seats_a_newcomer_when_the_one_there_hangs(house: House) -> None:
    """A terminal that hangs does not keep the operator out."""
    ana, _ = await house.viewer("ana")
    ana._tasks[1].cancel()  # noqa: SLF001 - stops pinging, as a stopped process does
    house.clock.now_s += 2.5
    assert house.server.desk() == ("ana", 2.5, 1)
    await house.viewer("ana")

    assert house.server.desk() == ("ana (2)", 0.0, 2)


async def test_desk_hears_pings_while_the_viewer_takes_messages(house: House) -> None:
    """A viewer that draws is there; one that no longer takes its messages is not."""
    client, _ = await house.viewer("ana")
    house.clock.now_s += 10.0
    await house.until(lambda: house.server.desk()[1] == 0.0)
    client._alive_s -= 100.0  # noqa: SLF001 - as if nothing had been drawn for long
    house.clock.now_s += 10.0
    await asyncio.sleep(1.2)
    assert house.server.desk()[1] == pytest.approx(10.0)
    client.alive()

    await house.until(lambda: house.server.desk()[1] == 0.0)


async def test_desk_counts_its_emptiness_from_a_dropped_line(house: House) -> None:
    """A closed terminal or a dropped connection: empty since then."""
    client, _ = await house.viewer("ana")
    await client.close()
    await house.until(lambda: house.server.desk()[2] == 0)
    house.clock.now_s += 10.0

    assert house.server.desk() == ("", pytest.approx(10.0), 0)
    assert house.server.desk_empty_s(house.clock.now_s) == pytest.approx(10.0)


async def test_desk_viewer_that_goes_does_not_cancel_what_is_being_answered(house: House) -> None:
    """The service thread sets its answer later, and must not stumble over it."""
    house.source.answer = None
    client, _ = await house.viewer("ana")
    asking = asyncio.create_task(client.ask(intents.Arm()))
    await house.until(lambda: len(house.source.open) == 1)
    await client.close()
    with pytest.raises(ConnectionResetError):
        await asking
    await house.until(lambda: house.server.desk()[2] == 0)
    (future,) = house.source.open

    assert not future.cancelled()
    future.set_result(Answered(accepted=True))


async def test_desk_bounds_what_one_viewer_may_leave_open_but_never_heat_off(
    house: House,
) -> None:
    """A held key fills no queue; heat off goes through all the same."""
    house.source.answer = None
    reader, writer = await house.raw()
    writer.write(b'{"type":"hello","version":1,"name":"ana","desk":true}\n')
    await within(reader.readline())
    for number in range(ASKS_MOST + 5):
        writer.write(msgspec.json.encode(d.Ask(number, intents.Mark())) + b"\n")
    writer.write(msgspec.json.encode(d.Ask(99, intents.HeatOff())) + b"\n")
    await house.until(lambda: len(house.source.asked) == ASKS_MOST + 1)
    writer.close()

    assert house.source.asked[-1] == ("ana", intents.HeatOff())
    for future in house.source.open:
        future.set_result(Answered(accepted=True))


# Viewers that hang.


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
