"""What goes wrong around a running press: full disks, strangers on the port, second copies."""

from __future__ import annotations

import asyncio
import os
import pty
import shutil
import signal
import subprocess
import threading
import tty
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from live_press import WITHIN_S, LivePress, tawny
from rig import Rig
from small_disk import small_disk
from tawny.core import messages as m
from tawny.core.intents import Acknowledge, Advance, HeatOff, Quit
from tawny.core.names import LinkStatus, Phase, Result
from tawny.core.record import GAP
from tawny.core.snapshot import Snapshot
from tawny.core.wire import Fault, decode_to_board, encode
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home
from tawny.store.codes import part_code
from tawny.store.reader import Reader
from tawny.words import sentences

TELE = m.Tele(1, 3000, 221, 0x0161_1600, 1, 0, 221, 0x0161_1600, 1, 0, "ready", "none", 0x20, 3, 0)


def test_upset_full_disk_in_mid_press_alarms_and_loses_nothing(tmp_path: Path) -> None:
    """Alarm, the pressing goes on to its end, no new one begins; with room all of it is there."""
    with Rig(tmp_path, start_c=178.0) as rig:
        rig.working = True
        rig.person.pressings = 2
        rig.until(Phase.CLOSE)
        pages = rig.store._db.pragma("page_count")  # noqa: SLF001
        rig.store._db.pragma("max_page_count", pages)  # noqa: SLF001 - no page more
        rig.until(Phase.HOLD)
        rig.run(30.0)
        assert "store_full" in rig.alarms()
        snapshot = rig.press.snapshot(rig.lockstep.now_ms)
        assert not snapshot.recording
        assert sentences.alarm_words("store_full", {}).do.startswith("Make room on the disk.")
        assert rig.press.state.cycle.heat_wanted
        assert snapshot.heat

        rig.until(Phase.READY)
        rig.run(120.0)
        assert rig.phase is Phase.READY, "nothing is pressed unrecorded"
        assert rig.press.pressings_ended == 1
        assert not rig.recorder.flush()
        assert rig.store.parts() == []

        rig.store._db.pragma("max_page_count", 1 << 30)  # noqa: SLF001
        rig.until(Phase.FILL)
        assert rig.ask(Acknowledge())
        rig.run(5.0)
        assert "store_full" not in rig.alarms()
    whole(tmp_path, parts=1)


def whole(folder: Path, parts: int) -> None:
    """Assert that a record holds so many good parts, each sound and without a gap."""
    with Reader.open(folder) as reader:
        assert reader.verify().sound
        complete = reader.parts(result=Result.COMPLETE)
        assert [part.part_id for part in complete] == [part_code(n) for n in range(parts, 0, -1)]
        record = reader.pressing(complete[-1].pressing_id).record
        assert record.gaps == ()
        assert record.equivalent_s is not None
        assert not any(entry.kind == GAP for entry in reader.entries())


async def go_on_to(press: LivePress, phase: Phase) -> Snapshot:
    """Tap every two seconds, as slowly as nobody holds a key, until a phase is there."""
    async with asyncio.timeout(WITHIN_S):
        while press.snapshot is None or press.snapshot.phase is not phase:
            seen = await press.until(lambda _: True)
            await press.ask(Advance(seen=seen.phase))
            await asyncio.sleep(2.0 / press.pace)
    return press.snapshot


