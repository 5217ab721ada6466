"""The limits of section 6.5 of `PROTOCOL.md`, judged at each read; integers only.

Temperatures are tenths of a degree, duties per mille, R in mK/s, times in ms. What the
board cannot read it cannot judge here: the sensor rule stands in `sense.py`.
"""

from __future__ import annotations

from collections import deque
from typing import Final

import msgspec

from tawny.core import limits
from tawny.core.names import FirstOut
from tawny.sim.limits import CHARGE_FALL_TENTHS, READ_MS
from tawny.sim.memory import HalfSlot

SPAN_READS: Final = 5000 // READ_MS  # rise and fall compare readings 5 s apart
RISE_LEAST_MK_PER_S: Final = 3000
FALL_TENTHS: Final = round(limits.FALL_K * 10)
FALLS_WITHIN_MS: Final = 600_000
NO_RISE_DUTY: Final = round(limits.NO_RISE_DUTY * 1000)
NO_RISE_LEAST_MS: Final = round(limits.NO_RISE_LEAST_S * 1000)
NO_RISE_BELOW_TENTHS: Final = 200
STUCK_DUTY: Final = round(limits.STUCK_DUTY * 1000)
STUCK_MS: Final = round((limits.STUCK_S + limits.STUCK_STEP_S) * 1000)
COAST_LEAST_MS: Final = 60_000
WELDED_WITHIN_MS: Final = 60_000
WELDED_TENTHS: Final = 50
WELDED_COOLER_TENTHS: Final = 10
FULL_DUTY: Final = round(limits.FULL_DUTY * 1000)
FULL_LEAST_MS: Final = round(limits.FULL_DUTY_LEAST_S * 1000)
FULL_MOST_MS: Final = round(limits.FULL_DUTY_MOST_S * 1000)
FULL_DEFAULT_MS: Final = round(limits.FULL_DUTY_DEFAULT_S * 1000)
DISAGREE_TENTHS: Final = round(limits.DISAGREE_TRIP_K * 10)
DISAGREE_MS: Final = round(limits.DISAGREE_TRIP_S * 1000)
DISAGREE_NEAR_TENTHS: Final = 400


class HalfInput(msgspec.Struct):
    """What is judged of one half at one read.

    Attributes:
        good: Whether this read was good; if not, `tenths` is that of the last good one.
        duty: In force. taken: As the host sent it.
    """

    tenths: int
    good: bool
    raw: int
    duty: int
    taken: int
    setpoint: int


class Surroundings(msgspec.Struct):
    """What is judged of the board as a whole.

    Attributes:
        closed: The mould switch does not say open, or none is fitted.
        contactor: The mirror contact says that the contactor is in.
    """

    trip_tenths: int
    armed: bool
    closed: bool
    contactor: bool
    charge_window: bool


class Verdict(msgspec.Struct):
    """What the limits say: the first cause in the order of the page, and its half."""

    trip: FirstOut | None = None
    half: int = 0
    fall: bool = False
    full: bool = False


