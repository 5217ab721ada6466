"""The session with the board on a fake clock, against a board that follows the protocol's page."""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from zlib import crc32

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tawny.core import messages as m
from tawny.core.names import Half, LinkStatus
from tawny.core.snapshot import Code
from tawny.core.wire import Fault, decode_to_board, encode
from tawny.errors import InputError
from tawny.link import events as e
from tawny.link.session import Session

LIMITS = m.Limits(0, 2300, 2150, 2000, 1000, 1000, "ssr", 2, 0x37)
MOULD = m.Mould(0, 1, 1, 412, 183, 1140, 398, 201, 1185)


class Bench:
    """A session, a clock, and a board whose replies can be bent."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.session = Session("7a3c90de")
        self.events: list[e.LinkEvent] = []
        self.sent: list[tuple[float, m.ToBoard]] = []
        self.mute: tuple[type[m.Message], ...] = ()  # kinds that the board does not answer
        self.silent = False  # the board sends nothing at all
        self.refuse: dict[type[m.Message], deque[str]] = {}
        self.lines: deque[bytes] = deque()
        self.version = 1
        self.boot = 41
        self.token = "3fa1"  # noqa: S105 - the number of a session
        self.n = 0
        self.ms = 3000
        self.state = "ready"
        self.last_q: int | None = None

    def tele(self) -> m.Tele:
        """The telemetry line of now."""
        return m.Tele(
            self.n, self.ms, 1799, 0x0B281900, self.n, 0, 1796, 0x0B241900, self.n, 0,
            self.state, "none", 0x020, 3, 0,
        )  # fmt: skip

    def say(self, *messages: m.Message) -> list[e.LinkEvent]:
        """The board says these lines now; return what came of them."""
        new: list[e.LinkEvent] = []
        for message in messages:
            new += self.session.receive(encode(message)[:-1], self.now_s)
            self._carry()
        self.events += new
        return new

    def _carry(self) -> None:
        """Take what the session writes to the board, and the board's reply back."""
        data = self.session.take()
        while data:
            for line in data.split(b"\n")[:-1]:
                request = decode_to_board(line)
                assert not isinstance(request, Fault), line
                assert len(line) < 80
                self.sent.append((self.now_s, request))
                if not (isinstance(request, self.mute) or self.silent):
                    self.events += self.session.receive(
                        encode(self.reply(request))[:-1], self.now_s
                    )
            data = self.session.take()

    def reply(self, request: m.ToBoard) -> m.Message:
        """What the board answers, by the protocol's page."""
        q = request.q
        if isinstance(request, m.Hello):
            if self.refuse.get(m.Hello):
                return m.Refused(q, self.refuse[m.Hello].popleft())
            self.last_q = q
            token = self.token if self.version == 1 else "0000"
            return m.Here(q, self.version, 0, "9d2f0c11", "5448a1b2c3d40917", self.boot, "power",
                          "none", token)  # fmt: skip
        if request.s != self.token:
            return m.Refused(q, "token")
        assert self.last_q is not None
        assert 1 <= (q - self.last_q) % 65536 <= 32767, "the sequence number must be newer"
        self.last_q = q
        if self.refuse.get(type(request)):
            return m.Refused(q, self.refuse[type(request)].popleft())
        match request:
            case m.LimitsAsk():
                return m.Limits(q, *[getattr(LIMITS, f) for f in LIMITS.__struct_fields__[1:]])
            case m.MouldAsk():
                return m.Mould(q, *[getattr(MOULD, f) for f in MOULD.__struct_fields__[1:]])
            case m.ArmAsk():
                return m.Challenge(q, "5be0cd19")
            case m.LogAsk(i=i):
                return m.Entry(q, i, 41, 512_345, "trip", 2161, 9)
            case _:
                return m.Done(q)

    def run(self, seconds: float, *, duty: bool = False) -> list[e.LinkEvent]:
        """Let time pass in steps of 0.1 s, with telemetry each 0.2 s; return what happened."""
        before = len(self.events)
        for step in range(1, round(seconds * 10) + 1):
            self.now_s = round(self.now_s + 0.1, 3)
            self.ms = (self.ms + 100) % 2**32
            if step % 2 == 0 and not self.silent:
                self.n = (self.n + 1) % 65536
                self.say(self.tele())
            if duty and step % 4 == 0:
                self.session.send_duty(0.4, 180.0, 0.3, 180.0, self.now_s)
            self.events += self.session.poll(self.now_s)
            self._carry()
        return self.events[before:]

    def come_up(self) -> None:
        """Open, greet, and forget what happened meanwhile."""
        self.session.opened(self.now_s)
        self.run(0.6)
        assert self.session.status is LinkStatus.UP
        self.events.clear()
        self.sent.clear()

    def kinds(self) -> list[str]:
        """The kinds of the lines sent, in order."""
        return [type(request).__name__ for _, request in self.sent]


