"""Announcing what comes later: what fits in before it, when to switch on. No heat follows."""

from __future__ import annotations

import msgspec
import pytest
from msgspec.structs import replace

from core_events import PRESS, RECIPE, Play, make_state
from plan_said import HOUR_MS, UTC_MS, ahead, cold, lines, say, seen
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import forecast_plan as plans
from tawny.core import intents as ask
from tawny.core.names import Phase
from tawny.core.plan_state import DONE_KEPT, Done, Moment, Plan
from tawny.core.state import State
from tawny.core.state_codec import decode_state, encode_state
from tawny.core.step import step
from tawny.core.view import snapshot

P = Phase


@pytest.mark.parametrize("what", ["outage", "tariff", "press"])
def test_plan_is_announced_recorded_and_taken_back(what: str) -> None:
    """A time of the wall clock, journalled both ways."""
    play = cold()
    play.take(fx.Journal)
    assert say(play, what, HOUR_MS) is None
    assert getattr(ahead(play), f"{what}_utc_ms") == UTC_MS + play.host_ms + HOUR_MS
    assert play.take(fx.Journal) == [
        fx.Journal(
            kind="announced",
            payload={"what": what, "at_utc_ms": UTC_MS + play.host_ms + HOUR_MS},
        )
    ]
    assert say(play, what, None) is None
    assert play.state.plan == Plan()
    assert play.take(fx.Journal) == [fx.Journal(kind="withdrawn", payload={"what": what})]


@pytest.mark.parametrize(
    ("what", "after_ms", "refusal"),
    [
        ("outage", 0, "announced_past"),
        ("press", -60_000, "announced_past"),
        ("tariff", 7 * 24 * HOUR_MS + 1, "announced_far"),
        ("lunch", HOUR_MS, "unknown_announcement"),
        ("done", HOUR_MS, "unknown_announcement"),
    ],
)
def test_plan_refuses_what_cannot_be(what: str, after_ms: int, refusal: str) -> None:
    """A time that is past, more than a week off, or nothing that is announced."""
    play = cold()
    code = say(play, what, after_ms)
    assert code is not None
    assert code.code == refusal
    assert play.state.plan == Plan()


def test_plan_forgets_what_is_past() -> None:
    """At its time it is gone from state and screen, and the journal says so."""
    play = cold()
    say(play, "press", 10_000)
    play.run(9.6)
    play.tick()
    assert play.state.plan.press is not None
    play.take(fx.Journal)
    play.run(0.4)
    play.tick()
    assert play.state.plan == Plan()
    assert fx.Journal(kind="announcement_past", payload={"what": "press"}) in play.effects
    assert seen(play).ahead is None


def test_plan_goes_by_the_wall_clock_when_that_is_put_right() -> None:
    """A wall clock stepped an hour on: what was an hour off is not told any more."""
    play = cold()
    say(play, "outage", HOUR_MS)
    stepped = snapshot(
        play.state, seq=1, utc_ms=UTC_MS + play.host_ms + HOUR_MS + 1, simulated=True
    )
    assert stepped.ahead is None


def test_plan_never_asks_for_heat() -> None:
    """Announced or not: to the moment of pressing and beyond, the same duties and requests."""
    sent = []
    for announced in (False, True):
        play = cold()
        play.effects.clear()
        if announced:
            assert say(play, "press", 1_200_000) is None
            assert say(play, "outage", 1_500_000) is None
            assert say(play, "tariff", 1_600_000) is None
        for _ in range(18):
            play.run(100.0)
            play.tick()
        assert play.phase is P.IDLE
        quiet = (fx.Journal, fx.Answered)
        sent.append([one for one in play.effects if not isinstance(one, quiet)])
        assert all(one.upper == one.lower == 0.0 for one in play.take(fx.SendDuty))
        assert not play.take(fx.SendArm)
    assert sent[0] == sent[1]


