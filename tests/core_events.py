"""A press for tests of the core: a state, the events of a board, and a clock that is asked for.

`Play` is the board, the mould and the person in one: it feeds events to the step and keeps the
effects. Temperatures are what the test says; nothing here heats up by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from msgspec.structs import replace

from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.equipment import HalfModel, Mould, Press
from tawny.core.messages import FIT_BUZZER, FIT_NEXT, FIT_SWITCH, IN_MAINS, IN_OPEN, Tele
from tawny.core.names import AlarmState, Phase
from tawny.core.recipe import Breath, Recipe
from tawny.core.snapshot import Code
from tawny.core.state import CycleState, State
from tawny.core.step import step

HALF = HalfModel(
    rise_k_per_s=0.26,
    lag_s=15.0,
    heat_up_s=720.0,
    loss_per_s=7.5e-4,
    heater_w=750.0,
    mass_kg=3.0,
)
PRESS = Press(
    name="press-1",
    workshop="Millbrook workshop",
    ram_area_cm2=50.0,
    gauge_unit="bar",
    gauge_most=190.0,
    jack_kn=100.0,
    frame_kn=120.0,
    supply_w=1500.0,
    breaker_a=16.0,
    output="ssr",
    window_s=1.0,
)
MOULD = Mould(
    name="saucer-160",
    slot=1,
    metal="aluminium",
    cavities=1,
    area_cm2=201.0,
    upper=HALF,
    lower=HALF,
    stops=True,
    vents=6,
    rated_kn=110.0,
    rated_c=210.0,
)
RECIPE = Recipe(
    name="grain-apple",
    version=3,
    mould="saucer-160",
    setpoint_c=180.0,
    residue_g=32.0,
    water_g=6.0,
    force=140.0,
    force_unit="bar",
    top_up_below=110.0,
    breaths=(Breath(at_s=12.0, open_s=2.0), Breath(at_s=25.0, open_s=2.0)),
    equivalent_s=120.0,
    least_s=60.0,
    most_s=200.0,
)
FITTED = FIT_SWITCH | FIT_NEXT | FIT_BUZZER
FRAME_MS = 200
ROOM_C = 22.0
BOOT = 41

_Effect = TypeVar("_Effect", bound=fx.Effect)


def make_state(**changes: Any) -> State:
    """Return a press that was just switched on, oiled and clean; `cycle` merges into that."""
    cycle = changes.pop("cycle", CycleState(since_oil=0))
    recipes = changes.pop("recipes", (RECIPE,))
    state = State(
        press=PRESS, mould=MOULD, recipes=recipes, recipe=recipes[0], cycle=cycle, host_ms=1000
    )
    return replace(state, **changes)


def make_link_up(host_ms: int, **changes: Any) -> ev.LinkUp:
    """Return the board introducing itself."""
    fields: dict[str, Any] = {
        "port": "/dev/ttyACM0",
        "board": "5448a1b2c3d40917",
        "build": "9d2f0c11",
        "boot": BOOT,
        "cause": "power",
        "latch": "none",
        "ceiling_c": 230.0,
        "trip_c": 215.0,
        "setpoint_most_c": 200.0,
        "supply_cap": 2.0,
        "window_ms": 1000,
        "fitted": FITTED,
        "mould_slot": 1,
        "upper_rise_k_per_s": 0.26,
        "upper_lag_s": 15.0,
        "lower_rise_k_per_s": 0.26,
        "lower_lag_s": 15.0,
    }
    return ev.LinkUp(host_ms=host_ms, **(fields | changes))


def raw_of(value_c: float, count: int) -> int:
    """Return a register that moves a little, as a real one does."""
    return (round(value_c * 4) << 18) | ((400 + count % 3) << 4)


def make_tele(count: int, board_ms: int, **changes: Any) -> Tele:
    """Return one line of telemetry: a cold press, closed, mains on, not armed."""
    fields: dict[str, Any] = {
        "n": count % 65536,
        "ms": board_ms % 2**32,
        "u": round(ROOM_C * 10),
        "ur": raw_of(ROOM_C, count),
        "un": count % 65536,
        "uo": 0,
        "l": round(ROOM_C * 10),
        "lr": raw_of(ROOM_C, count),
        "ln": count % 65536,
        "lo": 0,
        "st": "ready",
        "fo": "none",
        "inputs": IN_MAINS,
        "k": 0,
        "f": 0,
    }
    return Tele(**(fields | changes))


def make_frame(
    host_ms: int, board_ms: int, count: int = 0, *, boot: int = BOOT, **changes: Any
) -> ev.Frame:
    """Return one good line of telemetry as an event; `changes` are fields of the line."""
    tele = make_tele(count, board_ms, **changes)
    return ev.Frame(host_ms=host_ms, boot=boot, board_ms=board_ms, tele=tele)


class Play:
    """Feeds events to the step, five frames a second, and keeps what came of them.

    Attributes:
        upper_c, lower_c: What the halves read from now on; None: a bad reading.
        board: Fields of the telemetry from now on: `st`, `fo`, `inputs`, `k` ...
        frames: Whether the board still talks.
    """

    def __init__(self, state: State | None = None, *, up: bool = True, **link: Any) -> None:
        self.state = make_state() if state is None else state
        self.host_ms = self.state.host_ms
        self.board_ms = 5000
        self.boot = BOOT
        self.count = 0
        self.upper_c: float | None = ROOM_C
        self.lower_c: float | None = ROOM_C
        self.board: dict[str, Any] = {"st": "ready", "fo": "none", "inputs": IN_MAINS, "k": 0}
        self.frames = True
        self.on_ms = 0
        self.counters_move = True
        self.counter = 0
        self.events: list[ev.AnyEvent] = []
        self.effects: list[fx.AnyEffect] = []
        if up:
            self.feed(make_link_up(self.host_ms, **link))
            self.run(0.4)

    def feed(self, event: ev.AnyEvent) -> tuple[fx.AnyEffect, ...]:
        """Hand one event to the step."""
        self.state, effects = step(self.state, event)
        self.events.append(event)
        self.effects += effects
        return effects

    def frame(self) -> tuple[fx.AnyEffect, ...]:
        """Let 0.2 s pass, ended by one line of telemetry."""
        self.host_ms += FRAME_MS
        self.board_ms += FRAME_MS
        self.count += 1
        if self.counters_move:
            self.counter += 1
        duty = self.state.upper.duty
        self.on_ms = (self.on_ms + round(duty * FRAME_MS)) % 65536
        return self.feed(self.next_frame())

    def next_frame(self) -> ev.Frame:
        """Return the line that the board would send at this moment."""
        halves: dict[str, Any] = {"un": self.counter % 65536, "ln": self.counter % 65536}
        for value, register, value_c in (("u", "ur", self.upper_c), ("l", "lr", self.lower_c)):
            halves[value] = "bad" if value_c is None else round(value_c * 10)
            halves[register] = 1 if value_c is None else raw_of(value_c, self.counter)
        halves |= {"uo": self.on_ms, "lo": self.on_ms}
        fields = halves | self.board
        return make_frame(self.host_ms, self.board_ms, self.count, boot=self.boot, **fields)

    def tick(self, after_ms: int = 250) -> tuple[fx.AnyEffect, ...]:
        """Let a quarter of a second pass without a line."""
        self.host_ms += after_ms
        self.board_ms += after_ms
        return self.feed(ev.Tick(host_ms=self.host_ms))

    def run(self, seconds: float) -> None:
        """Let time pass: with frames, or with ticks alone where the board is silent."""
        end_ms = self.host_ms + round(seconds * 1000)
        while self.host_ms < end_ms:
            if self.frames:
                self.frame()
            else:
                self.tick()

    def until(self, phase: Phase, most_s: float = 600.0) -> None:
        """Let time pass until a phase has come."""
        end_ms = self.host_ms + round(most_s * 1000)
        while self.phase is not phase:
            assert self.host_ms < end_ms, f"{phase} has not come, still {self.phase}"
            self.run(0.2)

    def ask(self, intent: ask.AnyIntent, who: str = "Ada") -> Code | None:
        """Ask for something; return why it was refused, or None."""
        effects = self.feed(ev.Asked(host_ms=self.host_ms, who=who, intent=intent))
        answers = [one for one in effects if isinstance(one, fx.Answered)]
        assert len(answers) == 1
        assert effects.index(answers[0]) >= 0
        assert answers[0].accepted is (answers[0].reason is None)
        return answers[0].reason

    def tap(self, seen: Phase | None = None, *, wait_s: float = 2.0) -> Code | None:
        """Wait a moment, then tap once; return why it was refused, or None."""
        self.run(wait_s)
        return self.ask(ask.Advance(seen=self.phase if seen is None else seen))

    def press_next(self, *, wait_s: float = 2.0) -> None:
        """Wait a moment, then press the button at the board."""
        self.run(wait_s)
        self.board["k"] = (self.board["k"] + 1) % 256
        self.frame()

    def set_c(self, upper_c: float | None, lower_c: float | None = None) -> None:
        """Set both halves' temperature; alike where one is given."""
        self.upper_c = upper_c
        self.lower_c = upper_c if lower_c is None else lower_c

    def open(self) -> None:
        """Open the mould."""
        self.board["inputs"] |= IN_OPEN
        self.frame()

    def close(self) -> None:
        """Close the mould."""
        self.board["inputs"] &= ~IN_OPEN
        self.frame()

    def start(self) -> None:
        """Confirm the mould empty, arm, and press ARM at the board."""
        assert self.ask(ask.Prepare(empty=True, dry=True, let_down=True)) is None
        self.board["st"] = "armed"
        self.frame()
        assert self.phase is Phase.PREHEAT

    def to(self, phase: Phase) -> Play:
        """Go to a phase of the first pressing, from a press that was just switched on."""
        steps: dict[Phase, Callable[[], object]] = {
            Phase.PREHEAT: self.start,
            Phase.SOAK: lambda: (self.set_c(180.0), self.until(Phase.SOAK)),
            Phase.READY: lambda: self.until(Phase.READY),
            Phase.FILL: self._tapped,
            Phase.CLOSE: lambda: (self.open(), self._tapped()),
            Phase.BREATHE: lambda: (self.close(), self._tapped()),
            Phase.HOLD: lambda: self.until(Phase.HOLD),
            Phase.RELEASE: lambda: self.until(Phase.RELEASE),
            Phase.OPEN: self._tapped,
            Phase.DEMOULD: lambda: (self.open(), self._tapped()),
        }
        if phase is Phase.PAUSED:
            self.to(Phase.READY)
            assert self.ask(ask.Pause()) is None
            return self
        if phase in (Phase.CLEAN, Phase.OIL):
            due = {"since_clean": 99} if phase is Phase.CLEAN else {"since_oil": 99}
            recipe = replace(self.state.recipe, clean_every=20, oil_every=1)
            cycle = replace(self.state.cycle, **due)
            self.state = replace(self.state, recipe=recipe, cycle=cycle)
            self.to(Phase.READY)
            self._tapped()
            assert self.phase is phase
            return self
        if phase is Phase.COOL:
            self.to(Phase.PREHEAT)
            self.set_c(150.0)
            self.run(0.4)
            assert self.ask(ask.HeatOff()) is None
            self.board["st"] = "ready"
            self.frame()
            return self
        for name, go in steps.items():
            if phase is Phase.IDLE:
                break
            if self.phase is not name:
                go()
            assert self.phase is name
            if name is phase:
                break
        return self

    def _tapped(self) -> None:
        refusal = self.tap()
        assert refusal is None, refusal

    @property
    def phase(self) -> Phase:
        """Where the pressing stands."""
        return self.state.cycle.phase

    def take(self, kind: type[_Effect]) -> list[_Effect]:
        """Return the effects of a kind since the last time, and forget all others."""
        found = [one for one in self.effects if isinstance(one, kind)]
        self.effects.clear()
        return found

    def alarm(self, code: str) -> AlarmState:
        """Return where an alarm stands."""
        return next(
            (one.state for one in self.state.alarms if one.alarm == code), AlarmState.NORMAL
        )


HEATED = tuple(phase for phase in Phase if phase not in (Phase.IDLE, Phase.COOL))
IN_HAND = (
    Phase.FILL,
    Phase.CLOSE,
    Phase.BREATHE,
    Phase.HOLD,
    Phase.RELEASE,
    Phase.OPEN,
    Phase.DEMOULD,
)


def hot() -> Play:
    """Return a press at work, both halves a little below setpoint and heating."""
    play = Play().to(Phase.SOAK)
    play.set_c(179.0)
    play.run(2.0)
    duty = play.take(fx.SendDuty)[-1]
    assert duty.upper > 0.0
    assert duty.lower > 0.0
    return play


def ended(play: Play) -> dict[str, object]:
    """Return the figures of the one pressing that has ended since effects were last taken."""
    ends = play.take(fx.PressingEnded)
    assert len(ends) == 1
    return ends[0].figures
