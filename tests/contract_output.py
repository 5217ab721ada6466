"""Sections 6.4, 6.6 and 6.7 of the wire contract: outputs, open mould, presence."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest

from board_rig import Bench, MakeRig, Rig
from tawny.core import messages as m
from tawny.sim.build import Build

RELAY = Build(output="relay", window_ms=20_000)


def watch(bench: Bench, seconds: float, duty: tuple[int, int]) -> Iterator[tuple[bool, bool]]:
    """Yield which outputs are on, each 50 ms."""
    for _ in range(round(seconds / 0.05)):
        bench.run(0.05, duty)
        yield bench.rig.outputs()


def pulses_s(levels: list[bool]) -> list[tuple[bool, float]]:
    """Lengths of on and off, without the first and the last, which may be cut."""
    edges = [i for i, (a, b) in enumerate(pairwise(levels)) if a != b]
    return [(levels[a + 1], (b - a) * 0.05) for a, b in pairwise(edges)]


class OutputContract:
    """Time-proportioned, apart, within the supply limit."""

    @pytest.mark.parametrize("duty", [(0, 0), (300, 700), (1, 999), (1000, 1000), (500, 0)])
    def test_board_delivers_the_duty(self, rig: Rig, duty: tuple[int, int]) -> None:
        """Over whole windows the on-time is duty times window, and telemetry counts it."""
        bench = Bench(rig).greet().arm()
        bench.run(2.2, duty)
        assert bench.on_time(10.0, duty) == (10 * duty[0], 10 * duty[1])

    def test_board_keeps_the_halves_apart(self, rig: Rig) -> None:
        """Where both fit into a window they never overlap, the upper first."""
        bench = Bench(rig).greet().arm()
        seen = list(watch(bench, 10.0, (400, 600)))
        assert (True, True) not in seen
        assert seen.count((True, False)) == pytest.approx(80, abs=8)
        assert seen.count((False, True)) == pytest.approx(120, abs=12)

    @pytest.mark.parametrize(
        ("duty", "scaled"),
        [((1000, 1000), (500, 500)), ((900, 300), (750, 250)), ((600, 400),) * 2],
    )
    def test_board_stays_within_the_supply_limit(
        self, make_rig: MakeRig, duty: tuple[int, int], scaled: tuple[int, int]
    ) -> None:
        """Duties that sum to more than `cap` are scaled down to it; then never both are on."""
        bench = Bench(make_rig(build=Build(cap=1000))).greet().arm()
        bench.run(2.2, duty)
        assert bench.on_time(10.0, duty) == (10 * scaled[0], 10 * scaled[1])
        assert (True, True) not in set(watch(bench, 5.0, duty))

    def test_board_cuts_at_duty_0(self, rig: Rig) -> None:
        """One half, or both, off at once in the middle of a pulse."""
        bench = Bench(rig).greet().arm()
        bench.run(1.0, (1000, 1000))
        bench.duty((0, 1000))
        assert rig.outputs() == (False, True)
        bench.duty((0, 0))
        assert rig.outputs() == (False, False)

    def test_board_counts_on_time_modulo_65536(self, rig: Rig) -> None:
        """`uo` wraps and stays countable."""
        bench = Bench(rig, 165.0, 165.0).greet().arm()
        bench.run(70.0, (1000, 0))
        assert bench.tele.uo < 10_000

    def test_board_relay_keeps_minimum_times(self, make_rig: MakeRig) -> None:
        """No pulse and no pause below 2 s, whatever the duty, and the mean is right."""
        bench = Bench(make_rig(build=RELAY), 165.0, 165.0).greet().arm()
        for duty in ((50, 950), (130, 870), (500, 500)):
            bench.run(20.0, duty)
            seen = list(watch(bench, 800.0, duty))
            for half in range(2):
                levels = [both[half] for both in seen]
                assert levels.count(True) / len(levels) == pytest.approx(
                    duty[half] / 1000, abs=0.03
                )
                assert all(length >= 1.99 for _, length in pulses_s(levels))
            bench.press_arm(duty=duty)

    def test_board_relay_ignores_minimum_times_when_it_must(self, make_rig: MakeRig) -> None:
        """Duty 0, expiry, disarming and trips cut a pulse that has just begun."""
        for cut in ("duty", "expiry", "disarm", "trip"):
            rig = make_rig(build=RELAY)
            bench = Bench(rig).greet().arm()
            bench.duty((1000, 1000), expiry_ms=500)
            bench.step(200)
            assert rig.outputs() == (True, True)
            if cut == "duty":
                bench.duty((0, 0))
            elif cut == "expiry":
                bench.step(350)
            elif cut == "disarm":
                bench.ask(bench.request(m.Disarm))
            else:
                rig.set_input(m.IN_THERMOSTAT, on=True)
            assert rig.outputs() == (False, False), cut

    def test_board_step_to_full_starts_a_new_window(self, make_rig: MakeRig) -> None:
        """A half that steps from 0 to full waits for minimum times, not for the window's end."""
        rig = make_rig(build=RELAY)
        bench = Bench(rig).greet().arm()
        bench.run(23.0, (0, 400))
        waits = [both[0] for both in watch(bench, 3.0, (1000, 400))]
        assert waits.index(True) * 0.05 <= 2.1

    def test_board_heats_at_once_from_rest(self, make_rig: MakeRig) -> None:
        """Where both were 0 the first duty begins a window."""
        rig = make_rig(build=RELAY)
        bench = Bench(rig).greet().arm()
        for _ in range(3):
            bench.run(5.0)
            bench.duty((300, 0))
            bench.step(50)
            assert rig.outputs() == (True, False)

    def test_board_relay_waits_after_a_cut(self, make_rig: MakeRig) -> None:
        """What was cut at once comes back only after its minimum off."""
        rig = make_rig(build=RELAY)
        bench = Bench(rig).greet().arm()
        bench.run(1.0, (1000, 0))
        bench.duty((0, 0))
        bench.run(1.9, (1000, 0))
        assert rig.outputs() == (False, False)
        bench.run(0.2, (1000, 0))
        assert rig.outputs() == (True, False)


