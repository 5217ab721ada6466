"""Time-proportioned outputs: from two duties to on-time, to the millisecond.

Nothing is stepped: an output's pulse within a window is an interval, and what it delivered
up to a moment is how much of that interval has passed.
"""

from __future__ import annotations

from typing import Final

FULL_DUTY: Final = 950  # a step from 0 to this starts a new window
OPEN_DUTY_MOST: Final = 500
WHOLE: Final = 1000

_LONG_AGO_MS: Final = -(1 << 40)
_NEVER_MS: Final = 1 << 60


class _Pulse:
    """One output's pulse in the window that runs."""

    __slots__ = ("begin_ms", "carry", "duty", "end_ms", "off_ms", "on_ms", "taken")

    def __init__(self) -> None:
        self.taken = 0  # per mille, as the host sent it
        self.duty = 0  # per mille, after holds, the open mould and the supply limit
        self.begin_ms = self.end_ms = _LONG_AGO_MS  # nothing of it yet: begin == end
        self.off_ms = _LONG_AGO_MS  # last time that it went off
        self.carry = 0  # ms · per mille that earlier windows owe
        self.on_ms = 0  # delivered since the start

    def deliver(self, from_ms: int, to_ms: int) -> None:
        begin_ms, end_ms = self.begin_ms, self.end_ms
        if begin_ms < to_ms and from_ms < end_ms:  # else nothing of it lies in between
            self.on_ms += (end_ms if end_ms < to_ms else to_ms) - (  # noqa: FURB136 - speed
                begin_ms if begin_ms > from_ms else from_ms  # noqa: FURB136 - speed
            )

    def is_on(self, now_ms: int) -> bool:
        return self.begin_ms <= now_ms < self.end_ms

    def cut(self, now_ms: int) -> None:
        """End the pulse now, whatever the minimum."""
        if self.begin_ms < min(now_ms, self.end_ms):
            self.off_ms = min(now_ms, self.end_ms)
        self.begin_ms = self.end_ms = now_ms
        self.carry = 0

    def settled_ms(self, now_ms: int, least_ms: int) -> int:
        """Return when the output may next be switched; one that stays off need not wait."""
        if self.is_on(now_ms):
            return self.begin_ms + least_ms
        if self.duty == 0:
            return now_ms
        return (self.end_ms if self.begin_ms < self.end_ms <= now_ms else self.off_ms) + least_ms

    def wanted_ms(self, window_ms: int, least_ms: int, most_ms: int) -> int:
        """Return the on-time of a window that starts; what it is owed is left in `carry`."""
        self.carry += self.duty * window_ms
        on_ms = self.carry // WHOLE
        if on_ms < least_ms:
            return 0
        return min(window_ms if on_ms > window_ms - least_ms else on_ms, most_ms)

    def lay(self, begin_ms: int, end_ms: int, least_ms: int) -> None:
        """Lay the pulse of a window that starts, as far as the minimum off allows."""
        if self.begin_ms < self.end_ms:
            self.off_ms = self.end_ms
        goes_on = self.begin_ms < self.end_ms == begin_ms
        if not goes_on:
            begin_ms = max(begin_ms, self.off_ms + least_ms)
        if end_ms - begin_ms < least_ms:
            end_ms = begin_ms
        self.begin_ms, self.end_ms = begin_ms, end_ms
        self.carry -= (end_ms - begin_ms) * WHOLE
        if self.carry // WHOLE > least_ms:
            # What is over one shortest pulse is let go, so that a carry never piles up.
            self.carry = least_ms * WHOLE + self.carry % WHOLE


