"""Which alarm conditions are true now, from the state alone."""

from __future__ import annotations

from tawny.core.aim import dry_stage, dry_stalled, on_the_way
from tawny.core.alarms import Fields
from tawny.core.doubt import doubt_fields
from tawny.core.heat import setpoints_c
from tawny.core.limits import (
    DESK_ALARM_S,
    DISAGREE_ALARM_K,
    OPEN_HEAT_MOST_S,
    PRESENCE_WARNING_S,
    SILENCE_DISARM_MS,
)
from tawny.core.loop.faults import POWER_SHORT_DUTY
from tawny.core.loop.suspicion import Fault
from tawny.core.messages import IN_BUTTON, IN_MAINS, IN_THERMOSTAT, Tele
from tawny.core.names import BoardState, LinkStatus, Phase, Quality
from tawny.core.phases import OPEN_AT_WORK
from tawny.core.state import HalfState, State

RELEASE_LATE_MS = 60_000
HIGH_K = 10.0
LOW_K = 15.0
REFUSED_FOR_MS = 900  # less than the on-delay, more than the 0.4 s to the next duty line
LATE_FOR_MS = 5000
BAD_LINES_MANY = 3  # in a second, of about five that the host sends
BOTH = "both"
# Both halves short of heat by as much as each other: what they share comes first.
ALIKE_DUTY = 0.06
FAULTS = {
    Fault.SENSOR_LOOSE: "sensor_loose",
    Fault.SENSOR_REVERSED: "sensor_reversed",
    Fault.SENSOR_STUCK: "sensor_stuck",
    Fault.NO_RISE: "no_rise",
    Fault.HEATS_UNASKED: "heats_unasked",
    Fault.SWAPPED: "halves_swapped",
}

Found = dict[str, Fields]


def conditions(state: State, host_ms: int) -> Found:
    """Return code and fields of every raw condition that is true; empty when all is calm."""
    found: Found = {}
    _link(state, host_ms, found)
    if state.link.status is LinkStatus.UP and state.tele is not None:
        _board(state, state.tele, found)
        _process(state, found)
        _suspected(state, found)
    _desk_and_record(state, found)
    return found


def _link(state: State, host_ms: int, found: Found) -> None:
    link = state.link
    if link.status is not LinkStatus.UP:
        _not_up(state, host_ms, found)
    if state.cycle.restarted:
        found["board_reset"] = {"reset_cause": state.cycle.restarted}
    if link.refused_kind == "duty" and host_ms - link.refused_ms < REFUSED_FOR_MS:
        found["duty_refused"] = {"why": link.refused_why}
    if link.bad_rate >= BAD_LINES_MANY:
        found["bad_lines"] = {"count": link.bad_rate}
    if host_ms - link.late_ms < LATE_FOR_MS and state.cycle.heat_wanted:
        found["loop_late"] = {}


