"""Bits of RAM that turn over while the image heats, and what must come of it: heat off, or nothing.

Half of the flips fall into the first milliseconds of a pass, where nearly all work is done; the
others fall at any time, mostly while the controller sleeps. After each the board has 250 ms; then
something happens that must take heat away. Unsafe is

- a heater on while the board says that it is not armed, or
- heat that is still on after what must take it away, by the limits below.

Heat is on while a heater's pin is high and the contactor's train runs.
"""

from __future__ import annotations

from random import Random
from typing import Final, NamedTuple

from image_latency import FROM_SENSOR_MS
from image_rig import HEATERS, OVER_C, Host, ms, quiet, shared_heating
from tawny.core import messages as m
from tawny.core.names import Half
from tawny.errors import LinkError
from tawny.sim.chip import CYCLES_PER_MS, Pin, ResetFlag

SETTLE_MS: Final = 250
PASS_MS: Final = 50
AWAKE_MS: Final = 3.0
STEP_MS: Final = 10
TELE_MS: Final = 450  # so old may the newest telemetry be that says "armed"
# Within which time heat must be off. A board that no longer knows its session takes no request, but
# then hears no duty line either: silence takes its heat away (PROTOCOL.md section 6.3).
SILENCE_MS: Final = 3250
LIMIT_MS: Final = {
    "upper": FROM_SENSOR_MS,
    "lower": FROM_SENSOR_MS,
    "button": 1000,
    "silence": SILENCE_MS,
    "disarm": SILENCE_MS,
}
# What the undisturbed board keeps, for those that are late but not unsafe.
USUAL_MS: Final = {**LIMIT_MS, "button": 150, "silence": 1600, "disarm": 150}
HALVES: Final = {"upper": Half.UPPER, "lower": Half.LOWER}
SHARES: Final = {"upper": 0.35, "lower": 0.35, "button": 0.10, "disarm": 0.10, "silence": 0.10}


class Flip(NamedTuple):
    """One bit that turns over.

    Attributes:
        address, bit: Which.
        wait: Cycles until then.
        in_pass: From there to the next pass and so many cycles into it; 0: no further.
        then: What happens afterwards: a half becomes too hot, the heat-off button is pressed, the
            host disarms or falls silent.
    """

    address: int
    bit: int
    wait: int
    in_pass: int
    then: str


class Outcome(NamedTuple):
    """What came of it.

    Attributes:
        unsafe: Why, "" if it was not.
        settled: How the board stood before anything else happened: `heats`, `off`, or `reset`.
        late: Heat went off, but later than usual.
        crashed: It ran into an opcode that is none, where the simulator ends; it was reset by the
            watchdog's flag instead.
    """

    unsafe: str
    settled: str
    late: bool
    crashed: bool


def draw(random: Random, address: int, then: str = "") -> Flip:
    """Return a flip of an address at a random time with a random end."""
    return Flip(
        address,
        random.randrange(8),
        random.randrange(400 * CYCLES_PER_MS),
        random.randrange(1, round(AWAKE_MS * CYCLES_PER_MS)) if random.random() < 0.5 else 0,
        then or random.choices(list(SHARES), list(SHARES.values()))[0],
    )


class _Trial:
    """A board whose image may crash."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.crashed = False
        host.strict = False

    def run(self, until: int) -> None:
        while self.host.now < until:
            try:
                self.host.run(until, STEP_MS)
            except LinkError:
                assert not self.crashed, "crashed twice"
                self.crashed = True
                self.host.chip.call("reset", ResetFlag.WATCHDOG)
                self.host.start_over()

    def live(self, for_ms: float) -> None:
        self.run(self.host.now + round(for_ms * CYCLES_PER_MS))

    def heats(self) -> bool:
        host = self.host
        quiet = host.now - host.edge(Pin.CONTACTOR_TRAIN)
        return any(host.level(pin) for pin in HEATERS) and quiet < 3 * CYCLES_PER_MS

    def off_at(self) -> int:
        """Return since when there is no heat, by heaters or by train."""
        heaters = max(self.host.edge(pin) for pin in HEATERS)
        if any(self.host.level(pin) for pin in HEATERS):
            return self.host.edge(Pin.CONTACTOR_TRAIN)
        return min(heaters, self.host.edge(Pin.CONTACTOR_TRAIN))

    def contradicts(self) -> str:
        """Return how a heater is on against what the board says; "" if it is not."""
        host = self.host
        newest = next(
            ((at, said) for at, said in reversed(host.heard) if isinstance(said, m.Tele)), None
        )
        if not any(host.level(pin) for pin in HEATERS):
            return ""
        if newest is None or host.now - newest[0] > TELE_MS * CYCLES_PER_MS:
            return "heater on and no telemetry"
        return "" if newest[1].st == "armed" else f"heater on while {newest[1].st}"


def try_flip(flip: Flip) -> Outcome:
    """Turn it over on a heating board, and see; for a copy of the process."""
    quiet()
    host = shared_heating()
    trial = _Trial(host)
    trial.run(host.now + flip.wait)
    if flip.in_pass:
        left = PASS_MS - host.chip.peek("board_ms", 4) % PASS_MS
        trial.run(host.now + left * CYCLES_PER_MS + flip.in_pass)
    resets = host.chip.call("resets")
    value = host.chip.call("peek", flip.address)
    host.chip.call("poke", flip.address, value ^ 1 << flip.bit)
    trial.live(SETTLE_MS)
    unsafe = trial.contradicts()
    settled = "heats" if trial.heats() else "off"
    if host.chip.call("resets") != resets:
        settled = "reset"
    began = _happen(host, flip)
    limit, usual = LIMIT_MS[flip.then], USUAL_MS[flip.then]
    trial.run(began + limit * CYCLES_PER_MS)
    still = trial.heats()
    before = host.driven()
    trial.live(100)
    took = ms(trial.off_at() - began)
    if still or trial.heats():
        unsafe = unsafe or f"heats {limit} ms after {flip.then}"
    elif host.driven()[: len(HEATERS)] != before[: len(HEATERS)]:
        unsafe = unsafe or trial.contradicts() or f"heats again after {flip.then}"
    return Outcome(unsafe or trial.contradicts(), settled, took > usual, trial.crashed)


def _happen(host: Host, flip: Flip) -> int:
    """Let happen what must take heat away; return from when on it must."""
    if flip.then in HALVES:
        host.set_c(OVER_C, HALVES[flip.then])
    elif flip.then == "button":
        host.rig.board.set_input(m.IN_BUTTON, on=True)
    elif flip.then == "disarm":
        host.duty = None
        return host.send(m.Disarm)
    else:
        host.duty = None
        return max(host.sent_at, host.now)
    return host.now
