"""What the simulated board remembers, and the channel on which a hand is played."""

from __future__ import annotations

import threading
from pathlib import Path

import msgspec
import pytest

from sim_operator import SAUCER, operator
from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut, Half, ResetCause
from tawny.errors import BusyError, PortError, SettingsError
from tawny.sim import commands as c
from tawny.sim.commission import measure
from tawny.sim.control import Door, answer_line
from tawny.sim.hand import FarHand, Hand, NearHand
from tawny.sim.memory import Memory
from tawny.sim.sensor import SensorFault
from tawny.sim.world import World


def test_sim_hand_restart_keeps_the_memory_and_the_latch() -> None:
    """The board comes up with its cause, its latch and its slots."""
    someone = operator()
    someone.hand.thermostat(opened=True)
    someone.hand.restart(ResetCause.WATCHDOG)
    someone.live(2.4)
    boots = [said for said in someone.heard if isinstance(said, m.Boot)]
    assert [(boot.cause, boot.latch) for boot in boots] == [
        ("power", "none"),
        ("watchdog", "chain"),
    ]
    assert someone.tele.st == "tripped"


def test_sim_hand_memory_outlives_the_process(tmp_path: Path) -> None:
    """A file keeps latch, slots, trip point, log and counts; a damaged one is refused."""
    path = tmp_path / "eeprom.json"
    world = World(SAUCER, memory=Memory(path))
    world.advance(3000)
    NearHand(world).thermostat(opened=True)
    again = World(SAUCER, memory=Memory(path))
    again.advance(3000)
    contents = again.memory.contents
    assert again.board.state is BoardState.TRIPPED
    assert contents.latch is FirstOut.CHAIN
    assert contents.boots == 2
    assert contents.slots[1].upper is not None
    assert [entry.code for entry in contents.log] == ["boot", "trip", "boot"]

    path.write_text("{}x")
    with pytest.raises(SettingsError, match=r"eeprom\.json"):
        Memory(path)


def test_sim_hand_ships_commissioned_by_its_own_model() -> None:
    """R, lag and heat-up time are those that heating the model finds; or none at all."""
    measured = measure(SAUCER).upper
    slot = World(SAUCER).memory.contents.slots[1].upper
    assert slot is not None
    assert slot.rise == pytest.approx(measured.rise_k_per_s * 1000, abs=0.5)
    assert slot.lag == pytest.approx(measured.lag_s * 10, abs=0.5)
    assert slot.heat_up == pytest.approx(measured.heat_up_s, abs=0.5)
    bare = World(SAUCER, commissioned=False)
    assert bare.memory.contents.slots == {}
    assert bare.memory.contents.slot_in_use == 0


# The control channel.


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b'{"do": "dance"}', "dance"),
        (b'{"do": "press_arm", "hold": 3}', "hold"),
        (b'{"do": "press_arm", "hold_ms": 0}', "hold_ms"),
        (b'{"do": "sensor", "half": "middle", "fault": "open"}', "half"),
        (b'{"do": "load_charge", "residue_g": "34 g", "water_g": 8}', "residue_g"),
        (b'{"do": "line_noise", "bit_error_rate": 2}', "bit_error_rate"),
        (b"open the mould", "malformed"),
        (b"", "truncated"),
    ],
)
def test_sim_hand_control_answers_nonsense_with_a_reason(line: bytes, said: str) -> None:
    """Every line is answered; a mistake names what is wrong and does nothing."""
    world = World(SAUCER)
    before = world.scene()
    answer = msgspec.json.decode(answer_line(line, world.apply), type=c.Answer)
    assert not answer.done
    assert said in answer.why
    assert world.scene() == before


def test_sim_hand_far_does_what_near_does(tmp_path: Path) -> None:
    """Over the socket each deed is carried out and answered in the same way."""
    near = NearHand(World(SAUCER, seed=2, start_c=100.0))
    world = World(SAUCER, seed=2, start_c=100.0)
    door = Door(tmp_path / "hand.sock")
    assert door.path.stat().st_mode & 0o777 == 0o600

    def serve() -> None:
        client = door.accept()
        while client.serve(world.apply):
            pass
        client.socket.close()

    thread = threading.Thread(target=serve)
    thread.start()
    far = FarHand(door.path)
    try:
        hands: tuple[Hand, Hand] = (near, far)
        for deed in (
            lambda hand: hand.look(),
            lambda hand: hand.load_charge(residue_g=30.0, water_g=8.0),
            lambda hand: hand.open_mould(),
            lambda hand: hand.load_charge(residue_g=30.0, water_g=8.0),
            lambda hand: hand.sensor(Half.UPPER, SensorFault.STUCK),
            lambda hand: hand.heater(Half.LOWER, c.HeaterFault.OPEN),
            lambda hand: hand.mains(on=False),
            lambda hand: hand.restart(ResetCause.BROWNOUT),
            lambda hand: hand.look(),
        ):
            one, other = (deed(hand) for hand in hands)
            assert one == other
    finally:
        far.close()
        thread.join(5.0)
        door.close()
    assert not door.path.exists()


def test_sim_hand_far_without_a_board_says_so(tmp_path: Path) -> None:
    """No channel: one sentence with the way out."""
    with pytest.raises(PortError, match="--control"):
        FarHand(tmp_path / "nobody.sock")


def test_sim_hand_control_replaces_only_a_dead_channel(tmp_path: Path) -> None:
    """A file is left alone, a live channel too; what a dead process left behind goes."""
    path = tmp_path / "hand.sock"
    path.write_text("mine")
    with pytest.raises(BusyError):
        Door(path)
    assert path.read_text() == "mine"
    path.unlink()
    first = Door(path)
    with pytest.raises(BusyError):
        Door(path)
    first.socket.close()  # as a process that was killed leaves it
    Door(path).close()
