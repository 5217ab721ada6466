"""What a session sends: requests repeated, duty in time, arming step by step."""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from zlib import crc32

import pytest

from session_bench import Bench, of
from tawny.core import messages as m
from tawny.core.names import Half, LinkStatus
from tawny.core.snapshot import Code
from tawny.errors import InputError
from tawny.link import events as e


@pytest.fixture
def bench() -> Bench:
    """A fresh bench."""
    return Bench()


def test_session_repeats_a_request_three_times_and_then_gives_the_link_up(bench: Bench) -> None:
    """500 ms apart, each with a new sequence number; then down, and a new greeting."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.charge()
    bench.run(2.4)

    charges = [(at_s, r.q) for at_s, r in bench.sent if isinstance(r, m.Charge)]
    assert [round(at_s - charges[0][0], 1) for at_s, _ in charges] == [0.0, 0.5, 1.0, 1.5]
    assert len({q for _, q in charges}) == 4
    assert of(e.Down, bench.events) == [e.Down(Code("no_reply", {"kind": "charge"}))]
    bench.mute = ()
    bench.run(3.0)
    assert bench.session.status is LinkStatus.UP


def test_session_counts_a_repeated_charge_that_came_too_soon_as_carried_out(bench: Bench) -> None:
    """It was the first reply that got lost: the board has announced the charge already."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.charge()
    bench.run(0.4)
    bench.mute = ()
    bench.refuse[m.Charge] = deque(["rate"])
    bench.run(0.5)

    assert of(e.Answered, bench.events) == [e.Answered("charge")]
    bench.refuse[m.Charge] = deque(["rate"])
    bench.session.charge()
    bench.run(0.5)
    assert of(e.Refusal, bench.events) == [e.Refusal("charge", "rate")]


def test_session_never_repeats_a_duty_line(bench: Bench) -> None:
    """Each call sends at most one line; without replies to three the link is given up."""
    bench.come_up()
    bench.mute = (m.Message,)
    calls = 0
    while bench.session.up and calls < 20:
        bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
        calls += 1
        bench.run(0.4)

    assert calls < 6
    assert len(bench.sent) <= calls
    assert set(bench.kinds()) == {"Duty"}
    assert of(e.Down, bench.events) == [e.Down(Code("no_reply", {"kind": "duty"}))]


def test_session_sends_duty_per_mille_with_setpoint_echo_and_expiry(bench: Bench) -> None:
    """0.345 is 345, 180 degC is 1800, the echo is the last telemetry's counter."""
    bench.come_up()
    bench.session.send_duty(0.345, 180.0, 0.0, 0.0, bench.now_s)
    bench.run(0.1)

    (_, duty), *_ = bench.sent
    assert duty == m.Duty("3fa1", duty.q, 345, 1800, 0, 0, bench.n, 1500)
    assert of(e.Refusal, bench.events) == []


@pytest.mark.parametrize(
    "values",
    [(float("nan"), 180.0, 0.0, 180.0), (0.5, float("nan"), 0.5, 180.0), (1.01, 180.0, 0.0, 180.0),
     (-0.1, 180.0, 0.0, 180.0), (0.5, 1800.0, 0.5, 180.0), (0.5, 180.0, float("inf"), 180.0)],
)  # fmt: skip
def test_session_commands_heat_off_in_place_of_a_duty_that_cannot_be_sent(
    bench: Bench, values: tuple[float, float, float, float]
) -> None:
    """Doubt goes to heat off, at once, and the caller hears of it."""
    bench.come_up()
    with pytest.raises(InputError):
        bench.session.send_duty(*values, bench.now_s)
    bench.run(0.1)

    (_, duty), *_ = bench.sent
    assert duty == m.Duty("3fa1", duty.q, 0, 0, 0, 0, bench.n, 1500)


