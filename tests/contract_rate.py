"""Section 6.5 of the wire contract: what rises too fast, and what falls.

The mould in use has R 0.5 K/s, a lag of 20 s and a heat-up time of 10 min (`board_rig.SLOT`).
"""

from __future__ import annotations

import pytest

from board_rig import Bench, Rig, armed, ramp, step_c, tripped_by
from tawny.core import messages as m
from tawny.core.names import Half


class RateContract:
    """Rises too fast, falls."""

    @pytest.mark.parametrize(("k_per_s", "first_out"), [(2.9, "none"), (3.2, "risefast")])
    def test_board_trips_above_3_k_per_s(self, rig: Rig, k_per_s: float, first_out: str) -> None:
        """R is 0.5 K/s, so 3 K/s over 5 s is the limit."""
        bench = armed(rig, 40.0, 40.0)
        bench.upper_c = ramp(bench.rig.now_ms + 6000, 40.0, k_per_s)
        bench.run(20.0, (500, 500))
        assert tripped_by(bench) == first_out

    def test_board_allows_twice_its_commissioned_rise(self, rig: Rig) -> None:
        """A mould with R 2 K/s may rise at 3.8 K/s."""
        bench = Bench(rig, 40.0, 40.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        for half in Half:
            bench.ask(bench.request(m.StoreMould, 1, half.value, 2000, 200, 600))
        rig.set_input(m.IN_ARM, on=False)
        bench.arm()
        bench.upper_c = ramp(bench.rig.now_ms + 6000, 40.0, 3.8)
        bench.run(20.0, (500, 500))
        assert tripped_by(bench) == "none"

    @pytest.mark.parametrize(("fall_k", "falls"), [(4.75, False), (5.75, True)])
    @pytest.mark.parametrize("half", list(Half))
    def test_board_takes_heat_away_when_a_half_falls(
        self,
        rig: Rig,
        half: Half,
        fall_k: float,
        falls: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """More than 5 K in 5 s: both duties 0 with an event, nothing latched."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0, (500, 500))
        at_ms = bench.rig.now_ms + 1000
        setattr(bench, f"{half.value}_c", step_c(at_ms, 150.0, 150.0 - fall_k))
        bench.run(4.0, (500, 500))
        assert ("fall" in bench.codes()) == falls
        used = bench.on_time(6.0, (500, 500))
        assert (used == (0, 0)) == falls
        assert bench.state == "armed"
        assert tripped_by(bench) == "none"

    def test_board_heats_again_after_a_charge(self, rig: Rig) -> None:
        """A charge ends the heat 0 of a fall; the next fall counts as the second."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0, (500, 500))
        bench.upper_c = 140.0
        bench.run(2.0, (500, 500))
        assert bench.codes()[-1] == "fall"
        assert bench.why(bench.request(m.Charge)) == ""
        assert min(bench.on_time(4.0, (500, 500))) >= 1400  # a window may pass first
        bench.run(63.0, (500, 500))
        bench.upper_c = 130.0
        bench.run(2.0, (500, 500))
        assert tripped_by(bench) == "fallfast"

    def test_board_heats_again_after_an_arming(self, rig: Rig) -> None:
        """A new arming ends the heat 0 of a fall too."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0, (500, 500))
        bench.upper_c = 140.0
        bench.run(2.0, (500, 500))
        assert bench.on_time(2.0, (500, 500)) == (0, 0)
        bench.ask(bench.request(m.Disarm))
        bench.run(0.6)
        bench.arm()
        assert min(bench.on_time(4.0, (500, 500))) >= 1400

    def test_board_does_not_compare_across_an_arming(self, rig: Rig) -> None:
        """What happened while nothing was armed is no fall and no rise."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(10.0, (500, 500))
        bench.ask(bench.request(m.Disarm))
        bench.upper_c, bench.lower_c = 130.0, 170.0
        bench.run(1.0)
        bench.arm()
        bench.run(10.0, (500, 500))
        assert tripped_by(bench) == "none"
        assert "fall" not in bench.codes()

    @pytest.mark.parametrize(("minutes", "first_out"), [(9.5, "fallfast"), (10.5, "none")])
    def test_board_trips_at_the_second_fall_in_10_min(
        self, rig: Rig, minutes: float, first_out: str
    ) -> None:
        """Two falls 9.5 min apart trip, 10.5 min apart they do not."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0)
        bench.upper_c = 140.0
        bench.run(2.0)
        assert bench.codes()[-1] == "fall"
        bench.run(minutes * 60.0 - 2.0)
        bench.upper_c = 130.0
        bench.run(2.0)
        assert tripped_by(bench) == first_out

    @pytest.mark.parametrize(("fall_k", "code"), [(24.0, "charge"), (27.0, "fall")])
    def test_board_lets_a_charge_fall_by_25_k(self, rig: Rig, fall_k: float, code: str) -> None:
        """Within 60 s of `charge` each half may fall by 25 K, no more."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0, (500, 500))
        assert bench.why(bench.request(m.Charge)) == ""
        assert bench.state == "armed"
        assert bench.tele.inputs & m.IN_WINDOW
        bench.lower_c = 150.0 - fall_k
        bench.run(10.0, (500, 500))
        assert bench.codes()[-1] == code

    def test_board_closes_the_charge_window_after_60_s(self, rig: Rig) -> None:
        """A fall after it counts, one that was inside it does not linger."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0)
        bench.ask(bench.request(m.Charge))
        assert bench.last(m.Stat).ch == 0
        bench.run(1.1)
        assert bench.last(m.Stat).ch in (59, 60)
        bench.run(56.5)
        bench.upper_c = 140.0
        bench.run(9.0)
        assert not bench.tele.inputs & m.IN_WINDOW
        assert bench.codes()[-1] == "charge"
        bench.upper_c = 130.0
        bench.run(2.0)
        assert bench.codes()[-1] == "fall"

    @pytest.mark.parametrize(("seconds", "why"), [(59.5, "rate"), (60.1, "")])
    def test_board_takes_a_charge_each_minute(self, rig: Rig, seconds: float, why: str) -> None:
        """Not within 60 s of the last one."""
        bench = armed(rig)
        assert bench.why(bench.request(m.Charge)) == ""
        bench.run(seconds)
        assert bench.why(bench.request(m.Charge)) == why

    def test_board_does_not_judge_falls_of_an_open_mould(self, rig: Rig) -> None:
        """Open, and in the first 5 s closed again, a fall is none."""
        bench = armed(rig, 150.0, 150.0)
        bench.run(6.0)
        rig.set_input(m.IN_OPEN, on=True)
        bench.upper_c = 130.0
        bench.run(4.0)
        rig.set_input(m.IN_OPEN, on=False)
        bench.run(8.0)
        assert "fall" not in bench.codes()
        bench.upper_c = 120.0
        bench.run(2.0)
        assert "fall" in bench.codes()
