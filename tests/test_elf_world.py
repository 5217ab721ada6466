"""The board's compiled image in the simulated world: pins heat the mould, and its EEPROM lasts."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
import serial
from msgspec.structs import replace

from tawny.cli.firmware import THIS_CHECKOUT, elf_boards
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import BoardState, Half, ResetCause
from tawny.errors import LinkError, SettingsError
from tawny.sim import commands as c
from tawny.sim import parameters
from tawny.sim.checkout import image_path
from tawny.sim.chip import Pin
from tawny.sim.commission import Measure, measure
from tawny.sim.elf import ElfBoard
from tawny.sim.hand import NearHand
from tawny.sim.small_host import SmallHost
from tawny.sim.world import World

SAUCER = parameters.load("saucer-160")
WITHIN_S = 30.0


def world_of(memory: Path | None = None, *, commissioned: bool = True) -> World:
    """A warm saucer mould with the real image."""
    boards = elf_boards(THIS_CHECKOUT, SAUCER, memory)
    return World(SAUCER, start_c=60.0, boards=boards, commissioned=commissioned)


def board_of(world: World) -> ElfBoard:
    """The board that runs the image."""
    assert isinstance(world.board, ElfBoard)
    return world.board


def armed(world: World) -> SmallHost:
    """A host that has armed the board with a hand."""
    host = SmallHost(world)
    host.arm()
    return host


def heat(host: SmallHost, seconds: float) -> None:
    """Send duty lines so long."""
    for _ in range(round(seconds / 0.4)):
        host.heat()
        host.live(350)


def test_elf_world_heats_what_the_pins_deliver() -> None:
    """Heat is the time that a heater's pin was high, times its power, and telemetry agrees."""
    world = world_of()
    host = armed(world)
    before_ms = board_of(world).delivered(world.board_ms)
    heat(host, 10.0)
    host.rest()
    host.live(600)
    after_ms = board_of(world).delivered(world.board_ms)
    given_ms = [b - a for a, b in zip(before_ms, after_ms, strict=True)]
    assert given_ms == pytest.approx([3000.0, 3000.0], abs=350.0)
    watts = (SAUCER.upper.heater_w, SAUCER.lower.heater_w)
    wanted_j = sum(ms / 1000.0 * watt for ms, watt in zip(given_ms, watts, strict=True))
    assert world.mould.given_j == pytest.approx(wanted_j, rel=0.02)
    assert host.tele is not None
    # Each of the 20 pulses may be a tick of half a millisecond late.
    assert [host.tele.uo, host.tele.lo] == pytest.approx(given_ms, abs=10.0)


def test_elf_world_needs_the_train_for_its_contactor() -> None:
    """In with the train; out soon after the pin stands still, though a heater's pin stays high."""
    world = world_of()
    host = armed(world)
    scene = world.scene()
    assert (scene.state, scene.contactor) == ("armed", True)
    heat(host, 2.0)
    board = board_of(world)
    # The tick, and with it everything that the image does, stands still.
    board.chip.call("store", 0x6F, 0)  # TIMSK1
    board.chip.call("store", 0x2B, 0x6E)  # PORTD: both heaters high, train low
    world.advance(world.now_ms + 60)  # the watchdog has not yet bitten
    assert board.chip.call("level", Pin.HEATER_UPPER)
    assert not world.scene().contactor


def test_elf_world_gives_no_heat_back_with_the_mains() -> None:
    """Mains lost and back: locked, ready again, no heat and no contactor without a person."""
    world = world_of()
    host = armed(world)
    heat(host, 2.0)
    hand = NearHand(world)
    assert hand.mains(on=False).done
    heat_refused(host, 2.0)
    assert world.scene().state == "locked"
    assert hand.mains(on=True).done
    before_j = world.mould.given_j
    heat_refused(host, 5.0)
    scene = world.scene()
    assert (scene.state, scene.contactor, scene.first_out) == ("ready", False, "none")
    assert world.mould.given_j == before_j


def heat_refused(host: SmallHost, seconds: float) -> None:
    """Send duty lines that the board must refuse, and zeros that keep the session."""
    for _ in range(round(seconds / 0.4)):
        with pytest.raises(LinkError, match="refused"):
            host.heat()
        host.rest()
        host.live(300)


