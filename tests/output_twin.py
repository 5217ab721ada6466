"""The board's outputs in C and in Python, driven by the same scripts, and what the pins show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from hypothesis import strategies as st

from c_core import core
from tawny.sim.limits import EXPIRY_MOST_MS
from tawny.sim.output import Output

U16: Final = 0xFFFF
U32: Final = 0xFFFF_FFFF
WRAP: Final = 1 << 32
LONG_MS: Final = 10_000  # no duty and no minimum lasts so long

_ffi, _lib = core("output")


@dataclass(frozen=True)
class Build:
    """What is compiled into a board."""

    window_ms: int
    least_ms: int
    cap: int


SSR: Final = Build(1000, 0, 2000)
RELAY: Final = Build(20_000, 2000, 2000)


class COutput:
    """The C, behind the interface of the Python; the clock that goes in is cut to 32 bits."""

    def __init__(self, build: Build, now_ms: int) -> None:
        self.raw: Any = _ffi.new("struct output *")
        self.build = build
        plan = _ffi.new("struct output_build *", (build.window_ms, build.least_ms, build.cap))
        _lib.output_start(self.raw, plan, now_ms & U32)

    def account(self, now_ms: int) -> None:
        """Bring everything up to a moment."""
        _lib.output_account(self.raw, now_ms & U32)

    def take(self, now_ms: int, duties: tuple[int, int], expires_ms: int) -> None:
        """Replace both duties."""
        _lib.output_take(self.raw, now_ms & U32, *duties, expires_ms & U32)

    def cut(self, now_ms: int) -> None:
        """Both off."""
        _lib.output_cut(self.raw, now_ms & U32)

    def hold(self, now_ms: int, *, held: bool, mould_open: bool) -> None:
        """Hold both, or halve them."""
        _lib.output_hold(self.raw, now_ms & U32, held, mould_open)

    @property
    def on(self) -> tuple[bool, bool]:
        """Which outputs are on."""
        return _lib.output_is_on(self.raw, 0), _lib.output_is_on(self.raw, 1)

    @property
    def duties(self) -> tuple[int, int]:
        """Duties in force."""
        return self.raw.pulse[0].duty, self.raw.pulse[1].duty

    @property
    def taken(self) -> tuple[int, int]:
        """Duties as sent."""
        return self.raw.pulse[0].taken, self.raw.pulse[1].taken

    @property
    def delivered_ms(self) -> tuple[int, int]:
        """On-time, modulo 65536."""
        return self.raw.pulse[0].on_ms, self.raw.pulse[1].on_ms

    @property
    def rest_ms(self) -> int:
        """How long nothing need be done."""
        return int(_lib.output_rest_ms(self.raw))

    @property
    def idle(self) -> bool:
        """Whether both duties are 0."""
        return bool(self.raw.idle)

    @property
    def at_window_start(self) -> bool:
        """Whether a window has begun at this very moment."""
        return not self.idle and self.raw.at_ms == 0 and self.raw.window_end_ms != 0

    def copy(self) -> COutput:
        """Return another one in the same state."""
        other = COutput(self.build, 0)
        other.raw[0] = self.raw[0]
        return other


@dataclass(frozen=True)
class Op:
    """Something that is done to the outputs `wait_ms` after the last one."""

    wait_ms: int
    kind: str  # take, cut, hold, account
    duties: tuple[int, int] = (0, 0)
    live_ms: int = 1500
    held: bool = False
    mould_open: bool = False


@dataclass(frozen=True)
class Script:
    """One history of a board's outputs."""

    build: Build
    start_ms: int
    ops: tuple[Op, ...]


def keep(duties: tuple[int, int], times: int, *, apart_ms: int = 400) -> tuple[Op, ...]:
    """Return the duty lines of a host that wants the same for a while."""
    return tuple(Op(apart_ms, "take", duties) for _ in range(times))


