"""The simulated board behind a pseudo-terminal, in a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

import pytest
import serial

from tawny.core import messages as m
from tawny.core import wire
from tawny.errors import BusyError
from tawny.sim import parameters
from tawny.sim.hand import FarHand
from tawny.sim.pty import LATE_S, Port, Server
from tawny.sim.world import World

WITHIN_S = 15.0
PACE = 20.0


class Start(Protocol):
    """Starts a board in a process of its own."""

    def __call__(self, *options: str) -> subprocess.Popen[str]:
        """Return it once its port is there."""


@pytest.fixture
def link(tmp_path: Path) -> Path:
    """The port's name."""
    return tmp_path / "board"


@pytest.fixture
def start(link: Path) -> Iterator[Start]:
    """Starts boards, and ends those that still run."""
    running: list[subprocess.Popen[str]] = []

    def start_one(*options: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "tawny", "board", "simulate", "--link", str(link), *options],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        running.append(process)
        assert process.stdout is not None
        assert str(link) in process.stdout.readline()
        return process

    yield start_one
    for process in running:
        if process.poll() is None:
            process.kill()
        process.wait(WITHIN_S)
        if process.stdout is not None:
            process.stdout.close()


def opened(link: Path) -> serial.Serial:
    """Open the port as the host does."""
    return serial.Serial(str(link), 38400, timeout=0.2, write_timeout=1.0, exclusive=True)


def read_until(port: serial.Serial, wanted: Callable[[m.FromBoard], bool]) -> list[m.FromBoard]:
    """Read good lines until one is wanted; the first line may be a torn one."""
    found: list[m.FromBoard] = []
    stop_s = time.monotonic() + WITHIN_S
    while time.monotonic() < stop_s:
        line = port.readline()
        message = wire.decode_from_board(line.rstrip(b"\n"))
        if isinstance(message, wire.Fault):
            continue
        found.append(message)
        if wanted(message):
            return found
    raise AssertionError(f"not heard within {WITHIN_S} s: {found[-3:]}")


def hear(port: serial.Serial, kind: type[m.Message]) -> m.FromBoard:
    """Read until a line of a kind."""
    return read_until(port, lambda said: isinstance(said, kind))[-1]


def test_sim_pty_answers_pyserial(start: Start, link: Path) -> None:
    """A host opens the link, hears telemetry, and gets its session with a raw line."""
    start("--pace", str(PACE), "--seed", "3")
    with opened(link) as port:
        hear(port, m.Tele)
        port.write(wire.encode(m.Hello(1, m.PROTOCOL_MAJOR, "00000001")))
        here = hear(port, m.Here)
        assert isinstance(here, m.Here)
        assert here.s != "0000"
        port.write(wire.encode(m.MouldAsk(here.s, 2, 0)))
        mould = hear(port, m.Mould)
        assert isinstance(mould, m.Mould)
        assert mould.ur > 0  # ships commissioned


def test_sim_pty_runs_at_its_pace(start: Start, link: Path) -> None:
    """At pace 20 a wall second holds about twenty of the board's."""
    start("--pace", str(PACE))
    with opened(link) as port:
        first = hear(port, m.Tele)
        began_s = time.monotonic()
        assert isinstance(first, m.Tele)
        read_until(port, lambda said: isinstance(said, m.Tele) and said.ms > first.ms + 20_000)
        wall_s = time.monotonic() - began_s
    assert 0.7 < wall_s < 4.0


def test_sim_pty_survives_its_hosts(start: Start, link: Path) -> None:
    """Hosts come, go, and leave things unread; the board goes on and forgets nothing."""
    process = start("--pace", str(PACE))
    numbers = []
    for _ in range(3):
        with opened(link) as port:
            tele = hear(port, m.Tele)
            assert isinstance(tele, m.Tele)
            numbers.append(tele.n)
        time.sleep(0.3)
    assert process.poll() is None
    assert numbers == sorted(set(numbers))
    assert numbers[2] - numbers[1] > 15  # 0.3 s at pace 20 are 30 lines: it did not wait


def test_sim_pty_drops_what_nobody_reads(start: Start, link: Path) -> None:
    """With a host that never reads, the buffer fills and the board still lives in time."""
    start("--pace", "200")
    with opened(link) as port:
        hear(port, m.Tele)
        time.sleep(1.0)  # 1000 lines of 130 bytes: far beyond a terminal's buffer
        port.reset_input_buffer()
        said = read_until(port, lambda said: isinstance(said, m.Tele) and said.ms > 150_000)
    assert said


def test_sim_pty_is_reset_by_opening_where_asked(start: Start, link: Path) -> None:
    """With --reset-on-open each opening gives a banner with the cause button; without, none."""
    start("--pace", str(PACE), "--reset-on-open")
    boots = []
    for _ in range(2):
        with opened(link) as port:
            boot = hear(port, m.Boot)
            assert isinstance(boot, m.Boot)
            assert boot.cause == "button"
            boots.append(boot.boot)
    assert boots[1] == boots[0] + 1


def test_sim_pty_is_not_reset_by_opening_else(start: Start, link: Path) -> None:
    """Without the option the clock runs on."""
    start("--pace", str(PACE))
    with opened(link) as port:
        first = hear(port, m.Tele)
    with opened(link) as port:
        second = hear(port, m.Tele)
    assert isinstance(first, m.Tele)
    assert isinstance(second, m.Tele)
    assert second.ms > first.ms


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_sim_pty_ends_cleanly(start: Start, link: Path, tmp_path: Path, number: int) -> None:
    """A signal ends it with code 0, and takes link and channel away."""
    control = tmp_path / "hand.sock"
    process = start("--control", str(control))
    assert link.is_symlink()
    assert control.is_socket()
    process.send_signal(number)
    assert process.wait(WITHIN_S) == 0
    assert not link.is_symlink()
    assert not control.exists()


