"""What one line of telemetry says about each half, and when a value is no longer one.

Quality: good while the board's sample counter moves and its word is a temperature; stale
after 1.0 s without; bad at once when the board says so, or says what no mould can read.
"""

from __future__ import annotations

import math
from functools import cache

from msgspec.structs import replace

from tawny.core.equipment import HalfModel
from tawny.core.limits import (
    HOST_CUTOFF_ABOVE_SETPOINT_K,
    READING_LEAST_C,
    READING_MOST_C,
    STALE_S,
    STUCK_DUTY,
    STUCK_S,
    STUCK_STEP_DUTY,
    STUCK_STEP_S,
)
from tawny.core.names import Quality
from tawny.core.state import HalfState

STALE_MS = int(STALE_S * 1000)
STUCK_TRIP_MS = int((STUCK_S + STUCK_STEP_S) * 1000)  # at the board
STUCK_STEP_MOST_S = 60.0
STUCK_ANSWER_K = 0.5  # two steps of the register: one of them is certain
DELIVERED_OVER_S = 6.0
ON_MS_WRAP = 65_536
CUTOFF_DEADBAND_K = 2.5
CUTOFF_ABOVE_VALUE_K = HOST_CUTOFF_ABOVE_SETPOINT_K / 2.0  # while a half cools to its setpoint
RAMP_STEP_K = 0.5  # a setpoint that rises by less between two lines is on a ramp: still the same
BAND_LEAVE = 1.5  # a half leaves the band at 1.5 of it: no flicker at the edge


def take_in(
    half: HalfState,
    *,
    value: int | str,
    raw: int,
    counter: int,
    on_ms: int,
    board_ms: int,
    dt_ms: int,
    gap: bool,
    setpoint_c: float | None,
    band_k: float,
    model: HalfModel,
) -> HalfState:
    """Return the half after one frame.

    `value` is tenths of a degree, or "bad" or "none", as the wire says. `dt_ms` is the board's
    time since the last frame; with `gap` it is not to be trusted for integrals. `setpoint_c` is
    None where no heat is wanted.
    """
    dt_ms = 0 if gap else dt_ms
    half = _delivered(half, on_time_ms(half, on_ms, gap=gap), dt_ms)
    value_c = value / 10.0 if isinstance(value, int) else math.nan
    if not READING_LEAST_C <= value_c <= READING_MOST_C:
        return replace(
            half,
            quality=Quality.BAD,
            raw=raw,
            counter=counter,
            on_ms=on_ms,
            setpoint_c=setpoint_c,
            in_band=False,
            same_ms=0,
            probe_ms=0,
        )
    fresh = counter != half.counter
    fresh_ms = board_ms if fresh or half.fresh_ms > board_ms else half.fresh_ms
    stale = board_ms - fresh_ms > STALE_MS
    same_setpoint = _same(setpoint_c, half.setpoint_c)
    in_band = False
    if setpoint_c is not None and not stale:
        leaving = half.in_band and same_setpoint
        in_band = abs(value_c - setpoint_c) <= (band_k * BAND_LEAVE if leaving else band_k)
    same_ms, probe_ms = _stuck(half, raw, dt_ms, step_ms(model))
    cutoff_c = _cutoff_c(half, value_c, setpoint_c)
    deadband_k = CUTOFF_DEADBAND_K if half.above_cutoff else 0.0
    above_cutoff = cutoff_c is not None and not value_c < cutoff_c - deadband_k
    # What was summed before a gap belongs to another time.
    sum_c, count = (0.0, 0) if gap else (half.sum_c, half.count)
    return replace(
        half,
        quality=Quality.STALE if stale else Quality.GOOD,
        value_c=value_c,
        raw=raw,
        counter=counter,
        on_ms=on_ms,
        fresh_ms=fresh_ms,
        sum_c=sum_c + value_c if fresh else sum_c,
        count=count + 1 if fresh else count,
        setpoint_c=setpoint_c,
        in_band=in_band,
        reached=in_band or (half.reached and same_setpoint),
        same_ms=same_ms,
        probe_ms=probe_ms,
        cutoff_c=cutoff_c,
        above_cutoff=above_cutoff,
        cut=half.cut or above_cutoff,
    )


def _same(setpoint_c: float | None, before_c: float | None) -> bool:
    if setpoint_c is None or before_c is None:
        return setpoint_c == before_c
    return 0.0 <= setpoint_c - before_c <= RAMP_STEP_K


def _delivered(half: HalfState, on_ms: int, dt_ms: int) -> HalfState:
    """Follow what the heater got: summed for the loop, smoothed for the screen."""
    if dt_ms <= 0:
        return half
    share, dt_s = min(on_ms / dt_ms, 1.0), dt_ms / 1000.0
    return replace(
        half,
        given_ms=half.given_ms + on_ms,
        operations=half.operations + (on_ms > 0 and not half.was_on),
        was_on=on_ms > 0,
        delivered=half.delivered + (share - half.delivered) * min(dt_s / DELIVERED_OVER_S, 1.0),
    )


def _stuck(half: HalfState, raw: int, dt_ms: int, step_for_ms: int) -> tuple[int, int]:
    """Return how long the register has stood still at heat, and what is left of the duty step."""
    if raw != half.raw or half.duty <= STUCK_DUTY:
        return 0, 0
    same_ms = half.same_ms + dt_ms
    if half.same_ms < STUCK_TRIP_MS - step_for_ms <= same_ms:
        return same_ms, step_for_ms
    return same_ms, max(half.probe_ms - dt_ms, 0)


@cache
def step_ms(model: HalfModel) -> int:
    """Return how long the duty step for a still register lasts; with it the board's time is up.

    As long as a good sensor needs to show it: where the heat comes late that is more than the
    usual 30 s, and the step begins earlier.
    """
    lag_s, rise_k_per_s = model.ramp_lag_s(), model.rise_k_per_s * STUCK_STEP_DUTY
    step_s = STUCK_STEP_S
    while step_s < STUCK_STEP_MOST_S:
        late_s = lag_s * (1.0 - math.exp(-step_s / lag_s)) if lag_s > 0.0 else 0.0
        if rise_k_per_s * (step_s - late_s) >= STUCK_ANSWER_K:
            break
        step_s += 1.0
    return int(step_s * 1000)


def _cutoff_c(half: HalfState, value_c: float, setpoint_c: float | None) -> float | None:
    """Follow the setpoint up at once, and down only as the half itself cools."""
    if setpoint_c is None:
        return half.cutoff_c
    above_c = value_c + CUTOFF_ABOVE_VALUE_K
    held_c = above_c if half.cutoff_c is None else min(half.cutoff_c, above_c)
    return max(setpoint_c + HOST_CUTOFF_ABOVE_SETPOINT_K, held_c)


def on_time_ms(half: HalfState, on_ms: int, *, gap: bool) -> int:
    """Return the on-time delivered since the last frame; 0 over a gap, which is marked."""
    return 0 if gap or half.on_ms < 0 else (on_ms - half.on_ms) % ON_MS_WRAP


def go_stale(half: HalfState) -> HalfState:
    """Return the half after the link went quiet; what was good is stale, bad stays bad."""
    quality = Quality.STALE if half.quality is Quality.GOOD else half.quality
    return replace(half, quality=quality, in_band=False, duty=0.0)