class OpenContract:
    """An open mould: half duty, for 3 min."""

    def test_board_open_mould_gets_half_duty(self, rig: Rig) -> None:
        """At most 500 from the opening on; closed, all of it again."""
        bench = Bench(rig).greet().arm()
        bench.run(2.2, (1000, 800))
        rig.set_input(m.IN_OPEN, on=True)
        bench.run(2.0, (1000, 800))
        assert bench.on_time(10.0, (1000, 800)) == (5000, 5000)
        assert bench.on_time(10.0, (1000, 300)) == pytest.approx((5000, 3000), abs=200)
        rig.set_input(m.IN_OPEN, on=False)
        bench.run(2.0, (1000, 800))
        assert bench.on_time(10.0, (1000, 800)) == (10_000, 8000)

    def test_board_opening_limits_the_running_window(self, make_rig: MakeRig) -> None:
        """In a long window too, half of it is the most from then on."""
        rig = make_rig(build=RELAY)
        bench = Bench(rig).greet().arm()
        bench.run(12.0, (1000, 0))
        rig.set_input(m.IN_OPEN, on=True)
        assert rig.outputs() == (False, False)

    def test_board_open_mould_is_cut_after_3_min(self, rig: Rig) -> None:
        """Heat at 179 s, none at 181 s, an event, no latch; closing brings it back."""
        bench = Bench(rig).greet().arm()
        rig.set_input(m.IN_OPEN, on=True)
        bench.run(179.5, (400, 400))
        assert "openoff" not in bench.codes()
        bench.run(1.0, (400, 400))
        assert "openoff" in bench.codes()
        assert bench.on_time(5.0, (400, 400)) == (0, 0)
        assert bench.state == "armed"
        rig.set_input(m.IN_OPEN, on=False)
        assert min(bench.on_time(5.0, (400, 400))) >= 1200
        assert bench.tele.fo == "none"

    def test_board_open_time_counts_from_the_opening(self, rig: Rig) -> None:
        """Arming does not begin it anew."""
        bench = Bench(rig).greet()
        rig.set_input(m.IN_OPEN, on=True)
        bench.run(175.0)
        bench.arm()
        bench.run(6.0, (400, 400))
        assert bench.on_time(5.0, (400, 400)) == (0, 0)

    def test_board_sixty_openings_latch_nothing(self, rig: Rig) -> None:
        """Opening is work: each of 60 is cooled, charged, closed, and heats again."""
        bench = Bench(rig, 150.0, 150.0).greet().arm()
        for opening in range(60):
            rig.set_input(m.IN_OPEN, on=True)
            bench.upper_c, bench.lower_c = 143.0, 141.0
            bench.run(40.0, (500, 500))
            assert bench.why(bench.request(m.Charge)) == ""
            rig.set_input(m.IN_OPEN, on=False)
            closed_ms = rig.now_ms

            def recovering(now_ms: int, closed_ms: int = closed_ms) -> float:
                return min(150.0, 130.0 + 0.6 * (now_ms - closed_ms) / 1000.0)

            bench.lower_c = recovering
            bench.run(30.0, (900, 900))
            bench.upper_c = 150.0
            bench.run(10.0, (200, 200))
            if opening % 10 == 9:
                bench.press_arm(duty=(200, 200))
        assert bench.state == "armed"
        assert not {"fall", "trip", "openoff"} & set(bench.codes())