def test_sim_pty_takes_over_a_link_left_behind(start: Start, link: Path) -> None:
    """A killed board leaves its link; the next one replaces it, and only its own goes away."""
    first = start("--pace", str(PACE))
    first.kill()
    first.wait(WITHIN_S)
    assert link.is_symlink()
    second = start("--pace", str(PACE))
    with opened(link) as port:
        hear(port, m.Tele)
    other = link.with_name("other")
    other.symlink_to(os.devnull)
    other.replace(link)
    second.terminate()
    second.wait(WITHIN_S)
    assert link.is_symlink()  # it is no longer that board's


def test_sim_pty_refuses_what_is_no_link(link: Path) -> None:
    """A file of that name is left alone: one sentence, code 2."""
    link.write_text("mine")
    done = subprocess.run(
        [sys.executable, "-m", "tawny", "board", "simulate", "--link", str(link)],
        capture_output=True,
        text=True,
        timeout=WITHIN_S,
        check=False,
    )
    assert done.returncode == BusyError.exit_code == 2
    assert str(link) in done.stderr
    assert done.stderr.count("\n") == 1
    assert link.read_text() == "mine"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--pace", "0"), "pace"),
        (("--pace", "nan"), "pace"),
        (("--mould", "soucer"), "saucer-160"),
    ],
)
def test_sim_pty_refuses_wrong_options(link: Path, options: tuple[str, str], said: str) -> None:
    """One sentence, code 2, no link."""
    done = subprocess.run(
        [sys.executable, "-m", "tawny", "board", "simulate", "--link", str(link), *options],
        capture_output=True,
        text=True,
        timeout=WITHIN_S,
        check=False,
    )
    assert done.returncode == 2
    assert said in done.stderr
    assert not link.is_symlink()


def test_sim_pty_hand_works_it_and_unplugs_it(start: Start, link: Path, tmp_path: Path) -> None:
    """Over the control channel: NEXT counts, the plug takes the port away and brings it back."""
    control = tmp_path / "hand.sock"
    start("--pace", str(PACE), "--control", str(control), "--eeprom", str(tmp_path / "memory"))
    hand = FarHand(control)
    try:
        with opened(link) as port:
            before = hear(port, m.Tele)
            assert isinstance(before, m.Tele)
            assert hand.press_next().done
            read_until(port, lambda said: isinstance(said, m.Tele) and said.k == before.k + 1)
            assert hand.plug(plugged=False).done
            with pytest.raises((serial.SerialException, OSError)):  # noqa: PT012 - it may take a read or two
                for _ in range(100):
                    port.read(4096)
        assert not link.is_symlink()
        assert hand.plug(plugged=True).done
        stop_s = time.monotonic() + WITHIN_S
        while not link.is_symlink() and time.monotonic() < stop_s:
            time.sleep(0.01)
        with opened(link) as port:
            after = hear(port, m.Tele)
            assert isinstance(after, m.Tele)
            assert after.ms > before.ms
    finally:
        hand.close()
    assert (tmp_path / "memory").stat().st_size > 0


def test_sim_pty_port_is_raw_before_it_has_a_name(link: Path) -> None:
    """Whoever opens the link first finds no echo and no translation."""
    port = Port(link)
    try:
        with opened(link) as host:
            port.write(b"a\r\nb\n")
            assert host.read(5) == b"a\r\nb\n"
            host.write(b"\x03x\n")
            stop_s = time.monotonic() + WITHIN_S
            got = b""
            while len(got) < 3 and time.monotonic() < stop_s:
                got += port.read()
            assert got == b"\x03x\n"
            assert host.in_waiting == 0
    finally:
        port.close()


def test_sim_pty_server_does_not_catch_up_lost_time(link: Path) -> None:
    """After a stall (suspended, overloaded) the board's time goes on in pace."""
    world = World(parameters.load("saucer-160"))
    seconds = iter([0.0, 0.1, 3600.1, 3600.2])

    def clock() -> float:
        now_s = next(seconds, None)
        if now_s is None:
            server.stop()
            return 3600.3
        return now_s

    server = Server(world, link, pace=10.0, clock=clock)
    server.run()
    assert world.now_ms == pytest.approx(10_000 * (0.1 + LATE_S + 0.1), abs=1)


def test_sim_pty_server_ends_when_no_host_has_spoken_for_long(link: Path) -> None:
    """A board that was left alone ends by itself, and not before."""
    world = World(parameters.load("saucer-160"))
    now_s = 0.0

    def clock() -> float:
        nonlocal now_s
        now_s += 0.2
        return now_s

    Server(world, link, clock=clock, end_silent_s=30.0).run()
    assert world.now_ms == pytest.approx(30_000, abs=500)
    assert not link.is_symlink()


def test_sim_pty_board_lists_its_moulds() -> None:
    """`tawny board moulds` names each mould that ships."""
    from click.testing import CliRunner

    from tawny.cli.board import group

    done = CliRunner().invoke(group, ["moulds"])
    assert done.exit_code == 0
    assert [line.split()[0] for line in done.output.splitlines()] == list(
        parameters.shipped_moulds()
    )
