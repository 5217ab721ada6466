"""Snapshots and traces for tests of screens: the Millbrook workshop at one moment.

`make_snapshot` gives the hold of a calm pressing; every change is named by its field.
"""

from __future__ import annotations

import math
from typing import Any

import msgspec

from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    LinkStatus,
    Phase,
    Priority,
    Quality,
    Result,
)
from tawny.core.snapshot import (
    AlarmView,
    BoardView,
    Code,
    Figure,
    HalfView,
    HoldView,
    LinkView,
    PartView,
    RescueView,
    Snapshot,
    TrendPoint,
)

NOW_MS = 1_791_124_320_000  # Sunday 4 October 2026, 14:32 UTC
NOW_S = 20_000.0


def make_half(**changes: Any) -> HalfView:
    """Return a half in band."""
    half = HalfView(
        quality=Quality.GOOD,
        process_value_c=181.2,
        setpoint_c=180.0,
        deviation_k=1.2,
        in_band=True,
        duty=0.34,
        delivered=0.33,
    )
    return msgspec.structs.replace(half, **changes)


def make_alarm(code: str, **changes: Any) -> AlarmView:
    """Return an urgent alarm that nobody has seen."""
    alarm = AlarmView(
        alarm=code,
        state=AlarmState.ACTIVE,
        priority=Priority.HIGH,
        since_utc_ms=NOW_MS - 5000,
        first_out=True,
        shelvable=False,
        latching=True,
        fields={},
    )
    return msgspec.structs.replace(alarm, **changes)


def make_board(**changes: Any) -> BoardView:
    """Return an armed board."""
    board = BoardView(
        state=BoardState.ARMED,
        first_out=FirstOut.NONE,
        trip_c=215.0,
        ceiling_c=230.0,
        mould_open=False,
        heat_off_button=False,
        mains=True,
        contactor=True,
        hot_lamp=True,
    )
    return msgspec.structs.replace(board, **changes)


def make_part(number: int, **changes: Any) -> PartView:
    """Return a finished saucer."""
    part = PartView(
        part_id=f"M7K-{140 - number}",
        pressing_id=f"{140 - number:04d}",
        recipe="grain-apple",
        result=Result.COMPLETE,
        hold_s=236.0 + 3 * number,
        equivalent_s=240.0,
        peak_c=183.0 + number,
        ended_utc_ms=NOW_MS - (number + 1) * 660_000,
    )
    return msgspec.structs.replace(part, **changes)


def make_snapshot(**changes: Any) -> Snapshot:
    """Return the hold of pressing 0142 of a saucer, with the changes named."""
    snapshot = Snapshot(
        seq=1,
        utc_ms=NOW_MS,
        host_s=NOW_S,
        simulated=True,
        simulated_hand=False,
        press="",
        mould="saucer 160",
        recipe="grain-apple",
        recipe_version=3,
        operator="Ana",
        lot="B-12",
        link=LinkView(status=LinkStatus.UP, port="/dev/ttyACM0", silence_s=0.1),
        board=make_board(),
        upper=make_half(),
        lower=make_half(process_value_c=179.8, deviation_k=-0.2, duty=0.31),
        armed=True,
        heat=True,
        phase=Phase.HOLD,
        phase_elapsed_s=178.0,
        paused_from=None,
        sentence=Code("hold", {"topup_force": 110.0, "force_unit": "bar"}),
        figure=Figure("time_left", 62.0),
        next_phase=None,
        permissives=(),
        setpoint_c=180.0,
        band_k=3.0,
        ready_at_utc_ms=None,
        pressing_id="0142",
        hold=HoldView(
            elapsed_s=178.0,
            left_s=62.0,
            least_s=180.0,
            most_s=360.0,
            equivalent_s=186.0,
            wanted_equivalent_s=240.0,
            longer_s=8.0,
            cause_k=-1.0,
        ),
        breathe=None,
        rescue=None,
        alarms=(),
        last_parts=tuple(make_part(n) for n in range(5)),
        parts_today=6,
        recipes=("bran-plain", "coffee-bran", "grain-apple"),
        recording=True,
        store_reason=None,
        presence_left_s=1200.0,
        desk_viewer="",
        viewers=1,
    )
    return msgspec.structs.replace(snapshot, **changes)


def make_rescue(**changes: Any) -> RescueView:
    """Return the card of a hold that was interrupted."""
    card = RescueView(
        pressing="0142",
        phase=Phase.HOLD,
        cause=Code("link_lost", {"silence_s": 12.0}),
        water_g=4.1,
        steam_litres=8.4,
        closed=True,
        steps=(
            "heat_stays_off",
            "stand_aside",
            "let_down_steps",
            "wait_hiss",
            "take_out",
            "gap_marked",
            "look_cause",
        ),
        ticked=("heat_stays_off",),
        since_utc_ms=NOW_MS - 90_000,
    )
    return msgspec.structs.replace(card, **changes)


def make_trace(count: int = 3600, *, peak_at: int | None = None) -> tuple[TrendPoint, ...]:
    """Return the last `count` seconds before now: a hot mould, closed onto a wet charge."""
    points = []
    for number in range(count):
        before_s = count - 1 - number
        into_s = 240 - before_s
        phase = _phase_at(into_s)
        sag_k = 12.0 * math.exp(-(into_s - 60) / 40.0) if into_s >= 60 else 0.0
        upper_c = 181.0 - sag_k + 0.3 * math.sin(number / 7.0)
        lower_c = 179.5 - sag_k + 0.3 * math.cos(number / 9.0)
        peak_c = 209.0 if number == peak_at else upper_c + 0.2
        points.append(
            TrendPoint(
                host_s=NOW_S - before_s,
                utc_ms=NOW_MS - before_s * 1000,
                upper_min_c=upper_c - 0.2,
                upper_max_c=peak_c,
                lower_min_c=lower_c - 0.2,
                lower_max_c=lower_c + 0.2,
                setpoint_c=180.0,
                trip_c=215.0,
                phase=phase,
                event="breath" if into_s in {75, 85} else "",
            )
        )
    return tuple(points)


def _phase_at(into_s: int) -> Phase:
    for begins_s, phase in (
        (100, Phase.HOLD),
        (70, Phase.BREATHE),
        (60, Phase.CLOSE),
        (20, Phase.FILL),
    ):
        if into_s >= begins_s:
            return phase
    return Phase.READY
