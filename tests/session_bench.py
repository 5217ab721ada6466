"""A session with the board's side played by hand, on a clock of the test's own."""

from __future__ import annotations

from collections import deque

from tawny.core import messages as m
from tawny.core.names import LinkStatus
from tawny.core.wire import Fault, decode_to_board, encode
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


def of(kind: type[e.LinkEvent], events: list[e.LinkEvent]) -> list[e.LinkEvent]:
    """The events of one kind."""
    return [event for event in events if isinstance(event, kind)]