def test_elf_world_opens_at_its_limit_thermostat() -> None:
    """The chain's sense behind the thermostats goes dead: tripped, out of hand's reach."""
    world = world_of()
    armed(world)
    assert NearHand(world).thermostat(opened=True).done
    world.advance(world.now_ms + 500)
    scene = world.scene()
    assert (scene.state, scene.first_out, scene.contactor) == ("tripped", "chain", False)
    assert scene.sound in {"alarm", "unclear"}


@pytest.mark.parametrize("cause", list(ResetCause))
def test_elf_world_restarts_by_cause(cause: ResetCause) -> None:
    """A reset in mid-heat comes up dark and says why."""
    world = world_of()
    host = armed(world)
    heat(host, 2.0)
    world.restart(cause)
    assert not board_of(world).chip.call("level", Pin.HEATER_UPPER)
    world.take()
    world.advance(world.now_ms + 3000)
    lines = world.take().split(b"\n")[:-1]
    said = [wire.decode_from_board(line) for line in lines]
    boots = [one for one in said if isinstance(one, m.Boot)]
    assert [boot.cause for boot in boots] == [cause.value]
    assert world.scene().state == "locked"
    assert not world.scene().contactor


def test_elf_world_shows_lamp_and_buzzer_from_their_pins() -> None:
    """Each word of `signal` is seen and heard."""
    world = world_of()
    host = armed(world)
    for lamp, sound in (("on", "breathe"), ("blink", "topup"), ("off", "alarm"), ("on", "off")):
        host.ask(lambda s, q, lamp=lamp, sound=sound: m.Signal(s, q, lamp, sound))
        for _ in range(18):
            host.rest()
            host.live(350)
        scene = world.scene()
        assert (scene.lamp, scene.sound) == (lamp, sound)
    assert scene.hot


def test_elf_board_keeps_its_eeprom_in_a_file(tmp_path: Path) -> None:
    """What was commissioned is there in the next run, and a start is counted."""
    memory = tmp_path / "board-memory.json"
    boots = []
    for _ in range(2):
        host = armed(world_of(memory))
        mould = host.ask(lambda s, q: m.MouldAsk(s, q, 0))
        assert isinstance(mould, m.Mould)
        found = measure(SAUCER)
        assert (mould.ur, mould.ll) == (
            round(found.half(Half.UPPER).rise_k_per_s * 1000),
            round(found.half(Half.LOWER).lag_s * 10),
        )
        host.live(1000)
        assert host.here is not None
        boots.append(host.here.boot)
    assert boots[1] == boots[0] + 1
    assert not memory.exists()
    kept = tmp_path / "board-memory.json.eeprom"
    kept.write_bytes(b"short")
    with pytest.raises(SettingsError, match=r"board-memory.json.eeprom .*5 bytes"):
        world_of(memory)


def test_elf_board_is_commissioned_in_a_later_run(tmp_path: Path) -> None:
    """A first run without a mould leaves one that knows none: the next run gives it one."""
    memory = tmp_path / "board-memory.json"
    host = SmallHost(world_of(memory, commissioned=False))
    host.live(3000)
    assert host.stat is not None
    assert host.stat.why == "session"
    assert isinstance(host.ask(lambda _s, q: m.Hello(q, m.PROTOCOL_MAJOR, "00000001")), m.Here)
    host.live(1500)
    assert host.stat.why == "mould"
    assert (tmp_path / "board-memory.json.eeprom").exists()

    armed(world_of(memory))


def test_elf_board_outlives_a_commissioning_that_was_cut(tmp_path: Path) -> None:
    """Ended between its halves, it leaves no file behind: the next run begins anew."""
    memory = tmp_path / "board-memory.json"
    boards = elf_boards(THIS_CHECKOUT, SAUCER, memory)
    assert boards is not None
    found = measure(SAUCER)
    no_half = replace(found.half(Half.LOWER), rise_k_per_s=6.0)  # above what a board takes
    with pytest.raises(LinkError, match="refuses to be commissioned"):
        boards.commission(Measure(found.half(Half.UPPER), no_half), 1)
    boards.board.advance(boards.board.now_ms + 1000)  # the first half is written by then
    assert boards.knows_a_mould()
    assert list(tmp_path.iterdir()) == []

    armed(world_of(memory))


