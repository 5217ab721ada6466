"""What goes to the board, and when: sequence numbers, pace, one repeat after another, replies.

One line at a time: the next goes when the last was answered, or after the 100 ms in which a
board answers. A duty line goes before all but an urgent request, is never repeated, and a
newer one replaces one that still waits; commissioning heat likewise, after the duty.
"""

from __future__ import annotations

from collections import deque
from typing import Final

import msgspec

from tawny.core import messages as m
from tawny.core.wire import encode
from tawny.link.requests import NO_TOKEN

ANSWER_WITHIN_S: Final = 0.1
REPEAT_AFTER_S: Final = 0.5
REPEATS_MOST: Final = 3
REQUESTS_PER_S: Final = 10
QUEUED_PER_S: Final = 7  # leaves room for duty lines, which are 2.5 a second
WAITING_MOST: Final = 32
DUTIES_MISSED_MOST: Final = 3
_SEQUENCE: Final = 1 << 16


class Outbox:
    """The requests that wait, the one that is out, and the bytes to write."""

    def __init__(self) -> None:
        self.token = NO_TOKEN
        self._q = 0
        self._sent_s: deque[float] = deque()
        self._bytes = bytearray()
        self.clear()

    def clear(self) -> None:
        """Forget everything that waits: the port was opened again, or the session has gone."""
        self._waiting: deque[m.Message] = deque()
        self._duty: m.Duty | None = None
        self._heat: m.CommissioningHeat | None = None
        self._out: m.Message | None = None
        self._out_q = -1
        self._out_s = 0.0
        self._repeats = 0
        self.repeated = False  # the request answered last was sent more than once
        self._duties: dict[int, tuple[m.Duty | m.CommissioningHeat, float]] = {}
        self._duties_missed = 0
        self._last_q: int | None = None
        self._last_s = 0.0
        self._bytes.clear()

    def put(self, request: m.Message, *, urgent: bool = False) -> bool:
        """Queue a request; an urgent one goes next, and what is out is sent again after it.

        Returns:
            False where the queue is full and the request was not taken.
        """
        if urgent:
            if self._out is not None:
                self._waiting.appendleft(self._out)
                self._out = None
            self._waiting.appendleft(request)
            return True
        if isinstance(request, m.Signal):
            self.drop(m.Signal)
        if len(self._waiting) >= WAITING_MOST:
            return False
        self._waiting.append(request)
        return True

    def put_duty(self, duty: m.Duty) -> None:
        """Send this duty next; one that still waits is out of date."""
        self._duty = duty

    def put_heat(self, heat: m.CommissioningHeat) -> None:
        """Send this commissioning heat next; one that still waits is out of date."""
        self._heat = heat

    def drop(self, *kinds: type[m.Message]) -> None:
        """Forget waiting and unanswered requests of these kinds."""
        self._waiting = deque(r for r in self._waiting if not isinstance(r, kinds))
        if isinstance(self._out, kinds):
            self._out = None
        if m.Duty in kinds:
            self._duty = None
        if m.CommissioningHeat in kinds:
            self._heat = None

    @property
    def idle(self) -> bool:
        """Whether there is nothing to send and no reply to wait for."""
        return not (self._waiting or self._duties or self._duty or self._heat or self._out)

    def poll(self, now_s: float) -> m.Message | None:
        """Move at most one line to the bytes to write.

        Returns:
            A request that was given up: the board no longer answers.
        """
        for q, (duty, sent_s) in list(self._duties.items()):
            if now_s - sent_s >= REPEAT_AFTER_S:
                del self._duties[q]
                self._duties_missed += 1
                if self._duties_missed >= DUTIES_MISSED_MOST:
                    self._duties_missed = 0
                    return duty
        late = self._out is not None and now_s - self._out_s >= REPEAT_AFTER_S
        if late and self._repeats >= REPEATS_MOST:
            given_up, self._out = self._out, None
            return given_up
        if self._may_send(now_s):
            self._send_next(now_s, late=late)
        return None

    def answered(self, q: int) -> m.Message | None:
        """Return the request that a reply with this `q` belongs to, or None for a stray reply."""
        if q == self._last_q:
            self._last_q = None
        if self._out is not None and q == self._out_q:
            request, self._out = self._out, None
            self.repeated = self._repeats > 0
            return request
        if q in self._duties:
            self._duties_missed = 0
            return self._duties.pop(q)[0]
        return None

    def take(self) -> bytes:
        """Return the bytes to write now, and forget them."""
        if not self._bytes:
            return b""
        data = bytes(self._bytes)
        self._bytes.clear()
        return data

    def _may_send(self, now_s: float) -> bool:
        if self._last_q is not None and now_s - self._last_s < ANSWER_WITHIN_S:
            return False
        while self._sent_s and now_s - self._sent_s[0] >= 1.0:
            self._sent_s.popleft()
        return len(self._sent_s) < REQUESTS_PER_S

    def _send_next(self, now_s: float, *, late: bool) -> None:
        urgent = bool(self._waiting) and isinstance(self._waiting[0], m.Disarm | m.Bye)
        if self._duty is not None and not urgent:
            duty, self._duty = self._duty, None
            self._duties[self._send(duty, now_s)] = (duty, now_s)
        elif self._heat is not None and not urgent:
            heat, self._heat = self._heat, None
            self._duties[self._send(heat, now_s)] = (heat, now_s)
        elif not urgent and len(self._sent_s) >= QUEUED_PER_S:
            return
        elif late and self._out is not None:
            self._repeats += 1
            self._out_q, self._out_s = self._send(self._out, now_s), now_s
        elif self._waiting and self._out is None:
            self._out = self._waiting.popleft()
            self._repeats = 0
            self._out_q, self._out_s = self._send(self._out, now_s), now_s

    def _send(self, request: m.Message, now_s: float) -> int:
        self._q = (self._q + 1) % _SEQUENCE
        if isinstance(request, m.Hello):
            self._bytes += encode(msgspec.structs.replace(request, q=self._q))
        else:
            self._bytes += encode(msgspec.structs.replace(request, s=self.token, q=self._q))
        self._sent_s.append(now_s)
        self._last_q, self._last_s = self._q, now_s
        return self._q
