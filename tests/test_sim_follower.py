"""The hands of the demo do what the screen asks, and nothing before it is asked."""

from __future__ import annotations

import msgspec
import pytest

from tawny.core.names import BoardState, FirstOut, LinkStatus, Phase, Quality
from tawny.core.snapshot import BoardView, Code, Figure, HalfView, LinkView, Snapshot
from tawny.sim import commands as c
from tawny.sim import parameters
from tawny.sim.follower import FILL_S, REACH_S, STORED_WET, HandFollower
from tawny.sim.hand import NearHand
from tawny.sim.world import World

HALF = HalfView(
    quality=Quality.GOOD,
    process_value_c=180.0,
    setpoint_c=180.0,
    deviation_k=0.0,
    in_band=True,
    duty=0.2,
    delivered=0.2,
)
BOARD = BoardView(
    state=BoardState.READY,
    first_out=FirstOut.NONE,
    trip_c=215.0,
    ceiling_c=230.0,
    mould_open=False,
    heat_off_button=False,
    mains=True,
    contactor=False,
    hot_lamp=True,
)
FILL = Code("fill", {"cavities": 1, "charge_g": 42.0, "residue_g": 34.0, "water_g": 8.0})


def snapshot(
    phase: Phase,
    *,
    host_s: float = 0.0,
    elapsed_s: float = 0.0,
    arming: str = "",
    sentence: Code | None = None,
) -> Snapshot:
    """A picture of the press in a phase."""
    return Snapshot(
        seq=0,
        utc_ms=0,
        host_s=host_s,
        simulated=True,
        simulated_hand=True,
        press="press-1",
        mould="saucer-160",
        recipe="spent-grain",
        recipe_version=1,
        operator="",
        lot="",
        link=LinkView(status=LinkStatus.UP, port="", silence_s=0.0),
        board=msgspec.structs.replace(BOARD, arming=arming),
        upper=HALF,
        lower=HALF,
        armed=True,
        heat=True,
        phase=phase,
        phase_elapsed_s=elapsed_s,
        paused_from=None,
        sentence=sentence or (FILL if phase is Phase.FILL else Code(phase.value)),
        figure=Figure("none"),
        next_phase=None,
        permissives=(),
        setpoint_c=180.0,
        band_k=2.0,
        ready_at_utc_ms=None,
        pressing_id="",
        hold=None,
        breathe=None,
        rescue=None,
        alarms=(),
        last_parts=(),
        parts_today=0,
        recipes=(),
        recording=True,
        store_reason=None,
        presence_left_s=None,
    )


class RecordingHand(NearHand):
    """A hand that remembers what it did."""

    def __init__(self, world: World) -> None:
        """Remember nothing yet."""
        super().__init__(world)
        self.deeds: list[str] = []

    def do(self, command: c.AnyCommand) -> c.Answer:
        """Carry it out; every deed of a follower can be done."""
        answer = super().do(command)
        assert answer.done, (command, answer.why)
        self.deeds.append(type(command).__name__)
        return answer


@pytest.fixture
def hand() -> RecordingHand:
    """A hand at a fresh world."""
    return RecordingHand(World(parameters.load("saucer-160"), start_c=180.0))


def walk(follower: HandFollower, *phases: Phase) -> None:
    """Go through phases, a few snapshots in each."""
    for phase in phases:
        for elapsed_s in (0.0, 1.0, FILL_S, 5.0):
            follower.follow(snapshot(phase, elapsed_s=elapsed_s))