def test_plan_changes_no_duty_of_a_heated_press() -> None:
    """The step decides the same with an outage announced as without one."""
    states = []
    for announced in (False, True):
        play = Play().to(P.PREHEAT)
        if announced:
            say(play, "outage", 30_000)
        play.run(60.0)
        states.append([one.upper for one in play.take(fx.SendDuty)])
    assert states[0] == states[1]
    assert max(states[0]) > 0.0


def _fast(**changes: object) -> State:
    """Return the state of a press at work, some pressings of this shift done."""
    state = make_state(**changes)
    clock_ms = 10 * HOUR_MS
    done = tuple(
        Done(
            "grain-apple",
            clock_ms - 60_000 - n * 300_000,
            clock_ms - 60_000 - n * 300_000 + 200_000,
        )
        for n in reversed(range(4))
    )
    cycle = replace(state.cycle, clock_ms=clock_ms, since_ms=clock_ms, phase=P.READY)
    return replace(state, cycle=replace(cycle, heat_wanted=True), plan=Plan(done=done))


def test_plan_counts_the_usual_pressing_of_the_shift() -> None:
    """Three times 5 min from closing to closing, 200 s to the part in hand."""
    assert plans.usual_cycle(_fast()) == plans.Cycle(cycle_s=300.0, out_s=200.0, counted=3)


def test_plan_counts_no_break_and_no_other_recipe() -> None:
    """A pause for lunch is no pressing; another recipe's pressings tell nothing."""
    state = _fast()
    early = tuple(
        Done("grain-apple", one.closed_ms - HOUR_MS, one.out_ms - HOUR_MS)
        for one in state.plan.done
    )
    lunch = replace(state, plan=Plan(done=(*early, *state.plan.done)))
    assert plans.usual_cycle(lunch) == plans.Cycle(cycle_s=300.0, out_s=200.0, counted=6)
    other = replace(state, recipe=replace(RECIPE, name="coffee-bran"))
    assert plans.usual_cycle(other).counted == 0
    old = replace(state, cycle=replace(state.cycle, clock_ms=30 * HOUR_MS))
    assert plans.usual_cycle(old).counted == 0


def test_plan_falls_back_on_the_recipes_own_times() -> None:
    """120 s of hold, 90 s to let steam out and take out, 45 s soak, 60 s to fill: 315 s."""
    assert plans.usual_cycle(make_state()) == plans.Cycle(cycle_s=315.0, out_s=210.0, counted=0)


@pytest.mark.parametrize(
    ("after_s", "closings"),
    # Filled in 60 s from now; each 300 s; out 200 s after closing with 120 s to spare.
    [(379, 0), (380, 1), (679, 1), (680, 2), (60 + 6 * 300 + 320, 7)],
)
def test_plan_counts_what_fits_in_before_an_outage(after_s: int, closings: int) -> None:
    """The last closing is early enough for its part to be out, two minutes to spare."""
    state = _fast()
    closing = plans.closing_before(
        state,
        state.host_ms + after_s * 1000,
        plans.Announced.OUTAGE,
        plans.usual_cycle(state),
        None,
    )
    assert closing.closings == closing.parts == closings
    assert closing.close_by_ms == state.host_ms + (after_s - 320) * 1000
    twins = _fast(mould=replace(state.mould, cavities=2))
    closing = plans.closing_before(
        twins,
        state.host_ms + after_s * 1000,
        plans.Announced.OUTAGE,
        plans.usual_cycle(twins),
        None,
    )
    assert (closing.closings, closing.parts) == (closings, 2 * closings)


def test_plan_tells_of_the_sooner_of_outage_and_tariff() -> None:
    """One line: whichever comes first."""
    play = Play().to(P.READY)
    say(play, "outage", 3 * HOUR_MS)
    say(play, "tariff", 2 * HOUR_MS)
    assert lines(play) == ["closing_last"]
    told = ahead(play).lines[0].fields
    assert told["what"] == "tariff"
    # (7200 - 60 fill - 210 - 120) / 315 = 21.6: the first and 21 more.
    assert told["parts"] == ahead(play).parts_left == 22
    say(play, "tariff", None)
    assert ahead(play).lines[0].fields["what"] == "outage"


