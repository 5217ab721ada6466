"""The owner in real time: the service thread, fed by the reader thread and by viewers.

One queue brings everything to the service thread: lines and port changes from the reader,
intents from the desk. It wakes on each of them or every 100 ms, and it alone steps the core
and writes to the port.
"""

from __future__ import annotations

import queue
import threading
from concurrent.futures import Future
from typing import TYPE_CHECKING

from tawny.core.effects import Answered
from tawny.core.limits import TICK_MS
from tawny.core.names import BoardState
from tawny.core.snapshot import Code
from tawny.service.awake import Awake

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.core.intents import AnyIntent
    from tawny.core.snapshot import Snapshot, TrendPoint
    from tawny.service.clock import HostClock
    from tawny.service.press import Press

WAKE_S = 0.1
SNAPSHOT_EVERY_MS = 200
DESK_LOOK_MS = 500


class Opened:
    """The reader has the port open."""


class Lost:
    """The reader lost the port."""

    def __init__(self, reason: Code) -> None:
        """Keep why."""
        self.reason = reason


class Line:
    """The reader has a whole line."""

    def __init__(self, data: bytes) -> None:
        """Keep its bytes, without the line feed."""
        self.data = data


class _Intent:
    def __init__(self, intent: AnyIntent, who: str) -> None:
        self.intent, self.who = intent, who
        self.answer: Future[Answered] = Future()


Item = tuple[int, "Opened | Lost | Line | _Intent | None"]


class Owner:
    """Runs a press in real time until it is told to end.

    Args:
        press: The press; only the service thread touches it once started.
        clock: The host clock.
    """

    def __init__(self, press: Press, clock: HostClock) -> None:
        """Prepare; nothing runs yet."""
        self.queue: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self.ended = threading.Event()
        self.failure: BaseException | None = None
        self.desk: Callable[[], tuple[str, float, int]] = lambda: ("", 0.0, 0)
        self._press, self._clock = press, clock
        self._awake = Awake()
        self._snapshot = press.snapshot(clock.now_ms())
        self._thread = threading.Thread(target=self._run, name="service", daemon=True)

    def start(self) -> None:
        """Start the service thread."""
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        """Wait for the service thread to end."""
        self._thread.join(timeout_s)

    def put(self, item: Opened | Lost | Line) -> None:
        """Hand over what the reader saw, stamped now."""
        self.queue.put((self._clock.now_ms(), item))

    def submit(self, intent: AnyIntent, who: str) -> Future[Answered]:
        """Hand over an intent; its answer comes from the service thread."""
        asked = _Intent(intent, who)
        self.queue.put((self._clock.now_ms(), asked))
        return asked.answer

    def latest_snapshot(self) -> Snapshot:
        """Return the newest picture; frozen, so any thread may read it."""
        return self._snapshot

    def points_since(self, host_s: float) -> tuple[TrendPoint, ...]:
        """Return the points of the trend after a moment of the host clock."""
        return self._press.trend.since(host_s)

    def _run(self) -> None:
        try:
            self._loop()
        except BaseException as error:  # noqa: BLE001 - the edge of the thread: kept for the main one
            self.failure = error
        finally:
            self._awake.want(awake=False)
            self.ended.set()

    def _loop(self) -> None:
        clock, press = self._clock, self._press
        tick_ms = shown_ms = desk_ms = 0
        while not press.ended:
            try:
                item = self.queue.get(timeout=WAKE_S / max(clock.pace, 1.0))
                self._handle(*item)
            except queue.Empty:
                pass
            now_ms = clock.now_ms()
            if now_ms - tick_ms >= TICK_MS:
                tick_ms = now_ms
                press.tick(now_ms)
                armed = press.state.tele is not None and (
                    press.state.tele.st == BoardState.ARMED.value
                )
                self._awake.want(armed)
            else:
                press.poll(now_ms)
            if now_ms - desk_ms >= DESK_LOOK_MS:
                desk_ms = now_ms
                press.desk(*self.desk(), now_ms)
            if now_ms - shown_ms >= SNAPSHOT_EVERY_MS * max(clock.pace, 1.0):
                shown_ms = now_ms
                self._snapshot = press.snapshot(now_ms)
        press.close(clock.now_ms())
        self._snapshot = press.snapshot(clock.now_ms())

    def _handle(self, at_ms: int, item: Opened | Lost | Line | _Intent | None) -> None:
        press = self._press
        match item:
            case Line():
                press.line(item.data, at_ms)
            case Opened():
                press.opened(at_ms)
            case Lost():
                press.lost(at_ms, item.reason)
            case _Intent():
                item.answer.set_result(press.ask(item.intent, item.who, at_ms))
                self._snapshot = press.snapshot(at_ms)
            case _:
                pass