@pytest.fixture
def bench() -> Bench:
    """A fresh bench."""
    return Bench()


def of(kind: type[e.LinkEvent], events: list[e.LinkEvent]) -> list[e.LinkEvent]:
    """The events of one kind."""
    return [event for event in events if isinstance(event, kind)]


def test_session_sends_nothing_before_the_board_was_heard(bench: Bench) -> None:
    """An opening may reset the board, so the host waits for a good line."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    bench.run(4.0)

    assert bench.sent == []
    assert bench.session.status is LinkStatus.GREETING


def test_session_asks_for_identity_limits_and_mould_before_anything_else(bench: Bench) -> None:
    """hello, limits, mould; then up; and no telemetry reaches the caller before."""
    bench.session.opened(bench.now_s)
    bench.run(1.0)

    assert bench.kinds() == ["Hello", "LimitsAsk", "MouldAsk"]
    assert isinstance(bench.events[0], e.Up)
    assert bench.events[0].here.board == "5448a1b2c3d40917"
    assert bench.events[0].limits.ceil == 2300
    assert bench.events[0].mould.ur == 412
    assert bench.sent[2][1] == m.MouldAsk("3fa1", bench.sent[2][1].q, 0)
    telemetry = of(e.Telemetry, bench.events)
    assert telemetry
    assert bench.events.index(telemetry[0]) > 0


def test_session_takes_no_request_before_it_is_up(bench: Bench) -> None:
    """Nothing can be asked of a board whose identity is not confirmed."""
    bench.session.opened(bench.now_s)

    assert not bench.session.arm()
    assert not bench.session.charge()
    assert not bench.session.send_duty(0.5, 180.0, 0.5, 180.0, bench.now_s)
    assert bench.session.take() == b""


def test_session_holds_telemetry_back_until_the_handshake_is_whole(bench: Bench) -> None:
    """A known identity alone is not enough: limits and mould come first."""
    bench.mute = (m.LimitsAsk,)
    bench.session.opened(bench.now_s)
    bench.run(1.0)
    assert bench.session.here is not None
    assert bench.events == []
    bench.mute = ()
    bench.run(1.0)

    assert isinstance(bench.events[0], e.Up)


def test_session_that_is_closed_takes_nothing(bench: Bench) -> None:
    """What still waited in the queue when the port went is neither used nor counted."""
    bench.come_up()
    bench.session.lost(bench.now_s, Code("port_gone"))
    for line in (b"noise", encode(bench.tele())[:-1], encode(m.Done(1))[:-1]):
        assert bench.session.receive(line, bench.now_s) == []

    assert bench.session.take() == b""
    assert (bench.session.bad_lines, bench.session.stray_lines) == (0, 0)
    assert bench.session.status is LinkStatus.CLOSED


def test_session_greets_at_the_banner_of_a_board_that_the_opening_reset(bench: Bench) -> None:
    """The banner is a good line; the greeting follows at once, and it is no reset in session."""
    bench.session.opened(bench.now_s)
    bench.now_s += 2.0
    bench.say(m.Boot(41, "button", "9d2f0c11", "none"))

    assert bench.kinds() == ["Hello", "LimitsAsk", "MouldAsk"]
    assert of(e.BoardReset, bench.events) == []


@pytest.mark.parametrize(("version", "update"), [(0, "board"), (2, "host")])
def test_session_refuses_another_major_version_and_says_which_to_update(
    bench: Bench, version: int, update: str
) -> None:
    """The older of the two must be updated; the board is not used and not asked again."""
    bench.version = version
    bench.session.opened(bench.now_s)
    bench.run(20.0)

    assert bench.events == [
        e.Down(
            Code(
                "version_refused",
                {"board_version": version, "host_version": 1, "update": update},
            ),
            refused=True,
        )
    ]
    assert bench.kinds() == ["Hello"]
    assert bench.session.status is LinkStatus.REFUSED


def test_session_greets_a_refused_board_again_after_it_restarts(bench: Bench) -> None:
    """A board with new firmware is used without touching the host."""
    bench.version = 2
    bench.session.opened(bench.now_s)
    bench.run(1.0)
    bench.version = 1
    bench.say(m.Boot(42, "power", "9d2f0c12", "none"))

    assert bench.session.status is LinkStatus.UP


def test_session_calls_a_device_that_talks_something_else_a_wrong_device(bench: Bench) -> None:
    """Bytes but no good line within 5 s: not used, said once; and garbage makes no event."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    for _ in range(60):
        bench.run(0.1)
        assert bench.session.receive(b"$GPGGA,garbage", bench.now_s) == []
        bench.session.dropped(1, bench.now_s)

    assert bench.events == [e.Down(Code("wrong_device"), refused=True)]
    assert bench.session.status is LinkStatus.REFUSED
    assert bench.session.bad_lines == 120
    assert bench.sent == []


