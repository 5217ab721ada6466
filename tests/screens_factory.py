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
    BreatheView,
    Code,
    Figure,
    HalfView,
    HoldView,
    LinkView,
    PartView,
    Permissive,
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


def scene(name: str) -> Snapshot:
    """Return a moment of a pressing by its name."""
    return _SCENES[name]()


def _cold(**changes: Any) -> Snapshot:
    idle: dict[str, Any] = {
        "phase": Phase.IDLE,
        "pressing_id": "",
        "hold": None,
        "armed": False,
        "heat": False,
        "figure": Figure("none"),
        "board": make_board(state=BoardState.READY, contactor=False),
        "upper": make_half(
            process_value_c=21.4, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        "lower": make_half(
            process_value_c=21.1, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        "parts_today": 0,
        "presence_left_s": None,
    }
    return make_snapshot(**{**idle, **changes})


def _start() -> Snapshot:
    return _cold(sentence=Code("start_day"))


def _arm() -> Snapshot:
    return _cold(sentence=Code("arm"))


def _preheat() -> Snapshot:
    return make_snapshot(
        phase=Phase.PREHEAT,
        pressing_id="",
        hold=None,
        upper=make_half(process_value_c=121.4, deviation_k=-58.6, in_band=False, duty=1.0),
        lower=make_half(process_value_c=118.2, deviation_k=-61.8, in_band=False, duty=1.0),
        sentence=Code("preheat", {"ready_at_utc_ms": NOW_MS + 860_000}),
        figure=Figure("time_to_ready", 860.0),
        ready_at_utc_ms=NOW_MS + 860_000,
        parts_today=0,
        permissives=(
            Permissive("soaked", met=False, fields={"left_s": 860.0}),
            Permissive("sensors_good", met=True),
        ),
        next_phase=None,
    )


def _fill(*, slow: bool = False) -> Snapshot:
    return make_snapshot(
        phase=Phase.FILL,
        phase_elapsed_s=44.0 if slow else 18.0,
        hold=None,
        board=make_board(mould_open=True),
        sentence=Code("fill_slow")
        if slow
        else Code("fill", {"cavities": 1, "charge_g": 38.0, "water_g": 6.1}),
        figure=Figure("grams", 38.0, over=slow),
        next_phase=Phase.CLOSE,
        permissives=(
            Permissive("in_band", met=False, fields={"upper_k": -4.0, "lower_k": -6.0}),
            Permissive("recording", met=True),
        ),
        upper=make_half(process_value_c=176.0, deviation_k=-4.0, in_band=False, duty=0.5),
        lower=make_half(process_value_c=174.0, deviation_k=-6.0, in_band=False, duty=0.5),
    )


def _breathe() -> Snapshot:
    return make_snapshot(
        phase=Phase.BREATHE,
        hold=None,
        sentence=Code("breathe", {"open_s": 2.0, "done": 1, "wanted": 3}),
        breathe=BreatheView(done=1, wanted=3, next_in_s=0.0),
        figure=Figure("time_to_breath", 12.0),
        next_phase=None,
    )


def _release() -> Snapshot:
    return make_snapshot(
        phase=Phase.RELEASE,
        hold=None,
        sentence=Code("release"),
        figure=Figure("none"),
        next_phase=Phase.OPEN,
    )


def _alarm() -> Snapshot:
    return make_snapshot(
        alarms=(
            make_alarm("sensor_bad", fields={"half": "upper"}),
            make_alarm("board_tripped", fields={"first_out": "sensor"}, first_out=False),
        ),
        board=make_board(state=BoardState.TRIPPED, first_out=FirstOut.SENSOR, contactor=False),
        upper=make_half(quality=Quality.BAD, process_value_c=181.0, duty=0.0),
        lower=make_half(process_value_c=179.8, deviation_k=-0.2, duty=0.0),
        armed=False,
        heat=False,
        sentence=Code("tripped", {"first_out": "sensor"}),
        figure=Figure("temperature", 179.8),
        permissives=(
            Permissive("sensors_good", met=False),
            Permissive("mains", met=True),
        ),
    )


def _deviation() -> Snapshot:
    return make_snapshot(
        alarms=(
            make_alarm(
                "deviation_low",
                fields={"half": "lower", "deviation_k": -9.0},
                priority=Priority.MEDIUM,
                latching=False,
                shelvable=True,
            ),
        ),
        lower=make_half(process_value_c=171.0, deviation_k=-9.0, in_band=False, duty=1.0),
    )


def _tripped() -> Snapshot:
    seen = make_alarm(
        "board_tripped", fields={"first_out": "overtemp"}, state=AlarmState.ACKNOWLEDGED
    )
    return make_snapshot(
        alarms=(seen,),
        board=make_board(state=BoardState.TRIPPED, first_out=FirstOut.OVERTEMP, contactor=False),
        upper=make_half(
            process_value_c=205.3, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        lower=make_half(
            process_value_c=198.4, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        phase=Phase.IDLE,
        pressing_id="",
        hold=None,
        armed=False,
        heat=False,
        sentence=Code("tripped", {"first_out": "overtemp"}),
        figure=Figure("temperature", 205.3),
        permissives=(
            Permissive("sensors_good", met=True),
            Permissive("not_tripped", met=False),
        ),
    )


def _link_lost() -> Snapshot:
    stale = {"quality": Quality.STALE, "duty": 0.0}
    return make_snapshot(
        link=LinkView(status=LinkStatus.STALE, port="/dev/ttyACM0", silence_s=4.0),
        upper=make_half(**stale),
        lower=make_half(process_value_c=179.8, **stale),
        sentence=Code("link_lost", {"silence_s": 4.0}),
        alarms=(make_alarm("link_lost", fields={"silence_s": 4.0}),),
        heat=False,
    )


def _rescue() -> Snapshot:
    return _cold(
        rescue=make_rescue(),
        sentence=Code("rescue"),
        parts_today=6,
        upper=make_half(
            process_value_c=158.2, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        lower=make_half(
            process_value_c=155.0, setpoint_c=None, deviation_k=None, in_band=False, duty=0.0
        ),
        alarms=(
            make_alarm(
                "interrupted",
                fields={"pressing": "0142"},
                state=AlarmState.ACKNOWLEDGED,
            ),
        ),
    )


_SCENES = {
    "start": _start,
    "arm": _arm,
    "preheat": _preheat,
    "fill": _fill,
    "fill-slow": lambda: _fill(slow=True),
    "breathe": _breathe,
    "hold": make_snapshot,
    "release": _release,
    "alarm": _alarm,
    "deviation": _deviation,
    "tripped": _tripped,
    "link-lost": _link_lost,
    "rescue": _rescue,
}


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
