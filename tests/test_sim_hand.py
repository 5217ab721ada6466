"""The simulated hand, near and far, and the world it works in."""

from __future__ import annotations

import threading
from pathlib import Path
from zlib import crc32

import msgspec
import pytest

from tawny.core import messages as m
from tawny.core import wire
from tawny.core.framing import Framer
from tawny.core.names import BoardState, FirstOut, Half, ResetCause
from tawny.errors import BusyError, PortError, SettingsError
from tawny.sim import commands as c
from tawny.sim import parameters
from tawny.sim.commission import measure
from tawny.sim.control import Door, answer_line
from tawny.sim.hand import FarHand, Hand, NearHand
from tawny.sim.memory import Memory
from tawny.sim.sensor import SensorFault
from tawny.sim.world import World

SAUCER = parameters.load("saucer-160")


class Operator:
    """A host of few words at a world: greets, arms with a hand, sends duty lines."""

    def __init__(self, world: World) -> None:
        """Greet the board."""
        self.world, self.hand = world, NearHand(world)
        self.framer = Framer(m.FROM_BOARD_MOST_BYTES)
        self.heard: list[m.FromBoard] = []
        self.token, self.q = "0000", 0
        self.live(2.0)
        here = self.ask(m.Hello(0, m.PROTOCOL_MAJOR, "00000001"))
        assert isinstance(here, m.Here)
        self.token = here.s
        self.live(0.4)

    def listen(self) -> list[m.FromBoard]:
        """Return the good lines that arrived."""
        new = [wire.decode_from_board(line) for line in self.framer.feed(self.world.take())]
        good = [said for said in new if not isinstance(said, wire.Fault)]
        self.heard += good
        return good

    def ask(self, message: m.ToBoard) -> m.FromBoard | None:
        """Send a request; return its reply if one came."""
        self.world.receive(wire.encode(message), self.world.now_ms)
        replies = [
            said for said in self.listen() if isinstance(said, m.Here | m.Challenge | m.Done)
        ]
        return replies[0] if replies else None

    def request(self, kind: type[m.ToBoard], *fields: object) -> m.FromBoard | None:
        """Send a request of this session."""
        self.q += 1
        return self.ask(kind(self.token, self.q, *fields))  # type: ignore[call-arg]

    def live(self, seconds: float, duty: int | None = None, setpoint: int = 1800) -> None:
        """Let time pass, with a duty line each 0.4 s once there is a session."""
        end_ms = self.world.now_ms + round(seconds * 1000)
        while self.world.now_ms < end_ms:
            self.world.advance(min(end_ms, self.world.now_ms + 400))
            self.listen()
            if self.token != "0000":  # noqa: S105 - no session
                wanted = (duty, setpoint) * 2 if duty else (0, 0, 0, 0)
                self.request(m.Duty, *wanted, self.tele.n, 1500)

    @property
    def tele(self) -> m.Tele:
        """The newest telemetry."""
        return next(said for said in reversed(self.heard) if isinstance(said, m.Tele))

    def arm(self) -> Operator:
        """Arm with a hand."""
        challenge = self.request(m.ArmAsk)
        assert isinstance(challenge, m.Challenge)
        answer = crc32((challenge.c + self.token).encode("ascii"))
        assert self.request(m.ArmAnswer, f"{answer:08x}") is not None
        self.hand.press_arm()
        self.live(0.8)
        assert self.tele.st == "armed"
        return self


def operator(start_c: float = 150.0, seed: int = 1) -> Operator:
    """An armed operator at a warm saucer mould."""
    return Operator(World(SAUCER, seed=seed, start_c=start_c)).arm()


def test_sim_hand_world_is_the_same_for_the_same_seed() -> None:
    """Every byte repeats with the seed, and differs with another."""

    def lines(seed: int) -> bytes:
        world = World(SAUCER, seed=seed, start_c=150.0)
        world.apply(c.LineNoise(bit_error_rate=1e-4))
        world.advance(3000)
        for command in (c.OpenMould(), c.LoadCharge(residue_g=34.0, water_g=8.0), c.CloseMould()):
            assert world.apply(command).done
        world.advance(30_000)
        return world.take()

    assert lines(4) == lines(4)
    assert lines(4) != lines(5)