def test_session_says_that_no_board_is_there_when_nothing_comes(bench: Bench) -> None:
    """A silent port is another sentence than a wrong device; a board that wakes up is used."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    bench.run(8.0)
    assert bench.events == [e.Down(Code("no_board"))]
    bench.silent = False
    bench.run(1.0)

    assert bench.session.status is LinkStatus.UP


def test_session_waits_while_the_board_is_busy_with_the_old_session(bench: Bench) -> None:
    """A host that restarted waits up to 12 s, asking once a second."""
    bench.refuse[m.Hello] = deque(["busy"] * 10)
    bench.session.opened(bench.now_s)
    bench.run(11.5)

    assert bench.session.status is LinkStatus.UP
    assert of(e.Down, bench.events) == []
    hellos = [at_s for at_s, request in bench.sent if isinstance(request, m.Hello)]
    assert len(hellos) == 11
    assert all(later - earlier >= 1.0 for earlier, later in pairwise(hellos))


def test_session_says_so_when_another_host_holds_the_board(bench: Bench) -> None:
    """Busy for longer than a dead session can be: another host, and said once."""
    bench.refuse[m.Hello] = deque(["busy"] * 100)
    bench.session.opened(bench.now_s)
    bench.run(20.0)

    (down,) = of(e.Down, bench.events)
    assert isinstance(down, e.Down)
    assert down.reason.code == "board_busy"


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


def test_session_tells_a_reset_in_mid_session_and_greets_again(bench: Bench) -> None:
    """The banner: told with boot and cause, then up again with the new identity."""
    bench.come_up()
    bench.boot, bench.token, bench.ms, bench.n = 42, "77aa", 212, 0
    events = bench.say(m.Boot(42, "brownout", "9d2f0c11", "none"))
    bench.run(1.0)

    assert of(e.BoardReset, events) == [e.BoardReset(42, "brownout")]
    (up,) = of(e.Up, bench.events)
    assert isinstance(up, e.Up)
    assert up.here.boot == 42
    later = of(e.Telemetry, bench.events)[-1]
    assert isinstance(later, e.Telemetry)
    assert (later.boot, later.board_ms) == (42, bench.ms)


def test_session_finds_a_reset_whose_banner_was_lost_by_the_refused_token(bench: Bench) -> None:
    """The duty line's token is refused; the new `here` carries another boot."""
    bench.come_up()
    bench.boot, bench.token = 42, "77aa"
    bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
    bench.run(0.5)

    assert of(e.BoardReset, bench.events) == [e.BoardReset(42, "power")]
    assert of(e.Refusal, bench.events) == []
    assert bench.session.status is LinkStatus.UP


