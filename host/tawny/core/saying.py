"""What a person is to do next, as a code, and the one big figure that goes with it."""

from __future__ import annotations

from tawny.core.aim import aim_of
from tawny.core.aim_state import Aim
from tawny.core.aim_view import aim_sentence, dry_left_s
from tawny.core.forecast_plan import Forecast
from tawny.core.messages import IN_BUTTON, IN_MAINS
from tawny.core.names import BoardState, LinkStatus, Phase, Quality
from tawny.core.pressing import closed_s, hold_left_s
from tawny.core.progress import soak_left_s, touchable
from tawny.core.snapshot import BreatheView, Code, Field, Figure
from tawny.core.state import State

_NEVER = frozenset({"never_ready", "never_ready_supply", "never_open"})
# Nothing is timed and a hand comes near hot metal: the figure is how hot. Letting steam out
# (release, open) has none, so that nobody reads one as leave to open.
_HANDS_NEAR = frozenset(
    {Phase.READY, Phase.CLEAN, Phase.OIL, Phase.CLOSE, Phase.DEMOULD, Phase.PAUSED}
)


def sentence(state: State, offset_ms: int, foreseen: Forecast) -> Code:
    """Return the next action; `offset_ms` turns the host clock into UTC."""
    link, cycle, tele = state.link, state.cycle, state.tele
    if link.status is LinkStatus.REFUSED:
        return _refused(link.reason)
    if cycle.rescue is not None:
        return Code("rescue")  # what lies in the press comes before what the board wants
    if link.boot < 0:
        return Code("connect", {"port": link.port} if link.port else {})
    if link.status is not LinkStatus.UP:
        return Code("link_lost", {"silence_s": (state.host_ms - link.last_host_ms) // 1000})
    if tele is None:
        return Code("connect", {"port": link.port} if link.port else {})
    if tele.st == BoardState.TRIPPED.value:
        return Code("tripped", {"first_out": tele.fo})
    if tele.inputs & IN_BUTTON:
        return Code("heat_off_button")
    if not tele.inputs & IN_MAINS:
        return Code("mains_off")
    if cycle.heat_wanted:
        return _at_work(state, offset_ms, foreseen)
    return _at_rest(state, offset_ms, foreseen)


def _refused(reason: Code | None) -> Code:
    if reason is None or reason.code not in ("version_refused", "wrong_device"):
        return Code("wrong_device")
    return reason


def _at_rest(state: State, offset_ms: int, foreseen: Forecast) -> Code:
    cycle = state.cycle
    if state.link.arming == "press_arm":
        return Code("press_arm")
    if cycle.confirmed:
        return Code("arm")
    if cycle.phase is Phase.IDLE:
        return Code("start_day")
    if touchable(state):
        return Code("touchable")
    hottest = hottest_c(state)
    fields: dict[str, Field] = {} if hottest is None else {"hottest_c": hottest}
    if foreseen.touchable_ms is not None:
        fields["touchable_utc_ms"] = foreseen.touchable_ms + offset_ms
    return Code("cool", fields)


def _at_work(state: State, offset_ms: int, foreseen: Forecast) -> Code:
    cycle, recipe = state.cycle, state.recipe_in_use()
    fields: dict[str, Field] = {}
    special = aim_sentence(state)
    if special is not None:
        return special
    match cycle.phase:
        case Phase.PREHEAT:
            return _heating(foreseen, offset_ms)
        case Phase.SOAK:
            fields = {"left_s": soak_left_s(state)}
            at_ms = ready_at_utc_ms(foreseen, offset_ms)
            return Code("soak", fields if at_ms is None else fields | {"ready_at_utc_ms": at_ms})
        case Phase.FILL:
            fields = {
                "cavities": state.mould.cavities,
                "charge_g": recipe.charge_g(),
                "residue_g": recipe.residue_g,
                "water_g": recipe.water_g,
            }
            return Code("fill_slow" if fill_slow(state) else "fill", fields)
        case Phase.CLOSE:
            return Code("close", {"force": recipe.force, "force_unit": recipe.force_unit})
        case Phase.BREATHE:
            return _breath(state)
        case Phase.HOLD if recipe.top_up_below is None:
            return Code("hold_no_topup")
        case Phase.HOLD:
            fields = {"force_unit": recipe.force_unit}
            if recipe.top_up_below is not None:
                fields["topup_force"] = recipe.top_up_below
            return Code("hold", fields)
        case phase:
            return Code(phase.value)


def _heating(foreseen: Forecast, offset_ms: int) -> Code:
    at_ms, why = ready_at_utc_ms(foreseen, offset_ms), foreseen.why
    if at_ms is not None:
        return Code("preheat", {"ready_at_utc_ms": at_ms})
    if why is not None and why.code in _NEVER:
        return Code("preheat_" + why.code, why.fields)
    return Code("preheat")


def _breath(state: State) -> Code:
    view, breaths = breathe(state), state.recipe_in_use().breaths
    if view is None or view.next_in_s is None:
        return Code("hold_no_topup")
    fields: dict[str, Field] = {"done": view.done, "wanted": view.wanted}
    if view.next_in_s > 0.0:
        return Code("breathe_wait", {"next_s": view.next_in_s, **fields})
    return Code("breathe", {"open_s": breaths[view.done].open_s, **fields})


def breathe(state: State) -> BreatheView | None:
    """Return breaths asked for and marked, once the mould is closed on a recipe that has any."""
    pressing = state.cycle.pressing
    if pressing is None or not pressing.recipe.breaths or pressing.closed_ms is None:
        return None
    done, breaths = len(pressing.breaths_s), pressing.recipe.breaths
    next_in_s = max(breaths[done].at_s - closed_s(state), 0.0) if done < len(breaths) else None
    return BreatheView(done=done, wanted=len(breaths), next_in_s=next_in_s)


def fill_slow(state: State) -> bool:
    """Say whether filling takes longer than the recipe allows."""
    cycle = state.cycle
    return cycle.clock_ms - cycle.since_ms > state.recipe_in_use().fill_most_s * 1000


def figure(state: State, foreseen: Forecast) -> Figure:
    """Return the one big figure of this moment."""
    cycle = state.cycle
    tripped = state.tele is not None and state.tele.st == BoardState.TRIPPED.value
    if tripped or not cycle.heat_wanted or cycle.phase in _HANDS_NEAR:
        hottest = hottest_c(state)
        return Figure("none") if hottest is None else Figure("temperature", hottest)
    match cycle.phase:
        case Phase.PREHEAT if aim_of(state) is Aim.DRY_OUT:
            left_s = dry_left_s(state)
            return Figure("none") if left_s is None else Figure("drying", left_s)
        case Phase.PREHEAT | Phase.SOAK:
            if foreseen.ready_ms is None:
                return Figure("none")
            left_s = max(foreseen.ready_ms - state.host_ms, 0) / 1000.0
            return Figure("time_to_ready", left_s)
        case Phase.FILL:
            return Figure("grams", state.recipe_in_use().charge_g(), over=fill_slow(state))
        case Phase.BREATHE:
            view = breathe(state)
            next_in_s = None if view is None else view.next_in_s
            return Figure("none") if next_in_s is None else Figure("time_to_breath", next_in_s)
        case Phase.HOLD:
            return Figure("time_left", hold_left_s(state))
        case _:
            return Figure("none")


def hottest_c(state: State) -> float | None:
    """Return the hotter half's value, or None unless both are known now."""
    values = [
        half.value_c
        for half in (state.upper, state.lower)
        if half.value_c is not None and half.quality is Quality.GOOD
    ]
    return max(values) if len(values) == 2 else None  # noqa: PLR2004 - both halves


def ready_at_utc_ms(foreseen: Forecast, offset_ms: int) -> int | None:
    """Return when both halves are expected to be soaked, as UTC; None: not known, or no matter."""
    return None if foreseen.ready_ms is None else foreseen.ready_ms + offset_ms
