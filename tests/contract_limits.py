"""Section 6.5 of the wire contract: each limit, where it begins and where it does not yet act.

The mould in use has R 0.5 K/s, a lag of 20 s and a heat-up time of 10 min (`board_rig.SLOT`).
"""

from __future__ import annotations

import pytest

from board_rig import (
    READ_MS,
    SLOT,
    Bench,
    MakeRig,
    Rig,
    armed,
    ramp,
    register_of,
    shown_tenths,
    tripped_by,
)
from tawny.core import converter
from tawny.core import messages as m
from tawny.core.names import Half
from tawny.sim.build import Build

RISE_K_PER_S = SLOT.rise / 1000.0
TRIP_C = 215.0


class OverTemperatureContract:
    """Two samples in a row at or above the trip point."""

    def test_board_trips_at_the_trip_point_and_not_below(self, rig: Rig) -> None:
        """The highest reading below 215.0 °C does not trip, the lowest at or above does."""
        codes = [TRIP_C - 1.5 + 0.25 * step for step in range(12)]
        below = max(c for c in codes if shown_tenths(c) < 2150)
        above = min(c for c in codes if shown_tenths(c) >= 2150)
        assert shown_tenths(above) - shown_tenths(below) <= 5
        bench = armed(rig)
        bench.upper_c = below
        bench.run(4.0, None)
        assert tripped_by(bench) == "none"
        bench.upper_c = above
        bench.run(2 * READ_MS / 1000.0 + 0.05, None)
        assert tripped_by(bench) == "overtemp"

    @pytest.mark.parametrize(("samples", "first_out"), [(1, "none"), (2, "overtemp")])
    @pytest.mark.parametrize("half", list(Half))
    def test_board_trips_at_the_second_sample(
        self, rig: Rig, half: Half, samples: int, first_out: str
    ) -> None:
        """One sample alone is a disturbance, two in a row are not."""
        bench = armed(rig)
        bench.run(0.4)
        start_ms = bench.rig.now_ms // READ_MS * READ_MS + 50

        def spike(now_ms: int) -> float:
            return 230.0 if start_ms < now_ms <= start_ms + samples * READ_MS else 100.0

        setattr(bench, f"{half.value}_c", spike)
        bench.run(2.0)
        # The jump back is a fall, which has its own rule and latches nothing.
        assert tripped_by(bench) == first_out

    @pytest.mark.parametrize("state", ["locked", "ready", "armed"])
    def test_board_trips_in_every_state(self, rig: Rig, state: str) -> None:
        """Over-temperature latches also while nothing heats."""
        bench = Bench(rig)
        bench.run(1.6, None)
        if state != "locked":
            bench.greet()
        if state == "armed":
            bench.arm()
        bench.lower_c = 216.0
        bench.run(0.6, None)
        assert (bench.tele.st, tripped_by(bench)) == ("tripped", "overtemp")

    def test_board_trips_at_a_reduced_trip_point(self, rig: Rig) -> None:
        """A reduced trip point acts at once, and over a restart."""
        bench = armed(rig, 120.0, 120.0)
        assert bench.why(bench.request(m.TripSet, 1250)) == ""
        bench.run(1.0)
        assert tripped_by(bench) == "none"
        bench.upper_c = 126.0
        bench.run(0.6)
        assert tripped_by(bench) == "overtemp"


class SensorContract:
    """A half without a good sample for 750 ms; a cold junction out of range for 2 s."""

    BAD = (
        converter.encode(120.0, 25.0, converter.Fault.OPEN),
        converter.encode(120.0, 25.0, converter.Fault.SHORT_GND),
        converter.encode(120.0, 25.0, converter.Fault.SHORT_VCC),
        converter.encode(120.0, 25.0, converter.Fault.RESERVED),
        0,
        0xFFFF_FFFF,
        register_of(100.0) | 0x0002_0000,  # the other reserved bit
        register_of(100.0) | 0x0000_0001,  # open, without the common fault bit
        register_of(410.0),
        register_of(-15.0),
    )

    @pytest.mark.parametrize("raw", BAD, ids=hex)
    @pytest.mark.parametrize("half", list(Half))
    def test_board_trips_on_a_bad_sensor_when_armed(self, rig: Rig, half: Half, raw: int) -> None:
        """Bad at once in telemetry; a trip within 1 s, not before 750 ms of it."""
        bench = armed(rig)
        bench.duty((1000, 1000))
        self.spoil(bench, half, raw)
        before = bench.tele
        bench.run(0.25, None)
        assert (bench.tele.u if half is Half.UPPER else bench.tele.l) == "bad"
        count = bench.tele.un if half is Half.UPPER else bench.tele.ln
        assert count == (before.un if half is Half.UPPER else before.ln)
        bench.run(0.45, None)  # 0.7 s after the last good read at most
        assert tripped_by(bench) == "none"
        bench.run(0.35, None)
        assert tripped_by(bench) == "sensor"
        assert rig.outputs() == (False, False)

    def spoil(self, bench: Bench, half: Half, raw: int) -> None:
        """From now on this half's converter holds this."""
        good = bench.set_registers

        def spoilt(now_ms: int) -> None:
            good(now_ms)
            bench.rig.set_register(half, raw)

        bench.set_registers = spoilt  # type: ignore[method-assign]

    def test_board_bridges_single_bad_samples(self, rig: Rig) -> None:
        """Two bad reads in a row, again and again, do not trip: 600 ms without a good one."""
        bench = armed(rig)
        good = bench.set_registers

        def now_and_then(now_ms: int) -> None:
            good(now_ms)
            if now_ms // READ_MS % 3:
                bench.rig.set_register(Half.UPPER, 0)

        bench.set_registers = now_and_then  # type: ignore[method-assign]
        bench.run(20.0)
        assert tripped_by(bench) == "none"

    @pytest.mark.parametrize(
        ("cold_c", "seconds", "first_out"),
        [
            (70.0, 5.0, "none"),
            (70.25, 1.8, "none"),
            (70.25, 2.3, "sensor"),
            (-10.0, 5.0, "none"),
            (-10.25, 1.8, "none"),
            (-10.25, 2.3, "sensor"),
            (127.0, 2.3, "sensor"),
        ],
    )
    def test_board_trips_on_a_cold_junction_out_of_range(
        self, rig: Rig, cold_c: float, seconds: float, first_out: str
    ) -> None:
        """-10 to 70 °C is in range; outside it 2 s are allowed."""
        bench = armed(rig)
        self.spoil(bench, Half.LOWER, register_of(100.0, cold_c))
        bench.run(seconds)
        assert tripped_by(bench) == first_out


