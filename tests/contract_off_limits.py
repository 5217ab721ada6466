"""Section 6.5 of the wire contract: limits on heat that stays or comes unasked.

The mould in use has R 0.5 K/s, a lag of 20 s and a heat-up time of 10 min (`board_rig.SLOT`).
"""

from __future__ import annotations

import pytest

from board_rig import Bench, MakeRig, Rig, armed, ramp, tripped_by
from tawny.core import messages as m
from tawny.core.names import Half
from tawny.sim.build import Build


class WeldedContract:
    """Heat where none is wanted."""

    @pytest.mark.parametrize("half", list(Half))
    def test_board_trips_on_heat_when_off(self, rig: Rig, half: Half) -> None:
        """After 3 lags (60 s) at duty 0, a half that rises by 5 K within 60 s trips."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(58.0)
        assert bench.state == "armed"
        setattr(bench, f"{half.value}_c", ramp(bench.rig.now_ms, 150.0, 0.2))
        bench.run(24.0)
        assert tripped_by(bench) == "none"
        bench.run(14.0)
        assert tripped_by(bench) == "welded"

    def test_board_does_not_judge_during_the_coast(self, rig: Rig) -> None:
        """A rise in the first 60 s after duty 0 is stored heat."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(2.0, (500, 500))
        bench.upper_c = ramp(bench.rig.now_ms, 150.0, 0.3)
        bench.run(50.0)
        bench.upper_c = 165.0
        bench.run(40.0)
        assert tripped_by(bench) == "none"

    def test_board_allows_a_slow_rise(self, rig: Rig) -> None:
        """4 K in 60 s is drift."""
        bench = armed(rig, 120.0, 120.0)
        bench.run(2.0, (500, 500))
        bench.upper_c = ramp(bench.rig.now_ms, 120.0, 4.0 / 60.0)
        bench.run(300.0)
        assert tripped_by(bench) == "none"

    def test_board_lets_the_hotter_half_warm_the_cooler(self, rig: Rig) -> None:
        """A half well below the other may rise without duty of its own."""
        bench = armed(rig, 150.0, 100.0)
        bench.run(62.0)
        bench.lower_c = ramp(bench.rig.now_ms, 100.0, 0.2)
        bench.run(120.0)
        assert tripped_by(bench) == "none"

    def test_board_judges_only_with_the_contactor_in(self, rig: Rig) -> None:
        """Not armed and released, no heater can be meant."""
        bench = Bench(rig, 50.0, 50.0).greet()
        bench.upper_c = ramp(bench.rig.now_ms, 50.0, 0.3)
        bench.run(150.0)
        assert tripped_by(bench) == "none"


class StuckContract:
    """The same register for 90 s at a duty above 200."""

    @pytest.mark.parametrize(
        ("duty", "seconds", "first_out"),
        [(201, 88.0, "none"), (201, 91.5, "stuck"), (200, 200.0, "none"), (0, 200.0, "none")],
    )
    def test_board_trips_on_a_register_that_never_changes(
        self, rig: Rig, duty: int, seconds: float, first_out: str
    ) -> None:
        """90 s, and only while something heats."""
        bench = armed(rig, 160.5, 160.5)
        bench.run(2.0)
        bench.dither = False
        bench.run(seconds, (duty, duty))
        assert tripped_by(bench) == first_out

    def test_board_is_content_with_one_change(self, rig: Rig) -> None:
        """One step of the cold junction is a change of the register."""
        bench = armed(rig, 160.5, 160.5)
        bench.dither = False
        bench.run(80.0, (300, 300))
        bench.dither = True
        bench.run(2.0, (300, 300))
        bench.dither = False
        bench.run(80.0, (300, 300))
        assert tripped_by(bench) == "none"


