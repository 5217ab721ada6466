"""The session with the board, pure: lines and time in, events and bytes out.

Nothing reaches the caller before the board's identity is confirmed (`handshake.py`); what
goes to the board goes through the outbox, which paces and repeats.
"""

from __future__ import annotations

from typing import Final

from tawny.core import messages as m
from tawny.core.limits import CHALLENGE_VALID_S, STALE_S
from tawny.core.names import BoardState, Half, LinkStatus
from tawny.core.snapshot import Code
from tawny.core.wire import Fault, arming_answer, decode_from_board
from tawny.core.wire_fields import FROM_BOARD, TO_BOARD
from tawny.errors import InputError
from tawny.link import events as e
from tawny.link import requests
from tawny.link.handshake import Handshake, Stage
from tawny.link.outbox import Outbox
from tawny.link.unwrap import BoardClock

NOISY_LINES_PER_S: Final = 100
_ASKED_MOST_S: Final = 3.0  # by then the challenge has come, or the link is given up
_ARMING_MOST_S: Final = CHALLENGE_VALID_S + 0.5
_ARMED: Final = BoardState.ARMED.value
_WORD: Final = {kind.message: kind.word for kind in TO_BOARD + FROM_BOARD}
_HEATING: Final = (m.ArmAsk, m.ArmAnswer, m.Charge, m.Duty, m.CommissioningHeat)
_REPLY: Final[dict[type[m.Message], type[m.Message]]] = {
    m.Hello: m.Here,
    m.LimitsAsk: m.Limits,
    m.MouldAsk: m.Mould,
    m.ArmAsk: m.Challenge,
    m.LogAsk: m.Entry,
}