def test_plan_says_when_nothing_more_fits_in() -> None:
    """Too late for one more: close no more."""
    play = Play().to(P.READY)
    say(play, "outage", 300_000)
    assert lines(play) == ["closing_none"]
    assert ahead(play).parts_left == 0


def test_plan_says_when_the_part_in_hand_comes_too_late() -> None:
    """Closed on a charge that needs three minutes more, and the supply goes in two."""
    play = Play().to(P.HOLD)
    say(play, "outage", 120_000)
    assert lines(play) == ["closing_in_hand_late"]
    say(play, "outage", HOUR_MS)
    assert lines(play) == ["closing_last"]


def test_plan_counts_pressings_only_where_the_mould_is_heated() -> None:
    """Cold it is told by when to close, not how many parts."""
    play = cold()
    say(play, "outage", HOUR_MS)
    assert "parts" not in ahead(play).lines[0].fields
    assert ahead(play).parts_left is None
    say(play, "outage", 200_000)
    assert lines(play) == ["closing_none"], "the last closing for it is past"


def test_plan_remembers_a_pressing_that_was_completed() -> None:
    """From closing to the part in hand; nine are kept, and the state survives its bytes."""
    play = Play().to(P.DEMOULD)
    pressing = play.state.cycle.pressing
    assert pressing is not None
    assert play.tap() is None
    assert play.state.plan.done == (
        Done("grain-apple", pressing.closed_ms or 0, play.state.cycle.clock_ms),
    )
    assert decode_state(encode_state(play.state)) == play.state


def test_plan_keeps_the_last_pressings_only() -> None:
    """Nine; the oldest goes."""
    play = Play().to(P.DEMOULD)
    old = tuple(Done("grain-apple", n, n + 1) for n in range(DONE_KEPT))
    play.state = replace(play.state, plan=Plan(done=old))
    assert play.tap() is None
    assert len(play.state.plan.done) == DONE_KEPT
    assert play.state.plan.done[:-1] == old[1:]


def test_plan_does_not_count_a_scrapped_pressing() -> None:
    """What was given up says nothing of the usual time."""
    play = Play().to(P.HOLD)
    assert play.ask(ask.Scrap("burnt")) is None
    for _ in range(3):
        play.open()
        play.tap()
    assert play.state.cycle.pressing is None
    assert play.state.plan.done == ()


def test_plan_replays_byte_for_byte() -> None:
    """Announcements and a pressing, over JSON and back: the same states and effects."""
    play = Play()
    say(play, "outage", 400_000)
    say(play, "press", 60_000)
    play.to(P.DEMOULD)
    play.tap()
    play.tick()
    say(play, "outage", None)
    assert play.state.plan.done
    assert play.state.plan.press is None
    kept = msgspec.json.decode(msgspec.json.encode(play.events), type=list[ev.AnyEvent])
    state = make_state()
    effects: list[fx.AnyEffect] = []
    for event in kept:
        state, more = step(state, event)
        effects += more
    assert msgspec.json.encode(state) == msgspec.json.encode(play.state)
    assert effects == play.effects


def test_plan_state_of_before_it_is_read() -> None:
    """A state that an earlier program kept has none."""
    told = msgspec.to_builtins(Play().state)
    del told["plan"]
    kept = msgspec.msgpack.encode({"schema": 1, "state": msgspec.Raw(msgspec.msgpack.encode(told))})
    assert decode_state(kept).plan == Plan()


def test_plan_moment_is_the_same_on_both_clocks() -> None:
    """The wall clock as it was said, and the host clock as it ran then."""
    play = cold()
    say(play, "outage", HOUR_MS)
    assert play.state.plan.outage == Moment(
        at_utc_ms=UTC_MS + play.host_ms + HOUR_MS, at_ms=play.host_ms + HOUR_MS
    )
    assert PRESS.ambient_c == 22.0