class _HalfWatch:
    """What the rules remember of one half."""

    def __init__(self) -> None:
        self.set_slot(None)
        self.over = 0
        self.off_since_ms: int | None = None
        self.rest_tenths: int | None = None  # where the 60 s of the welded rule began
        self.rest_ms = 0
        self.charged_tenths = 0
        self.before: deque[int] = deque(maxlen=SPAN_READS)
        self.start_over(0)

    def set_slot(self, slot: HalfSlot | None) -> None:
        """Judge by what is stored of the mould in use; None: nothing is."""
        self.rise_mk_per_s = slot.rise if slot else 0
        self.lag_ms = slot.lag * 100 if slot else 0
        self.rise_most = max(RISE_LEAST_MK_PER_S, 2 * self.rise_mk_per_s) * 5 // 100
        self.coast_ms = max(COAST_LEAST_MS, 3 * self.lag_ms)
        full_ms = slot.heat_up * 1500 if slot else FULL_DEFAULT_MS
        self.full_ms = min(max(full_ms, FULL_LEAST_MS), FULL_MOST_MS)

    def start_over(self, now_ms: int) -> None:
        """Forget what came before an arming."""
        self.before.clear()
        self.calm = 0  # reads that the fall rule may look back
        self.hard_since_ms: int | None = None
        self.climb_since_ms: int | None = None
        self.climb_tenths = 0
        self.same_since_ms = now_ms
        self.raw = -1
        self.full_so_far_ms = 0

    def is_over(self, half: HalfInput, trip_tenths: int) -> bool:
        if half.good:
            self.over = self.over + 1 if half.tenths >= trip_tenths else 0
        return self.over >= 2  # noqa: PLR2004 - in a row

    def is_stuck(self, now_ms: int, half: HalfInput) -> bool:
        if half.raw != self.raw or half.duty <= STUCK_DUTY:
            self.raw, self.same_since_ms = half.raw, now_ms
            return False
        return now_ms - self.same_since_ms >= STUCK_MS

    def rises_too_fast(self, half: HalfInput) -> bool:
        before = self.before
        return len(before) == SPAN_READS and half.tenths - before[0] > self.rise_most

    def looks_back(self, around: Surroundings) -> bool:
        """Count how far back the fall rule may look; return whether that is far enough."""
        self.calm = self.calm + 1 if around.closed else 0
        return self.calm > SPAN_READS

    def falls(self, half: HalfInput, around: Surroundings) -> bool:
        if not self.looks_back(around) or self.before[0] - half.tenths <= FALL_TENTHS:
            return False
        return not (
            around.charge_window and half.tenths >= self.charged_tenths - CHARGE_FALL_TENTHS
        )

    def does_not_rise(self, now_ms: int, half: HalfInput, trip_tenths: int) -> bool:
        if half.duty < NO_RISE_DUTY or self.rise_mk_per_s == 0:
            self.hard_since_ms = self.climb_since_ms = None
            return False
        if self.hard_since_ms is None:
            self.hard_since_ms = now_ms
        if now_ms - self.hard_since_ms <= self.lag_ms:
            return False
        if self.climb_since_ms is None:
            self.climb_since_ms, self.climb_tenths = now_ms, half.tenths
            return False
        # Half of the way from setpoint to trip at R: tenths to mK is 100, s to ms is 1000.
        window_ms = max(
            NO_RISE_LEAST_MS, (trip_tenths - half.setpoint) * 50_000 // self.rise_mk_per_s
        )
        if now_ms - self.climb_since_ms < window_ms:
            return False
        risen_mk_s4 = (half.tenths - self.climb_tenths) * 400_000
        self.climb_since_ms, self.climb_tenths = now_ms, half.tenths
        return (
            risen_mk_s4 < self.rise_mk_per_s * window_ms
            and half.tenths < half.setpoint - NO_RISE_BELOW_TENTHS
        )

    def heats_when_off(
        self, now_ms: int, half: HalfInput, other: HalfInput | None, around: Surroundings
    ) -> bool:
        if half.duty:
            self.off_since_ms = self.rest_tenths = None
            return False
        if self.off_since_ms is None:
            self.off_since_ms = now_ms
        judged = (
            around.contactor
            and around.closed
            and not around.charge_window
            and now_ms - self.off_since_ms > self.coast_ms
            # The hotter half may well warm the cooler one.
            and (other is None or half.tenths >= other.tenths - WELDED_COOLER_TENTHS)
        )
        if not judged:
            self.rest_tenths = None
            return False
        if self.rest_tenths is None or now_ms - self.rest_ms > WELDED_WITHIN_MS:
            self.rest_tenths, self.rest_ms = half.tenths, now_ms
        return half.tenths - self.rest_tenths >= WELDED_TENTHS

    def is_full_too_long(self, half: HalfInput) -> bool:
        if half.taken < FULL_DUTY:
            self.full_so_far_ms = 0
            return False
        self.full_so_far_ms += READ_MS * half.duty // half.taken
        return self.full_so_far_ms > self.full_ms


