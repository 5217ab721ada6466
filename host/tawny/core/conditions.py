"""Which alarm conditions are true now, from the state alone."""

from __future__ import annotations

from tawny.core.alarms import Fields
from tawny.core.heat import setpoints_c
from tawny.core.limits import (
    DESK_ALARM_S,
    DISAGREE_ALARM_K,
    OPEN_HEAT_MOST_S,
    PRESENCE_WARNING_S,
    SILENCE_DISARM_MS,
)
from tawny.core.messages import IN_BUTTON, IN_MAINS, IN_THERMOSTAT
from tawny.core.names import BoardState, LinkStatus, Phase, Quality
from tawny.core.phases import OPEN_AT_WORK
from tawny.core.state import HalfState, State

RELEASE_LATE_S = 60.0
HIGH_K = 10.0
LOW_K = 15.0
REFUSED_FOR_MS = 2000


def conditions(state: State, host_ms: int) -> dict[str, Fields]:
    """Return code and fields of every raw condition that is true; empty when all is calm."""
    found: dict[str, Fields] = {}
    _link(state, host_ms, found)
    if state.link.status is LinkStatus.UP and state.tele is not None:
        _board(state, found)
        _process(state, found)
    _desk_and_record(state, found)
    return found


def _link(state: State, host_ms: int, found: dict[str, Fields]) -> None:
    link = state.link
    if link.status is LinkStatus.REFUSED and link.reason is not None:
        known = link.reason.code in ("wrong_device", "version_refused")
        found[link.reason.code if known else "wrong_device"] = dict(link.reason.fields)
    silent_ms = host_ms - link.last_host_ms
    if link.boot >= 0 and link.status is not LinkStatus.UP:
        # Any loss counts once the board must have switched off by itself; before, it is stale.
        lost = silent_ms >= SILENCE_DISARM_MS
        found["link_lost" if lost else "link_stale"] = {"silence_s": silent_ms // 1000}
    if state.cycle.restarted:
        found["board_reset"] = {"reset_cause": state.cycle.restarted}
    if link.refused_kind == "duty" and host_ms - link.refused_ms < REFUSED_FOR_MS:
        found["duty_refused"] = {"why": link.refused_why}


def _board(state: State, found: dict[str, Fields]) -> None:
    tele = state.tele
    assert tele is not None  # noqa: S101 - the caller looked
    if tele.st == BoardState.TRIPPED.value:
        found["board_tripped"] = {"first_out": tele.fo}
    if tele.inputs & IN_BUTTON:
        found["heat_off_button"] = {}
    elif tele.inputs & IN_THERMOSTAT:
        found["limit_chain"] = {}
    elif not tele.inputs & IN_MAINS:
        found["mains_lost"] = {}
    if tele.st == BoardState.ARMED.value and 0 < state.link.presence_left_s <= PRESENCE_WARNING_S:
        found["presence_due"] = {"left_s": state.link.presence_left_s}
    opened_ms = state.cycle.opened_ms
    if (
        opened_ms is not None
        and state.cycle.heat_wanted
        and state.cycle.clock_ms - opened_ms >= OPEN_HEAT_MOST_S * 1000
    ):
        found["mould_left_open"] = {}


def _process(state: State, found: dict[str, Fields]) -> None:
    wanted_c = setpoints_c(state)
    off_k: list[float] = []
    for name, half, setpoint_c in (
        ("upper", state.upper, wanted_c[0]),
        ("lower", state.lower, wanted_c[1]),
    ):
        if half.quality is not Quality.GOOD:
            found.setdefault("sensor_bad", {"half": name})
            continue
        if not half.finite:
            found["non_finite"] = {"half": name}
        if half.above_cutoff:
            found["overtemp_host"] = _overtemp(name, half)
        if setpoint_c is None or half.value_c is None:
            continue
        deviation_k = half.value_c - setpoint_c
        off_k.append(deviation_k)
        if half.reached and deviation_k > HIGH_K:
            found["deviation_high"] = {"half": name, "deviation_k": round(deviation_k)}
        if half.reached and deviation_k < -LOW_K and state.cycle.phase not in OPEN_AT_WORK:
            found["deviation_low"] = {"half": name, "deviation_k": round(deviation_k)}
    both = len(off_k) == 2 and state.upper.reached and state.lower.reached  # noqa: PLR2004
    if both and state.cycle.opened_ms is None and abs(off_k[0] - off_k[1]) > DISAGREE_ALARM_K:
        found["disagree"] = {"apart_k": round(abs(off_k[0] - off_k[1]))}
    if (
        state.cycle.phase is Phase.RELEASE
        and state.cycle.clock_ms - state.cycle.since_ms >= RELEASE_LATE_S * 1000
    ):
        found["hold_too_long"] = {}


def _overtemp(name: str, half: HalfState) -> Fields:
    return {
        "half": name,
        "value_c": -1 if half.value_c is None else round(half.value_c, 1),
        "limit_c": -1 if half.cutoff_c is None else round(half.cutoff_c, 1),
    }


def _desk_and_record(state: State, found: dict[str, Fields]) -> None:
    heated = state.cycle.heat_wanted
    if heated and state.desk_empty_s >= DESK_ALARM_S:
        found["desk_empty"] = {}
    if not state.store_ok:
        reason = state.store_reason.code if state.store_reason is not None else "store_failed"
        known = reason in ("store_full", "store_stalled", "store_failed")
        found[reason if known else "store_failed"] = (
            dict(state.store_reason.fields) if state.store_reason is not None else {}
        )
    rescue = state.cycle.rescue
    if rescue is not None and rescue.cause.code != "heat_off":
        found["interrupted"] = {"pressing": rescue.pressing}