def test_sim_hand_world_heats_what_the_board_delivers() -> None:
    """The heaters' heat is on-time times power, to the last ms."""
    someone = operator(60.0)
    before, before_j = someone.tele, someone.world.mould.given_j
    someone.live(60.0, 400)
    someone.live(2.0)
    after = someone.tele
    upper_ms, lower_ms = after.uo - before.uo, after.lo - before.lo
    given_j = someone.world.mould.given_j - before_j

    assert upper_ms == pytest.approx(24_000, abs=600)
    assert given_j == pytest.approx((upper_ms + lower_ms) / 1000.0 * 900.0, rel=1e-9)


def test_sim_hand_steps_of_any_length_give_the_same_world() -> None:
    """Advancing in odd pieces or at once makes no difference."""

    def lines(pieces: list[int]) -> bytes:
        world = World(SAUCER, seed=3, start_c=100.0)
        for ms in pieces:
            world.advance(world.now_ms + ms)
        return world.take()

    assert lines([10_000]) == lines([7, 93, 1, 899, 4000, 5000]) == lines([50] * 200)


def test_sim_hand_near_commands_are_refused_with_their_reason() -> None:
    """What cannot be done at the press says why, and changes nothing."""
    hand = NearHand(World(SAUCER, start_c=100.0))

    assert hand.load_charge(residue_g=30.0, water_g=8.0).why == "mould_closed"
    assert hand.unload().why == "mould_closed"
    assert hand.open_mould().done
    assert hand.unload().why == "nothing_inside"
    loaded = hand.load_charge(residue_g=30.0, water_g=8.0)
    assert loaded.scene is not None
    assert loaded.scene.water_g == pytest.approx(8.0)
    assert hand.unload().done
    assert hand.press_arm(1000).done
    assert hand.press_arm().why == "already_down"


def test_sim_hand_buttons_come_up_by_themselves() -> None:
    """ARM and NEXT go down and come up after their time; NEXT counts."""
    someone = operator()
    before = someone.tele.k
    someone.hand.press_next(150)
    someone.live(0.8)
    assert someone.tele.k == before + 1
    someone.hand.press_arm(2000)
    someone.live(0.8)
    assert someone.tele.inputs & m.IN_ARM
    someone.live(2.0)
    assert not someone.tele.inputs & m.IN_ARM


def test_sim_hand_heat_off_and_mains_let_the_contactor_go() -> None:
    """Either lets the contactor go and ends the heat; nothing latches."""
    for deed in (
        lambda hand: hand.heat_off_button(pressed=True),
        lambda hand: hand.mains(on=False),
    ):
        someone = operator()
        someone.live(2.0, 300)
        deed(someone.hand)
        someone.live(0.8)
        assert someone.tele.st == "locked"
        assert not someone.tele.inputs & m.IN_CONTACTOR
        assert someone.tele.fo == "none"
        given_j = someone.world.mould.given_j
        someone.live(5.0)
        assert someone.world.mould.given_j == given_j


@pytest.mark.parametrize(
    ("fault", "seconds", "first_out"),
    [
        (SensorFault.OPEN, 1.2, "sensor"),
        (SensorFault.REVERSED, 1.2, "sensor"),
        (SensorFault.DETACHED, 12.0, "fallfast"),
        (SensorFault.SHORTED, 12.0, "disagree"),
        (SensorFault.STUCK, 92.0, "stuck"),
    ],
)
@pytest.mark.parametrize("half", list(Half))
def test_sim_hand_sensor_faults_are_caught_by_the_board(
    half: Half, fault: SensorFault, seconds: float, first_out: str
) -> None:
    """Each fault trips by the limit that is there for it, in its time, and no heat follows."""
    someone = operator()
    someone.live(8.0, 260)
    assert someone.hand.sensor(half, fault).done
    someone.live(seconds, 260)

    assert someone.tele.fo == first_out
    given_j = someone.world.mould.given_j
    someone.live(10.0, 260)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_good_sensors_trip_nothing_in_an_hour_of_work() -> None:
    """With quiet hands and a steady duty no limit acts."""
    someone = operator(160.0)
    for _ in range(60):
        someone.live(60.0, 240)
        someone.hand.press_next()
    assert someone.tele.st == "armed"
    assert someone.tele.fo == "none"


