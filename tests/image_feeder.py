"""A bare host for a board with the mould: one session, one duty line each 0.4 s, no more."""

from __future__ import annotations

from collections.abc import Callable

from image_boards import MAKES
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import BoardState
from tawny.sim import commands as c
from tawny.sim.parameters import MouldModel
from tawny.sim.world import World

DUTY_EACH_MS = 400
EXPIRY_MS = 1500
REPLY_MS = 100
PROPORTIONAL_K = 1.0  # so far below setpoint the duty begins to go back
PRESENT_BEFORE_S = 300
HOST = "7a3c90de"

# Per mille of both halves, from their last readings in degC.
Law = Callable[[float, float], tuple[int, int]]


class Feeder:
    """A board of some make, its mould, and what keeps it alive.

    Attributes:
        said: What the board has said.
        setpoint_c: Of both halves.
    """

    def __init__(
        self,
        make: str,
        model: MouldModel,
        *,
        setpoint_c: float,
        start_c: float | None = None,
        seed: int = 1,
    ) -> None:
        self.boards = MAKES[make](model)
        self.said = self.boards.said
        self.world = World(model, seed=seed, start_c=start_c, boards=self.boards)
        self.setpoint_c = setpoint_c
        self._token = "0000"  # noqa: S105 - the token of no session
        self._q = 0

    @property
    def tele(self) -> m.Tele:
        """The newest telemetry."""
        return self.said.teles[-1]

    @property
    def lowest_c(self) -> float:
        """The cooler half's last reading."""
        readings = self.tele.u, self.tele.l
        return min(float(reading) for reading in readings) / 10.0

    def be_present(self) -> None:
        """Touch a button before the board asks whether anybody is there."""
        if 0 < self.said.stats[-1].pl < PRESENT_BEFORE_S:
            assert self.world.apply(c.PressArm()).done

    def live(self, ms: int) -> None:
        """Let time pass."""
        self.world.advance(self.world.now_ms + ms)
        self.world.take()

    def ask(self, kind: Callable[..., m.ToBoard], *fields: object) -> m.FromBoard:
        """Send a request of this session; return its reply."""
        self._q = (self._q + 1) & 0xFFFF
        head = (self._q,) if kind is m.Hello else (self._token, self._q)
        heard = len(self.said.replies)
        self.world.receive(wire.encode(kind(*head, *fields)), self.world.now_ms)
        for _ in range(REPLY_MS // 10):
            self.live(10)
            for reply in self.said.replies[heard:]:
                if getattr(reply, "q", None) == self._q:
                    return reply
        raise AssertionError(f"no reply to {kind.__name__}")

    def order(self, kind: Callable[..., m.ToBoard], *fields: object) -> None:
        """Send a request that must be carried out."""
        reply = self.ask(kind, *fields)
        assert isinstance(reply, m.Done), reply

    def arm(self) -> None:
        """Wait for the board, open a session, and arm with a hand."""
        self.live(2500)
        here = self.ask(m.Hello, m.PROTOCOL_MAJOR, HOST)
        assert isinstance(here, m.Here), here
        self._token = here.s
        self.feed(1.0, lambda _upper, _lower: (0, 0))
        challenge = self.ask(m.ArmAsk)
        assert isinstance(challenge, m.Challenge), challenge
        self.order(m.ArmAnswer, wire.arming_answer(challenge.c, self._token))
        assert self.world.apply(c.PressArm()).done
        self.feed(1.0, lambda _upper, _lower: (0, 0))
        assert self.tele.st == BoardState.ARMED.value

    def feed(self, seconds: float, law: Law | None = None) -> None:
        """Send duties for so long, by a law or to hold the setpoint."""
        until_ms = self.world.now_ms + round(seconds * 1000)
        while self.world.now_ms < until_ms:
            upper, lower = self._duties(law or self.hold)
            tenths = round(self.setpoint_c * 10)
            setpoints = [tenths if duty else 0 for duty in (upper, lower)]
            begun_ms = self.world.now_ms
            self.order(m.Duty, upper, setpoints[0], lower, setpoints[1], self.tele.n, EXPIRY_MS)
            self.live(begun_ms + DUTY_EACH_MS - self.world.now_ms)

    def _duties(self, law: Law) -> tuple[int, int]:
        readings = self.tele.u, self.tele.l
        if any(isinstance(reading, str) for reading in readings):
            return 0, 0
        upper_c, lower_c = (float(reading) / 10.0 for reading in readings)
        return law(upper_c, lower_c)

    def hold(self, upper_c: float, lower_c: float) -> tuple[int, int]:
        """Full duty well below setpoint, none above it."""
        upper, lower = (
            round(1000 * min(max((self.setpoint_c - value_c) / PROPORTIONAL_K, 0.0), 1.0))
            for value_c in (upper_c, lower_c)
        )
        return upper, lower
