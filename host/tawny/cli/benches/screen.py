"""What the dashboard takes to draw, against an app that changes one text as often."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from tawny.cli.benches.measured import Measured
from tawny.cli.benches.screen_child import EACH_S, SETTLING, Drawn
from tawny.cli.benches.speed import BEGIN_UTC_MS, LONGEST_S, RECIPE
from tawny.cli.virtual_press import VirtualPress
from tawny.core.names import Phase
from tawny.desk.messages import DESK_VERSION, Points, Snap, Welcome
from tawny.errors import N_, TawnyError
from tawny.settings.home import Home
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tawny.desk.messages import ToViewer

MOST = 5.0
MEMORY_MOST_MB = 120.0
TRACE_S = 3600.0
COLUMNS, ROWS = 120, 40
WITHIN_S = 60.0  # beyond the time that the child should take
READ_BYTES = 65_536
CHILD = "tawny.cli.benches.screen_child"
# What a terminal of today says of itself, whatever this one is.
TERMINAL = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "LANG": "C.UTF-8"}
NOT_OURS = ("TEXTUAL", "NO_COLOR", "COLUMNS", "LINES", "LC_")


class Came(NamedTuple):
    """Bytes that a terminal got, and when."""

    clock_s: float
    data: bytes


class Watched(NamedTuple):
    """A child that drew: what it says of itself, and what came through its terminal."""

    drawn: Drawn
    came: list[Came]

    @property
    def wall_s(self) -> float:
        """The time that was measured."""
        return self.drawn.end_s - self.drawn.begin_s

    @property
    def screen_bytes(self) -> int:
        """What was drawn in that time."""
        drawn = self.drawn
        return sum(len(c.data) for c in self.came if drawn.begin_s <= c.clock_s <= drawn.end_s)


def measure(*, short: bool) -> Iterator[Measured]:
    """Draw the same length of time with both, one after the other, on terminals of one size."""
    shown = 24 if short else 80
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        told = Path(folder, "told.jsonl")
        told.write_bytes(canned(Path(folder, "home"), SETTLING + shown + 1))
        plain = watch("one-text", told, shown)
        full = watch("dashboard", told, shown)
    yield Measured(
        bench="screen",
        compares=_(
            "processor time of the dashboard, told 4 times a second and with an hour of trace,"
            " against an app that changes one text 4 times a second, start left out of both"
        ),
        ratio=full.drawn.cpu_s / plain.drawn.cpu_s,
        limit=MOST,
        figures={
            "dashboard_cpu_s": full.drawn.cpu_s,
            "one_text_cpu_s": plain.drawn.cpu_s,
            "dashboard_wall_s": full.wall_s,
            "one_text_wall_s": plain.wall_s,
            "dashboard_start_cpu_s": full.drawn.start_cpu_s,
            "one_text_start_cpu_s": plain.drawn.start_cpu_s,
            "dashboard_screen_bytes": full.screen_bytes,
            "one_text_screen_bytes": plain.screen_bytes,
            "changes": shown,
            "terminal": f"{COLUMNS}x{ROWS}",
        },
    )
    yield Measured(
        bench="screen",
        compares=_("most memory the dashboard ever held, an hour of trace included"),
        ratio=full.drawn.peak_mb,
        unit="MB",
        limit=MEMORY_MOST_MB,
        figures={"one_text_mb": plain.drawn.peak_mb},
    )


def canned(home: Path, count: int) -> bytes:
    """Return what an owner would send: an hour of trace, then a snapshot each quarter second.

    A press is run for it on the virtual clock, into the hold that comes after the hour.
    """
    with VirtualPress(Home(home), begin_utc_ms=BEGIN_UTC_MS, pressings=99, recipe=RECIPE) as v:

        def holding() -> bool:
            late = v.lockstep.now_ms >= TRACE_S * 1000.0
            return late and v.press.state.cycle.phase is Phase.HOLD

        v.lockstep.run(holding, LONGEST_S)
        history = v.press.trend.since(v.lockstep.now_ms / 1000.0 - TRACE_S - 1.0)
        messages: list[ToViewer] = [Welcome(DESK_VERSION, "bench", "", history)]
        for _n in range(count):
            v.lockstep.run(lambda: False, EACH_S)
            fresh = v.press.trend.since(history[-1].host_s)
            if fresh:
                messages.append(Points(fresh))
                history = fresh
            messages.append(Snap(v.press.snapshot(v.lockstep.now_ms)))
    return b"".join(msgspec.json.encode(message) + b"\n" for message in messages)


def watch(which: str, told: Path, shown: int) -> Watched:
    """Let a child draw on a terminal that is read as fast as it writes.

    Raises:
        TawnyError: If it does not end in time, or ends otherwise than it should.
    """
    answer = told.with_name(f"{which}.json")
    environ = {k: v for k, v in os.environ.items() if not k.startswith(NOT_OURS)} | TERMINAL
    ours, theirs = pty.openpty()
    try:
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        child = subprocess.Popen(  # noqa: S603 - our own program
            (sys.executable, "-m", CHILD, which, str(told), str(answer), str(shown)),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=environ,
            start_new_session=True,
        )
    finally:
        os.close(theirs)
    try:
        came = _drain(ours, time.monotonic() + (SETTLING + shown) * EACH_S + WITHIN_S)
    finally:
        os.close(ours)
        if child.poll() is None:
            child.terminate()
        child.wait()
    if not answer.is_file():
        raise TawnyError(
            N_("the screen to be measured ended early: {said}"),
            said=b"".join(c.data for c in came[-5:]).decode("utf-8", "replace").strip()[-300:],
        )
    return Watched(msgspec.json.decode(answer.read_bytes(), type=Drawn), came)


def _drain(terminal: int, until_s: float) -> list[Came]:
    """Read a terminal to its end, as fast as it is written to."""
    came: list[Came] = []
    while time.monotonic() < until_s:
        if not select.select([terminal], [], [], 0.5)[0]:
            continue
        try:
            data = os.read(terminal, READ_BYTES)
        except OSError:  # the other end is closed
            break
        if not data:
            break
        came.append(Came(time.monotonic(), data))
    return came
