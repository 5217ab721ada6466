"""A simulated press and somebody who works it line by line."""

from __future__ import annotations

from tawny.core import messages as m
from tawny.core import wire
from tawny.core.framing import Framer
from tawny.sim import parameters
from tawny.sim.hand import NearHand
from tawny.sim.world import World

SAUCER = parameters.load("saucer-160")


class Operator:
    """A host of few words at a world: greets, arms with a hand, sends duty lines."""

    def __init__(self, world: World) -> None:
        """Greet the board."""
        self.world, self.hand = world, NearHand(world)
        self.framer = Framer(m.FROM_BOARD_MOST_BYTES)
        self.heard: list[m.FromBoard] = []
        self.token, self.q = "0000", 0
        self.live(2.0)
        here = self.ask(m.Hello(0, m.PROTOCOL_MAJOR, "00000001"))
        assert isinstance(here, m.Here)
        self.token = here.s
        self.live(0.4)

    def listen(self) -> list[m.FromBoard]:
        """Return the good lines that arrived."""
        new = [wire.decode_from_board(line) for line in self.framer.feed(self.world.take())]
        good = [said for said in new if not isinstance(said, wire.Fault)]
        self.heard += good
        return good

    def ask(self, message: m.ToBoard) -> m.FromBoard | None:
        """Send a request; return its reply if one came."""
        self.world.receive(wire.encode(message), self.world.now_ms)
        replies = [
            said for said in self.listen() if isinstance(said, m.Here | m.Challenge | m.Done)
        ]
        return replies[0] if replies else None

    def request(self, kind: type[m.ToBoard], *fields: object) -> m.FromBoard | None:
        """Send a request of this session."""
        self.q += 1
        return self.ask(kind(self.token, self.q, *fields))  # type: ignore[call-arg]

    def live(self, seconds: float, duty: int | None = None, setpoint: int = 1800) -> None:
        """Let time pass, with a duty line each 0.4 s once there is a session."""
        end_ms = self.world.now_ms + round(seconds * 1000)
        while self.world.now_ms < end_ms:
            self.world.advance(min(end_ms, self.world.now_ms + 400))
            self.listen()
            if self.token != "0000":  # noqa: S105 - no session
                wanted = (duty, setpoint) * 2 if duty else (0, 0, 0, 0)
                self.request(m.Duty, *wanted, self.tele.n, 1500)

    @property
    def tele(self) -> m.Tele:
        """The newest telemetry."""
        return next(said for said in reversed(self.heard) if isinstance(said, m.Tele))

    def arm(self) -> Operator:
        """Arm with a hand."""
        challenge = self.request(m.ArmAsk)
        assert isinstance(challenge, m.Challenge)
        assert self.request(m.ArmAnswer, wire.arming_answer(challenge.c, self.token)) is not None
        self.hand.press_arm()
        self.live(0.8)
        assert self.tele.st == "armed"
        return self


def operator(start_c: float = 150.0, seed: int = 1) -> Operator:
    """An armed operator at a warm saucer mould."""
    return Operator(World(SAUCER, seed=seed, start_c=start_c)).arm()
