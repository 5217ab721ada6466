"""What a person sees of the aim: where the halves are going, and what is left of it."""

from __future__ import annotations

from tawny.core.aim import (
    DRY_RAMP_K_PER_MIN,
    aim_of,
    dry_stages,
    dry_stalled,
    goal,
    manual_duties,
    on_the_way,
    setpoints_c,
    standby_due,
    warmed_half,
)
from tawny.core.aim_state import Aim
from tawny.core.names import Phase
from tawny.core.snapshot import AimView, Code, Field
from tawny.core.state import State

_OVER = {"time": Code("manual_time"), "ceiling": Code("manual_ceiling")}


def aim_view(state: State) -> AimView | None:
    """Return the aim where it is not simply the recipe's setpoints."""
    to = goal(state) if state.cycle.heat_wanted else None
    rising = on_the_way(state)
    if to is None or (to.aim is Aim.PRESS and not rising):
        return None
    view = AimView(to.aim.value, to.upper_c, to.lower_c, rising=rising)
    match to.aim:
        case Aim.DRY_OUT:
            dry = state.aim.dry
            stage = 1 if dry is None else dry.stage + 1
            return AimView(
                view.kind,
                view.upper_goal_c,
                view.lower_goal_c,
                rising=rising,
                stage=stage,
                stages=len(dry_stages(state)),
                left_s=dry_left_s(state),
            )
        case Aim.MANUAL:
            over = "" if state.aim.manual is None else state.aim.manual.over
            return AimView(
                view.kind,
                view.upper_goal_c,
                view.lower_goal_c,
                left_s=manual_left_s(state),
                over=over,
            )
        case _:
            return view


def dry_left_s(state: State) -> float | None:
    """Return an estimate of what is left of a dry-out; None where there is none, or no end."""
    dry = state.aim.dry
    if dry is None or dry_stalled(state):
        return None
    most_c = max(state.recipe_in_use().setpoints_c())
    working = [one_c for one_c in setpoints_c(state) if one_c is not None]
    from_c = min(working) if working else state.press.ambient_c
    left_s = -dry.held_ms / 1000.0
    for stage_c, hold_s in dry_stages(state)[dry.stage :]:
        to_c = min(stage_c, most_c)
        left_s += hold_s + max(to_c - from_c, 0.0) / DRY_RAMP_K_PER_MIN * 60.0
        from_c = max(from_c, to_c)
    return max(left_s, 0.0)


def manual_left_s(state: State) -> float:
    """Return what is left of heat by hand; 0 once it is over."""
    manual = state.aim.manual
    if manual is None or manual.over:
        return 0.0
    return max(manual.until_ms - state.cycle.clock_ms, 0) / 1000.0


def aim_sentence(state: State) -> Code | None:
    """Return the sentence of an aim that has one of its own, or None."""
    phase = state.cycle.phase
    if dry_stalled(state):
        return Code("dry_out_stalled")
    match aim_of(state):
        case Aim.DRY_OUT if phase is Phase.PREHEAT:
            return _dry_sentence(state)
        case Aim.STANDBY:
            to = goal(state)
            return Code("standby", {} if to is None else {"goal_c": max(to.upper_c, to.lower_c)})
        case Aim.MANUAL:
            return _manual_sentence(state)
        case Aim.PRESS if warmed_half(state):
            return _warmed_sentence(state)
        case Aim.PRESS if standby_due(state):
            idle_s = (state.cycle.clock_ms - state.cycle.since_ms) / 1000.0
            return Code("ready_standby", {"idle_s": idle_s})
        case Aim.PRESS if phase is Phase.DEMOULD and state.cycle.pressing is not None:
            return Code("demould_first_off") if state.cycle.pressing.first_off else None
        case _:
            return None


def _dry_sentence(state: State) -> Code:
    view = aim_view(state)
    if view is None:
        return Code("dry_out")
    fields: dict[str, Field] = {
        "stage": view.stage,
        "stages": view.stages,
        "goal_c": max(view.upper_goal_c, view.lower_goal_c),
    }
    return Code("dry_out", fields)


def _warmed_sentence(state: State) -> Code:
    name = warmed_half(state)
    half = state.upper if name == "upper" else state.lower
    fields: dict[str, Field] = {"half": name}
    if half.value_c is not None and half.setpoint_c is not None:
        fields["above_k"] = half.value_c - half.setpoint_c
    return Code("half_warmed", fields)


def _manual_sentence(state: State) -> Code:
    manual, duties = state.aim.manual, manual_duties(state)
    if manual is None or duties is None or manual.over:
        return _OVER.get("" if manual is None else manual.over, Code("manual_doubt"))
    fields: dict[str, Field] = {
        "upper_duty": duties[0],
        "lower_duty": duties[1],
        "left_s": manual_left_s(state),
    }
    return Code("manual_heat", fields)