class Session:
    """One host's side of the line.

    Times are seconds of one clock that counts suspend; they never go back.

    Args:
        host_id: Eight lower-case hexadecimal digits, any number of the host's.
    """

    def __init__(self, host_id: str) -> None:
        self._outbox = Outbox()
        self._handshake = Handshake(host_id, self._outbox)
        self._clock = BoardClock()
        self._clock_of: tuple[str, int] | None = None
        self._now_s = 0.0
        self._echo = 0
        self._odd_tele: m.Tele | None = None  # telemetry held back: perhaps another boot
        self._arming_until_s: float | None = None
        self._news: list[e.LinkEvent] = []
        self.bad_lines = 0
        self.unknown_lines = 0
        self.stray_lines = 0
        self.noisy = False  # more than 100 bad lines within a second
        self._second_from_s = 0.0
        self._bad_this_second = 0

    @property
    def status(self) -> LinkStatus:
        """Where the link stood at the last call."""
        if self._handshake.stage is Stage.CLOSED:
            return LinkStatus.CLOSED
        if self._handshake.refused:
            return LinkStatus.REFUSED
        if not self.up:
            return LinkStatus.GREETING
        return LinkStatus.UP if self.silence_s <= STALE_S else LinkStatus.STALE

    @property
    def silence_s(self) -> float:
        """Time from the last good line to the last call."""
        return self._handshake.silence_s(self._now_s)

    @property
    def up(self) -> bool:
        """Whether requests are taken."""
        return self._handshake.stage is Stage.UP

    @property
    def here(self) -> m.Here | None:
        """The identity last confirmed."""
        return self._handshake.here

    @property
    def limits(self) -> m.Limits | None:
        """The limits last read."""
        return self._handshake.limits

    @property
    def mould(self) -> m.Mould | None:
        """The slot in use when last read."""
        return self._handshake.mould

    def opened(self, now_s: float) -> None:
        """The port is open; the board may just have been reset by it."""
        self._now_s = now_s
        self._handshake.opened(now_s)
        self._odd_tele = self._arming_until_s = None

    def lost(self, now_s: float, reason: Code) -> list[e.LinkEvent]:
        """The port is closed, gone, or cannot be opened."""
        self._now_s = now_s
        self._odd_tele = self._arming_until_s = None
        return self._take_news() + self._handshake.closed(reason)

    def dropped(self, count: int, now_s: float) -> None:
        """So many lines were dropped before they could be handed over: too long."""
        for _ in range(count):
            self._count_bad(now_s)

    def receive(self, line: bytes, now_s: float) -> list[e.LinkEvent]:
        """Take one line, without its LF, exactly as it came."""
        self._now_s = now_s
        if self._handshake.stage is Stage.CLOSED:
            return []
        message = decode_from_board(line)
        if message is Fault.UNKNOWN_KIND:
            self.unknown_lines += 1
            return []
        if isinstance(message, Fault):
            self._count_bad(now_s)
            return []
        self._handshake.good_line(now_s)
        happened = self._take_in(message, now_s)
        self._handshake.greet_if_due(now_s)
        return happened + self.poll(now_s)

    def poll(self, now_s: float) -> list[e.LinkEvent]:
        """Let time pass: send what is due, repeat, give up, judge silence."""
        self._now_s = now_s
        self._count_second(now_s)
        if self._handshake.settled(now_s) and self._outbox.idle and self._arming_until_s is None:
            return self._take_news()
        happened = self._take_news()
        if self._handshake.stage is Stage.CLOSED:
            return happened
        if self._arming_until_s is not None and now_s >= self._arming_until_s:
            happened += self._end_arming("expired")
        given_up = self._outbox.poll(now_s)
        if isinstance(given_up, m.Bye):
            return happened + self.lost(now_s, Code("bye"))
        if given_up is not None:
            happened += self._fail(given_up, now_s)
        happened += self._handshake.poll(now_s)
        if not self.up:
            self._odd_tele = self._arming_until_s = None
        return happened

    def take(self) -> bytes:
        """Return the bytes to write now."""
        return self._outbox.take()

    def send_duty(
        self,
        upper: float,
        upper_setpoint_c: float,
        lower: float,
        lower_setpoint_c: float,
        now_s: float,
    ) -> bool:
        """Send both duties, echoing the last telemetry; a duty line is never repeated.

        Args:
            upper: Duty of the upper half, 0 to 1.
            upper_setpoint_c: Its setpoint, 0 where no heat is wanted.
            lower: Duty of the lower half, 0 to 1.
            lower_setpoint_c: Its setpoint, 0 where no heat is wanted.
            now_s: The time.

        Returns:
            False where the link is not up and nothing is sent.

        Raises:
            InputError: A value cannot be sent; heat is commanded off in its place.
        """
        if not self.up:
            return False
        try:
            duty = requests.duty(upper, upper_setpoint_c, lower, lower_setpoint_c, self._echo)
        except InputError:
            self._outbox.put_duty(requests.heat_off(self._echo))
            raise
        self._outbox.put_duty(duty)
        self._news += self.poll(now_s)
        return True

    def send_heat(self, half: Half, duty: float, now_s: float) -> bool:
        """Heat one half while ARM is held, as `send_duty`; duty 0 only lets the contactor in."""
        if not self.up:
            return False
        self._outbox.put_heat(requests.heat(half, duty, self._echo))
        self._news += self.poll(now_s)
        return True

    def arm(self) -> bool:
        """Ask for a challenge and answer it; a person must then press ARM at the board."""
        if not self._ask(m.ArmAsk(requests.NO_TOKEN, 0)):
            return False
        self._arming_until_s = self._now_s + _ASKED_MOST_S
        self._news.append(e.ArmingStep("asked"))
        return True

    def disarm(self) -> bool:
        """Heat off at the board, before all else that waits."""
        self._outbox.drop(*_HEATING, m.Disarm)
        self._news += self._end_arming("expired")
        return self.up and self._outbox.put(m.Disarm(requests.NO_TOKEN, 0), urgent=True)

    def charge(self) -> bool:
        """Announce a charge."""
        return self._ask(m.Charge(requests.NO_TOKEN, 0))

    def signal(self, lamp: str, sound: str) -> bool:
        """Set the call lamp and the buzzer pattern."""
        return self._ask(requests.signal(lamp, sound))

    def use_mould(self, slot: int) -> bool:
        """Select a stored mould slot."""
        return self._ask(requests.use_mould(slot))

    def read_mould(self, slot: int) -> bool:
        """Read a mould slot, 0 for the one in use."""
        return self._ask(requests.read_mould(slot))

    def store_mould(
        self, slot: int, half: Half, rise_k_per_s: float, lag_s: float, heat_up_s: float
    ) -> bool:
        """Store one half's commissioned values."""
        return self._ask(requests.store_mould(slot, half, rise_k_per_s, lag_s, heat_up_s))

    def reduce_trip(self, trip_c: float) -> bool:
        """Set another trip point; the board takes a higher one only with a hand at it."""
        return self._ask(requests.trip(trip_c))

    def read_log(self, entry: int) -> bool:
        """Read one entry of the board's event log."""
        return self._ask(requests.read_log(entry))

    def bye(self) -> bool:
        """End the session: heat off, disarmed."""
        self._outbox.drop(*_HEATING)
        return self.up and self._outbox.put(m.Bye(requests.NO_TOKEN, 0), urgent=True)

    def _ask(self, request: m.Message) -> bool:
        return self.up and self._outbox.put(request)

    def _take_in(self, message: m.FromBoard, now_s: float) -> list[e.LinkEvent]:
        match message:
            case m.Tele():
                self._echo = message.n
                return self._telemetry(message, now_s)
            case m.Stat():
                return [e.Status(message)] if self.up else []
            case m.Event():
                return self._event(message, now_s)
            case m.Boot():
                return self._handshake.restarted(message.boot, message.cause, now_s)
            case _:
                return self._reply(message, now_s)

    def _telemetry(self, tele: m.Tele, now_s: float) -> list[e.LinkEvent]:
        here, boot = self._handshake.here, self._handshake.boot
        if not self.up or here is None or boot is None:
            return []
        if self._clock_of != (here.board, boot):
            self._clock, self._clock_of = BoardClock(), (here.board, boot)
        board_ms = None if self._odd_tele else self._clock.advance(tele.ms, now_s)
        if board_ms is None:
            # Perhaps the board started again unheard. Its answer to the token tells.
            if self._odd_tele or self._ask(m.LimitsAsk(requests.NO_TOKEN, 0)):
                self._odd_tele = tele
            return []
        happened: list[e.LinkEvent] = [e.Telemetry(tele, board_ms, boot)]
        if tele.st == _ARMED and self._arming_until_s is not None:
            happened += self._end_arming("armed")
        return happened

    def _event(self, event: m.Event, now_s: float) -> list[e.LinkEvent]:
        if not self.up:
            return []
        if event.boot != self._handshake.boot:
            self._handshake.greet_again(now_s)  # another boot: its banner was lost
            return []
        happened: list[e.LinkEvent] = [e.Logged(event)]
        if event.code in ("armed", "refarm"):
            happened += self._end_arming("armed" if event.code == "armed" else "expired")
        return happened

    def _reply(self, reply: m.FromBoard, now_s: float) -> list[e.LinkEvent]:
        request = self._outbox.answered(getattr(reply, "q", -1))
        if request is None or not isinstance(reply, (m.Refused, _REPLY.get(type(request), m.Done))):
            self.stray_lines += 1
            return []
        match reply:
            case m.Refused():
                return self._refused(request, reply.why, now_s)
            case m.Here():
                return self._handshake.recognised(reply)
            case m.Limits():
                if self._odd_tele is not None:
                    # The same session after all: the board's clock did jump.
                    self._clock.rebase(self._odd_tele.ms, now_s)
                    self._odd_tele = None
                return self._handshake.limits_known(reply)
            case m.Mould():
                asked = request.k if isinstance(request, m.MouldAsk) else reply.k
                return self._handshake.mould_known(reply, asked)
            case m.Challenge():
                self._answer(reply.c, now_s)
                return []
            case m.Entry():
                return [e.LogRead(reply)]
            case _:
                return self._done(request, now_s)

    def _answer(self, challenge: str, now_s: float) -> None:
        if self._arming_until_s is None:
            return  # disarmed since: an unanswered challenge runs out by itself
        answer = arming_answer(challenge, self._outbox.token)
        self._ask(m.ArmAnswer(requests.NO_TOKEN, 0, answer))
        self._arming_until_s = now_s + _ARMING_MOST_S

    def _done(self, request: m.Message, now_s: float) -> list[e.LinkEvent]:
        match request:
            case m.Duty():
                return []
            case m.Bye():
                return self.lost(now_s, Code("bye"))
            case m.ArmAnswer():
                return [e.ArmingStep("press_arm")] if self._arming_until_s is not None else []
            case m.Use() | m.StoreMould() | m.TripSet():
                self._ask(m.LimitsAsk(requests.NO_TOKEN, 0))
                self._ask(requests.read_mould(0))
        return [e.Answered(_WORD[type(request)])]

    def _refused(self, request: m.Message, why: str, now_s: float) -> list[e.LinkEvent]:
        if isinstance(request, m.Hello):
            return self._handshake.greeting_refused(why, now_s)
        if isinstance(request, m.Bye):
            return self.lost(now_s, Code("bye"))  # there was no session left to end
        if why == "token":
            self._handshake.greet_again(now_s)
            return []
        if not self.up:
            return self._fail(request, now_s)
        kind = _WORD[type(request)]
        if why == "rate" and self._outbox.repeated:
            return [e.Answered(kind)]  # it was the first reply that got lost, not the charge
        happened: list[e.LinkEvent] = [e.Refusal(kind, why)]
        if isinstance(request, m.ArmAsk | m.ArmAnswer):
            happened += self._end_arming("expired")
        return happened

    def _fail(self, request: m.Message, now_s: float) -> list[e.LinkEvent]:
        return self._handshake.fail(Code("no_reply", {"kind": _WORD[type(request)]}), now_s)

    def _end_arming(self, step: str) -> list[e.LinkEvent]:
        if self._arming_until_s is None:
            return []
        self._arming_until_s = None
        return [e.ArmingStep(step)]

    def _take_news(self) -> list[e.LinkEvent]:
        if not self._news:
            return []
        news, self._news = self._news, []
        return news

    def _count_bad(self, now_s: float) -> None:
        self._handshake.bad_line()
        self._count_second(now_s)
        self.bad_lines += 1
        self._bad_this_second += 1
        self.noisy = self.noisy or self._bad_this_second > NOISY_LINES_PER_S

    def _count_second(self, now_s: float) -> None:
        if now_s - self._second_from_s >= 1.0:
            self.noisy = self._bad_this_second > NOISY_LINES_PER_S
            self._second_from_s, self._bad_this_second = now_s, 0