class FullDutyContract:
    """Duty 950 and more for longer than 1.5 heat-up times."""

    # 1.5 x 600 s = 15 min.
    @pytest.mark.parametrize(
        ("duty", "minutes", "ends"), [(950, 14.9, False), (950, 15.1, True), (949, 20.0, False)]
    )
    def test_board_disarms_after_full_duty_too_long(
        self,
        rig: Rig,
        duty: int,
        minutes: float,
        ends: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """An event, ready, nothing latched."""
        bench = armed(rig, 165.0, 165.0)
        bench.run(minutes * 60.0, (duty, 0))
        assert ("full" in bench.codes()) == ends
        assert bench.state == ("ready" if ends else "armed")
        assert tripped_by(bench) == "none"

    def test_board_counts_full_duty_anew_after_a_pause(self, rig: Rig) -> None:
        """A moment below 950 begins again."""
        bench = armed(rig, 165.0, 165.0)
        bench.run(800.0, (1000, 0))
        bench.run(1.0, (900, 0))
        bench.run(800.0, (1000, 0))
        assert "full" not in bench.codes()

    def test_board_counts_scaled_duty_in_proportion(self, make_rig: MakeRig) -> None:
        """Where the supply limit halves it, twice the time passes."""
        bench = armed(make_rig(build=Build(cap=1000)), 165.0, 165.0)
        bench.run(29.5 * 60.0, (1000, 1000))
        assert "full" not in bench.codes()
        bench.press_arm(duty=(1000, 1000))  # presence
        bench.run(60.0, (1000, 1000))
        assert "full" in bench.codes()


class ContactorContract:
    """The mirror contact follows within 200 ms."""

    @pytest.mark.parametrize(("late_ms", "first_out"), [(150, "none"), (300, "mirror")])
    def test_board_trips_when_the_mirror_does_not_follow(
        self, rig: Rig, late_ms: int, first_out: str
    ) -> None:
        """In when armed, out when disarmed."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.ArmAnswer, bench.challenge())) == ""
        bench.mirror_follows = False
        rig.set_input(m.IN_ARM, on=True)
        bench.run(late_ms / 1000.0)
        rig.set_input(m.IN_ARM, on=False)
        bench.mirror_follows = True
        bench.run(0.4)
        assert tripped_by(bench) == first_out

    def test_board_trips_on_a_welded_contactor(self, rig: Rig) -> None:
        """After disarming it must be out."""
        bench = armed(rig)
        bench.mirror_follows = False
        bench.ask(bench.request(m.Disarm))
        bench.run(0.15)
        assert tripped_by(bench) == "none"
        bench.run(0.3)
        assert tripped_by(bench) == "mirror"
        bench.press_arm(3.0)
        assert bench.state == "tripped"  # it is still in
        bench.mirror_follows = True
        bench.run(0.5)
        bench.press_arm(3.0)
        assert bench.state == "ready"

    def test_board_trips_on_a_contactor_that_drops_out(self, rig: Rig) -> None:
        """Also without a change of the command."""
        bench = armed(rig)
        bench.run(2.0, (500, 500))
        bench.mirror_follows = False
        rig.set_input(m.IN_CONTACTOR, on=False)
        bench.run(0.4, (500, 500))
        assert tripped_by(bench) == "mirror"

    def test_board_trips_on_a_mirror_that_chatters(self, rig: Rig) -> None:
        """One that moves again within each 200 ms gets no more time for it."""
        bench = armed(rig)
        bench.run(2.0, (500, 500))
        bench.mirror_follows = False
        for chatter in range(12):
            rig.set_input(m.IN_CONTACTOR, on=chatter % 2 == 1)
            bench.run(0.15, (500, 500))
        assert tripped_by(bench) == "mirror"

    @pytest.mark.parametrize("state", ["locked", "ready", "armed"])
    def test_board_trips_when_a_limit_thermostat_opens(self, rig: Rig, state: str) -> None:
        """In any state, at once."""
        bench = Bench(rig)
        bench.run(1.6, None)
        if state != "locked":
            bench.greet()
        if state == "armed":
            bench.arm()
            bench.run(1.0, (1000, 1000))
        rig.set_input(m.IN_THERMOSTAT, on=True)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        bench.follow_contactor()
        bench.run(0.4, None)
        assert tripped_by(bench) == "chain"

    def test_board_counts_operations(self, rig: Rig) -> None:
        """Each time that the contactor pulls in."""
        bench = Bench(rig).greet()
        before = bench.last(m.Stat).ops
        for _ in range(3):
            bench.arm()
            bench.ask(bench.request(m.Disarm))
            bench.run(1.0)
        bench.run(1.0)
        assert bench.last(m.Stat).ops == before + 3
