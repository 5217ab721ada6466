"""Just enough of a host to keep a board armed and heating, and a hand for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import BoardState
from tawny.errors import N_, LinkError
from tawny.sim.hand import NearHand
from tawny.sim.world import World

DUTY: Final = 300
SETPOINT: Final = 1800
EXPIRY_MS: Final = 1500
ANSWER_MS: Final = 200
READY_MS: Final = 5000
_LOOK_MS: Final = 10


class SmallHost:
    """Works a simulated board line by line, so that it costs next to nothing.

    Attributes:
        tele, stat, here: The last line of each, None before the first.
    """

    def __init__(self, world: World) -> None:
        self._world, self._hand = world, NearHand(world)
        self._rest = b""
        self._token, self._q = "0000", 0
        self.tele: m.Tele | None = None
        self.stat: m.Stat | None = None
        self.here: m.Here | None = None

    def live(self, ms: int) -> list[m.FromBoard]:
        """Let time pass; return the replies."""
        self._world.advance(self._world.now_ms + ms)
        *lines, self._rest = (self._rest + self._world.take()).split(b"\n")
        replies: list[m.FromBoard] = []
        for said in map(wire.decode_from_board, lines):
            if isinstance(said, m.Tele):
                self.tele = said
            elif isinstance(said, m.Stat):
                self.stat = said
            elif not isinstance(said, wire.Fault | m.Event | m.Boot):
                replies.append(said)
        return replies

    def ask(self, make: Callable[[str, int], m.ToBoard]) -> m.FromBoard:
        """Send a request, made of token and number, and wait for its reply."""
        self._q += 1
        request = make(self._token, self._q)
        self._world.receive(wire.encode(request), self._world.now_ms)
        for _n in range(ANSWER_MS // _LOOK_MS):
            for said in self.live(_LOOK_MS):
                if not isinstance(said, m.Refused):
                    return said
                raise LinkError(N_("the board refused {request}"), request=repr(request))
        raise LinkError(N_("the board did not answer {request}"), request=repr(request))

    def arm(self) -> None:
        """Open a session and arm with a hand."""
        self._until(BoardState.LOCKED)
        here = self.ask(lambda _s, q: m.Hello(q, m.PROTOCOL_MAJOR, "00000001"))
        assert isinstance(here, m.Here)  # noqa: S101 - the reply to hello
        self.here, self._token = here, here.s
        self._until(BoardState.READY)
        challenge = self.ask(m.ArmAsk)
        assert isinstance(challenge, m.Challenge)  # noqa: S101 - the reply to arm
        answer = wire.arming_answer(challenge.c, self._token)
        self.ask(lambda s, q: m.ArmAnswer(s, q, answer))
        self._hand.press_arm()
        self._until(BoardState.ARMED)

    def _until(self, state: BoardState) -> None:
        for _n in range(READY_MS // _LOOK_MS):
            self.live(_LOOK_MS)
            if self.tele is not None and self.tele.st == state.value:
                return
        raise LinkError(N_("the board does not become {state}"), state=state.value)

    def heat(self) -> None:
        """Ask for heat."""
        self._duty(DUTY, SETPOINT)

    def rest(self) -> None:
        """Ask for no heat, as is due all the same."""
        self._duty(0, 0)

    def _duty(self, duty: int, setpoint: int) -> None:
        echo = self.tele.n if self.tele is not None else 0
        self.ask(lambda s, q: m.Duty(s, q, duty, setpoint, duty, setpoint, echo, EXPIRY_MS))
