"""The owner in real time: the service thread, fed by the reader thread and by viewers.

One queue brings everything to the service thread: lines and port changes from the reader,
intents from the desk. It wakes on each of them or every 100 ms, and it alone steps the core
and writes to the port.
"""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future
from contextlib import suppress
from queue import Empty
from typing import TYPE_CHECKING

from tawny.core.effects import Answered
from tawny.core.intents import HeatOff, Quit
from tawny.core.limits import TICK_MS
from tawny.core.names import BoardState
from tawny.core.snapshot import Code
from tawny.link.reader import Dropped, Heard, Line, Lost, Opened
from tawny.service.awake import Awake

if TYPE_CHECKING:
    from collections.abc import Callable
    from queue import Queue

    from tawny.core.intents import AnyIntent
    from tawny.core.snapshot import Snapshot, TrendPoint
    from tawny.service.clock import HostClock
    from tawny.service.press import Press

WAKE_S = 0.1
SNAPSHOT_EVERY_S = 0.2
DESK_LOOK_S = 0.5
# The desk refuses an intent older than 3 s; this is for one that waits behind the desk.
WISH_GOOD_S = 3.0
PART_WITHIN_S = 1.0  # the board answers within 0.1 s; a line before this one may be out
PART_LOOK_S = 0.02


class Wish(Heard, frozen=True):
    """An intent on its way to the core."""

    intent: AnyIntent
    who: str
    answer: Future[Answered]


class Owner:
    """Runs a press in real time until it is told to end.

    Args:
        press: The press; only the service thread touches it once started.
        clock: The host clock.
        inbox: The reader's queue; intents go the same way.

    Attributes:
        desk: Returns who sits at the desk, for how long nobody has in seconds of the world,
            and how many viewers there are.
        end_unwatched_s: End after so long without a viewer and without heat; None: never.
        failure: What ended the service thread, if it did not end on purpose.
    """

    def __init__(self, press: Press, clock: HostClock, inbox: Queue[Heard]) -> None:
        """Prepare; nothing runs yet."""
        self.ended = threading.Event()
        self.failure: BaseException | None = None
        self.desk: Callable[[], tuple[str, float, int]] = lambda: ("", 0.0, 0)
        self.end_unwatched_s: float | None = None
        self._press, self._clock, self._inbox = press, clock, inbox
        self._awake = Awake()
        self._snapshot = press.snapshot(clock.now_ms())
        self._thread = threading.Thread(target=self._run, name="service", daemon=True)

    def start(self) -> None:
        """Start the service thread."""
        self._thread.start()

    def join(self, timeout_s: float) -> None:
        """Wait for the service thread to end."""
        self._thread.join(timeout_s)

    def end(self, why: str, timeout_s: float) -> None:
        """Command heat off and wait for the end; nothing where it never ran, or has ended."""
        if self._thread.is_alive():
            self.submit(Quit(), why)
            self.join(timeout_s)

    def submit(self, intent: AnyIntent, who: str) -> Future[Answered]:
        """Hand over an intent; its answer comes from the service thread."""
        answer: Future[Answered] = Future()
        self._inbox.put(Wish(self._clock.now_ms(), intent, who, answer))
        return answer

    def latest_snapshot(self) -> Snapshot:
        """Return the newest picture; frozen, so any thread may read it."""
        return self._snapshot

    def points_since(self, host_s: float) -> tuple[TrendPoint, ...]:
        """Return the points of the trend after a moment of the host clock."""
        return self._press.trend.since(host_s)

    def _run(self) -> None:
        try:
            self._loop()
        except BaseException as error:  # noqa: BLE001 - the edge of the thread: told to the main one
            self.failure = error
        finally:
            # On a fault too, and first of all: nothing is heated by a program that has ended.
            with suppress(Exception):
                self._part()
            with suppress(Exception):
                self._press.close(self._clock.now_ms())
            self._awake.want(awake=False)
            self.ended.set()

    def _part(self) -> None:
        """Part from the board, and give it a moment to confirm that its heat is off."""
        clock, press = self._clock, self._press
        press.part(clock.now_ms())
        stop_s = time.monotonic() + PART_WITHIN_S
        while not press.parted and time.monotonic() < stop_s:
            line = b""
            with suppress(Empty):
                heard = self._inbox.get(timeout=PART_LOOK_S)
                line = heard.data if isinstance(heard, Line) else b""
            press.heard_parting(line, clock.now_ms())

    def _loop(self) -> None:
        clock, press = self._clock, self._press
        pace = clock.pace
        tick_ms = shown_ms = desk_ms = 0
        while not press.ended:
            with suppress(Empty):
                self._handle(self._inbox.get(timeout=WAKE_S / max(pace, 1.0)))
            now_ms = clock.now_ms()
            if now_ms - tick_ms >= TICK_MS:
                tick_ms = now_ms
                press.tick(now_ms)
                tele = press.state.tele
                armed = tele is not None and tele.st == BoardState.ARMED.value
                self._awake.want(awake=armed)
            else:
                press.poll(now_ms)
            if now_ms - desk_ms >= DESK_LOOK_S * 1000 * pace:
                desk_ms = now_ms
                viewer, empty_s, viewers = self.desk()
                press.desk(viewer, empty_s, viewers, now_ms)
                if self._unneeded(empty_s, viewers):
                    press.ask(Quit(), "unwatched", now_ms)
            if now_ms - shown_ms >= SNAPSHOT_EVERY_S * 1000 * pace:
                shown_ms = now_ms
                self._snapshot = press.snapshot(now_ms)
        self._snapshot = press.snapshot(clock.now_ms())

    def _unneeded(self, empty_s: float, viewers: int) -> bool:
        limit_s = self.end_unwatched_s
        heated = self._press.state.cycle.heat_wanted
        return limit_s is not None and viewers == 0 and empty_s >= limit_s and not heated

    def _handle(self, heard: Heard) -> None:
        press = self._press
        match heard:
            case Line(host_ms=at_ms, data=data):
                press.line(data, at_ms)
            case Dropped(host_ms=at_ms, count=count):
                press.dropped(count, at_ms)
            case Opened(host_ms=at_ms):
                press.opened(at_ms)
            case Lost(host_ms=at_ms, reason=reason):
                press.lost(at_ms, reason)
            case Wish(host_ms=at_ms, intent=intent, who=who, answer=answer):
                answer.set_result(self._asked(intent, who, at_ms))
                self._snapshot = press.snapshot(at_ms)
            case _:
                pass

    def _asked(self, intent: AnyIntent, who: str, at_ms: int) -> Answered:
        """Put an intent to the press, unless it has waited too long; heat off never has."""
        now_ms = self._clock.now_ms()
        late = now_ms - at_ms > WISH_GOOD_S * 1000 * self._clock.pace
        if late and not isinstance(intent, HeatOff | Quit):
            return Answered(accepted=False, reason=Code("too_late"))
        return self._press.ask(intent, who, at_ms)
