"""Sections 6.8 and 6.9 of the wire contract: commissioning heat, buttons, one zone."""

from __future__ import annotations

import pytest

from board_rig import Bench, MakeRig, Rig, shown_tenths
from tawny.core import messages as m
from tawny.core.names import Half
from tawny.sim.build import Build


class CommissioningContract:
    """The only heat without a stored R and lag: one half, a hand on the button."""

    def heat(
        self, bench: Bench, half: str = "upper", duty: int = 500, expiry_ms: int = 1000
    ) -> str:
        """Ask for it; return why it was refused."""
        return bench.why(bench.request(m.CommissioningHeat, half, duty, bench.tele.n, expiry_ms))

    def go_on(self, bench: Bench, seconds: float, half: str = "upper") -> list[str]:
        """Ask each 0.4 s beside the duty lines; return the refusals."""
        refusals = []
        end_ms = bench.rig.now_ms + round(seconds * 1000)
        while bench.rig.now_ms < end_ms:
            refusals.append(self.heat(bench, half))
            bench.run(min(0.4, (end_ms - bench.rig.now_ms) / 1000.0))
        return [why for why in refusals if why]

    def uncommissioned(self, make_rig: MakeRig, temperature_c: float = 30.0) -> Bench:
        """A board that knows no mould."""
        bench = Bench(make_rig(commissioned=False), temperature_c, temperature_c).greet()
        assert bench.state == "locked"
        assert bench.lock_reason() == "mould"
        return bench

    def test_board_heats_one_half_under_a_hand(self, make_rig: MakeRig) -> None:
        """Locked for want of a mould, with ARM held: heat, contactor, event; no arming."""
        bench = self.uncommissioned(make_rig)
        assert self.heat(bench) == "hand"
        bench.rig.set_input(m.IN_ARM, on=True)
        assert self.go_on(bench, 10.0) == []
        assert bench.tele.uo == pytest.approx(5000, abs=600)
        assert bench.tele.lo == 0
        assert bench.rig.contactor()
        assert "comm" in bench.codes()
        assert bench.state == "locked"
        bench.rig.set_input(m.IN_ARM, on=False)
        assert bench.rig.outputs() == (False, False)
        assert not bench.rig.contactor()
        assert self.heat(bench) == "hand"

    def test_board_heats_either_half_also_when_ready(self, rig: Rig) -> None:
        """State ready allows it too; it stays ready."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        assert self.go_on(bench, 4.0, "lower") == []
        assert bench.tele.lo > 1000
        assert bench.state == "ready"

    def test_board_commissioning_heat_expires(self, rig: Rig) -> None:
        """Without a repeat it ends after `x`."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        assert self.heat(bench, duty=1000, expiry_ms=700) == ""
        bench.run(0.6)
        assert rig.outputs() == (True, False)
        bench.run(0.2)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()

    @pytest.mark.parametrize(("temperature_c", "why"), [(99.0, ""), (100.5, "limit")])
    def test_board_commissioning_ends_at_100_degrees(
        self, rig: Rig, temperature_c: float, why: str
    ) -> None:
        """At 100.0 °C it is refused, and cut where it runs."""
        assert (shown_tenths(temperature_c) >= 1000) == bool(why)
        bench = Bench(rig, temperature_c, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        assert self.heat(bench) == why
        bench.upper_c = 101.0
        bench.run(0.45)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        assert self.heat(bench, "lower") == ""

    def test_board_commissioning_lasts_10_min_in_one_go(self, rig: Rig) -> None:
        """Cut after 10 min, refused until ARM was let go."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        start_ms = rig.now_ms
        bench.upper_c = lambda now_ms: 30.0 + 0.1 * max(0, now_ms - start_ms) / 1000.0
        assert self.go_on(bench, 599.0) == []
        assert self.heat(bench, expiry_ms=1500) == ""
        bench.run((start_ms + 599_900 - rig.now_ms) / 1000.0)
        assert rig.contactor()
        bench.run(0.2)
        assert not rig.contactor()
        assert rig.outputs() == (False, False)
        assert set(self.go_on(bench, 4.0)) == {"state"}
        assert not rig.contactor()
        rig.set_input(m.IN_ARM, on=False)
        bench.notice()
        rig.set_input(m.IN_ARM, on=True)
        assert self.heat(bench) == ""

    @pytest.mark.parametrize(("k_per_s", "first_out"), [(1.7 / 120, "norise"), (2.4 / 120, "none")])
    def test_board_commissioning_wants_a_rise(
        self, rig: Rig, k_per_s: float, first_out: str
    ) -> None:
        """Less than 2 K in 120 s trips."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        start_ms = rig.now_ms
        bench.upper_c = lambda now_ms: 30.0 + k_per_s * max(0, now_ms - start_ms) / 1000.0
        self.go_on(bench, 118.0)
        assert bench.tele.fo == "none"
        self.go_on(bench, 125.0)
        assert bench.tele.fo == first_out

    def test_board_commissioning_wants_a_rise_whatever_pauses(self, rig: Rig) -> None:
        """Lines that come too late cut the heat each time; 120 s of it are judged all the same."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        start_ms = rig.now_ms
        while bench.tele.fo == "none" and rig.now_ms - start_ms < 400_000:
            assert self.heat(bench, expiry_ms=1500) in {"", "state"}
            bench.run(1.65)
        assert bench.tele.fo == "norise"
        assert 120_000 <= rig.now_ms - start_ms < 160_000
        assert bench.codes().count("comm") == 1

    def test_board_commissioning_wants_a_rise_of_each_half(self, rig: Rig) -> None:
        """Heat that goes to and fro between the halves is counted for each."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        self.go_on(bench, 100.0)
        self.go_on(bench, 100.0, half="lower")
        assert bench.tele.fo == "none"
        self.go_on(bench, 25.0)
        assert bench.tele.fo == "norise"

    def test_board_does_not_commission_while_it_holds_heat_back(self, rig: Rig) -> None:
        """A mould that has stood open for 3 min: no heat, said as a refusal, until it closes."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_OPEN, on=True)
        rig.set_input(m.IN_ARM, on=True)
        bench.run(178.0)
        assert self.heat(bench) == ""
        bench.step(50)
        assert rig.contactor()
        bench.run(1.0)
        assert self.heat(bench) == ""
        bench.run(1.4)
        assert not rig.contactor()
        assert self.heat(bench) == "state"
        rig.set_input(m.IN_OPEN, on=False)
        bench.notice()
        assert self.heat(bench) == ""

    def test_board_commissioning_refuses_in_its_order(self, rig: Rig) -> None:
        """Echo, range, state."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        stale = (bench.tele.n + 3) & 0xFFFF
        assert bench.why(bench.request(m.CommissioningHeat, "upper", 5, stale, 1)) == "echo"
        assert self.heat(bench, expiry_ms=99) == "range"
        assert self.heat(bench, expiry_ms=1501) == "range"
        rig.set_input(m.IN_BUTTON, on=True)
        assert self.heat(bench) == "state"

    def test_board_heat_off_button_ends_commissioning(self, rig: Rig) -> None:
        """At once."""
        bench = Bench(rig, 30.0, 30.0).greet()
        rig.set_input(m.IN_ARM, on=True)
        self.go_on(bench, 2.0)
        rig.set_input(m.IN_BUTTON, on=True)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()

    def test_board_commissions_a_mould_from_nothing(self, make_rig: MakeRig) -> None:
        """Store both halves with a hand, use the slot: ready."""
        bench = self.uncommissioned(make_rig)
        bench.rig.set_input(m.IN_ARM, on=True)
        for half in Half:
            assert bench.why(bench.request(m.StoreMould, 4, half.value, 400, 150, 700)) == ""
        bench.rig.set_input(m.IN_ARM, on=False)
        assert bench.why(bench.request(m.Use, 4)) == ""
        assert bench.state == "ready"
        assert {"stored", "used"} <= set(bench.codes())


class ButtonContract:
    """NEXT/MARK, lamp, buzzer, one zone."""

    @pytest.mark.parametrize(("hold_ms", "counts"), [(44, 0), (56, 1), (2000, 1)])
    def test_board_counts_presses_of_50_ms(self, rig: Rig, hold_ms: int, counts: int) -> None:
        """Down for 50 ms and released; a board's measure of it is right to 5 ms."""
        bench = Bench(rig).greet()
        rig.set_input(m.IN_NEXT, on=True)
        bench.step(hold_ms)
        before = bench.tele.k
        rig.set_input(m.IN_NEXT, on=False)
        bench.run(0.3)
        assert (bench.tele.k - before) & 0xFF == counts

    @pytest.mark.parametrize(("apart_ms", "counts"), [(300, 1), (600, 2)])
    def test_board_counts_presses_half_a_second_apart(
        self, rig: Rig, apart_ms: int, counts: int
    ) -> None:
        """A bounce or a double tap is one."""
        bench = Bench(rig).greet()
        for _ in range(2):
            rig.set_input(m.IN_NEXT, on=True)
            bench.step(100)
            rig.set_input(m.IN_NEXT, on=False)
            bench.step(apart_ms - 100)
        bench.run(0.3)
        assert bench.tele.k == counts

    def test_board_shows_its_inputs(self, rig: Rig) -> None:
        """Every switch shows in telemetry."""
        bench = Bench(rig).greet()
        for bit in (m.IN_OPEN, m.IN_NEXT, m.IN_ARM, m.IN_BUTTON, m.IN_MAINS):
            was = bench.tele.inputs & bit
            rig.set_input(bit, on=not was)
            bench.run(0.3)
            assert bool(bench.tele.inputs & bit) != bool(was)
            rig.set_input(bit, on=bool(was))

    def test_board_of_one_zone_has_no_lower_half(self, make_rig: MakeRig) -> None:
        """It says none, wants only the upper's R and lag, and refuses heat for the lower."""
        rig = make_rig(build=Build(zones=1))
        bench = Bench(rig).greet().arm()
        assert (bench.tele.l, bench.tele.lr, bench.tele.ln) == ("none", 0, 0)
        assert bench.last(m.Stat).lc == "none"
        assert bench.why(bench.request(m.Duty, 0, 0, 100, 1800, bench.tele.n, 500)) == "range"
        assert bench.why(bench.request(m.Duty, 500, 1800, 0, 0, bench.tele.n, 500)) == ""
        bench.run(0.6, None)
        assert bench.tele.uo > 0
        assert bench.tele.lo == 0