@pytest.mark.slow
async def test_upset_disk_that_fills_up_under_the_real_processes(tmp_path: Path) -> None:
    """Owner and board outlive a disk without a free byte; with room again the part is whole."""
    with small_disk(tmp_path, "4m") as disk:
        press = LivePress(tmp_path, disk=disk)
        recipe = press.home.recipes / "grain-apple.toml"
        text = recipe.read_text()
        for usual, short in (("4 min", "60 s"), ("3 min", "50 s"), ("6 min", "90 s")):
            text = text.replace(usual, short)
        recipe.write_text(text)
        press.start_board()
        press.start_owner()
        try:
            await press.look()
            await press.start_the_day()
            await go_on_to(press, Phase.CLOSE)
            filler = disk.fill_up()
            await press.until(lambda seen: any(one.alarm == "store_full" for one in seen.alarms))
            await go_on_to(press, Phase.HOLD)
            await press.until(lambda seen: seen.phase is Phase.RELEASE)
            await go_on_to(press, Phase.READY)
            assert press.board is not None
            assert press.board.poll() is None
            filler.unlink()
            shown = await press.until(lambda seen: seen.recording and bool(seen.last_parts))
            assert [part.part_id for part in shown.last_parts] == [part_code(1)]
            assert await press.ask(HeatOff())
            assert await press.ask(Quit())
            assert press.owner is not None
            assert press.owner.wait(10) == 0
        finally:
            await press.leave()
            press.stop()
        shutil.copytree(disk.seen, tmp_path / "after")
        whole(tmp_path / "after", parts=1)


class Stranger:
    """Something on a port that is no press board.

    Args:
        says: What it sends ten times a second.
        answers: What it answers to each line it gets.
    """

    def __init__(self, says: bytes, answers: Callable[[bytes], bytes] = lambda _line: b"") -> None:
        self.heard = b""
        self._says, self._answers = says, answers
        self._end, self._port = pty.openpty()
        tty.setraw(self._port)
        os.set_blocking(self._end, False)
        self.port = os.ttyname(self._port)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(0.1):
            try:
                got = os.read(self._end, 4096)
            except BlockingIOError:
                got = b""
            self.heard += got
            for data in (self._says, *map(self._answers, got.splitlines())):
                try:
                    os.write(self._end, data)
                except BlockingIOError:  # nobody reads
                    continue

    def close(self) -> None:
        """Go away."""
        self._stop.set()
        self._thread.join()
        os.close(self._end)
        os.close(self._port)


def greeted_by_version_2(line: bytes) -> bytes:
    """Answer a greeting as a board of the next protocol version does."""
    hello = decode_to_board(line)
    if isinstance(hello, Fault) or not isinstance(hello, m.Hello):
        return b""
    here = m.Here(hello.q, 2, 0, "9d2f0c11", "5448a1b2c3d40917", 41, "power", "none", "0000")
    return encode(here)


@pytest.fixture
def stranger(request: pytest.FixtureRequest) -> Iterator[Stranger]:
    """Yield a stranger on a port of its own."""
    made = Stranger(*request.param)
    yield made
    made.close()


@asynccontextmanager
async def owner_on(home: Path, port: str) -> AsyncIterator[LivePress]:
    """Yield an owner that was told to use a port, with a viewer at its desk."""
    press = LivePress(home)
    press.start_owner("--port", port)
    try:
        await press.look()
        yield press
    finally:
        await press.leave()
        press.stop()
        assert press.owner.returncode == 0


STRANGERS = {
    "chatter": (b"weather 21.5 C, wind 3 m/s\r\n",),
    "garbage": (bytes(range(256)),),
    "no_line_end": (b"U" * 200,),
    "other_version": (encode(TELE), greeted_by_version_2),
}


@pytest.mark.parametrize(
    ("stranger", "alarm", "told"),
    [
        (STRANGERS["chatter"], "wrong_device", "is not a press board"),
        (STRANGERS["garbage"], "wrong_device", "is not a press board"),
        (STRANGERS["no_line_end"], "wrong_device", "is not a press board"),
        (STRANGERS["other_version"], "version_refused", "protocol version 2, this program 1"),
    ],
    indirect=["stranger"],
    ids=STRANGERS,
)
async def test_upset_stranger_on_the_port_is_an_alarm_and_never_told_to_heat(
    tmp_path: Path, stranger: Stranger, alarm: str, told: str
) -> None:
    """It is refused with a sentence and an alarm; at most a greeting is ever sent to it."""
    async with owner_on(tmp_path, stranger.port) as press:
        seen = await press.until(lambda shown: shown.link.status is LinkStatus.REFUSED)
        assert told in sentences.sentence(seen.sentence)
        seen = await press.until(lambda shown: any(one.alarm == alarm for one in shown.alarms))
        words = sentences.alarm(next(one for one in seen.alarms if one.alarm == alarm))
        assert told in words.what
        assert words.do
        assert not seen.armed
    sent = [decode_to_board(line) for line in stranger.heard.splitlines()]
    assert all(isinstance(line, m.Hello) for line in sent)