def _not_up(state: State, host_ms: int, found: Found) -> None:
    link = state.link
    if link.status is LinkStatus.REFUSED and link.reason is not None:
        known = link.reason.code in ("wrong_device", "version_refused")
        found[link.reason.code if known else "wrong_device"] = dict(link.reason.fields)
    if link.boot >= 0:
        silent_ms = host_ms - link.last_host_ms
        # Any loss counts once the board must have switched off by itself; before, it is stale.
        lost = silent_ms >= SILENCE_DISARM_MS
        found["link_lost" if lost else "link_stale"] = {"silence_s": silent_ms // 1000}


def _board(state: State, tele: Tele, found: Found) -> None:
    cycle = state.cycle
    if tele.st == BoardState.TRIPPED.value:
        found["board_tripped"] = {"first_out": tele.fo}
    if tele.inputs & IN_BUTTON:
        found["heat_off_button"] = {}
    elif tele.inputs & IN_THERMOSTAT:
        found["limit_chain"] = {}
    elif not tele.inputs & IN_MAINS and cycle.lost == "mains_lost":
        # Only where it took the heat: an isolator opened in the evening is no alarm.
        found["mains_lost"] = {}
    left_s = state.link.presence_left_s
    if 0 < left_s <= PRESENCE_WARNING_S and tele.st == BoardState.ARMED.value:
        found["presence_due"] = {"left_s": left_s}
    opened_ms = cycle.opened_ms
    open_ms = 0 if opened_ms is None else cycle.clock_ms - opened_ms
    if cycle.heat_wanted and open_ms >= OPEN_HEAT_MOST_S * 1000:
        found["mould_left_open"] = {}
    if cycle.fell:
        found["fell_fast"] = {}
    if cycle.phase is Phase.RELEASE and cycle.clock_ms - cycle.since_ms >= RELEASE_LATE_MS:
        found["hold_too_long"] = {}


def _process(state: State, found: Found) -> None:
    upper, lower = state.upper, state.lower
    calm = upper.quality is lower.quality is Quality.GOOD
    if not (calm and upper.finite and lower.finite) or upper.above_cutoff or lower.above_cutoff:
        _unsound(state, found)
    if dry_stalled(state):
        found["dry_out_stalls"] = {"stage_c": dry_stage(state)[0]}
    wanted_c = setpoints_c(state)
    off_k: dict[str, float] = {}
    for name, half, now_c in (("upper", upper, wanted_c[0]), ("lower", lower, wanted_c[1])):
        good = half.quality is Quality.GOOD and half.reached and now_c is not None
        # By the setpoint that it has reached: another one is judged from its next line on.
        if good and half.setpoint_c is not None and half.value_c is not None:
            off_k[name] = half.value_c - half.setpoint_c
    if not off_k:
        return
    high = {name: one_k for name, one_k in off_k.items() if one_k > HIGH_K}
    if high:
        found["deviation_high"] = {"half": _named(high), "deviation_k": round(max(high.values()))}
    low = {name: one_k for name, one_k in off_k.items() if one_k < -LOW_K}
    # On a ramp the setpoint waits for a half that cannot follow.
    if low and state.cycle.phase not in OPEN_AT_WORK and not on_the_way(state):
        found["deviation_low"] = {"half": _named(low), "deviation_k": round(min(low.values()))}
    apart_k = max(off_k.values()) - min(off_k.values())
    if apart_k > DISAGREE_ALARM_K and state.cycle.opened_ms is None:
        found["disagree"] = {"apart_k": round(apart_k)}


def _suspected(state: State, found: Found) -> None:
    """Note what the heat that arrived says of sensors, heaters and supply."""
    suspicion = state.loop.suspicion
    if suspicion.doubt is not None:
        found[FAULTS[suspicion.doubt.fault]] = doubt_fields(suspicion.doubt)
    weak = suspicion.upper.weak, suspicion.lower.weak
    if weak != (0.0, 0.0):
        if min(weak) > 0.0 and abs(weak[0] - weak[1]) <= ALIKE_DUTY:
            found["supply_weak"] = {"short_duty": round(sum(weak) / 2.0, 2)}
        else:
            half = "upper" if weak[0] >= weak[1] else "lower"
            found["heater_weak"] = {"half": half, "short_duty": round(max(weak), 2)}
    needs = suspicion.needs
    if max(needs) > POWER_SHORT_DUTY:
        index = int(needs[1] > needs[0])
        rated_w = (state.mould.upper.heater_w, state.mould.lower.heater_w)[index]
        found["power_short"] = {
            "half": ("upper", "lower")[index],
            "power_w": round(needs[index] * rated_w, -1),
            "rated_w": round(rated_w),
        }


def _unsound(state: State, found: Found) -> None:
    """Note what is wrong with the halves' values themselves."""
    halves = {"upper": state.upper, "lower": state.lower}
    bad = {name: half for name, half in halves.items() if half.quality is not Quality.GOOD}
    if bad:
        found["sensor_bad"] = {"half": _named(bad)}
    none = {name: half for name, half in halves.items() if not half.finite}
    if none:
        found["non_finite"] = {"half": _named(none)}
    hot = {name: half for name, half in halves.items() if half.above_cutoff}
    if hot:
        found["overtemp_host"] = _overtemp(hot)


def _overtemp(hot: dict[str, HalfState]) -> Fields:
    fields: Fields = {"half": _named(hot)}
    worst = max(hot.values(), key=lambda half: half.value_c or 0.0)
    if worst.value_c is not None and worst.cutoff_c is not None:
        fields |= {"value_c": round(worst.value_c, 1), "limit_c": round(worst.cutoff_c, 1)}
    return fields


def _named(halves: dict[str, float] | dict[str, HalfState]) -> str:
    return next(iter(halves)) if len(halves) == 1 else BOTH


def _desk_and_record(state: State, found: Found) -> None:
    if state.cycle.heat_wanted and state.desk_empty_s >= DESK_ALARM_S:
        found["desk_empty"] = {}
    if not state.store_ok:
        reason = state.store_reason
        known = reason is not None and reason.code in ("store_full", "store_stalled")
        code = reason.code if known and reason is not None else "store_failed"
        found[code] = {} if reason is None else dict(reason.fields)
    rescue = state.cycle.rescue
    if rescue is not None and rescue.cause.code != "heat_off":
        found["interrupted"] = {"pressing": rescue.pressing}