def test_session_finds_a_reset_by_a_clock_that_went_back(bench: Bench) -> None:
    """Telemetry of the new boot is held back until the board said which boot it is."""
    bench.come_up()
    bench.boot, bench.token, bench.ms, bench.n = 42, "77aa", 200, 0
    bench.run(1.0)

    assert of(e.BoardReset, bench.events) == [e.BoardReset(42, "power")]
    assert {event.boot for event in of(e.Telemetry, bench.events)} == {42}  # type: ignore[attr-defined]


def test_session_goes_on_when_the_clock_jumped_within_one_session(bench: Bench) -> None:
    """The token still holds: no reset, and the time goes on from what the board says."""
    bench.come_up()
    bench.ms = 900_000
    bench.run(1.0)

    assert of(e.BoardReset, bench.events) == []
    last = of(e.Telemetry, bench.events)[-1]
    assert isinstance(last, e.Telemetry)
    assert last.board_ms == bench.ms


def test_session_unwraps_the_clock_of_the_board(bench: Bench) -> None:
    """After 2^32 ms the time goes on growing."""
    bench.ms = 2**32 - 1000
    bench.come_up()
    bench.run(3.0)

    times = [event.board_ms for event in of(e.Telemetry, bench.events)]  # type: ignore[attr-defined]
    assert all(later - earlier == 200 for earlier, later in pairwise(times))
    assert times[-1] > 2**32


def test_session_is_stale_after_1_s_and_lost_after_3_s_of_silence(bench: Bench) -> None:
    """1.0 s without a good line is stale; bad lines do not count as life."""
    bench.come_up()
    last_s = bench.now_s
    bench.silent = True
    bench.session.poll(last_s + 1.0)
    assert bench.session.status is LinkStatus.UP
    bench.session.poll(last_s + 1.01)
    assert bench.session.status is LinkStatus.STALE
    bench.session.receive(b"tele n=1", last_s + 2.0)
    assert bench.session.status is LinkStatus.STALE
    events = bench.session.poll(last_s + 3.0)

    assert [event.reason.code for event in of(e.Down, events)] == ["link_lost"]  # type: ignore[attr-defined]
    assert bench.session.status is LinkStatus.GREETING


def test_session_counts_bad_lines_and_flags_more_than_100_a_second(bench: Bench) -> None:
    """The flag falls after a quiet second; unknown kinds and stray replies are counted apart."""
    bench.come_up()
    for count in range(101):
        assert not bench.session.noisy, count
        bench.session.receive(b"noise", bench.now_s)
    assert bench.session.noisy
    assert bench.session.bad_lines == 101
    body = b"weather ms=1"
    bench.session.receive(b"%b crc=%08x" % (body, crc32(body)), bench.now_s)
    bench.say(m.Done(4711), m.Challenge(4711, "00000000"))
    bench.run(2.5)

    assert not bench.session.noisy
    assert bench.session.bad_lines == 101
    assert bench.session.unknown_lines == 1
    assert bench.session.stray_lines == 2


