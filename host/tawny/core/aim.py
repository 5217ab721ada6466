"""What each half is to be held at now: the working setpoint, and what may lie below a recipe's.

The recipe's setpoints, unless nothing lies in the mould and somebody asked for less: standby,
a dry-out of damp heaters, heat by hand. Nothing here ever asks for more than the recipe.

Where a rise is limited, the working setpoint begins at the value there is and waits for a half
that cannot follow: 5 K behind it slows down, 25 K behind it stands. That the distance may grow
beyond 20 K matters: only further below its setpoint does the board judge that a half does not
rise (`firmware/PROTOCOL.md` 6.5). A setpoint that falls does so at once; the mould cools to it.
"""

from __future__ import annotations

from typing import NamedTuple

from msgspec.structs import replace

from tawny.core.aim_state import Aim, AimState, DryOut, Manual
from tawny.core.names import Phase, Quality
from tawny.core.recipe import SETPOINT_LEAST_C
from tawny.core.state import HalfState, State

BEHIND_FREE_K, BEHIND_MOST_K = 5.0, 25.0
WORKING_LEAST_C = 5.0  # a room may be colder; the wire takes no duty at setpoint 0
WARMED_S = 600.0  # longer than any half takes to come down after it was heated too far
EASE_K_PER_MIN = 10.0  # after heat by hand, where the recipe has no ramp of its own

# Below, near and above the boil: water that boils in a heater drives its powder out with it.
# Slow and in stages is common practice, as are the times; makers of heaters name their own.
DRY_STAGES = ((60.0, 1200.0), (90.0, 1200.0))  # and then what the press profile says
DRY_RAMP_K_PER_MIN = 2.0
DRY_WARM_K = 5.0
DRY_COLD_MOST_S = 7200.0

_Pair = tuple[float | None, float | None]
_NONE: _Pair = (None, None)


class Goal(NamedTuple):
    """Where the working setpoints are going; no ramp: at once."""

    aim: Aim
    upper_c: float
    lower_c: float
    ramp_k_per_min: float | None = None
    together: bool = False


def aim_of(state: State) -> Aim:
    """Return why the halves are held where they are; with a charge in hand only the recipe."""
    aim = state.aim
    if state.cycle.pressing is not None:
        return Aim.PRESS
    if aim.manual is not None:
        return Aim.MANUAL
    if aim.standby:
        return Aim.STANDBY
    return Aim.DRY_OUT if aim.dry is not None else Aim.PRESS


def goal(state: State) -> Goal | None:
    """Return where the working setpoints are going, or None where no heat is to be asked for."""
    recipe, aim = state.recipe_in_use(), aim_of(state)
    upper_c, lower_c = recipe.setpoints_c()
    ramp, together = recipe.ramp_k_per_min, recipe.ramp_together
    match aim:
        case Aim.MANUAL:
            most_c = state.link.setpoint_most_c
            return Goal(aim, min(upper_c, most_c), min(lower_c, most_c))
        case Aim.STANDBY:
            drop_k = state.press.standby_drop_k
            return Goal(aim, _lowered(upper_c, drop_k), _lowered(lower_c, drop_k))
        case Aim.DRY_OUT:
            if dry_stalled(state):
                return None
            stage_c = dry_stage(state)[0]
            ramp = DRY_RAMP_K_PER_MIN if ramp is None else min(ramp, DRY_RAMP_K_PER_MIN)
            return Goal(aim, min(upper_c, stage_c), min(lower_c, stage_c), ramp, together=True)
        case Aim.PRESS:
            if state.cycle.pressing is not None:
                return Goal(aim, upper_c, lower_c)
            if state.aim.easing and ramp is None:
                ramp = EASE_K_PER_MIN
            return Goal(aim, upper_c, lower_c, ramp, together)


def _lowered(setpoint_c: float, drop_k: float) -> float:
    return min(setpoint_c, max(setpoint_c - drop_k, SETPOINT_LEAST_C))


def _plain(state: State) -> bool:
    """Say whether the recipe's setpoints hold as they are: the usual case, and quick to tell."""
    aim, recipe = state.aim, state.recipe_in_use()
    asked = aim.standby or aim.easing or aim.manual is not None or aim.dry is not None
    return state.cycle.heat_wanted and recipe.ramp_k_per_min is None and not asked


