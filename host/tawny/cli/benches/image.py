"""Simulated seconds for each second, with the board's real image: with the mould, with the host."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zlib import crc32

from tawny.cli.benches.measured import Figure, Measured, machine
from tawny.cli.benches.speed import BEGIN_UTC_MS, LONGEST_S, RECIPE
from tawny.cli.firmware import THIS_CHECKOUT, elf_boards
from tawny.cli.virtual_press import VirtualPress
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import BoardState
from tawny.errors import N_, LinkError
from tawny.settings.home import Home
from tawny.sim.hand import NearHand
from tawny.sim.parameters import DEMO_MOULD, load
from tawny.sim.world import World
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

LEAST_WITH_MOULD: Final = 100.0
LEAST_WITH_HOST: Final = 50.0
START_C: Final = 150.0
DUTY: Final = 300
SETPOINT: Final = 1800
DUTY_EACH_MS: Final = 400
EXPIRY_MS: Final = 1500
ANSWER_MS: Final = 200
READY_MS: Final = 5000
_LOOK_MS: Final = 10


def measure(*, short: bool) -> Iterator[Measured]:
    """Run the image alone with its mould, without and with the pulse train, then a whole press."""
    span_s, times = (30.0, 3) if short else (120.0, 5)
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        for train in (False, True):
            yield _measured(
                _("simulated seconds for each second of the world: image and mould, heating")
                if train
                else _("simulated seconds for each second of the world: image and mould, at rest"),
                LEAST_WITH_MOULD,
                [_mould_speed(span_s, train=train) for _n in range(times)],
            )
        yield _measured(
            _("simulated seconds for each second of the world: image, mould, host and record"),
            LEAST_WITH_HOST,
            [_host_speed(Path(folder, str(n))) for n in range(1 if short else times)],
        )


def _measured(compares: str, limit: float, speeds: list[tuple[float, float]]) -> Measured:
    """Judge the least disturbed of several runs."""
    figures: dict[str, Figure] = {
        "runs": ", ".join(f"{wall:.0f}" for wall, _cpu in speeds),
        "simulated_s_per_cpu_s": round(max(cpu for _wall, cpu in speeds), 1),
    }
    return Measured(
        bench="image",
        compares=compares,
        ratio=max(wall for wall, _cpu in speeds),
        limit=limit,
        at_least=True,
        figures=figures | machine(),
    )


def _timed(simulated_s: Callable[[], float]) -> tuple[float, float]:
    """Return simulated seconds for each second of the wall and of the processor."""
    begin_s, begin_cpu_s = time.perf_counter(), time.process_time()
    lived_s = simulated_s()
    wall_s, cpu_s = time.perf_counter() - begin_s, time.process_time() - begin_cpu_s
    return lived_s / wall_s, lived_s / cpu_s


def _mould_speed(span_s: float, *, train: bool) -> tuple[float, float]:
    model = load(DEMO_MOULD)
    world = World(model, start_c=START_C, boards=elf_boards(THIS_CHECKOUT, model))
    host = SmallHost(world)
    if train:
        host.arm()

    def live() -> float:
        begin_ms = world.now_ms
        while world.now_ms - begin_ms < span_s * 1000.0:
            host.live(DUTY_EACH_MS)
            if train:
                host.heat()
        return (world.now_ms - begin_ms) / 1000.0

    return _timed(live)


def _host_speed(folder: Path) -> tuple[float, float]:
    virtual = VirtualPress(
        Home(folder),
        begin_utc_ms=BEGIN_UTC_MS,
        pressings=1,
        recipe=RECIPE,
        start_c=START_C,
        firmware=THIS_CHECKOUT,
    )
    with virtual as v:

        def press() -> float:
            v.lockstep.run(lambda: v.person.finished, LONGEST_S)
            v.recorder.flush()
            return v.lockstep.now_ms / 1000.0

        return _timed(press)


class SmallHost:
    """Just enough of a host to keep a board armed and heating, so that it costs next to nothing.

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
        answer = f"{crc32((challenge.c + self._token).encode('ascii')):08x}"
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