_DUTY = st.one_of(
    st.sampled_from(
        (0, 0, 1, 99, 100, 101, 499, 500, 501, 899, 900, 901, 949, 950, 951, 999, 1000)
    ),
    st.integers(0, 1000),
)
_WAIT_MS = st.one_of(
    st.sampled_from((0, 1, 399, 400, 401, 999, 1000, 1001, 1499, 1500, 1501, 1999, 2000, 2001)),
    st.integers(0, 3000),
)
_WEEKS_MS = st.sampled_from((WRAP // 2 - 1, WRAP // 2, WRAP - 2000, WRAP - 1, WRAP, WRAP + 1))
_LIVE_MS = st.one_of(st.sampled_from((100, 101, 400, 1499, 1500)), st.integers(100, 1500))
_DUTIES = st.tuples(_DUTY, _DUTY)
_TAKE = st.builds(Op, _WAIT_MS, st.just("take"), _DUTIES, _LIVE_MS).map(lambda op: (op,))
_OTHER = st.builds(
    Op,
    _WAIT_MS | _WEEKS_MS,
    st.sampled_from(("cut", "hold", "hold", "hold", "account")),
    held=st.booleans(),
    mould_open=st.booleans(),
).map(lambda op: (op,))
_KEEP = st.builds(keep, _DUTIES, st.integers(1, 60), apart_ms=st.sampled_from((400, 400, 997)))
_BUILDS = st.one_of(
    st.builds(Build, st.sampled_from((1000, 1001, 1500, 1999, 2000)), st.just(0), st.just(1000)),
    st.builds(
        Build,
        st.integers(1000, 2000),
        st.just(0),
        st.sampled_from((1000, 1001, 1333, 1999, 2000)) | st.integers(1000, 2000),
    ),
    st.builds(
        Build,
        st.just(20_000),
        st.just(2000),
        st.sampled_from((1000, 1000, 1001, 1050, 1333, 2000)) | st.integers(1000, 2000),
    ),
)
_START_MS = st.sampled_from((0, WRAP - 1, WRAP)) | st.integers(WRAP - 60_000, WRAP)


def scripts(builds: st.SearchStrategy[Build] = _BUILDS) -> st.SearchStrategy[Script]:
    """Histories that begin shortly before the clock wraps."""
    parts = st.lists(_TAKE | _KEEP | _KEEP | _OTHER, min_size=1, max_size=25)
    ops = parts.map(lambda lists: tuple(op for part in lists for op in part))
    return st.builds(Script, builds, _START_MS, ops)


RELAYS: Final = _BUILDS.filter(lambda build: build.least_ms > 0)


def do(output: Output | COutput, op: Op, now_ms: int) -> None:
    """Do to the Python or to the C what an op says; both are accounted up to then."""
    if op.kind == "take":
        output.take(now_ms, op.duties, now_ms + op.live_ms)
    elif op.kind == "cut":
        output.cut() if isinstance(output, Output) else output.cut(now_ms)
    elif op.kind == "hold":
        if isinstance(output, Output):
            output.hold(held=op.held, mould_open=op.mould_open)
        else:
            output.hold(now_ms, held=op.held, mould_open=op.mould_open)


def moments(output: COutput, now_ms: int, until_ms: int) -> Iterator[int]:
    """Yield each moment that the C names, or 1 s later, up to one, which comes last.

    It is accounted at each. Of weeks in which it is idle only the first and the last seconds are
    gone through: between them nothing is left that could change.
    """
    idle_since_ms = now_ms
    while now_ms < until_ms:
        if not output.idle:
            idle_since_ms = now_ms
        now_ms += min(output.rest_ms, 1000)
        if now_ms > idle_since_ms + LONG_MS:
            now_ms = max(now_ms, until_ms - LONG_MS)
        now_ms = min(now_ms, until_ms)
        output.account(now_ms)
        yield now_ms


@dataclass
class Run:
    """An on-time of an output, as its pin shows it."""

    begin_ms: int
    end_ms: int
    cut: bool = False  # ended by duty 0, a cut, a hold or an expiry, and not by its window


class Seen:
    """What the C's pins do while it runs through a script.

    Attributes:
        on: On-times of each half.
        windows: When each window began.
        openings: When the mould was opened, and the windows that began while it was open.
        allowed: When each half may be on at all, from the script alone: its last taken duty is
            above 0, has not expired, was not cut, and is not held.
        end_ms: When watching ended, with the last duty expired.
    """

    def __init__(self, script: Script) -> None:
        self.build = script.build
        self.output = COutput(script.build, script.start_ms)
        self.on: tuple[list[Run], list[Run]] = ([], [])
        self.windows: list[int] = []
        self.openings: list[int] = []
        self.allowed: tuple[list[tuple[int, int]], ...] = ([], [])
        self._now_ms = self._since_ms = self._until_ms = script.start_ms
        self._taken = (0, 0)
        self._held = self._open = False
        self._level = [False, False]
        for op in script.ops:
            self._pass(op.wait_ms)
            do(self.output, op, self._now_ms)
            self._allow()
            self._learn(op)
            self._look()
        self._pass(EXPIRY_MOST_MS)
        self._allow()
        self.end_ms = self._now_ms

    def on_ms(self, half: int, from_ms: int, to_ms: int) -> int:
        """Return how long a half was on between two moments."""
        return sum(
            max(0, min(run.end_ms, to_ms) - max(run.begin_ms, from_ms)) for run in self.on[half]
        )

    def both_ms(self, from_ms: int, to_ms: int) -> int:
        """Return how long both were on together between two moments."""
        return sum(
            self.on_ms(1, max(run.begin_ms, from_ms), min(run.end_ms, to_ms))
            for run in self.on[0]
            if run.begin_ms < to_ms and run.end_ms > from_ms
        )

    def spans(self) -> list[tuple[int, int]]:
        """Begin and end of each window as it was, cut short or not."""
        return list(pairwise([*self.windows, self.end_ms]))

    def _pass(self, wait_ms: int) -> None:
        for moment_ms in moments(self.output, self._now_ms, self._now_ms + wait_ms):
            self._now_ms = moment_ms
            self._look()

    def _allow(self) -> None:
        """Note until when what held till now allowed heat."""
        for half in range(2):
            if self._taken[half] and not self._held:
                self.allowed[half].append((self._since_ms, min(self._now_ms, self._until_ms)))
        self._since_ms = self._now_ms

    def _learn(self, op: Op) -> None:
        if op.kind == "take":
            self._taken, self._until_ms = op.duties, self._now_ms + op.live_ms
        elif op.kind == "cut":
            self._taken = (0, 0)
        elif op.kind == "hold":
            self._held, self._open = op.held, op.mould_open
            if op.mould_open:
                self.openings.append(self._now_ms)

    def _look(self) -> None:
        for half, on in enumerate(self.output.on):
            if on != self._level[half]:
                self._switch(half, on=on)
        if self.output.at_window_start and self._now_ms not in self.windows[-1:]:
            self.windows.append(self._now_ms)
            if self._open:
                self.openings.append(self._now_ms)

    def _switch(self, half: int, *, on: bool) -> None:
        self._level[half] = on
        runs = self.on[half]
        if not on:
            gone = self._taken[half] == 0 or self._held or self._now_ms >= self._until_ms
            runs[-1].end_ms, runs[-1].cut = self._now_ms, gone
            if runs[-1].begin_ms == self._now_ms:
                runs.pop()
        elif runs and runs[-1].end_ms == self._now_ms:
            runs[-1].cut = False
        else:
            runs.append(Run(self._now_ms, self._now_ms))