def test_session_ignores_a_reply_of_the_wrong_kind(bench: Bench) -> None:
    """A `done` for a question is no answer: counted, and the request ends as unanswered."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.read_log(3)
    bench.run(0.1)
    bench.say(m.Done(bench.sent[0][1].q))

    assert of(e.LogRead, bench.events) == []
    assert bench.session.stray_lines == 1


def test_session_reads_limits_and_mould_again_after_a_change(bench: Bench) -> None:
    """A selected slot, stored values or another trip point show in what the host knows."""
    for ask in (
        lambda s: s.use_mould(2),
        lambda s: s.store_mould(1, Half.UPPER, 0.412, 18.3, 1140.0),
        lambda s: s.reduce_trip(200.0),
    ):
        bench = Bench()
        bench.come_up()
        assert ask(bench.session)
        bench.run(1.0)

        assert len(of(e.Answered, bench.events)) == 1
        assert len(of(e.LimitsRead, bench.events)) == 1
        assert len(of(e.MouldRead, bench.events)) == 1


def test_session_sends_a_mould_in_the_units_of_the_wire(bench: Bench) -> None:
    """K/s in thousandths, lag in tenths of a second, heat-up time in seconds."""
    bench.come_up()
    bench.session.store_mould(1, Half.LOWER, 0.412, 18.3, 1140.0)
    bench.session.reduce_trip(200.0)
    bench.run(1.0)

    store, trip = bench.sent[0][1], next(r for _, r in bench.sent if isinstance(r, m.TripSet))
    assert store == m.StoreMould("3fa1", store.q, 1, "lower", 412, 183, 1140)
    assert trip.c == 2000


@pytest.mark.parametrize(
    "ask",
    [
        lambda s: s.use_mould(0),
        lambda s: s.use_mould(9),
        lambda s: s.read_mould(9),
        lambda s: s.store_mould(1, Half.UPPER, 0.0, 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, float("nan"), 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 5.1, 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 0.4, 301.0, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 0.4, 18.3, 59.0),
        lambda s: s.reduce_trip(59.9),
        lambda s: s.reduce_trip(230.1),
        lambda s: s.reduce_trip(float("nan")),
        lambda s: s.signal("red", "off"),
        lambda s: s.signal("on", "loud"),
    ],
)
def test_session_refuses_a_request_that_the_protocol_forbids(bench: Bench, ask: object) -> None:
    """The caller gets a sentence; nothing is sent and nothing is clipped."""
    bench.come_up()
    with pytest.raises(InputError):
        ask(bench.session)  # type: ignore[operator]
    bench.run(0.3)

    assert bench.sent == []


def test_session_ends_with_bye(bench: Bench) -> None:
    """Heat off at the board; afterwards the session is closed."""
    bench.come_up()
    assert bench.session.bye()
    bench.run(0.1)

    assert bench.kinds() == ["Bye"]
    assert of(e.Down, bench.events) == [e.Down(Code("bye"))]
    assert bench.session.status is LinkStatus.CLOSED


def test_session_ends_with_bye_also_when_the_board_has_ended_it_before(bench: Bench) -> None:
    """A token that no longer counts needs no new greeting on the way out."""
    bench.come_up()
    bench.token = "77aa"  # noqa: S105 - the number of a session
    bench.session.bye()
    bench.run(1.0)

    assert bench.kinds() == ["Bye"]
    assert bench.session.status is LinkStatus.CLOSED


def test_session_tells_a_lost_port_once_per_reason_and_starts_afresh(bench: Bench) -> None:
    """Each failed attempt to open gives the same reason and no further event."""
    bench.come_up()
    gone = Code("port_gone", {"port": "/dev/ttyUSB0"})
    assert bench.session.lost(bench.now_s, gone) == [e.Down(gone)]
    assert bench.session.lost(bench.now_s + 1.0, gone) == []
    absent = Code("port_absent", {"port": "/dev/ttyUSB0"})
    assert bench.session.lost(bench.now_s + 2.0, absent) == [e.Down(absent)]
    assert bench.session.status is LinkStatus.CLOSED
    bench.session.opened(bench.now_s + 3.0)
    bench.now_s += 3.0
    bench.run(1.0)

    assert bench.session.status is LinkStatus.UP
    assert of(e.BoardReset, bench.events) == []


def test_session_is_up_within_12_s_of_a_board_that_restarted(bench: Bench) -> None:
    """Port gone, port back, telemetry: the greeting follows at once."""
    bench.come_up()
    bench.session.lost(bench.now_s, Code("port_gone"))
    bench.boot, bench.token, bench.ms = 42, "77aa", 0
    bench.session.opened(bench.now_s)
    bench.run(0.5)

    assert isinstance(of(e.Up, bench.events)[0], e.Up)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(max_size=120).map(lambda data: data.replace(b"\n", b"")), max_size=40))
def test_session_gives_no_event_for_garbage(lines: list[bytes]) -> None:
    """Whatever bytes come, an established session stays up and tells nothing of them."""
    bench = Bench()
    bench.come_up()
    for line in lines:
        assert bench.session.receive(line, bench.now_s) == []

    assert bench.session.up
    assert bench.session.bad_lines == len(lines)