def test_sim_hand_welded_heater_trips_and_the_contactor_ends_it() -> None:
    """A relay that stays on heats at duty 0 until the board sees it and lets the contactor go."""
    someone = operator(150.0)
    someone.hand.heater(Half.UPPER, c.HeaterFault.WELDED)
    someone.live(150.0)
    assert someone.tele.fo == "welded"
    given_j = someone.world.mould.given_j
    assert given_j > 60 * 900.0
    someone.live(30.0)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_open_heater_trips_for_want_of_a_rise() -> None:
    """Full duty into a broken heater."""
    someone = operator(30.0)
    for half in Half:
        someone.hand.heater(half, c.HeaterFault.OPEN)
    someone.live(200.0, 1000)
    assert someone.tele.fo == "norise"


def test_sim_hand_welded_contactor_trips_by_its_mirror() -> None:
    """It does not follow a disarming."""
    someone = operator()
    someone.hand.contactor(c.ContactorFault.WELDED)
    someone.request(m.Disarm)
    someone.live(0.8)
    assert someone.tele.fo == "mirror"


def test_sim_hand_limit_thermostat_stops_what_no_software_does() -> None:
    """Both heaters welded with the board's own trip out of reach: the chain opens at 245 °C."""
    model = msgspec.structs.replace(SAUCER, limit_thermostat_c=170.0)
    someone = Operator(World(model, seed=1, start_c=150.0)).arm()
    for half in Half:
        someone.hand.heater(half, c.HeaterFault.WELDED)
    someone.live(200.0, 300)
    assert someone.tele.fo == "chain"
    assert someone.hand.thermostat(opened=False).why == "too_hot"
    given_j = someone.world.mould.given_j
    someone.live(10.0)
    assert someone.world.mould.given_j == given_j


def test_sim_hand_line_noise_spoils_lines_and_nothing_else() -> None:
    """Spoilt lines are dropped on both sides; none is taken for another."""
    someone = operator()
    someone.hand.line_noise(1e-3)
    someone.live(60.0, 200)
    stats = [said for said in someone.heard if isinstance(said, m.Stat)]
    assert stats[-1].bad > 10
    assert all(abs(int(said.u) - 1500) < 200 for said in someone.heard if isinstance(said, m.Tele))


def test_sim_hand_unplugged_line_is_silent_and_the_board_disarms() -> None:
    """Nothing arrives either way; the board helps itself within 3 s."""
    someone = operator()
    someone.live(2.0, 300)
    someone.hand.plug(plugged=False)
    someone.world.advance(someone.world.now_ms + 4000)
    assert someone.world.take() == b""
    assert someone.world.board.state is BoardState.READY
    someone.hand.plug(plugged=True)
    someone.world.advance(someone.world.now_ms + 400)
    assert someone.listen()


def test_sim_hand_reset_trip_is_three_seconds_of_reset() -> None:
    """It clears a trip whose cause is gone; a press of ARM does not."""
    someone = operator()
    someone.hand.thermostat(opened=True)
    someone.hand.thermostat(opened=False)
    someone.live(1.0)
    assert someone.tele.st == "tripped"
    someone.hand.press_arm()
    someone.live(1.0)
    assert someone.tele.st == "tripped"
    someone.hand.reset_trip()
    someone.live(4.0)
    assert someone.tele.st == "ready"


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