def test_elf_board_that_is_tripped_is_commissioned_and_stays_tripped(tmp_path: Path) -> None:
    """A latch of an earlier run lasts; it is no reason to end with an error."""
    memory = tmp_path / "board-memory.json"
    world = world_of(memory, commissioned=False)
    world.advance(3000)
    assert NearHand(world).thermostat(opened=True).done
    world.advance(world.now_ms + 2000)
    assert world.scene().first_out == "chain"

    world = world_of(memory)
    host = SmallHost(world)
    host.live(3000)
    assert (world.scene().state, world.scene().first_out) == ("tripped", "chain")
    here = host.ask(lambda _s, q: m.Hello(q, m.PROTOCOL_MAJOR, "00000001"))
    assert isinstance(here, m.Here)
    mould = host.ask(lambda _s, q: m.MouldAsk(here.s, q, 0))
    assert isinstance(mould, m.Mould)
    assert mould.ur > 0


def test_elf_board_wants_a_file_it_can_read(tmp_path: Path) -> None:
    """A folder where its file should lie is named, with what to do."""
    (tmp_path / "board-memory.json.eeprom").mkdir()
    with pytest.raises(SettingsError, match=r"json.eeprom .*directory\): delete or move it"):
        world_of(tmp_path / "board-memory.json")


def test_elf_board_shows_the_mould_in_the_press() -> None:
    """The identity resistor of the mould gives its step."""
    world = world_of()
    host = SmallHost(world)
    host.live(3000)
    assert host.stat is not None
    assert host.stat.ident == SAUCER.identity > 0


def test_elf_world_is_the_same_each_time() -> None:
    """Every byte repeats with the seed."""

    def lines() -> bytes:
        world = world_of()
        world.advance(3000)
        world.apply(c.PressNext())
        world.advance(6000)
        return world.take()

    assert lines() == lines()


def test_elf_world_measures_time_in_cycles() -> None:
    """The board's clock and the world's agree to the start's own length."""
    world = world_of()
    host = SmallHost(world)
    host.live(8000)
    assert host.tele is not None
    assert 0 <= world.board_ms - host.tele.ms < 800


@pytest.mark.slow
def test_demo_presses_a_part_on_the_real_image(tmp_path: Path) -> None:
    """The whole program on the compiled image: a part, no alarm, marked SIMULATED."""
    command = ["demo", "--headless", "--parts", "1", "--pace", "max", "--firmware"]
    done = subprocess.run(
        [sys.executable, "-m", "tawny", "--home", str(tmp_path / "home"), *command],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (part,) = map(json.loads, done.stdout.splitlines())
    assert (part["result"], part["alarms"], part["simulated"]) == ("complete", [], True)


def test_board_simulate_runs_the_image_behind_a_port(tmp_path: Path) -> None:
    """A host that opens the port talks to the compiled image, which names its own build."""
    link = tmp_path / "board"
    elf = image_path_of_saucer()
    command = ["board", "simulate", "--link", str(link), "--pace", "5", "--firmware", str(elf)]
    process = subprocess.Popen(
        [sys.executable, "-m", "tawny", *command], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        assert "SIMULATED" in process.stdout.readline()
        with serial.Serial(str(link), 38400, timeout=0.2, exclusive=True) as port:
            port.write(wire.encode(m.Hello(1, m.PROTOCOL_MAJOR, "00000001")))
            here = hear_here(port)
        assert here.s != "0000"
    finally:
        process.terminate()
        process.wait(WITHIN_S)
        if process.stdout is not None:
            process.stdout.close()


def image_path_of_saucer() -> Path:
    """The image that fits the saucer mould."""
    from tawny.sim.build import build_for

    return image_path(build_for(SAUCER))


def hear_here(port: serial.Serial) -> m.Here:
    """Read until the board greets."""
    stop_s = time.monotonic() + WITHIN_S
    while time.monotonic() < stop_s:
        said = wire.decode_from_board(port.readline().rstrip(b"\n"))
        if isinstance(said, m.Here):
            return said
        port.write(wire.encode(m.Hello(1, m.PROTOCOL_MAJOR, "00000001")))
    raise AssertionError("no greeting")


def test_elf_board_tells_of_an_image_that_stops() -> None:
    """An image that fails ends the simulation with a sentence that says where."""
    world = world_of()
    world.advance(2000)
    board = board_of(world)
    board.chip.call("store", 0x5F, 0)  # SREG: interrupts off, asleep for ever
    with pytest.raises(LinkError, match="sleeps with interrupts off at 0x"):
        world.advance(3000)


def test_states_of_the_board_have_their_words() -> None:
    """The state read from the line is one of the words that the host knows."""
    world = world_of()
    seen = set()
    for _ in range(40):
        world.advance(world.now_ms + 50)
        seen.add(world.scene().state)
    assert seen == {BoardState.BOOT.value, BoardState.SELFTEST.value, BoardState.LOCKED.value}