def test_session_reports_a_refused_duty(bench: Bench) -> None:
    """The reason is the protocol's word."""
    bench.come_up()
    bench.refuse[m.Duty] = deque(["state"])
    bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
    bench.run(0.1)

    assert of(e.Refusal, bench.events) == [e.Refusal("duty", "state")]


def test_session_sends_at_most_10_requests_a_second_and_duty_in_time(bench: Bench) -> None:
    """A pile of requests delays no duty line by more than 0.1 s."""
    bench.come_up()
    for entry in range(30):
        bench.session.read_log(entry)
    bench.run(6.0, duty=True)

    times = [at_s for at_s, _ in bench.sent]
    for at_s in times:
        assert sum(at_s <= other < at_s + 1.0 - 1e-9 for other in times) <= 10
    duties = [at_s for at_s, request in bench.sent if isinstance(request, m.Duty)]
    assert len(duties) == 15
    gaps = [later - earlier for earlier, later in pairwise(duties)]
    assert all(0.3 - 1e-6 <= gap <= 0.5 + 1e-6 for gap in gaps)
    assert len(of(e.LogRead, bench.events)) == 30


def test_session_sends_no_more_than_10_duty_lines_a_second(bench: Bench) -> None:
    """However often it is asked."""
    bench.come_up()
    for _ in range(40):
        bench.now_s = round(bench.now_s + 0.02, 3)
        bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
        bench.say(bench.tele())

    assert bench.kinds() == ["Duty"] * 10


def test_session_sends_one_line_at_a_time(bench: Bench) -> None:
    """The board has one buffer: the next line waits for the reply, or 100 ms."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.charge()
    bench.session.signal("on", "soon")
    bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
    first = bench.session.take()
    bench.session.poll(bench.now_s + 0.09)
    second = bench.session.take()
    bench.session.poll(bench.now_s + 0.1)
    third = bench.session.take()

    assert first.count(b"\n") == 1
    assert first.startswith(b"duty ")
    assert second == b""
    assert third.count(b"\n") == 1
    assert third.startswith(b"charge ")


def test_session_refuses_more_requests_than_it_will_keep(bench: Bench) -> None:
    """The queue is bounded, and its end is told to the caller."""
    bench.come_up()
    bench.mute = (m.Message,)
    taken = [bench.session.read_log(entry) for entry in range(60)]

    assert taken[0]
    assert not taken[-1]
    assert sum(taken) <= 32


def test_session_arms_by_challenge_answer_and_a_press(bench: Bench) -> None:
    """asked, press_arm, armed; the answer is the CRC-32 of challenge and token."""
    bench.come_up()
    assert bench.session.arm()
    bench.run(0.5)
    assert of(e.ArmingStep, bench.events) == [e.ArmingStep("asked"), e.ArmingStep("press_arm")]
    answers = [r.a for _, r in bench.sent if isinstance(r, m.ArmAnswer)]
    assert answers == [f"{crc32(b'5be0cd193fa1'):08x}"]
    bench.say(m.Event(7, 41, bench.ms, "armed", 0))

    assert of(e.ArmingStep, bench.events)[-1] == e.ArmingStep("armed")
    assert of(e.Logged, bench.events) == [e.Logged(m.Event(7, 41, bench.ms, "armed", 0))]


def test_session_hears_of_arming_by_telemetry_when_the_event_is_lost(bench: Bench) -> None:
    """The state in telemetry says it too; it is told once."""
    bench.come_up()
    bench.session.arm()
    bench.run(0.5)
    bench.state = "armed"
    bench.run(1.0)

    steps = of(e.ArmingStep, bench.events)
    assert steps == [e.ArmingStep("asked"), e.ArmingStep("press_arm"), e.ArmingStep("armed")]


def test_session_lets_arming_expire_when_nobody_presses(bench: Bench) -> None:
    """The board says refarm; without its event the host's own clock says it."""
    for event in (True, False):
        bench = Bench()
        bench.come_up()
        bench.session.arm()
        bench.run(9.9)
        if event:
            bench.say(m.Event(7, 41, bench.ms, "refarm", 0))
        bench.run(2.0)

        steps = of(e.ArmingStep, bench.events)
        assert steps == [e.ArmingStep("asked"), e.ArmingStep("press_arm"), e.ArmingStep("expired")]