@pytest.mark.parametrize("stranger", [(b"",)], indirect=True)
async def test_upset_silent_port_is_told_and_nothing_is_sent(
    tmp_path: Path, stranger: Stranger
) -> None:
    """A port behind which nobody speaks: where it looks, what to check, and not one byte."""
    async with owner_on(tmp_path, stranger.port) as press:
        seen = await press.until(lambda shown: shown.link.reason is not None)
        assert seen.link.reason is not None
        assert sentences.cause(seen.link.reason) == "Nothing answers on this port yet."
        assert "Check that its USB plug is in." in sentences.sentence(seen.sentence)
    assert stranger.heard == b""


@pytest.mark.parametrize(
    ("port", "told"),
    [
        ("/dev/none", "There is no port /dev/none."),
        ("/dev/null", "/dev/null is not a serial port that can be used."),
        ("socket://localhost:1", "socket://localhost:1 cannot be reached."),
    ],
)
async def test_upset_port_that_cannot_be_opened_is_told(
    tmp_path: Path, port: str, told: str
) -> None:
    """The owner stays, says why, and tries again; nothing falls over."""
    async with owner_on(tmp_path, port) as press:
        seen = await press.until(lambda shown: shown.link.reason is not None)
        assert seen.link.reason is not None
        assert sentences.cause(seen.link.reason).startswith(told)
        assert seen.link.status is LinkStatus.CLOSED


async def test_upset_second_copy_on_the_same_board_is_told_who_has_it(tmp_path: Path) -> None:
    """From another home folder: the port is busy, the process that holds it is named."""
    first = LivePress(tmp_path / "a")
    first.start_board()
    first.start_owner()
    try:
        await first.look()
        await first.until(lambda shown: shown.link.status is LinkStatus.UP)
        async with owner_on(tmp_path / "b", os.fspath(tmp_path / "a" / "board")) as second:
            seen = await second.until(lambda shown: shown.link.reason is not None)
            assert seen.link.reason is not None
            assert first.owner is not None
            words = sentences.cause(seen.link.reason)
            assert f"(pid {first.owner.pid}). End that program." in words
        await first.until(lambda shown: shown.link.status is LinkStatus.UP)
    finally:
        await first.leave()
        first.stop()


def test_upset_second_copy_in_the_same_home_is_refused(tmp_path: Path) -> None:
    """Every way to start: the sentence names the process and the folder, code 2."""
    home = lay_demo(Home(tmp_path))
    with Rig(tmp_path):
        for words in (["serve"], ["demo", "--headless", "--parts", "1", "--pace", "max"]):
            ran = subprocess.run(
                tawny(*words, "--home", os.fspath(home.root)),
                capture_output=True,
                text=True,
                check=False,
            )
            assert ran.returncode == 2
            assert ran.stdout == ""
            said = f"process {os.getpid()} already uses {home.root}; close it first, or use"
            assert ran.stderr.startswith(said)
            assert len(ran.stderr.splitlines()) == 1


def test_upset_signals_end_the_owner_in_good_order(tmp_path: Path) -> None:
    """SIGTERM ends it with a whole record and code 0; SIGHUP, a closed terminal, does not."""
    home = lay_demo(Home(tmp_path))
    owner = subprocess.Popen(tawny("serve", "--home", os.fspath(home.root), "--port", "/dev/none"))
    try:
        asyncio.run(attached(home))
        owner.send_signal(signal.SIGHUP)
        asyncio.run(attached(home))
        assert owner.poll() is None
        owner.send_signal(signal.SIGTERM)
        assert owner.wait(10) == 0
    finally:
        owner.kill()
        owner.wait()
    assert not home.socket.exists()
    with Reader.open(home.root) as reader:
        assert reader.verify().sound


async def attached(home: Home) -> None:
    """Attach a viewer and leave again."""
    press = LivePress(home.root)
    await press.look()
    await press.leave()