def setpoints_c(state: State) -> _Pair:
    """Return the working setpoint of each half now; None: no heat wanted."""
    if _plain(state):
        return state.recipe_in_use().setpoints_c()
    to = goal(state) if state.cycle.heat_wanted else None
    if to is None:
        return _NONE
    upper_c, lower_c = state.aim.upper_c, state.aim.lower_c
    if to.ramp_k_per_min is not None:
        if upper_c is None or lower_c is None:
            return _NONE
        return min(upper_c, to.upper_c), min(lower_c, to.lower_c)
    return to.upper_c, to.lower_c


def at_pressing_heat(state: State) -> bool:
    """Say whether the working setpoints are the recipe's: only then can a mould be ready."""
    return aim_of(state) is Aim.PRESS and setpoints_c(state) == state.recipe_in_use().setpoints_c()


def on_the_way(state: State) -> bool:
    """Say whether a working setpoint still rises."""
    to = goal(state) if state.cycle.heat_wanted else None
    return to is not None and setpoints_c(state) != (to.upper_c, to.lower_c)


def duty_most(state: State) -> float:
    """Return the most duty of a half that the aim allows, 0-1."""
    return state.press.dry_duty if aim_of(state) is Aim.DRY_OUT else 1.0


def manual_duties(state: State) -> tuple[float, float] | None:
    """Return the duty of each half by hand, both 0 once that is over; None: the loop decides."""
    manual = state.aim.manual
    if manual is None or aim_of(state) is not Aim.MANUAL:
        return None
    return (0.0, 0.0) if manual.over else (manual.upper, manual.lower)


def dry_stages(state: State) -> tuple[tuple[float, float], ...]:
    """Return setpoint in °C and time to hold in s of each stage of a dry-out."""
    return (*DRY_STAGES, (state.press.dry_c, state.press.dry_hold_s))


def dry_stage(state: State) -> tuple[float, float]:
    """Return the stage that a dry-out is at, or its first."""
    stages = dry_stages(state)
    number = 0 if state.aim.dry is None else state.aim.dry.stage
    return stages[min(number, len(stages) - 1)]


def dry_stalled(state: State) -> bool:
    """Say whether a stage of the dry-out is not reached at its low duty."""
    dry = state.aim.dry
    return dry is not None and not dry.cold_ms < DRY_COLD_MOST_S * 1000


def standby_due(state: State) -> bool:
    """Say whether standby is to be offered: ready, and nothing was pressed for long."""
    cycle = state.cycle
    idle_ms = cycle.clock_ms - cycle.since_ms
    return cycle.phase is Phase.READY and idle_ms >= state.press.standby_offer_s * 1000


def first_off(state: State) -> bool:
    """Say whether the next pressing is among the first of this heat-up."""
    return state.aim.closings < state.press.first_off


def warmed_half(state: State) -> str:
    """Return the half that the other one keeps too hot, for minutes by now; "" for none.

    Setpoints far apart in a closed mould: heat goes from half to half, and none can be taken
    out. Such a mould is never ready.
    """
    return state.aim.warmed if state.aim.warmed_ms >= WARMED_S * 1000 else ""


def _warmed(state: State) -> str:
    band_k = state.recipe_in_use().band_k
    if state.cycle.phase not in (Phase.PREHEAT, Phase.SOAK) or not at_pressing_heat(state):
        return ""
    halves = {"upper": (state.upper, state.lower), "lower": (state.lower, state.upper)}
    for name, (half, other) in halves.items():
        if half.value_c is None or half.setpoint_c is None or not other.in_band:
            continue
        good = half.quality is Quality.GOOD and half.duty == 0.0
        if good and half.value_c > half.setpoint_c + band_k:
            return name
    return ""


def begun(state: State) -> AimState:
    """Return the aim at the start of a heat-up."""
    return AimState(dry=DryOut() if state.aim.dry_asked else None)


def resumed(state: State) -> AimState:
    """Return the aim after a pause: standby and heat by hand are over, and it heats up anew."""
    aim = state.aim
    if aim.manual is not None:
        # Without a step: from the value there is, by a ramp.
        return replace(
            aim, manual=None, standby=False, easing=True, closings=0, upper_c=None, lower_c=None
        )
    if aim.standby:
        return replace(aim, standby=False, closings=0, upper_c=None, lower_c=None)
    return aim


