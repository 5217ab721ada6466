"""Moments of a press that the screens are held against, by name."""

from __future__ import annotations

from typing import Any

import msgspec

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
    AheadView,
    AimView,
    BreatheView,
    Code,
    Field,
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


def _switch_on() -> Snapshot:
    """Return a cold press that somebody wants to press at tomorrow, an outage announced."""
    morning_ms = NOW_MS + 66_480_000
    fields: dict[str, Field] = {
        "at_utc_ms": morning_ms,
        "by_utc_ms": morning_ms - 1_260_000,
        "margin_min": 15,
    }
    lines = (
        Code("press_by", fields),
        Code("closing_last", {"what": "outage", "at_utc_ms": morning_ms + 18_000_000,
                              "close_by_utc_ms": morning_ms + 16_680_000}),
    )  # fmt: skip
    view = AheadView(press_utc_ms=morning_ms, outage_utc_ms=morning_ms + 18_000_000, lines=lines)
    return _cold(sentence=Code("start_day"), ahead=view)


def _touchable_later() -> Snapshot:
    at_ms = NOW_MS + 2_280_000
    return msgspec.structs.replace(
        _cool(),
        sentence=Code("cool", {"hottest_c": 158.0, "touchable_utc_ms": at_ms}),
        ahead=AheadView(touchable_utc_ms=at_ms),
    )


def _last_closing() -> Snapshot:
    """Return a press at work with an outage announced."""
    fields: dict[str, Field] = {
        "what": "outage",
        "at_utc_ms": NOW_MS + 4_080_000,
        "close_by_utc_ms": NOW_MS + 2_760_000,
        "parts": 7,
    }
    view = AheadView(outage_utc_ms=NOW_MS + 4_080_000, lines=(Code("closing_last", fields),))
    return _between(ahead=view)


def _never_ready() -> Snapshot:
    fields: dict[str, Field] = {
        "half": "lower", "goal_c": 170.0, "needs_w": 640.0, "has_w": 500.0
    }  # fmt: skip
    return msgspec.structs.replace(
        _preheat(),
        sentence=Code("preheat_never_ready", fields),
        figure=Figure("none"),
        ready_at_utc_ms=None,
        ahead=AheadView(why=Code("never_ready", fields)),
    )


def _between(**changes: Any) -> Snapshot:
    ready: dict[str, Any] = {
        "phase": Phase.READY,
        "pressing_id": "",
        "hold": None,
        "sentence": Code("ready"),
        "figure": Figure("temperature", 181.2),
        "next_phase": Phase.OIL,
    }
    return make_snapshot(**{**ready, **changes})


def _standby() -> Snapshot:
    return _between(
        phase=Phase.PAUSED,
        paused_from=Phase.READY,
        upper=make_half(process_value_c=146.2, setpoint_c=140.0, deviation_k=6.2, in_band=False),
        lower=make_half(process_value_c=140.6, setpoint_c=140.0, deviation_k=0.6),
        sentence=Code("standby", {"goal_c": 140.0}),
        figure=Figure("temperature", 146.2),
        next_phase=Phase.SOAK,
        aim=AimView("standby", 140.0, 140.0),
    )


def _dry_out() -> Snapshot:
    return _between(
        phase=Phase.PREHEAT,
        upper=make_half(process_value_c=71.4, setpoint_c=73.2, deviation_k=-1.8, duty=0.24),
        lower=make_half(process_value_c=70.6, setpoint_c=73.2, deviation_k=-2.6, duty=0.28),
        sentence=Code("dry_out", {"stage": 2, "stages": 3, "goal_c": 90.0}),
        figure=Figure("drying", 5800.0),
        next_phase=None,
        aim=AimView("dry_out", 90.0, 90.0, rising=True, stage=2, stages=3, left_s=5800.0),
    )


def _by_hand() -> Snapshot:
    fields: dict[str, Any] = {"upper_duty": 0.2, "lower_duty": 0.25, "left_s": 431.0}
    return _between(
        phase=Phase.PAUSED,
        paused_from=Phase.READY,
        upper=make_half(process_value_c=151.2, deviation_k=-28.8, in_band=False, duty=0.2),
        lower=make_half(process_value_c=150.6, deviation_k=-29.4, in_band=False, duty=0.25),
        sentence=Code("manual_heat", fields),
        figure=Figure("temperature", 151.2),
        next_phase=Phase.SOAK,
        aim=AimView("manual", 180.0, 180.0, left_s=431.0),
    )


def _unlike() -> Snapshot:
    return _between(
        lower=make_half(process_value_c=170.2, setpoint_c=170.0, deviation_k=0.2),
        lower_setpoint_c=170.0,
        first_off=True,
        sentence=Code("ready_standby", {"idle_s": 900.0}),
    )


def _ramp() -> Snapshot:
    return _between(
        phase=Phase.PREHEAT,
        upper=make_half(process_value_c=118.0, setpoint_c=120.4, deviation_k=-2.4, in_band=False),
        lower=make_half(process_value_c=111.0, setpoint_c=113.0, deviation_k=-2.0),
        lower_setpoint_c=170.0,
        sentence=Code("preheat", {"ready_at_utc_ms": NOW_MS + 860_000}),
        figure=Figure("time_to_ready", 860.0),
        next_phase=None,
        aim=AimView("press", 180.0, 170.0, rising=True),
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
    "switch-on": _switch_on,
    "touchable-later": _touchable_later,
    "last-closing": _last_closing,
    "never-ready": _never_ready,
    "ready": _between,
    "standby": _standby,
    "dry-out": _dry_out,
    "by-hand": _by_hand,
    "unlike": _unlike,
    "ramp": _ramp,
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
