"""The heart: event + state -> next state + effects. Pure, the same live and in simulation.

Control, dose and phases run on the board's clock; silence, presence and link alarms on
the host's. Replaying the recorded events gives the same states and duties.
"""

from __future__ import annotations

from functools import partial

from msgspec.structs import replace

from tawny.core.aim import follow
from tawny.core.alarms import judge
from tawny.core.asked import NO_HEAT, alarm_notes, asked
from tawny.core.conditions import conditions
from tawny.core.doubt import DOUBT_ALARMS, doubted
from tawny.core.effects import AnyEffect, Bell, Journal
from tawny.core.events import (
    AnyEvent,
    Asked,
    BoardSaid,
    DeskChanged,
    Frame,
    LinkDown,
    LinkUp,
    StoreChanged,
    ThermalLearned,
    Tick,
)
from tawny.core.heat import setpoints_c
from tawny.core.intake import on_time_ms, take_in
from tawny.core.limits import CONFIRMED_S, CONTROL_EVERY_FRAMES, DESK_HEAT_OFF_S, GAP_S
from tawny.core.linked import board_restarted, link_down, link_said, link_up, silence
from tawny.core.loss import lose_heat
from tawny.core.manual import controlled
from tawny.core.names import LinkStatus, Result
from tawny.core.plan import passed
from tawny.core.pressing import accumulate, with_alarms
from tawny.core.progress import progress
from tawny.core.snapshot import Code
from tawny.core.state import State
from tawny.core.tap import advance

Effects = tuple[AnyEffect, ...]
NEXT_WRAP = 256
BURST = 8  # more presses between two frames than a hand can make: a restart, not presses
GAP_MS = int(GAP_S * 1000)
LATE_MS = 1000  # without any event; ticks come each 0.25 s
# The cut-off acts until these are seen, gone and reset.
CUT_ALARMS = DOUBT_ALARMS | {"overtemp_host", "non_finite"}


def step(state: State, event: AnyEvent) -> tuple[State, Effects]:
    """Return the next state and what is to be done about one event."""
    host_ms = max(event.host_ms, state.host_ms)
    if host_ms - state.host_ms > LATE_MS and state.host_ms > 0:
        state = replace(state, link=replace(state.link, late_ms=host_ms))
    state = replace(state, host_ms=host_ms)
    if state.cycle.confirmed and not state.cycle.heat_wanted:
        state = _confirmed_anew(state)
    match event:
        case Frame():
            state, effects = _frame(state, event)
        case Asked():
            state, effects = asked(state, event.intent, host_ms)
        case Tick():
            state, effects = passed(state)
        case _:
            state, effects = _other(state, event)
    state, quiet = silence(state)
    state, sounded = _alarms(state)
    return state, effects + quiet + sounded


def _confirmed_anew(state: State) -> State:
    """Ask again what is in the mould where nothing was heated for long since somebody looked."""
    seen_ms = state.cycle.confirmed_ms
    if seen_ms is None or state.host_ms - seen_ms <= CONFIRMED_S * 1000:
        return state
    return replace(state, cycle=replace(state.cycle, confirmed=False, confirmed_ms=None))


def _frame(state: State, event: Frame) -> tuple[State, Effects]:
    if state.link.status not in (LinkStatus.UP, LinkStatus.STALE):
        return state, ()  # telemetry of a board that is not ours to use
    effects: Effects = ()
    if event.boot != state.link.boot:
        state, effects = board_restarted(state, event.boot, "unknown")
    link, tele = state.link, event.tele
    dt_ms = event.board_ms - link.board_ms if link.board_ms >= 0 else -1
    gap = not 0 <= dt_ms <= GAP_MS
    dt_ms = max(dt_ms, 0)
    on_ms = (
        on_time_ms(state.upper, tele.uo, gap=gap),
        on_time_ms(state.lower, tele.lo, gap=gap),
    )
    presses = 0 if link.next_count < 0 else (tele.k - link.next_count) % NEXT_WRAP
    state = _taken_in(state, event, dt_ms, gap=gap)
    if 0 < presses < BURST:
        state, moved, _refusal = advance(state, state.cycle.phase, state.host_ms, from_board=True)
        effects += moved
    state = accumulate(state, dt_ms, on_ms, gap=gap)
    state, moved = progress(state)
    effects += moved
    state = follow(state, 0 if gap else dt_ms)
    if state.frames % CONTROL_EVERY_FRAMES == 0:
        state, send = controlled(state)
        state, cost = doubted(state)
        effects = (*effects, send, *cost)
    return state, effects