def follow(state: State, dt_ms: int) -> State:
    """Move the working setpoints on by one frame of the board's clock; 0 ms over a gap."""
    if not state.cycle.heat_wanted:
        kept = AimState(dry_asked=state.aim.dry_asked)
        return state if state.aim == kept else replace(state, aim=kept)
    settled = _plain(state) and (state.aim.upper_c, state.aim.lower_c) == setpoints_c(state)
    if settled and not (state.aim.warmed or _warmed(state)):
        return state
    aim = replace(state.aim, dry=_dried(state, dt_ms), manual=_by_hand(state))
    state = replace(state, aim=aim) if aim != state.aim else state
    to = goal(state)
    if to is None:
        upper_c, lower_c = _NONE
    elif to.ramp_k_per_min is None:
        upper_c, lower_c = to.upper_c, to.lower_c
    else:
        upper_c, lower_c = _moved(state, to, to.ramp_k_per_min * dt_ms / 60_000.0)
    arrived = to is not None and (upper_c, lower_c) == (to.upper_c, to.lower_c)
    warmed = _warmed(state)
    same = warmed and warmed == aim.warmed
    aim = replace(
        aim,
        upper_c=upper_c,
        lower_c=lower_c,
        easing=aim.easing and not arrived,
        warmed=warmed,
        warmed_ms=aim.warmed_ms + dt_ms if same else 0,
    )
    return replace(state, aim=aim) if aim != state.aim else state


def _moved(state: State, to: Goal, step_k: float) -> _Pair:
    halves = (state.upper, state.lower)
    goals = (to.upper_c, to.lower_c)
    befores = (state.aim.upper_c, state.aim.lower_c)
    starts = [
        _start(half, goal_c, before_c)
        for half, goal_c, before_c in zip(halves, goals, befores, strict=True)
    ]
    if starts[0] is None or starts[1] is None:
        return _NONE
    from_c = (starts[0], starts[1])
    steps = [step_k * _share(half, one_c) for half, one_c in zip(halves, from_c, strict=True)]
    if to.together:
        left_k = [max(goal_c - one_c, 0.0) for goal_c, one_c in zip(goals, from_c, strict=True)]
        most_k = max(*left_k, 1e-9)
        steps = [min(steps) * left / most_k for left in left_k]
    upper_c, lower_c = (
        min(one_c + step, goal_c) for one_c, step, goal_c in zip(from_c, steps, goals, strict=True)
    )
    return upper_c, lower_c


def _start(half: HalfState, goal_c: float, before_c: float | None) -> float | None:
    """Return where a working setpoint moves on from; without one, the value there is."""
    if before_c is not None:
        return min(before_c, goal_c)
    if half.quality is not Quality.GOOD or half.value_c is None:
        return None
    return min(max(half.value_c, WORKING_LEAST_C), goal_c)


def _share(half: HalfState, working_c: float) -> float:
    """Return how much of the ramp a half can follow now, 0 to 1; unknown: none of it."""
    if half.quality is not Quality.GOOD or half.value_c is None:
        return 0.0
    behind_k = working_c - half.value_c
    return min(max((BEHIND_MOST_K - behind_k) / (BEHIND_MOST_K - BEHIND_FREE_K), 0.0), 1.0)


def _dried(state: State, dt_ms: int) -> DryOut | None:
    """Return the dry-out after a frame; None once its last stage was held long enough."""
    dry, to = state.aim.dry, goal(state)
    if dry is None or to is None or to.aim is not Aim.DRY_OUT:
        return dry
    warm = all(
        half.quality is Quality.GOOD
        and half.value_c is not None
        and half.value_c >= goal_c - DRY_WARM_K
        for half, goal_c in ((state.upper, to.upper_c), (state.lower, to.lower_c))
    )
    if not warm:
        return replace(dry, cold_ms=dry.cold_ms + dt_ms)
    held_ms = dry.held_ms + dt_ms
    if held_ms < dry_stage(state)[1] * 1000:
        return replace(dry, held_ms=held_ms)
    last = dry.stage + 1 >= len(dry_stages(state))
    return None if last else DryOut(stage=dry.stage + 1)


def _by_hand(state: State) -> Manual | None:
    """Return heat by hand after a frame: over at its time, at the ceiling, or in doubt."""
    manual, to = state.aim.manual, goal(state)
    if manual is None or manual.over or to is None:
        return manual
    halves = ((state.upper, to.upper_c), (state.lower, to.lower_c))
    if any(half.quality is not Quality.GOOD or half.value_c is None for half, _c in halves):
        return replace(manual, over="doubt")
    if not all(half.value_c is not None and half.value_c < most_c for half, most_c in halves):
        return replace(manual, over="ceiling")
    return replace(manual, over="time") if state.cycle.clock_ms >= manual.until_ms else manual
