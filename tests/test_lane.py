"""The quick lane of the benchmark: the same duties as the whole press, to the bit."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from tawny.cli.virtual_press import VirtualPress
from tawny.core import commission_steps
from tawny.core.loop.guess import thermal_of
from tawny.core.loop.state import Duties, Place
from tawny.core.loop.thermal import Thermal
from tawny.core.names import Phase
from tawny.settings.home import Home
from tawny.sim import lane_commission
from tawny.sim.lane import CONTROL_MS, Lane, Moment
from tawny.sim.lane_commission import commissioned
from tawny.sim.lane_drive import LoopDriver
from tawny.sim.parameters import load

BEGIN_UTC_MS = 1_750_000_000_000
SEED = 5


class Sent:
    """Duties sent, with their moments, and when heat was first wanted."""

    def __init__(self) -> None:
        self.duties: list[tuple[int, Duties]] = []
        self.first_ms = 0
        self.heated_ms = 0
        self.room_c = 0.0
        self.setpoints_c = (0.0, 0.0)
        self.thermal: Thermal | None = None


def whole_press(folder: Path, thermal: Thermal | None) -> Sent:
    """Heat up and soak with board, line, session, core and record; return what was sent."""
    sent = Sent()
    with VirtualPress(
        Home(folder), begin_utc_ms=BEGIN_UTC_MS, pressings=1, recipe="grain-apple", seed=SEED
    ) as virtual:
        press, lockstep = virtual.press, virtual.lockstep
        mould = msgspec.structs.replace(press.state.mould, thermal=thermal)
        press.state = msgspec.structs.replace(press.state, mould=mould)
        sent.thermal = thermal_of(mould)
        sent.room_c = press.state.press.ambient_c
        before = press.state.frames

        def soaked() -> bool:
            nonlocal before
            state = press.state
            if state.frames != before:
                before = state.frames
                if state.frames % 2 == 0:
                    sent.first_ms = sent.first_ms or lockstep.now_ms
                    sent.duties.append((lockstep.now_ms, (state.upper.duty, state.lower.duty)))
                    if state.loop.setpoints_c is not None and not sent.heated_ms:
                        sent.heated_ms = lockstep.now_ms
                        sent.setpoints_c = state.loop.setpoints_c
            return state.cycle.phase is Phase.READY

        assert lockstep.run(soaked, 7200.0)
    return sent


class LateHeat:
    """The loop, with heat wanted from a moment on."""

    def __init__(self, inner: LoopDriver, setpoints_c: tuple[float, float], from_ms: int) -> None:
        self.inner, self.wanted_c, self.from_ms = inner, setpoints_c, from_ms
        self.duties: list[tuple[int, Duties]] = []

    def decide(self, moment: Moment) -> Duties:
        """Decide, and keep it."""
        if not self.duties:
            # A core that has never stepped its loop counts from 1 ms before its clock began.
            moment = moment._replace(dt_s=moment.dt_s + 0.001)
        if moment.now_ms >= self.from_ms:
            self.inner.setpoints_c = self.wanted_c
        duties = self.inner.decide(moment)
        self.duties.append((moment.now_ms, duties))
        return duties


@pytest.mark.slow
@pytest.mark.parametrize("fitted", [False, True])
def test_lane_gives_the_duties_of_the_whole_press(tmp_path: Path, *, fitted: bool) -> None:
    """Each duty from the first reading through soak: the same number in the same millisecond."""
    model = load("saucer-160")
    wanted = commissioned(model, SEED).thermal if fitted else None
    full = whole_press(tmp_path, wanted)
    assert full.thermal is not None
    lane = Lane(model, seed=SEED, control_from_ms=full.first_ms)
    inner = LoopDriver(full.thermal, model, None, full.room_c)
    driver = LateHeat(inner, full.setpoints_c, full.heated_ms)
    lane.run(driver, full.duties[-1][0])
    heated = [duties for at_ms, duties in full.duties if at_ms >= full.heated_ms]
    assert len(heated) > 1000
    assert heated[0] == (1.0, 1.0)
    assert len({upper for upper, _ in heated}) > 100
    assert driver.duties == full.duties


class Fixed:
    """The same duties for ever."""

    def __init__(self, *duties: float) -> None:
        self.given = (duties[0], duties[1])

    def decide(self, moment: Moment) -> Duties:
        """Return them, and note the moment."""
        assert moment.now_ms % CONTROL_MS == 0
        return self.given


@pytest.mark.parametrize(
    ("upper", "windows_on"),
    [(0.5, 60), (0.03, 60), (1.0, 1), (0.95, 60), (0.0, 0)],
)
def test_lane_counts_each_going_on_of_an_output(upper: float, windows_on: int) -> None:
    """A minute of windows of 1 s: each pulse counts once, even one shorter than a step."""
    lane = Lane(load("saucer-160"), seed=1)
    lane.run(Fixed(upper, 0.5), CONTROL_MS)
    before = tuple(lane.switchings)
    lane.run(Fixed(upper, 0.5), CONTROL_MS + 60_000)
    counted = lane.switchings[0] - before[0]
    assert abs(counted - windows_on) <= 1
    assert lane.rows[-1].on_ms[0] == pytest.approx(upper * 60_400, abs=1000)


def test_lane_gives_the_heat_that_its_outputs_delivered() -> None:
    """On-time times power is what the mould got; its books are even."""
    model = load("saucer-160")
    lane = Lane(model, seed=1)
    lane.run(Fixed(0.7, 0.3), 300_000)
    upper_ms, lower_ms = lane.output.delivered_ms
    given_j = (model.upper.heater_w * upper_ms + model.lower.heater_w * lower_ms) / 1000.0
    assert lane.mould.given_j == pytest.approx(given_j, rel=1e-9)
    assert given_j == pytest.approx(300.0 * (0.7 + 0.3) * 900.0, rel=0.01)
    assert abs(lane.mould.imbalance_j) < 1e-3


class Listening(Fixed):
    """Keeps what it hears."""

    def __init__(self, *duties: float) -> None:
        super().__init__(*duties)
        self.heard: list[Moment] = []

    def decide(self, moment: Moment) -> Duties:
        """Return the same duties."""
        self.heard.append(moment)
        return super().decide(moment)


def test_lane_tells_what_a_press_tells() -> None:
    """Half duty at most while open, none after 180 s; delivered shares; when a charge comes."""
    lane = Lane(load("saucer-160"), seed=1)
    driver = Listening(0.25, 1.0)
    lane.run(driver, 60_000)
    assert sum(one.shares[0] for one in driver.heard) * 0.4 == pytest.approx(15.0, abs=0.8)
    assert {one.most for one in driver.heard} == {1.0}
    lane.open(charging=True)
    lane.run(driver, 60_000 + 185_000)
    opened = [one for one in driver.heard if one.now_ms > 60_000]
    assert [one.most for one in opened if one.now_ms < 240_000] == [0.5] * 449
    assert {one.most for one in opened if one.now_ms >= 240_000} == {0.0}
    assert all(one.charging for one in opened)
    late = [one.shares[1] for one in opened if 70_000 < one.now_ms < 240_000]
    assert sum(late) / len(late) == pytest.approx(0.5, abs=0.02)
    lane.mould.load(40.0, 10.0, 25.0)
    lane.close()
    lane.run(driver, lane.now_ms + 4_000)
    assert (driver.heard[-1].place, driver.heard[-1].charging) == (Place.PRESSED, False)
    assert lane.rows[-1].core_c is not None


def test_lane_is_the_same_for_the_same_seed() -> None:
    """Each row, to the bit; another seed differs."""
    model = load("overpowered")
    thermal = commissioned(model, 3).thermal
    rows = []
    for seed in (3, 3, 4):
        lane = Lane(model, seed=seed)
        lane.run(LoopDriver(thermal, model, (150.0, 150.0)), 200_000)
        rows.append(lane.rows)
    assert rows[0] == rows[1]
    assert rows[0] != rows[2]


@pytest.mark.parametrize(
    "name",
    ["HEAT_UNTIL_C", "HEAT_ENOUGH_K", "HEAT_MOST_S", "COOL_TO_C", "EVEN_DRIFT_K",
     "REST_AFTER_S", "REST_MOST_S"],
)  # fmt: skip
def test_lane_commissions_as_the_program_does(name: str) -> None:
    """Each half heats, cools and coasts as the steps of commissioning have it."""
    assert getattr(lane_commission, name) == getattr(commission_steps, f"_{name}")


def test_lane_commissioning_finds_what_the_mould_is() -> None:
    """R is what the heater gives the metal; the residual is that of noise and rounding."""
    model = load("saucer-160")
    found = commissioned(model, 1)
    assert found.thermal.trusted
    assert found.residuals_k is not None
    assert max(found.residuals_k) < 0.15
    assert 600.0 < found.took_s < 3600.0
    for half, fitted in zip((model.upper, model.lower), found.thermal.halves(), strict=True):
        capacity = half.mass_kg * half.specific_j_per_kg_k + half.heater_j_per_k
        assert fitted.rise_k_per_s == pytest.approx(half.heater_w / capacity, rel=0.03)


def test_lane_without_a_record_begins_with_a_guess() -> None:
    """R, lag and loss are all that a passport holds: the loop is told not to trust them."""
    assert not lane_commission.uncommissioned(load("overpowered")).trusted
