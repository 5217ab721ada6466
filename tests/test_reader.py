"""The reader thread, over ptys: lines in order, back after a replug, and an end in time."""

from __future__ import annotations

import os
import pty
import tty
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from queue import Empty

import pytest

from tawny.core.snapshot import Code
from tawny.errors import BusyError, PortError
from tawny.link.port import Port, open_port
from tawny.link.reader import QUEUE_MOST, Dropped, Heard, Line, Lost, Opened, Reader

WAIT_S = 5.0


class Board:
    """A board's end of a pty, reached by a name that can vanish and return."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self._ends: tuple[int, int] | None = None

    def plug_in(self) -> None:
        """Make a new device and point the name at it."""
        self._ends = pty.openpty()
        tty.setraw(self._ends[1])
        self.name.symlink_to(os.ttyname(self._ends[1]))

    def unplug(self) -> None:
        """End the device, and its name."""
        if self._ends is not None:
            self.name.unlink()
            for end in self._ends:
                os.close(end)
        self._ends = None

    def say(self, data: bytes) -> None:
        """Send bytes to the host."""
        assert self._ends is not None
        os.write(self._ends[0], data)

    def hear(self) -> bytes:
        """Take what the host wrote."""
        assert self._ends is not None
        return os.read(self._ends[0], 1000)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    """A board, unplugged."""
    made = Board(tmp_path / "press")
    yield made
    made.unplug()


@pytest.fixture
def start() -> Iterator[Callable[..., Reader]]:
    """Starts readers and stops them afterwards."""
    readers: list[Reader] = []

    def started(url: object, *, open_one: Callable[[str], Port] = open_port) -> Reader:
        ticks = count(0, 10)
        reader = Reader(str(url), lambda: next(ticks), open_one)
        reader.start()
        readers.append(reader)
        return reader

    yield started
    for reader in readers:
        assert reader.stop()


def upto(reader: Reader, kind: type[Heard]) -> list[Heard]:
    """Everything heard, up to and with the first of a kind."""
    heard = [reader.queue.get(timeout=WAIT_S)]
    while not isinstance(heard[-1], kind):
        heard.append(reader.queue.get(timeout=WAIT_S))
    return heard


def test_reader_hands_over_lines_in_order_with_their_times(
    board: Board, start: Callable[..., Reader]
) -> None:
    """Opened first, then each line without its LF, times never going back."""
    board.plug_in()
    reader = start(board.name)
    heard = upto(reader, Opened)
    board.say(b"done q=1 crc=00000000\ndone q")
    board.say(b"=2 crc=00000000\n")
    heard += upto(reader, Line) + upto(reader, Line)

    assert [event.data for event in heard if isinstance(event, Line)] == [
        b"done q=1 crc=00000000",
        b"done q=2 crc=00000000",
    ]
    assert [event.host_ms for event in heard] == sorted(event.host_ms for event in heard)


def test_reader_writes_to_the_board(board: Board, start: Callable[..., Reader]) -> None:
    """A write goes straight to the port; before it is open nothing is written."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)
    board.say(b"x\n")
    upto(reader, Line)

    assert reader.write(b"bye\n")
    assert board.hear() == b"bye\n"


def test_reader_writes_nothing_without_a_port(board: Board, start: Callable[..., Reader]) -> None:
    """False, and no exception."""
    reader = start(board.name)
    upto(reader, Lost)

    assert not reader.write(b"bye\n")


def test_reader_comes_back_after_a_replug(board: Board, start: Callable[..., Reader]) -> None:
    """The name vanishes and returns as another device: lost, absent, opened, lines."""
    board.plug_in()
    reader = start(board.name)
    for _ in range(2):
        upto(reader, Opened)
        board.say(b"hello\n")
        upto(reader, Line)
        board.unplug()
        gone, absent = upto(reader, Lost)[-1], upto(reader, Lost)[-1]
        assert isinstance(gone, Lost)
        assert gone.reason.code == "port_gone"
        assert isinstance(absent, Lost)
        assert absent.reason.code == "port_absent"
        board.plug_in()
    upto(reader, Opened)
    board.say(b"again\n")

    assert upto(reader, Line)[-1].data == b"again"  # type: ignore[attr-defined]


