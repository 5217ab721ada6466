"""Sections 6.1 and 6.3 of the wire contract: silence, trips and their reset."""

from __future__ import annotations

import pytest

from board_rig import Bench, Rig
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause


class SilenceContract:
    """Three times of silence, none of which latches."""

    @pytest.mark.parametrize("expiry_ms", [100, 700, 1500])
    def test_board_outputs_go_off_at_the_expiry(self, rig: Rig, expiry_ms: int) -> None:
        """On until `x` ms after the line, off one pass later, and off until the next."""
        bench = Bench(rig).greet().arm()
        assert bench.duty((1000, 1000), expiry_ms=expiry_ms) == ""
        bench.step(expiry_ms - 50)
        assert rig.outputs() == (True, True)
        bench.step(100)
        assert rig.outputs() == (False, False)
        bench.run(1.0, None)
        assert rig.outputs() == (False, False)
        assert bench.state == "armed"
        bench.duty((1000, 1000))
        bench.step(50)
        assert rig.outputs() == (True, True)

    def test_board_disarms_after_3_s(self, rig: Rig) -> None:
        """Armed at 2.7 s of silence, ready at 3.3 s; the contactor is still in."""
        bench = Bench(rig).greet().arm()
        bench.duty((500, 500))
        bench.run(2.7, None)
        assert "silence" not in bench.codes()
        bench.run(0.6, None)
        assert "silence" in bench.codes()
        assert bench.state == "ready"
        assert rig.contactor()
        assert bench.duty((500, 500)) == "state"

    def test_board_releases_after_10_s(self, rig: Rig) -> None:
        """The contactor is in at 9.9 s, released at 10.1 s, the token free, nothing latched."""
        bench = Bench(rig).greet().arm()
        bench.duty((500, 500))
        bench.run(9.9, None)
        assert rig.contactor()
        bench.run(0.2, None)
        assert not rig.contactor()
        assert "released" in bench.codes()
        assert bench.why(m.Disarm(bench.token, bench.next_q())) == "token"
        assert bench.tele.fo == "none"
        bench.hello()
        assert bench.state == "ready"

    def test_board_releases_at_once_what_lingers(self, rig: Rig) -> None:
        """In after a disarming by silence, the contactor goes with the state ready."""
        bench = Bench(rig).greet().arm()
        bench.duty((500, 500))
        bench.run(4.0, None)
        assert rig.contactor()
        rig.set_input(m.IN_MAINS, on=False)
        bench.notice()
        assert not rig.contactor()
        bench.follow_contactor()
        rig.set_input(m.IN_MAINS, on=True)
        bench.run(0.4, None)
        assert not rig.contactor()

    def test_board_disarm_releases_what_lingers(self, rig: Rig) -> None:
        """A host that comes back and asks for it gets the contactor out at once."""
        bench = Bench(rig).greet().arm()
        bench.duty((500, 500))
        bench.run(4.0, None)
        assert rig.contactor()
        assert bench.why(bench.request(m.Disarm)) == ""
        assert not rig.contactor()

    def test_board_lingers_no_longer_for_a_host_that_comes_back(self, rig: Rig) -> None:
        """Lines of no heat from 4 s of silence on: the contactor goes at 10 s all the same."""
        bench = Bench(rig).greet().arm()
        bench.duty((500, 500))
        start_ms = rig.now_ms
        bench.run(4.0, None)
        bench.run(9.8 - (rig.now_ms - start_ms) / 1000)
        assert rig.contactor()
        bench.run(0.5)
        assert not rig.contactor()
        assert bench.state == "ready"

    def test_board_is_fed_by_taken_lines_only(self, rig: Rig) -> None:
        """Refused duty lines and other requests do not count."""
        bench = Bench(rig).greet().arm()
        bench.duty((0, 0))
        for _ in range(33):
            bench.step(100)
            bench.duty((500, 500), echo=(bench.tele.n + 5) & 0xFFFF)
            bench.ask(bench.request(m.LimitsAsk))
        assert bench.state == "ready"
        assert "silence" in bench.codes()

    def test_board_is_fed_by_lines_of_no_heat(self, rig: Rig) -> None:
        """A duty of 0 keeps it armed."""
        bench = Bench(rig).greet().arm()
        bench.run(20.0)
        assert bench.state == "armed"

    def test_board_silence_ends_a_pattern(self, rig: Rig) -> None:
        """The buzzer goes still after 3 s."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.Signal, "blink", "breathe")) == ""
        bench.run(2.7)
        assert rig.sound() == "breathe"
        bench.run(3.4, None)
        assert rig.sound() == "off"

    @pytest.mark.parametrize("kind", [m.Disarm, m.Bye])
    def test_board_disarms_when_asked(self, rig: Rig, kind: type[m.ToBoard]) -> None:
        """Heat and contactor off at once, whatever is in the window."""
        bench = Bench(rig).greet().arm()
        bench.run(1.0, (1000, 1000))
        assert bench.why(bench.request(kind)) == ""
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        assert "disarmed" in bench.codes()
        assert bench.why(bench.request(kind)) == ("" if kind is m.Disarm else "token")


class TripContract:
    """A trip latches its first cause; only a hand at a cool board clears it."""

    def tripped(self, rig: Rig) -> Bench:
        """A board that has tripped by over-temperature and has cooled since."""
        bench = Bench(rig).greet().arm()
        bench.run(0.5, (1000, 1000))
        bench.upper_c = 216.0
        bench.run(0.6, None)
        bench.upper_c = 100.0
        bench.run(0.4)
        assert bench.tele.st == "tripped"
        assert bench.tele.fo == "overtemp"
        return bench

    def reset_by_hand(self, bench: Bench, hold_s: float) -> str:
        """Hold RESET so long, to the millisecond; return the state after."""
        bench.press_arm(hold_s, duty=None)
        return bench.state

    def test_board_trip_cuts_outputs_and_contactor(self, rig: Rig) -> None:
        """Both outputs and the contactor are off at once, and an event tells of it."""
        bench = self.tripped(rig)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        assert "trip" in bench.codes()
        assert bench.lock_reason() == "latched"
        assert rig.sound() == "alarm"

    @pytest.mark.parametrize(
        ("hold_s", "clears"),
        [(0.3, False), (1.99, False), (2.01, True), (4.99, True), (5.01, False), (30.0, False)],
    )
    def test_board_resets_after_2_to_5_s_of_a_hand(
        self,
        rig: Rig,
        hold_s: float,
        clears: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """Shorter or longer clears nothing, and clearing never arms."""
        bench = self.tripped(rig)
        assert self.reset_by_hand(bench, hold_s) == ("ready" if clears else "tripped")
        assert ("reset" in bench.codes()) == clears
        assert not rig.contactor()

    def test_board_resets_on_release_only(self, rig: Rig) -> None:
        """While the button is down nothing is cleared."""
        bench = self.tripped(rig)
        rig.set_input(m.IN_ARM, on=True)
        bench.run(4.0)
        assert bench.state == "tripped"

    def test_board_stuck_button_clears_nothing(self, rig: Rig) -> None:
        """Down since before the trip, or since the start: no reset when it comes up."""
        bench = Bench(rig).greet().arm()
        rig.set_input(m.IN_ARM, on=True)
        bench.upper_c = 216.0
        bench.run(0.6)
        bench.upper_c = 100.0
        bench.run(2.4)
        rig.set_input(m.IN_ARM, on=False)
        assert bench.state == "tripped"
        rig.set_input(m.IN_ARM, on=True)
        rig.restart(ResetCause.POWER)
        bench = Bench(rig)
        bench.run(3.5, None)
        rig.set_input(m.IN_ARM, on=False)
        assert bench.state == "tripped"

    def test_board_latch_survives_every_restart(self, rig: Rig) -> None:
        """First-out and state come back tripped, whatever the cause of the reset."""
        self.tripped(rig)
        for cause in ResetCause:
            rig.restart(cause)
            bench = Bench(rig)
            bench.run(2.2, None)
            assert bench.last(m.Boot).latch == "overtemp"
            assert (bench.tele.st, bench.tele.fo) == ("tripped", "overtemp")
        here = bench.hello()
        assert isinstance(here, m.Here)
        assert here.latch == "overtemp"
        assert self.reset_by_hand(bench, 3.0) == "ready"

    def test_board_latch_is_cleared_by_nothing_on_the_line(self, rig: Rig) -> None:
        """Every request there is leaves the trip where it is."""
        bench = self.tripped(rig)
        bench.why(bench.request(m.ArmAsk))
        bench.why(bench.request(m.ArmAnswer, "00000000"))
        bench.duty((0, 0))
        bench.duty((500, 500))
        for request in (
            (m.Disarm,),
            (m.Charge,),
            (m.TripSet, 2150),
            (m.TripSet, 600),
            (m.Use, 1),
            (m.MouldAsk, 0),
            (m.LimitsAsk,),
            (m.LogAsk, 0),
            (m.CommissioningHeat, "upper", 500, bench.tele.n, 500),
            (m.StoreMould, 1, "upper", 500, 200, 600),
            (m.Signal, "off", "off"),
            (m.Bye,),
        ):
            bench.why(bench.request(*request))
        bench.hello()
        assert bench.state == "tripped"
        assert bench.tele.fo == "overtemp"
        assert not rig.contactor()

    @pytest.mark.parametrize(("temperature_c", "clears"), [(194.5, True), (195.5, False)])
    def test_board_resets_only_20_k_below_the_trip(
        self,
        rig: Rig,
        temperature_c: float,
        clears: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """Both halves must be at 195.0 °C or below where the trip point is 215.0 °C."""
        bench = self.tripped(rig)
        bench.lower_c = temperature_c
        bench.run(0.4)
        assert (self.reset_by_hand(bench, 3.0) == "ready") == clears

    def test_board_keeps_the_first_cause(self, rig: Rig) -> None:
        """A later cause does not replace it."""
        bench = self.tripped(rig)
        rig.set_input(m.IN_THERMOSTAT, on=True)
        bench.run(1.0)
        assert bench.tele.fo == "overtemp"

    def test_board_resets_only_when_the_cause_is_gone(self, rig: Rig) -> None:
        """A limit thermostat that is still open holds its trip."""
        bench = Bench(rig).greet()
        rig.set_input(m.IN_THERMOSTAT, on=True)
        bench.run(0.2)
        assert bench.tele.fo == "chain"
        assert self.reset_by_hand(bench, 3.0) == "tripped"
        rig.set_input(m.IN_THERMOSTAT, on=False)
        assert self.reset_by_hand(bench, 3.0) == "ready"

    def test_board_resets_only_with_good_sensors(self, rig: Rig) -> None:
        """What cannot be read is not known to be cool."""
        bench = self.tripped(rig)
        good = bench.set_registers

        def broken(now_ms: int) -> None:
            good(now_ms)
            rig.set_register(Half.LOWER, 0)

        bench.set_registers = broken  # type: ignore[method-assign]
        bench.run(1.0)
        assert self.reset_by_hand(bench, 3.0) == "tripped"
        bench.set_registers = good  # type: ignore[method-assign]
        bench.run(1.0)
        assert self.reset_by_hand(bench, 3.0) == "ready"

    def test_board_that_fails_its_test_is_not_reset_whatever_is_latched(self, rig: Rig) -> None:
        """The first cause stays, and no hand clears it before a start that passes."""
        bench = self.tripped(rig)
        bench.upper_c = 100.0
        rig.restart(ResetCause.POWER, selftest_fails=True)
        bench = Bench(rig).greet()
        assert self.reset_by_hand(bench, 3.0) == "tripped"
        assert bench.tele.fo == "overtemp"
        rig.restart(ResetCause.POWER)
        bench = Bench(rig).greet()
        assert self.reset_by_hand(bench, 3.0) == "ready"

    def test_board_does_not_count_on_what_was_too_hot_before_a_reset(self, rig: Rig) -> None:
        """A bad reading after it is no second one over the trip point."""
        bench = self.tripped(rig)
        bench.upper_c = 100.0
        rig.set_input(m.IN_ARM, on=True)
        bench.run(3.0)
        rig.set_register(Half.UPPER, 0x00010001)
        rig.advance(200)
        rig.set_input(m.IN_ARM, on=False)
        rig.advance(300)
        bench.run(1.0)
        assert (bench.tele.st, bench.tele.fo) == ("ready", "none")

    def test_board_that_fails_its_test_is_tripped(self, rig: Rig) -> None:
        """Self-test trips and latches, also over a restart, until it passes and a hand resets."""
        rig.restart(ResetCause.POWER, selftest_fails=True)
        bench = Bench(rig)
        bench.run(2.2, None)
        bench.hello()
        assert (bench.tele.st, bench.tele.fo) == ("tripped", "selftest")
        assert self.reset_by_hand(bench, 3.0) == "tripped"
        rig.restart(ResetCause.POWER)
        bench = Bench(rig)
        bench.run(2.2, None)
        bench.hello()
        assert bench.tele.st == "tripped"
        assert self.reset_by_hand(bench, 3.0) == "ready"
