"""Moments of a press that the screens are held against, by name."""

from __future__ import annotations

from typing import Any

from screens_factory import (
    NOW_MS,
    make_alarm,
    make_board,
    make_half,
    make_rescue,
    make_snapshot,
)
from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    LinkStatus,
    Phase,
    Priority,
    Quality,
)
from tawny.core.snapshot import (
    BreatheView,
    Code,
    Figure,
    LinkView,
    Permissive,
    Snapshot,
)


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


def _cool() -> Snapshot:
    return _cold(
        phase=Phase.COOL,
        upper=make_half(process_value_c=158.0, setpoint_c=None, deviation_k=None, duty=0.0),
        lower=make_half(process_value_c=157.2, setpoint_c=None, deviation_k=None, duty=0.0),
        figure=Figure("temperature", 158.0),
        sentence=Code("cool", {"hottest_c": 158.0}),
    )


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
    "cool": _cool,
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