class Output:
    """Both outputs and their common window.

    Args:
        window_ms: Length of the window.
        least_ms: Minimum on and off.
        cap: What both duties may sum to, per mille.
    """

    def __init__(self, *, window_ms: int, least_ms: int, cap: int, now_ms: int = 0) -> None:
        self._window_ms = window_ms
        self._least_ms = least_ms
        self._cap = cap
        self._upper = _Pulse()
        self._lower = _Pulse()
        self._now_ms = now_ms
        self._window_end_ms = _LONG_AGO_MS
        self._expires_ms = _LONG_AGO_MS
        self._idle = True
        self._held = False
        self._open = False

    @property
    def duties(self) -> tuple[int, int]:
        """Duties in force, per mille, after holds, open mould and supply limit."""
        return self._upper.duty, self._lower.duty

    @property
    def taken(self) -> tuple[int, int]:
        """Duties as the host sent them, 0 once they expired."""
        return self._upper.taken, self._lower.taken

    @property
    def delivered_ms(self) -> tuple[int, int]:
        """On-time delivered up to the last `account`."""
        return self._upper.on_ms, self._lower.on_ms

    @property
    def on(self) -> tuple[bool, bool]:
        """Which outputs are on at this moment."""
        return self._upper.is_on(self._now_ms), self._lower.is_on(self._now_ms)

    def account(self, now_ms: int) -> None:
        """Bring the delivered on-time up to a moment; a duty that expires before ends there."""
        if now_ms <= self._now_ms:
            return
        if self._idle:
            self._now_ms = now_ms
            return
        if now_ms >= self._expires_ms:
            self._run(self._expires_ms)
            self.cut()
            self._now_ms = now_ms
            return
        self._run(now_ms)

    def _run(self, now_ms: int) -> None:
        while True:
            end_ms = self._window_end_ms
            until_ms = now_ms if now_ms < end_ms else end_ms  # noqa: FURB136 - speed
            self._upper.deliver(self._now_ms, until_ms)
            self._lower.deliver(self._now_ms, until_ms)
            self._now_ms = until_ms
            if now_ms < end_ms:
                return
            self._begin(self._window_end_ms)
            if now_ms == self._now_ms:
                return

    def take(self, now_ms: int, duties: tuple[int, int], expires_ms: int) -> None:
        """Replace both duties at once; they end at `expires_ms`."""
        self.account(now_ms)
        if duties == (0, 0):
            self.cut()
            return
        restarts = self._idle
        if self._idle:
            self._idle = False
            self._window_end_ms = _NEVER_MS
        self._expires_ms = expires_ms
        for pulse, duty in zip((self._upper, self._lower), duties, strict=True):
            restarts = restarts or (pulse.taken == 0 and duty >= FULL_DUTY)
            pulse.taken = duty
            if duty == 0:
                pulse.cut(self._now_ms)
        self._set_duties()
        if restarts:
            self._restart()

    def cut(self) -> None:
        """Both outputs off now, whatever minimum times say, until the next taken duty."""
        for pulse in (self._upper, self._lower):
            pulse.cut(self._now_ms)
            pulse.taken = pulse.duty = 0
        self._idle = True

    def hold(self, *, held: bool, mould_open: bool) -> None:
        """Take both duties as 0 while held, and at most half while the mould is open."""
        if (held, mould_open) == (self._held, self._open):
            return
        self._held, self._open = held, mould_open
        if self._idle:
            return
        self._set_duties()
        for pulse in (self._upper, self._lower):
            if held:
                pulse.cut(self._now_ms)
            elif mould_open:
                half_ms = self._window_ms * OPEN_DUTY_MOST // WHOLE
                pulse.end_ms = min(pulse.end_ms, max(self._now_ms, pulse.begin_ms + half_ms))

    def _set_duties(self) -> None:
        upper, lower = self._upper.taken, self._lower.taken
        if self._held:
            upper = lower = 0
        elif self._open:
            upper, lower = min(upper, OPEN_DUTY_MOST), min(lower, OPEN_DUTY_MOST)
        both = upper + lower
        if both > self._cap:
            upper, lower = upper * self._cap // both, lower * self._cap // both
        self._upper.duty, self._lower.duty = upper, lower

    def _begin(self, start_ms: int) -> None:
        """Start a window: the upper's pulse at its start, the lower's at its end."""
        window_ms, least_ms = self._window_ms, self._least_ms
        most_ms = window_ms * OPEN_DUTY_MOST // WHOLE if self._open else window_ms
        upper_ms = self._upper.wanted_ms(window_ms, least_ms, most_ms)
        lower_ms = self._lower.wanted_ms(window_ms, least_ms, most_ms)
        both_ms = window_ms * self._cap // WHOLE
        if upper_ms + lower_ms > both_ms:  # no room for all that earlier windows owe
            if upper_ms > lower_ms:
                upper_ms = min(both_ms - lower_ms, window_ms - least_ms)
            else:
                lower_ms = min(both_ms - upper_ms, window_ms - least_ms)
        end_ms = self._window_end_ms = start_ms + window_ms
        self._upper.lay(start_ms, start_ms + upper_ms, least_ms)
        self._lower.lay(end_ms - lower_ms, end_ms, least_ms)

    def _restart(self) -> None:
        """End the running window as soon as minimum times allow, and start the next."""
        now_ms, least_ms = self._now_ms, self._least_ms
        pulses = (self._upper, self._lower)
        end_ms = max(now_ms, *(pulse.settled_ms(now_ms, least_ms) for pulse in pulses))
        if end_ms < self._window_end_ms:
            self._window_end_ms = end_ms
            for pulse in pulses:
                # A pulse that is yet to come could be cut too short: the next window's comes.
                begun = pulse.begin_ms <= now_ms
                pulse.end_ms = min(pulse.end_ms, end_ms) if begun else pulse.begin_ms
        if self._window_end_ms <= now_ms:
            self._begin(now_ms)
