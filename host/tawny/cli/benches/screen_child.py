"""The process that draws while it is measured: the dashboard, or one text.

python -m tawny.cli.benches.screen_child dashboard|one-text TOLD ANSWER SHOWN
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import NamedTuple

import msgspec

from tawny.core.intents import AnyIntent
from tawny.desk.messages import Answer, Snap, ToViewer

EACH_S = 0.25
SETTLING = 8  # changes before measuring begins: styles parsed, first screen drawn


class Drawn(msgspec.Struct, frozen=True):
    """What drawing took: from the end of settling to the last change.

    Attributes:
        cpu_s: Processor time of all its threads.
        start_cpu_s: What it had taken before.
        begin_s, end_s: On the clock that all processes share.
        peak_mb: The most memory the process ever held.
    """

    cpu_s: float
    start_cpu_s: float
    begin_s: float
    end_s: float
    peak_mb: float


class _Moment(NamedTuple):
    cpu_s: float
    clock_s: float

    @classmethod
    def now(cls) -> _Moment:
        return cls(time.process_time(), time.monotonic())


class Meter:
    """Counts changes and measures from the end of settling to the last one.

    Args:
        shown: Changes to measure.
    """

    def __init__(self, shown: int) -> None:
        self._shown = shown
        self._count = 0
        self._begin = self._end = _Moment(0.0, 0.0)

    def next(self) -> bool:
        """Count one change; say whether it is to be drawn."""
        self._count += 1
        if self._count == SETTLING + 1:
            self._begin = _Moment.now()
        if self._count <= SETTLING + self._shown:
            return True
        self._end = _Moment.now()
        return False

    def drawn(self) -> Drawn:
        """Return what was measured; a screen that changed less often has no figure."""
        if self._count <= SETTLING + self._shown:
            raise RuntimeError(f"{self._count} changes, {SETTLING + self._shown} were to be drawn")
        return Drawn(
            cpu_s=self._end.cpu_s - self._begin.cpu_s,
            start_cpu_s=self._begin.cpu_s,
            begin_s=self._begin.clock_s,
            end_s=self._end.clock_s,
            peak_mb=peak_mb(),
        )


def peak_mb() -> float:
    """Return the most memory this process ever held, in 10^6 bytes.

    Source:
        proc_pid_status(5): VmHWM. Unlike getrusage it leaves out what the parent held.
    """
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        name, _colon, value = line.partition(":")
        if name == "VmHWM":
            return int(value.split()[0]) * 1024 / 1e6
    return float("nan")


class CannedViewer:
    """Yields what was written down, at the pace of an owner; a line to nobody.

    Args:
        lines: Messages as JSON, in order; each is decoded when it is due, as a viewer does.
        finish: Called after the last change.
    """

    def __init__(self, lines: list[bytes], meter: Meter, finish: Callable[[], object]) -> None:
        self._lines, self._meter, self._finish = lines, meter, finish

    async def open(self) -> None:
        """Connect to nobody."""

    async def messages(self) -> AsyncIterator[ToViewer]:
        """Yield the welcome at once, then a snapshot each quarter of a second."""
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        for line in self._lines:
            message: ToViewer = msgspec.json.decode(line, type=ToViewer)
            if isinstance(message, Snap):
                due_s += EACH_S
                await asyncio.sleep(max(due_s - loop.time(), 0.0))
                if not self._meter.next():
                    break
            yield message
        self._finish()
        await asyncio.Event().wait()

    async def ask(self, intent: AnyIntent) -> Answer:
        """Answer nobody."""
        raise ConnectionResetError(str(intent))

    async def close(self) -> None:
        """Close nothing."""


def draw_dashboard(told: Path, meter: Meter) -> None:
    """Draw the dashboard from what an owner would send."""
    from tawny.ui.app import Dashboard  # noqa: PLC0415 - not for the other child

    def finish() -> None:
        app.exit()

    app = Dashboard(CannedViewer(told.read_bytes().splitlines(), meter, finish))
    app.run()


def draw_one_text(meter: Meter) -> None:
    """Change one text as often."""
    from tawny.ui.one_text import OneText  # noqa: PLC0415 - not for the other child

    def next_text() -> str | None:
        return f"{time.monotonic():.2f}" if meter.next() else None

    OneText(EACH_S, next_text).run()


def main() -> None:
    """Draw what the command line names and write down what that took."""
    which, told, answer, shown = sys.argv[1:]
    meter = Meter(int(shown))
    if which == "dashboard":
        draw_dashboard(Path(told), meter)
    else:
        draw_one_text(meter)
    Path(answer).write_bytes(msgspec.json.encode(meter.drawn()))


if __name__ == "__main__":
    main()
