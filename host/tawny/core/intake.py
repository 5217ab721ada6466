"""What one line of telemetry says about each half, and when a value is no longer one.

Quality: good while the board's sample counter moves and its word is a temperature; stale
after 1.0 s without; bad at once when the board says so.
"""

from __future__ import annotations

import math

from msgspec.structs import replace

from tawny.core.equipment import HalfModel
from tawny.core.limits import (
    HOST_CUTOFF_ABOVE_SETPOINT_K,
    STALE_S,
    STUCK_DUTY,
    STUCK_S,
    STUCK_STEP_S,
)
from tawny.core.names import Quality
from tawny.core.state import HalfState

STALE_MS = int(STALE_S * 1000)
DELIVERED_OVER_S = 6.0
ON_MS_WRAP = 65_536
CUTOFF_DEADBAND_K = 2.5
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

    Args:
        value: Tenths of a degree, or "bad" or "none", as the wire says.
        dt_ms: The board's time since the last frame.
        gap: That time is not to be trusted for integrals.
    """
    on_ms_since = 0 if gap or half.on_ms < 0 else (on_ms - half.on_ms) % ON_MS_WRAP
    share = min(on_ms_since / dt_ms, 1.0) if dt_ms > 0 and not gap else half.duty
    dt_s = 0.0 if gap else dt_ms / 1000.0
    lagged = half.lagged + (share - half.lagged) * (1.0 - math.exp(-dt_s / model.ramp_lag_s()))
    delivered = half.delivered + (share - half.delivered) * min(dt_s / DELIVERED_OVER_S, 1.0)
    if not isinstance(value, int):
        return replace(
            half,
            quality=Quality.BAD,
            raw=raw,
            counter=counter,
            on_ms=on_ms,
            lagged=lagged,
            delivered=delivered,
            in_band=False,
        )
    fresh = counter != half.counter
    fresh_ms = board_ms if fresh or half.fresh_ms > board_ms else half.fresh_ms
    stale = board_ms - fresh_ms > STALE_MS
    value_c = value / 10.0
    still = raw == half.raw and half.duty > STUCK_DUTY
    same_ms = half.same_ms + dt_ms if still else 0
    probe_ms = max(half.probe_ms - dt_ms, 0) if still else 0
    if same_ms >= STUCK_S * 1000 and same_ms - dt_ms < STUCK_S * 1000:
        probe_ms = int(STUCK_STEP_S * 1000)
    in_band = False
    if setpoint_c is not None and not stale:
        off_k = abs(value_c - setpoint_c)
        in_band = off_k <= (band_k * BAND_LEAVE if half.in_band else band_k)
    return replace(
        half,
        quality=Quality.STALE if stale else Quality.GOOD,
        value_c=value_c,
        raw=raw,
        counter=counter,
        on_ms=on_ms,
        fresh_ms=fresh_ms,
        sum_c=half.sum_c + value_c if fresh else half.sum_c,
        count=half.count + 1 if fresh else half.count,
        lagged=lagged,
        delivered=delivered,
        in_band=in_band,
        reached=half.reached or in_band,
        same_ms=same_ms,
        probe_ms=probe_ms,
        cutoff_c=_cutoff_c(half, value_c, setpoint_c),
        above_cutoff=_above_cutoff(half, value_c),
        cut=half.cut or _above_cutoff(half, value_c),
    )


def _cutoff_c(half: HalfState, value_c: float, setpoint_c: float | None) -> float | None:
    """Follow the setpoint up at once, and down only as the half itself cools."""
    if setpoint_c is None:
        return half.cutoff_c
    wanted_c = setpoint_c + HOST_CUTOFF_ABOVE_SETPOINT_K
    above_c = value_c + HOST_CUTOFF_ABOVE_SETPOINT_K / 2.0
    held_c = above_c if half.cutoff_c is None else min(half.cutoff_c, above_c)
    return max(wanted_c, held_c)


def _above_cutoff(half: HalfState, value_c: float) -> bool:
    return half.cutoff_c is not None and not value_c < half.cutoff_c - (
        CUTOFF_DEADBAND_K if half.cut else 0.0
    )


def on_time_ms(half: HalfState, on_ms: int, *, gap: bool) -> int:
    """Return the on-time delivered since the last frame; 0 over a gap, which is marked."""
    return 0 if gap or half.on_ms < 0 else (on_ms - half.on_ms) % ON_MS_WRAP


def go_stale(half: HalfState) -> HalfState:
    """Return the half after the link went quiet; what was good is stale, bad stays bad."""
    if half.quality is not Quality.GOOD:
        return half
    return replace(half, quality=Quality.STALE, in_band=False, duty=0.0)