def test_sim_follower_presses_a_part(hand: RecordingHand) -> None:
    """Open, fill, close, open, take out, close: each once, in the order of the phases."""
    follower = HandFollower(hand)
    walk(follower, Phase.IDLE, Phase.PREHEAT, Phase.SOAK, Phase.READY)
    assert hand.deeds == []
    walk(follower, Phase.CLEAN, Phase.OIL)
    assert hand.deeds == ["OpenMould"]
    walk(follower, Phase.FILL)
    assert hand.deeds == ["OpenMould", "LoadCharge"]
    walk(follower, Phase.CLOSE, Phase.BREATHE, Phase.HOLD, Phase.RELEASE)
    assert hand.deeds[2:] == ["CloseMould"]
    walk(follower, Phase.OPEN)
    assert hand.deeds[3:] == ["OpenMould"]
    walk(follower, Phase.DEMOULD)
    assert hand.deeds[4:] == ["UnloadCharge"]
    walk(follower, Phase.READY)
    assert hand.deeds[5:] == ["CloseMould"]


def test_sim_follower_loads_what_the_screen_says(hand: RecordingHand) -> None:
    """Residue as stored holds a little water of its own; all of the charge goes in."""
    follower = HandFollower(hand)
    walk(follower, Phase.READY, Phase.FILL)
    scene = hand.look().scene
    assert scene is not None
    assert scene.water_g == pytest.approx(8.0 + STORED_WET * 34.0)


def test_sim_follower_does_not_load_before_it_is_time(hand: RecordingHand) -> None:
    """The mould opens at once, the charge takes a moment."""
    follower = HandFollower(hand)
    walk(follower, Phase.READY)
    follower.follow(snapshot(Phase.FILL, elapsed_s=FILL_S - 0.1))
    assert hand.deeds == ["OpenMould"]


def test_sim_follower_does_nothing_without_a_change_of_phase(hand: RecordingHand) -> None:
    """Joining in the middle of work, it leaves the mould as it finds it."""
    follower = HandFollower(hand)
    walk(follower, Phase.HOLD)
    walk(follower, Phase.HOLD)
    assert hand.deeds == []


@pytest.mark.parametrize("after", [Phase.FILL, Phase.HOLD])
def test_sim_follower_takes_out_what_was_scrapped(hand: RecordingHand, after: Phase) -> None:
    """A pressing that ends early leaves nothing behind for the next one."""
    follower = HandFollower(hand)
    walk(follower, Phase.READY, Phase.FILL)
    if after is Phase.HOLD:
        walk(follower, Phase.CLOSE, Phase.HOLD)
    walk(follower, Phase.READY, Phase.FILL)
    assert hand.deeds.count("UnloadCharge") == 1
    assert hand.deeds.count("LoadCharge") == 2


def test_sim_follower_presses_arm_a_second_after_it_is_asked(hand: RecordingHand) -> None:
    """Once for each time that the screen asks, and never unasked."""
    follower = HandFollower(hand)
    for tenth in range(40):
        follower.follow(snapshot(Phase.IDLE, host_s=tenth / 10.0))
    assert hand.deeds == []
    pressed_s = None
    for tenth in range(60):
        follower.follow(snapshot(Phase.IDLE, host_s=10.0 + tenth / 10.0, arming="press_arm"))
        if pressed_s is None and hand.deeds:
            pressed_s = tenth / 10.0
    assert pressed_s == pytest.approx(REACH_S, abs=0.11)
    assert hand.deeds == ["PressArm"]
    follower.follow(snapshot(Phase.IDLE, host_s=20.0, arming="asked"))
    hand.do(c.Look())
    for tenth in range(20):
        follower.follow(snapshot(Phase.IDLE, host_s=21.0 + tenth / 10.0, arming="asked"))
    assert hand.deeds == ["PressArm", "Look"]


def test_sim_follower_never_resets_a_trip(hand: RecordingHand) -> None:
    """Whatever the phase, a trip is left to a person."""
    follower = HandFollower(hand)
    for phase in Phase:
        for elapsed_s in (0.0, 5.0):
            picture = snapshot(phase, elapsed_s=elapsed_s)
            tripped = msgspec.structs.replace(
                picture.board, state=BoardState.TRIPPED, first_out=FirstOut.OVERTEMP
            )
            follower.follow(msgspec.structs.replace(picture, board=tripped))
    assert not {"ResetTrip", "PressArm", "Restart", "Thermostat"} & set(hand.deeds)
