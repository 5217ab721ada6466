"""The compiled image under a stopwatch: a host on the real line, and copies of a running board.

Times are cycles of the board's clock since power-up, 16 in a microsecond.
"""

from __future__ import annotations

import json
import os
import traceback
from bisect import bisect_left
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any, Final, TypeVar

import pytest

from board_rig import Bench, register_of
from elf_rig import ElfRig
from image_code import word
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import Half
from tawny.sim.chip import CYCLES_PER_MS, Chip, Pin

Kind = TypeVar("Kind", bound=m.Message)

DUTY_EACH_MS: Final = 400
STEP_MS: Final = 5
BYTE_CYCLES: Final = 10 * 16_000_000 // 38_400
CONVERSION_MS: Final = 100
# Pins beside those of `chip.Pin`, counted as there: PB1 and PB2 of hardware/pins.csv, idle high.
SELECT: Final = {Half.LOWER: 1, Half.UPPER: 2}
HEATERS: Final = (Pin.HEATER_UPPER, Pin.HEATER_LOWER)
DRIVES: Final = (*HEATERS, Pin.CONTACTOR_TRAIN)
OVER_C: Final = 217.0  # above the default trip point, within what may be reached in 5 s from WARM_C
WARM_C: Final = 208.0


def quiet() -> None:
    """Leave unsaid what the simulator says of images that crash; in a copy of the process."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)


def ms(cycles: float) -> float:
    """Return milliseconds."""
    return cycles / CYCLES_PER_MS


def driven(chip: Chip) -> tuple[int, ...]:
    """Return cycles that heaters and train have been high, and the edges of the train."""
    on = tuple(chip.call("on_cycles", pin) for pin in DRIVES)
    return (*on, chip.call("edges", Pin.CONTACTOR_TRAIN))


class Host:
    """A host on the line at its real rate, going on with a session that a bench began.

    Attributes:
        duty: What it asks for each 0.4 s; None: it is silent.
        expiry_ms: Of its duty lines.
        heard: What the board has said, each with the cycle at which its last byte had left.
        sent_at: When the last byte of the last duty line was with the board.
        after_step: Called after each step.
        strict: A broken line of the board is a failure.
    """

    def __init__(self, bench: Bench, rig: ElfRig) -> None:
        self.rig = rig
        self.chip: Chip = rig.chip
        self.duty: tuple[int, int] | None = None
        self.expiry_ms = 1500
        self.heard: list[tuple[int, m.FromBoard]] = []
        self.sent_at = 0
        self.after_step: Callable[[], None] | None = None
        self.strict = True
        self._token, self._q, self._echo = bench.token, bench.q, bench.tele.n
        self._due = self.chip.cycle
        self._line = b""
        self._conversion = CONVERSION_MS * CYCLES_PER_MS
        self.chip.call("set_line", 0)

    @property
    def now(self) -> int:
        """The cycle."""
        return self.chip.cycle

    def live(self, for_ms: float, step_ms: float = STEP_MS) -> None:
        """Go on so long."""
        self.run(self.now + round(for_ms * CYCLES_PER_MS), step_ms)

    def run(self, until: int, step_ms: float = STEP_MS) -> None:
        """Go on up to a cycle, with duty lines when they are due and the mirror following."""
        step = round(step_ms * CYCLES_PER_MS)
        while self.now < until:
            if self.duty is not None and self.now >= self._due:
                self._due += DUTY_EACH_MS * CYCLES_PER_MS
                self.send_duty(self.duty)
            self.chip.run(min(self.now + step, until))
            self.rig.board.set_input(m.IN_CONTACTOR, on=self.rig.board.contactor)
            self.listen()
            if self.after_step is not None:
                self.after_step()

    def send_duty(self, duty: tuple[int, int]) -> None:
        """Send one duty line."""
        setpoint = 2000 if any(duty) else 0
        fields = (duty[0], setpoint, duty[1], setpoint, self._echo, self.expiry_ms)
        self.sent_at = self.send(m.Duty, *fields)

    def send(self, kind: Callable[..., m.ToBoard], *fields: object) -> int:
        """Send a request of the session; return when its last byte will be with the board."""
        self._q = (self._q + 1) & 0xFFFF
        line = wire.encode(kind(self._token, self._q, *fields))
        assert self.chip.hear(line) == len(line)
        return self.now + self.chip.call("unheard") * BYTE_CYCLES

    @property
    def q(self) -> int:
        """Number of the last request."""
        return self._q

    def listen(self) -> None:
        """Take what has come."""
        *lines, self._line = (self._line + self.chip.said()).split(b"\n")
        for line in lines:
            message = wire.decode_from_board(line)
            if isinstance(message, wire.Fault):
                assert not self.strict, line
                continue
            self.heard.append((self.now, message))
            if isinstance(message, m.Tele):
                self._echo = message.n

    def start_over(self) -> None:
        """Forget all that was said: the board was reset in the middle of a line."""
        self.chip.said()
        self._line = b""
        self.heard = []

    def last(self, kind: type[Kind]) -> Kind:
        """Return the newest line of a kind."""
        return next(said for _, said in reversed(self.heard) if isinstance(said, kind))

    def codes(self) -> list[str]:
        """Return the codes of all events heard."""
        return [said.code for _, said in self.heard if isinstance(said, m.Event)]

    def set_c(self, temperature_c: float, *halves: Half) -> None:
        """Set what converters measure; both where none is named."""
        for half in halves or tuple(Half):
            self.rig.set_register(half, register_of(temperature_c))

    def set_conversion(self, conversion_ms: float) -> None:
        """Set how long the converters take."""
        self._conversion = round(conversion_ms * CYCLES_PER_MS)
        self.chip.call("set_conversion", self._conversion)

    # What the pins did.

    def level(self, pin: int) -> bool:
        """Return whether a pin is high."""
        return bool(self.chip.call("level", pin))

    def edge(self, pin: int) -> int:
        """Return the cycle of a pin's last edge."""
        return self.chip.call("edge", pin)

    def driven(self) -> tuple[int, ...]:
        """Return what the heaters' pins and the train's have done so far."""
        return driven(self.chip)

    def edges(self, pin: int) -> list[tuple[int, bool]]:
        """Return a pin's last edges, oldest first, with the level each led to."""
        cycles = self.chip.history(pin)  # type: ignore[arg-type]
        level = self.level(pin)
        return [(cycle, level ^ bool(index & 1)) for index, cycle in enumerate(cycles)][::-1]

    def reads(self, half: Half) -> list[tuple[int, int]]:
        """Return begin and end of the last reads of a converter, oldest first."""
        edges = self.edges(SELECT[half])
        falls = [cycle for cycle, level in edges if not level]
        rises = [cycle for cycle, level in edges if level]
        return [
            (fall, rises[at]) for fall in falls if (at := bisect_left(rises, fall)) < len(rises)
        ]

    def shows_at(self, half: Half, since: int) -> int:
        """Return when a converter first held what its sensor showed from a cycle on."""
        conversion = self._conversion
        reads = self.reads(half)
        ends = [*(begin for begin, _ in reads[1:]), self.now]
        for (_, idle), end in zip(reads, ends, strict=True):
            first = idle + conversion * max(1, -(-(since - idle) // conversion))
            if since <= first <= end:
                return first
        raise AssertionError(reads)


def heating(duty: tuple[int, int] = (1000, 1000), temperature_c: float = WARM_C) -> Host:
    """Return a board that has been armed and heating for a while."""
    rig = ElfRig()
    bench = Bench(rig, temperature_c, temperature_c).greet().arm()
    bench.setpoints = (2000, 2000)
    bench.run(0.4, duty)
    host = Host(bench, rig)
    host.duty = duty
    host.live(500)
    return host


def ran(host: Host, for_ms: float, instruction: int | None = None) -> list[int]:
    """Go on so long; return the addresses that ran, of one instruction if it is named."""
    host.chip.call("cover", 1)
    host.live(for_ms)
    host.chip.call("cover", 0)
    covered: Any = host.chip.call("covered")
    image = host.chip.image
    found = [at for at in range(0, len(image.flash), 2) if covered[at // 2]]
    return [at for at in found if instruction is None or word(image, at) == instruction]


@cache
def shared_heating(duty: tuple[int, int] = (1000, 1000), temperature_c: float = WARM_C) -> Host:
    """Return one for all tests of this process, to be split off and never run itself."""
    return heating(duty, temperature_c)


def split(action: Callable[[], Any]) -> Any:
    """Do something in a copy of this process, board and all; return what came of it, by JSON."""
    return _end(*_begin(action))


def split_all(actions: Iterable[Callable[[], Any]]) -> list[Any]:
    """Do several things at once, each in a copy of its own."""
    begun = [_begin(action) for action in actions]
    return [_end(*one) for one in begun]


def _begin(action: Callable[[], Any]) -> tuple[int, int]:
    read, write = os.pipe()
    child = os.fork()
    if child:
        os.close(write)
        return child, read
    os.close(read)
    code = 1
    try:
        told = {"came": action()}
        code = 0
    except BaseException:  # noqa: BLE001 - whatever it is, the parent must hear of it
        told = {"failed": traceback.format_exc()}
    with os.fdopen(write, "wb") as pipe:
        pipe.write(json.dumps(told).encode())
    os._exit(code)


def _end(child: int, read: int) -> Any:
    with os.fdopen(read, "rb") as pipe:
        told = json.loads(pipe.read() or b'{"failed": "the copy died"}')
    os.waitpid(child, 0)
    if "failed" in told:
        pytest.fail(told["failed"])
    return told["came"]