@pytest.mark.parametrize(("kind", "why"), [(m.ArmAsk, "state"), (m.ArmAnswer, "wrong")])
def test_session_ends_arming_when_the_board_refuses(
    bench: Bench, kind: type[m.Message], why: str
) -> None:
    """A refusal and the end of the exchange are both told."""
    bench.come_up()
    bench.refuse[kind] = deque([why])
    bench.session.arm()
    bench.run(1.0)

    word = "arm" if kind is m.ArmAsk else "answer"
    assert of(e.Refusal, bench.events) == [e.Refusal(word, why)]
    assert of(e.ArmingStep, bench.events)[-1] == e.ArmingStep("expired")


def test_session_disarms_before_all_else_and_forgets_what_waited(bench: Bench) -> None:
    """Heat off overtakes; a waiting arm, charge or duty is not sent after it."""
    bench.come_up()
    for entry in range(5):
        bench.session.read_log(entry)
    bench.session.charge()
    bench.session.arm()
    assert bench.session.disarm()
    bench.run(2.0)

    assert bench.kinds()[0] == "Disarm"
    assert set(bench.kinds()) == {"Disarm", "LogAsk"}
    assert bench.kinds().count("LogAsk") == 5


def test_session_disarms_before_a_duty_line_and_repeats_what_was_out(bench: Bench) -> None:
    """Heat off overtakes the next duty; a question that was out is asked again after it."""
    bench.come_up()
    bench.mute = (m.LogAsk,)
    bench.session.read_log(3)
    bench.session.poll(bench.now_s)
    bench.session.take()
    bench.session.disarm()
    bench.session.send_duty(0.0, 0.0, 0.0, 0.0, bench.now_s)
    bench.mute = ()
    bench.run(1.0)

    assert bench.kinds() == ["Disarm", "Duty", "LogAsk"]


def test_session_disarms_while_another_request_is_unanswered(bench: Bench) -> None:
    """It waits for no reply but the 100 ms of the line."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.charge()
    bench.run(0.1)
    bench.session.disarm()
    bench.run(0.2)

    assert bench.kinds()[:2] == ["Charge", "Disarm"]


def test_session_sends_commissioning_heat_beside_the_duty_and_never_repeats_it(
    bench: Bench,
) -> None:
    """Its half, duty, echo and expiry; unanswered it is not sent again, a newer one replaces it."""
    bench.come_up()
    bench.mute = (m.CommissioningHeat,)
    bench.session.send_heat(Half.LOWER, 0.5, bench.now_s)
    bench.session.send_heat(Half.UPPER, 1.0, bench.now_s)
    bench.run(1.2, duty=True)

    heat = [r for _, r in bench.sent if isinstance(r, m.CommissioningHeat)]
    assert [(r.h, r.d, r.x) for r in heat] == [("lower", 500, 1500), ("upper", 1000, 1500)]
    assert bench.kinds().count("Duty") == 3
    with pytest.raises(InputError, match="outside 0 to 1"):
        bench.session.send_heat(Half.UPPER, 1.1, bench.now_s)


def test_session_forgets_commissioning_heat_when_it_disarms(bench: Bench) -> None:
    """What still waits must not follow the line that ends it."""
    bench.come_up()
    bench.session.send_duty(0.0, 0.0, 0.0, 0.0, bench.now_s)
    bench.session.send_heat(Half.UPPER, 1.0, bench.now_s)
    bench.session.disarm()
    bench.run(1.0)

    assert "CommissioningHeat" not in bench.kinds()
    assert "Disarm" in bench.kinds()
    bench.session.lost(bench.now_s, Code("port_gone"))
    assert not bench.session.send_heat(Half.UPPER, 1.0, bench.now_s)