class DisagreeContract:
    """More than 30 K between the halves' deviations, for 10 s."""

    def near(self, rig: Rig) -> Bench:
        """Armed, with both halves near their setpoints."""
        bench = armed(rig, 170.0, 170.0)
        bench.run(2.0, (100, 100))
        return bench

    @pytest.mark.parametrize(
        ("lower_c", "seconds", "first_out"),
        [(139.0, 9.5, "none"), (139.0, 10.6, "disagree"), (140.5, 30.0, "none")],
    )
    def test_board_trips_on_disagreement(
        self, rig: Rig, lower_c: float, seconds: float, first_out: str
    ) -> None:
        """31 K for 10 s trips, 9.5 s or 29.5 K do not."""
        bench = self.near(rig)
        bench.rig.set_input(m.IN_OPEN, on=True)  # so that no fall is judged meanwhile
        bench.lower_c = lower_c
        bench.run(6.0, (100, 100))
        bench.rig.set_input(m.IN_OPEN, on=False)
        bench.run(seconds, (100, 100))
        assert tripped_by(bench) == first_out

    def test_board_compares_deviations_not_temperatures(self, rig: Rig) -> None:
        """Halves at their own setpoints 40 K apart do not disagree."""
        bench = armed(rig, 180.0, 140.0)
        bench.setpoints = (1800, 1400)
        bench.run(20.0, (100, 100))
        assert tripped_by(bench) == "none"

    def test_board_waits_until_both_were_near(self, rig: Rig) -> None:
        """On the way up, before both were within 40 K of setpoint, halves may differ."""
        bench = armed(rig, 130.0, 90.0)
        bench.run(20.0, (100, 100))
        assert tripped_by(bench) == "none"

    def test_board_does_not_judge_an_open_mould_or_a_half_without_setpoint(self, rig: Rig) -> None:
        """Both want a closed mould and two setpoints."""
        bench = self.near(rig)
        bench.rig.set_input(m.IN_OPEN, on=True)
        bench.lower_c = 130.0
        bench.run(15.0, (100, 100))
        assert tripped_by(bench) == "none"
        bench.setpoints = (1800, 0)
        bench.rig.set_input(m.IN_OPEN, on=False)
        bench.run(15.0, (100, 0))
        assert tripped_by(bench) == "none"


class NoRiseContract:
    """Full duty that warms nothing."""

    # 0.5 (215 - 180) / 0.5 K/s = 35 s; a quarter of R times that is 4.4 K.
    WINDOW_S = 35.0
    LEAST_K = 0.25 * RISE_K_PER_S * WINDOW_S

    @pytest.mark.parametrize("half", list(Half))
    def test_board_trips_when_nothing_rises(self, rig: Rig, half: Half) -> None:
        """After the lag and one window: not a read before, and within two after."""
        bench = armed(rig)
        other = "lower_c" if half is Half.UPPER else "upper_c"
        setattr(bench, other, ramp(bench.rig.now_ms, 100.0, 0.4))
        bench.run(20.0 + self.WINDOW_S - 0.4, (800, 800))
        assert tripped_by(bench) == "none"
        bench.run(1.4, (800, 800))
        assert tripped_by(bench) == "norise"

    @pytest.mark.parametrize(("share", "first_out"), [(0.85, "norise"), (1.15, "none")])
    def test_board_wants_a_quarter_of_the_rise(
        self, rig: Rig, share: float, first_out: str
    ) -> None:
        """A little less than a quarter of R trips, a little more does not."""
        bench = armed(rig, 60.0, 60.0)
        k_per_s = share * 0.25 * RISE_K_PER_S
        bench.upper_c = bench.lower_c = ramp(bench.rig.now_ms, 60.0, k_per_s)
        bench.run(130.0, (1000, 1000))
        assert tripped_by(bench) == first_out

    def test_board_does_not_judge_below_duty_800(self, rig: Rig) -> None:
        """At 799 it never judges, nor where the supply limit brings it there."""
        bench = armed(rig)
        bench.run(120.0, (799, 799))
        assert tripped_by(bench) == "none"

    def test_board_does_not_judge_near_the_setpoint(self, rig: Rig) -> None:
        """From 20 K below the setpoint on, standing still is no fault."""
        bench = armed(rig, 160.5, 160.5)
        bench.run(120.0, (1000, 1000))
        assert tripped_by(bench) == "none"

    def test_board_judges_what_the_supply_limit_leaves(self, make_rig: MakeRig) -> None:
        """Two duties of 1000 that are scaled to 500 are not judged."""
        bench = armed(make_rig(build=Build(cap=1000)))
        bench.run(120.0, (1000, 1000))
        assert tripped_by(bench) == "none"