class Trips:
    """The limits of both halves, or of one where only one is fitted."""

    def __init__(self, halves: int) -> None:
        self._watches = [_HalfWatch() for _ in range(halves)]
        self._near = False  # both halves were near their setpoints since arming
        self._apart_since_ms: int | None = None
        self._last_fall_ms: int | None = None
        self._window_was = False

    def set_mould(self, slots: tuple[HalfSlot | None, HalfSlot | None]) -> None:
        """Judge by the R, lag and heat-up time of the mould in use."""
        for watch, slot in zip(self._watches, slots, strict=False):
            watch.set_slot(slot)

    def arm(self, now_ms: int) -> None:
        """Begin anew with an arming."""
        for watch in self._watches:
            watch.start_over(now_ms)
        self._near = False
        self._apart_since_ms = None

    def pause(self) -> None:
        """Nothing is judged at this read: what was too hot before is not counted on."""
        for watch in self._watches:
            watch.over = 0

    def charge(self, tenths: tuple[int, ...]) -> None:
        """A charge is announced at these temperatures."""
        for watch, value in zip(self._watches, tenths, strict=False):
            watch.charged_tenths = value

    def judge(self, now_ms: int, halves: list[HalfInput], around: Surroundings) -> Verdict | None:
        """Judge one read; None where nothing is wrong."""
        for index, (watch, half) in enumerate(zip(self._watches, halves, strict=True)):
            if watch.is_over(half, around.trip_tenths):
                return Verdict(FirstOut.OVERTEMP, index)
            other = halves[1 - index] if len(halves) > 1 else None
            if watch.heats_when_off(now_ms, half, other, around):
                return Verdict(FirstOut.WELDED, index)
        return self._judge_armed(now_ms, halves, around) if around.armed else None

    def _judge_armed(
        self, now_ms: int, halves: list[HalfInput], around: Surroundings
    ) -> Verdict | None:
        if self._window_was and not around.charge_window:
            self._look_forward()
        self._window_was = around.charge_window
        if self._disagree(now_ms, halves, around):
            return Verdict(FirstOut.DISAGREE)
        found: Verdict | None = None
        for index, (watch, half) in enumerate(zip(self._watches, halves, strict=True)):
            if half.good:
                verdict = self._judge_half(now_ms, index, half, around)
                if verdict is not None and (found is None or found.trip is None):
                    found = verdict
            else:
                # A bad reading is not judged, but its time counts, at the last good value.
                watch.looks_back(around)
            watch.before.append(half.tenths)
        return found

    def _judge_half(
        self, now_ms: int, index: int, half: HalfInput, around: Surroundings
    ) -> Verdict | None:
        watch = self._watches[index]
        if watch.does_not_rise(now_ms, half, around.trip_tenths):
            return Verdict(FirstOut.NORISE, index)
        if watch.rises_too_fast(half):
            return Verdict(FirstOut.RISEFAST, index)
        if watch.falls(half, around):
            return self._fall(now_ms, index)
        if watch.is_stuck(now_ms, half):
            return Verdict(FirstOut.STUCK, index)
        if watch.is_full_too_long(half):
            return Verdict(full=True, half=index)
        return None

    def _fall(self, now_ms: int, index: int) -> Verdict:
        last_ms, self._last_fall_ms = self._last_fall_ms, now_ms
        self._look_forward()
        if last_ms is not None and now_ms - last_ms <= FALLS_WITHIN_MS:
            return Verdict(FirstOut.FALLFAST, index)
        return Verdict(fall=True, half=index)

    def _look_forward(self) -> None:
        """Let the fall rule look back no further than now."""
        for watch in self._watches:
            watch.calm = 0

    def _disagree(self, now_ms: int, halves: list[HalfInput], around: Surroundings) -> bool:
        if len(halves) == 1 or not (halves[0].setpoint and halves[1].setpoint and around.closed):
            self._apart_since_ms = None
            return False
        upper, lower = (half.tenths - half.setpoint for half in halves)
        if abs(upper) <= DISAGREE_NEAR_TENTHS and abs(lower) <= DISAGREE_NEAR_TENTHS:
            self._near = True
        if not (self._near and abs(upper - lower) > DISAGREE_TENTHS):
            self._apart_since_ms = None
            return False
        if self._apart_since_ms is None:
            self._apart_since_ms = now_ms
        return now_ms - self._apart_since_ms >= DISAGREE_MS