def test_reader_starts_a_line_afresh_after_a_replug(
    board: Board, start: Callable[..., Reader]
) -> None:
    """Half a line from before does not join what comes after."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)
    board.say(b"one\nhal")
    upto(reader, Line)
    board.unplug()
    upto(reader, Lost)
    board.plug_in()
    upto(reader, Opened)
    board.say(b"two\n")

    assert upto(reader, Line)[-1].data == b"two"  # type: ignore[attr-defined]


def test_reader_counts_lines_too_long_and_never_keeps_them(
    board: Board, start: Callable[..., Reader]
) -> None:
    """A device that never ends a line costs no memory."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)
    board.say(b"x" * 1000)
    board.say(b"y" * 1000 + b"\nshort\n")
    heard = upto(reader, Line)
    dropped = [event.count for event in heard if isinstance(event, Dropped)]
    while sum(dropped) < 1:
        dropped.append(upto(reader, Dropped)[-1].count)  # type: ignore[attr-defined]

    assert heard[-1] == Line(heard[-1].host_ms, b"short")
    assert sum(dropped) == 1


def test_reader_drops_a_line_whose_rest_never_comes(
    board: Board, start: Callable[..., Reader]
) -> None:
    """After a silent read the half line is counted as dropped, and the next one is whole."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)
    board.say(b"done q=1")

    assert upto(reader, Dropped)[-1].count == 1  # type: ignore[attr-defined]
    board.say(b"whole\n")
    assert upto(reader, Line)[-1].data == b"whole"  # type: ignore[attr-defined]


def test_reader_takes_a_failed_write_for_a_lost_port(
    board: Board, start: Callable[..., Reader]
) -> None:
    """The reader alone closes the port, and opens it again."""
    opened: list[Port] = []

    def open_one(url: str) -> Port:
        opened.append(open_port(url))
        return opened[-1]

    board.plug_in()
    reader = start(board.name, open_one=open_one)
    upto(reader, Opened)
    board.say(b"x\n")
    upto(reader, Line)
    opened[0].trouble = PortError("takes nothing", code="port_gone")

    assert upto(reader, Lost)[-1].reason == Code("port_gone")  # type: ignore[attr-defined]
    upto(reader, Opened)
    assert len(opened) == 2


def test_reader_is_patient_with_a_busy_port_for_15_s() -> None:
    """A service that tries new ports lets go by itself; only then is it told, by its name."""
    tries = count(1)

    def open_one(url: str) -> Port:
        next(tries)
        raise BusyError("{port} is in use", code="port_busy", port=url, holder="other (pid 7)")

    now_ms = iter([0, 5_000, 14_999, 15_000, 15_001])
    reader = Reader("/dev/ttyUSB0", lambda: next(now_ms, 60_000), open_one)
    reader.start()
    lost = reader.queue.get(timeout=WAIT_S)
    assert reader.stop()

    assert isinstance(lost, Lost)
    assert lost.reason == Code("port_busy", {"port": "/dev/ttyUSB0", "holder": "other (pid 7)"})
    assert next(tries) >= 4


def test_reader_stops_and_lets_the_port_go(board: Board, start: Callable[..., Reader]) -> None:
    """Within its read time; another may open the port then."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)

    assert reader.stop(1.0)
    open_port(str(board.name)).close()
    assert not reader.write(b"x")


def test_reader_keeps_a_bounded_queue_when_nobody_takes_lines(
    board: Board, start: Callable[..., Reader]
) -> None:
    """Lines beyond the bound are counted, and the thread still stops."""
    board.plug_in()
    reader = start(board.name)
    upto(reader, Opened)
    for _ in range(QUEUE_MOST // 100 + 10):
        board.say(b"noise\n" * 100)
    while not reader.queue.full():
        pass
    lines = 0
    try:
        while True:
            event = reader.queue.get(timeout=0.5)
            lines += event.count if isinstance(event, Dropped) else 1
    except Empty:
        pass

    assert lines == QUEUE_MOST // 100 * 100 + 1000