class PresenceContract:
    """Somebody is there, or the heat ends."""

    def test_board_warns_at_30_min_and_disarms_at_32(self, rig: Rig) -> None:
        """The buzzer at 30 min, ready with an event at 32 min."""
        bench = Bench(rig).greet().arm()
        start_ms = bench.rig.now_ms - 300
        bench.run(29.8 * 60.0)
        assert rig.sound() == "off"
        bench.run(0.4 * 60.0)
        assert rig.sound() == "alarm"
        assert 100 <= bench.last(m.Stat).pl <= 120
        bench.run(1.7 * 60.0)
        assert bench.state == "armed"
        bench.run((start_ms + 32.05 * 60_000 - bench.rig.now_ms) / 1000.0)
        assert "presence" in bench.codes()
        assert bench.state == "ready"
        assert bench.tele.fo == "none"

    @pytest.mark.parametrize("bit", [m.IN_NEXT, m.IN_ARM])
    def test_board_presence_begins_again_with_a_press(self, rig: Rig, bit: int) -> None:
        """Any button wired to the board, also during the warning."""
        bench = Bench(rig).greet().arm()
        bench.run(31.0 * 60.0)
        assert rig.sound() == "alarm"
        rig.set_input(bit, on=True)
        bench.run(0.2)
        rig.set_input(bit, on=False)
        assert rig.sound() == "off"
        bench.run(29.0 * 60.0)
        assert bench.state == "armed"

    def test_board_presence_is_not_extended_from_the_line(self, rig: Rig) -> None:
        """No request counts, nor a button that is held down."""
        bench = Bench(rig).greet().arm()
        rig.set_input(m.IN_NEXT, on=True)
        for _ in range(33):
            bench.run(60.0)
            bench.ask(bench.request(m.LimitsAsk))
            bench.ask(bench.request(m.Signal, "on", "soon"))
            bench.why(bench.request(m.Charge))
        assert "presence" in bench.codes()

    def test_board_shows_no_presence_unless_armed(self, rig: Rig) -> None:
        """`pl` is 0 then, and up to 32 min when armed."""
        bench = Bench(rig).greet()
        bench.run(1.1)
        assert bench.last(m.Stat).pl == 0
        bench.arm()
        bench.run(1.1)
        assert bench.last(m.Stat).pl in range(1917, 1921)