def _taken_in(state: State, event: Frame, dt_ms: int, *, gap: bool) -> State:
    tele, wanted_c, band_k = event.tele, setpoints_c(state), state.recipe_in_use().band_k
    both = partial(take_in, board_ms=event.board_ms, dt_ms=dt_ms, gap=gap, band_k=band_k)
    upper = both(
        state.upper,
        value=tele.u,
        raw=tele.ur,
        counter=tele.un,
        on_ms=tele.uo,
        setpoint_c=wanted_c[0],
        model=state.mould.upper,
    )
    lower = both(
        state.lower,
        value=tele.l,
        raw=tele.lr,
        counter=tele.ln,
        on_ms=tele.lo,
        setpoint_c=wanted_c[1],
        model=state.mould.lower,
    )
    link = replace(
        state.link,
        status=LinkStatus.UP,
        board_ms=event.board_ms,
        last_host_ms=state.host_ms,
        next_count=tele.k,
    )
    cycle = replace(state.cycle, clock_ms=state.cycle.clock_ms + dt_ms)
    return replace(
        state,
        upper=upper,
        lower=lower,
        tele=tele,
        frames=state.frames + 1,
        link=link,
        cycle=cycle,
    )


def _other(state: State, event: AnyEvent) -> tuple[State, Effects]:
    match event:
        case LinkUp():
            return link_up(state, event)
        case LinkDown():
            return link_down(state, event)
        case BoardSaid():
            if event.code == "fall" and state.cycle.heat_wanted:
                state = replace(state, cycle=replace(state.cycle, fell=True))
            payload: dict[str, object] = {"code": event.code, "value_c": event.value_c}
            return state, (Journal(kind="board_event", payload=payload),)
        case StoreChanged():
            return replace(state, store_ok=event.ok, store_reason=event.reason), ()
        case DeskChanged():
            return _desk(state, event)
        case ThermalLearned(mould=mould, thermal=thermal):
            if thermal is not None and mould == state.mould.name:
                state = replace(state, mould=replace(state.mould, thermal=thermal))
            return state, ()
        case Frame() | Tick() | Asked():
            return state, ()
        case _:
            return link_said(state, event)


def _desk(state: State, event: DeskChanged) -> tuple[State, Effects]:
    state = replace(
        state, desk_viewer=event.viewer, desk_empty_s=event.empty_s, viewers=event.viewers
    )
    if not (event.empty_s >= DESK_HEAT_OFF_S and state.cycle.heat_wanted):
        return state, ()
    state, effects = lose_heat(state, Code("no_desk"), Result.INTERRUPTED)
    return state, (*effects, NO_HEAT)


def _alarms(state: State) -> tuple[State, Effects]:
    true_now = conditions(state, state.host_ms)
    if not true_now and not state.alarms:
        return _uncut(state), ()
    standing, changes = judge(state.alarms, true_now, state.host_ms)
    if standing != state.alarms:
        state = replace(state, alarms=standing)
    if not changes:
        return _uncut(state), ()
    bells = tuple(Bell(one.alarm, one.fields) for one in changes if one.announce)
    return _uncut(_in_pressing(state, bells)), alarm_notes(changes) + bells


def _in_pressing(state: State, bells: tuple[Bell, ...]) -> State:
    """Note the alarms of the pressing in hand, each once."""
    pressing = state.cycle.pressing
    if pressing is None or not bells:
        return state
    pressing = with_alarms(pressing, (bell.alarm for bell in bells), state.host_ms)
    return replace(state, cycle=replace(state.cycle, pressing=pressing))


def _uncut(state: State) -> State:
    """Give heat back once the alarm of the cut-off was seen, its cause gone, and reset."""
    if not (state.upper.cut or state.lower.cut):
        return state
    if any(one.alarm in CUT_ALARMS for one in state.alarms):
        return state
    return replace(
        state,
        upper=replace(state.upper, cut=state.upper.above_cutoff or not state.upper.finite),
        lower=replace(state.lower, cut=state.lower.above_cutoff or not state.lower.finite),
    )
