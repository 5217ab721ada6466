"""Sections 6.1 and 6.2 of the wire contract: states and arming."""

from __future__ import annotations

from itertools import pairwise
from zlib import crc32

import pytest

from board_rig import Bench, MakeRig, Rig, shown_tenths
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause

LOCKS = [
    (m.IN_MAINS, False, "mains"),
    (m.IN_BUTTON, True, "button"),
]


class StateContract:
    """What ready needs, and what takes it away."""

    def test_board_tests_itself_within_2_s(self, rig: Rig) -> None:
        """It is in self-test at first and locked 2 s after its start at the latest."""
        bench = Bench(rig)
        bench.run(0.25, None)
        assert bench.tele.st == "selftest"
        assert bench.tele.inputs & m.IN_HOT
        bench.run(1.95, None)
        assert bench.tele.st == "locked"

    def test_board_sends_telemetry_each_200_ms(self, rig: Rig) -> None:
        """Five lines a second, stamped 200 ms apart, counted without a gap; one status a second."""
        bench = Bench(rig)
        bench.run(10.1, None)  # the last line takes its time
        lines = [said for said in bench.heard if isinstance(said, m.Tele)]
        assert len(lines) == 50
        assert {b.ms - a.ms for a, b in pairwise(lines)} == {200}
        assert [line.n for line in lines] == list(range(50))
        assert {b.un - a.un for a, b in pairwise(lines)} == {1}
        assert sum(isinstance(said, m.Stat) for said in bench.heard) == 10

    def test_board_is_ready_when_all_holds(self, rig: Rig) -> None:
        """With a session and nothing missing: ready, reason none; before: locked, session."""
        bench = Bench(rig)
        bench.run(2.0, None)
        assert bench.lock_reason() == "session"
        bench.hello()
        assert bench.lock_reason() == "none"
        assert bench.state == "ready"

    @pytest.mark.parametrize(("bit", "on", "reason"), LOCKS)
    def test_board_locks_when_a_condition_fails(
        self,
        rig: Rig,
        bit: int,
        on: bool,  # noqa: FBT001 - a parameter
        reason: str,
    ) -> None:
        """Ready goes to locked with the reason, and back by itself; armed goes to locked."""
        bench = Bench(rig).greet()
        rig.set_input(bit, on=on)
        assert bench.state == "locked"
        assert bench.lock_reason() == reason
        rig.set_input(bit, on=not on)
        assert bench.state == "ready"
        bench.arm()
        bench.run(1.0, (500, 500))
        rig.set_input(bit, on=on)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        assert bench.state == "locked"
        rig.set_input(bit, on=not on)
        bench.run(5.0)
        assert bench.state == "ready"  # not latched, and not armed again
        assert bench.tele.fo == "none"

    def test_board_names_the_loss_of_mains(self, rig: Rig) -> None:
        """While armed it is an event of its own."""
        bench = Bench(rig).greet().arm()
        rig.set_input(m.IN_MAINS, on=False)
        bench.notice()
        assert "mains" in bench.codes()

    def test_board_locks_on_a_bad_sensor_when_not_armed(self, rig: Rig) -> None:
        """Ready: locked with the reason sensor, no latch."""
        bench = Bench(rig, 20.0, 20.0).greet()
        assert not bench.tele.inputs & m.IN_HOT
        bench.set_registers = lambda _: None  # type: ignore[method-assign]
        rig.set_register(Half.LOWER, 0x0001_0001)
        bench.run(1.0)
        assert bench.tele.l == "bad"
        assert bench.tele.inputs & m.IN_HOT  # unknown is hot
        assert bench.lock_reason() == "sensor"
        assert bench.state == "locked"
        assert bench.tele.fo == "none"

    def test_board_locks_with_a_mirror_that_stays_closed(self, rig: Rig) -> None:
        """A contactor that is in while released at the start: locked, and no arming."""
        bench = Bench(rig)
        bench.mirror_follows = False
        rig.set_input(m.IN_CONTACTOR, on=True)
        rig.restart(ResetCause.POWER)
        bench.greet()
        assert bench.lock_reason() == "mirror"
        assert bench.why(bench.request(m.ArmAsk)) == "state"

    def test_board_locks_with_a_thermostat_open_at_start(self, make_rig: MakeRig) -> None:
        """It says thermostat and latches nothing."""
        rig = make_rig(inputs=m.IN_MAINS | m.IN_THERMOSTAT)
        bench = Bench(rig).greet()
        assert bench.lock_reason() == "thermostat"
        assert bench.tele.fo == "none"
        rig.set_input(m.IN_THERMOSTAT, on=False)
        assert bench.state == "ready"

    @pytest.mark.parametrize(
        ("temperature_c", "hot"), [(45.0, False), (45.5, True), (180.0, True), (20.0, False)]
    )
    def test_board_lights_hot_above_45_degrees(
        self,
        rig: Rig,
        temperature_c: float,
        hot: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """One half above 45 °C is enough; unknown counts as hot."""
        bench = Bench(rig, 20.0, temperature_c).greet()
        assert (shown_tenths(temperature_c) > 450) == hot
        assert bool(bench.tele.inputs & m.IN_HOT) == hot

    def test_board_clock_wraps(self, make_rig: MakeRig) -> None:
        """Timers run on over the wrap of the 32-bit clock."""
        rig = make_rig(clock_ms=2**32 - 5000)
        bench = Bench(rig).greet().arm()
        bench.run(1.0, (500, 500))
        before = bench.tele
        assert before.ms > 2**31
        used = bench.on_time(10.0, (500, 500))
        assert bench.tele.ms < 20_000
        assert used[0] == pytest.approx(5000, abs=600)
        assert bench.state == "armed"
        bench.run(4.0, None)
        assert bench.state == "ready"
        assert "silence" in bench.codes()


class ArmingContract:
    """A request, a challenge, the right answer, and a press at the board."""

    def test_board_armed_anew_waits_for_a_new_duty(self, rig: Rig) -> None:
        """What was asked for before a disarming is over, though its time is not."""
        bench = Bench(rig).greet().arm()
        assert bench.duty((1000, 1000)) == ""
        bench.step(50)
        assert rig.outputs() == (True, True)
        assert bench.why(bench.request(m.Disarm)) == ""
        assert bench.why(bench.request(m.ArmAnswer, bench.challenge())) == ""
        rig.set_input(m.IN_ARM, on=True)
        bench.step(100)
        assert rig.contactor()
        assert rig.outputs() == (False, False)
        bench.run(0.5, None)
        assert bench.tele.st == "armed"
        assert rig.outputs() == (False, False)

    def test_board_arms_with_a_hand(self, rig: Rig) -> None:
        """Challenge, answer, press: armed, contactor in, no heat yet."""
        bench = Bench(rig).greet().arm()
        assert "armed" in bench.codes()
        assert rig.contactor()
        assert rig.outputs() == (False, False)

    def test_board_does_not_arm_for_a_script_alone(self, rig: Rig) -> None:
        """Whatever a host sends, without a press at the board it never arms."""
        bench = Bench(rig).greet()
        for _ in range(6):
            answer = bench.challenge()
            assert bench.why(bench.request(m.ArmAnswer, answer)) == ""
            bench.run(1.0)
            bench.why(bench.request(m.ArmAnswer, answer))
            bench.why(bench.request(m.ArmAsk))
            assert bench.duty((500, 500)) == "state"
            bench.run(11.0)
        assert "armed" not in bench.codes()
        assert not rig.contactor()
        assert bench.codes().count("refarm") >= 3

    def test_board_wants_the_press_after_the_answer(self, rig: Rig) -> None:
        """A press before the answer does not count, nor one that goes on through it."""
        bench = Bench(rig).greet()
        answer = bench.challenge()
        bench.press_arm()
        rig.set_input(m.IN_ARM, on=True)
        assert bench.why(bench.request(m.ArmAnswer, answer)) == ""
        bench.run(1.0)
        rig.set_input(m.IN_ARM, on=False)
        assert bench.state == "ready"
        bench.press_arm()
        assert bench.state == "armed"

    @pytest.mark.parametrize(("press_s", "armed"), [(9.8, True), (10.2, False)])
    def test_board_gives_10_s_for_all_of_it(
        self,
        rig: Rig,
        press_s: float,
        armed: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """Answer and press fall within 10 s of the challenge."""
        bench = Bench(rig).greet()
        answer = bench.challenge()
        bench.run(press_s - 0.4)
        assert bench.why(bench.request(m.ArmAnswer, answer)) == ""
        bench.run(0.4)
        bench.press_arm()
        assert (bench.state == "armed") == armed
        assert ("refarm" in bench.codes()) != armed

    def test_board_refuses_an_answer_after_10_s(self, rig: Rig) -> None:
        """The challenge has run out: wrong, event refarm."""
        bench = Bench(rig).greet()
        answer = bench.challenge()
        bench.run(10.1)
        assert bench.why(bench.request(m.ArmAnswer, answer)) == "wrong"
        assert "refarm" in bench.codes()

    def test_board_ends_the_challenge_at_a_wrong_answer(self, rig: Rig) -> None:
        """After one wrong answer the right one comes too late."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.ArmAnswer, "00000000")) == "wrong"
        answer = bench.challenge()
        wrong = f"{int(answer, 16) ^ 1:08x}"
        assert bench.why(bench.request(m.ArmAnswer, wrong)) == "wrong"
        assert bench.why(bench.request(m.ArmAnswer, answer)) == "wrong"
        bench.press_arm()
        assert bench.state == "ready"

    def test_board_answer_covers_challenge_and_token(self, rig: Rig) -> None:
        """The CRC over the challenge alone is wrong, and challenges differ."""
        bench = Bench(rig).greet()
        reply = bench.ask(bench.request(m.ArmAsk))
        assert isinstance(reply, m.Challenge)
        alone = f"{crc32(reply.c.encode()):08x}"
        assert bench.why(bench.request(m.ArmAnswer, alone)) == "wrong"
        assert bench.challenge() != bench.challenge()

    def test_board_gives_the_challenge_up_with_ready(self, rig: Rig) -> None:
        """A condition that fails in between ends it."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.ArmAnswer, bench.challenge())) == ""
        rig.set_input(m.IN_BUTTON, on=True)
        bench.notice()
        rig.set_input(m.IN_BUTTON, on=False)
        bench.run(0.2)
        bench.press_arm()
        assert bench.state == "ready"

    @pytest.mark.parametrize("cause", list(ResetCause))
    def test_board_never_heats_after_a_restart(self, rig: Rig, cause: ResetCause) -> None:
        """Out of armed and heating, a reset comes up dark, and stays so without a new arming."""
        bench = Bench(rig).greet().arm()
        bench.run(1.0, (800, 800))
        token = bench.token
        rig.restart(cause)
        assert rig.outputs() == (False, False)
        assert not rig.contactor()
        bench = Bench(rig)
        bench.follow_contactor()
        bench.run(2.0, None)
        bench.token = token
        assert bench.duty((500, 500)) == "token"
        bench.hello()
        bench.run(0.4)
        assert bench.duty((500, 500)) == "state"
        assert bench.state == "ready"
