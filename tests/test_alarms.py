"""Alarms that stand: delays, first-out, acknowledge, reset, shelving, and what is journalled."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alarm_oracle import oracle
from tawny.core.alarm_list import ALARMS
from tawny.core.alarm_table import AlarmClass, AlarmEvent
from tawny.core.alarms import SHELVE_MOST_S, Changes, Fields, Standing, handle, judge, shelvable
from tawny.core.names import AlarmState as S


class Panel:
    """Alarms on a fake clock."""

    def __init__(self) -> None:
        self.now_ms = 1_000_000
        self.standing: tuple[Standing, ...] = ()
        self.journal: list[tuple[str, AlarmEvent, S, S | None]] = []
        self.bells: list[str] = []

    def judge(self, *codes: str, after_s: float = 0.0, **fields: Fields) -> Changes:
        """Let time pass with these conditions true at its end."""
        self.now_ms += int(after_s * 1000)
        true_now = {code: fields.get(code, {}) for code in codes}
        self.standing, changes = judge(self.standing, true_now, self.now_ms)
        return self._note(changes)

    def send(self, code: str, event: AlarmEvent, minutes: float = 0.0) -> Changes:
        """Do to an alarm what a person may."""
        self.standing, changes = handle(self.standing, code, event, self.now_ms, minutes=minutes)
        return self._note(changes)

    def state(self, code: str) -> S:
        """Return where an alarm stands."""
        return next((one.state for one in self.standing if one.alarm == code), S.NORMAL)

    def first_out(self) -> set[str]:
        """Return the alarms marked as first-out."""
        return {one.alarm for one in self.standing if one.first_out}

    def _note(self, changes: Changes) -> Changes:
        self.journal += [(one.alarm, one.event, one.before, one.to) for one in changes]
        self.bells += [one.alarm for one in changes if one.announce]
        return changes


def test_alarms_stand_only_after_their_on_delay() -> None:
    """A deviation below its on-delay of 5 s leaves nothing; at 5 s it is announced once."""
    panel = Panel()
    panel.judge("deviation_high")
    panel.judge("deviation_high", after_s=4.9)
    assert panel.state("deviation_high") is S.NORMAL
    panel.judge(after_s=0.05)
    assert panel.standing == ()
    panel.judge("deviation_high", after_s=0.05)
    panel.judge("deviation_high", after_s=4.9)
    assert panel.bells == []
    panel.judge("deviation_high", after_s=0.1)
    panel.judge("deviation_high", after_s=60.0)
    assert (panel.state("deviation_high"), panel.bells) == (S.ACTIVE, ["deviation_high"])


def test_alarms_clear_only_after_their_off_delay() -> None:
    """A value that dips back for less than the off-delay of 10 s does not ring twice."""
    panel = Panel()
    panel.judge("deviation_high")
    panel.judge("deviation_high", after_s=5.0)
    panel.judge(after_s=1.0)
    panel.judge("deviation_high", after_s=9.0)
    panel.judge(after_s=1.0)
    panel.judge(after_s=9.9)
    assert panel.state("deviation_high") is S.ACTIVE
    panel.judge(after_s=0.1)
    assert panel.state("deviation_high") is S.RETURNED
    assert panel.bells == ["deviation_high"]


def test_alarms_of_the_safety_class_come_at_once() -> None:
    """No safety alarm waits."""
    for code, entry in ALARMS.items():
        if entry.alarm_class is AlarmClass.SAFETY:
            panel = Panel()
            panel.judge(code)
            assert panel.bells == [code]


HEAT_GROUP = ("overtemp_host", "board_tripped", "heat_off_button", "mains_lost", "limit_chain")


def test_alarms_mark_the_first_of_a_group_in_every_order() -> None:
    """Whichever of five comes first carries first-out; one in another group has its own."""
    for order in permutations(HEAT_GROUP):
        panel = Panel()
        panel.judge("link_lost")
        for count in range(1, len(order) + 1):
            panel.judge("link_lost", *order[:count], after_s=0.05)
        assert panel.first_out() == {order[0], "link_lost"}


def test_alarms_mark_the_first_of_those_that_come_together() -> None:
    """Within one judgement the order of the conditions counts."""
    for order in permutations(HEAT_GROUP[:3]):
        panel = Panel()
        panel.judge(*order)
        assert panel.first_out() == {order[0]}


def test_alarms_mark_no_second_first_out_while_the_group_is_busy() -> None:
    """The first one may go normal: a later one still did not come first."""
    panel = Panel()
    panel.judge("mains_lost")
    panel.judge("mains_lost", "board_tripped", after_s=0.1)
    panel.send("mains_lost", AlarmEvent.ACKNOWLEDGE)
    panel.judge("board_tripped", after_s=0.1)
    assert panel.state("mains_lost") is S.NORMAL
    panel.judge("board_tripped", "heat_off_button", "mains_lost", after_s=0.1)
    assert panel.first_out() == set()
    for code in ("board_tripped", "heat_off_button", "mains_lost"):
        panel.send(code, AlarmEvent.ACKNOWLEDGE)
    panel.judge(after_s=0.1)
    panel.send("board_tripped", AlarmEvent.RESET)
    assert panel.standing == ()
    panel.judge("heat_off_button", after_s=0.1)
    assert panel.first_out() == {"heat_off_button"}


def test_alarms_go_by_acknowledge_where_they_do_not_latch() -> None:
    """Acknowledged and gone, in either order, is normal."""
    panel = Panel()
    panel.judge("link_lost")
    panel.send("link_lost", AlarmEvent.ACKNOWLEDGE)
    assert panel.state("link_lost") is S.ACKNOWLEDGED
    panel.judge(after_s=0.1)
    assert panel.standing == ()
    panel.judge("link_lost", after_s=0.1)
    panel.judge(after_s=0.1)
    assert panel.state("link_lost") is S.RETURNED
    panel.send("link_lost", AlarmEvent.ACKNOWLEDGE)
    assert panel.standing == ()


def test_alarms_that_latch_are_reset_only_once_gone_and_seen() -> None:
    """Reset is refused while it is true and while nobody has acknowledged it."""
    panel = Panel()
    panel.judge("overtemp_host")
    assert panel.send("overtemp_host", AlarmEvent.RESET)[0].to is None
    panel.send("overtemp_host", AlarmEvent.ACKNOWLEDGE)
    assert panel.send("overtemp_host", AlarmEvent.RESET)[0].to is None
    assert panel.state("overtemp_host") is S.ACKNOWLEDGED
    panel.judge("overtemp_host", after_s=1.0)
    panel.judge(after_s=1.0)
    assert panel.state("overtemp_host") is S.LATCHED_SEEN
    panel.judge("overtemp_host", after_s=1.0)
    panel.judge(after_s=1.0)
    assert panel.send("overtemp_host", AlarmEvent.RESET)[0].to is None
    panel.send("overtemp_host", AlarmEvent.ACKNOWLEDGE)
    assert panel.send("overtemp_host", AlarmEvent.RESET)[0].to is S.NORMAL
    assert panel.standing == ()


def test_alarms_keep_quiet_for_half_an_hour_at_most_and_come_back() -> None:
    """Shelving for a day is shelving for 30 min; what is still true is announced anew."""
    panel = Panel()
    panel.judge("presence_due")
    panel.send("presence_due", AlarmEvent.SHELVE, minutes=1440.0)
    assert panel.standing[0].quiet_until_ms == panel.now_ms + SHELVE_MOST_S * 1000
    assert SHELVE_MOST_S == 30 * 60
    panel.judge("presence_due", after_s=1799.9)
    assert panel.state("presence_due") is S.SHELVED
    panel.judge("presence_due", after_s=0.1)
    assert panel.state("presence_due") is S.ACTIVE
    assert panel.bells == ["presence_due", "presence_due"]
    assert panel.standing[0].quiet_until_ms is None


def test_alarms_that_went_while_quiet_go_without_a_sound() -> None:
    """A shelved alarm whose cause has gone ends with its time; both edges are journalled."""
    panel = Panel()
    panel.judge("deviation_low")
    panel.judge("deviation_low", after_s=30.0)
    panel.send("deviation_low", AlarmEvent.SHELVE, minutes=10.0)
    panel.judge(after_s=1.0)
    panel.judge(after_s=10.0)
    assert panel.journal[-1] == ("deviation_low", AlarmEvent.CLEAR, S.SHELVED, S.SHELVED)
    panel.judge(after_s=600.0)
    assert panel.standing == ()
    assert panel.journal[-1] == ("deviation_low", AlarmEvent.UNSHELVE, S.SHELVED, S.NORMAL)
    assert panel.bells == ["deviation_low"]


@pytest.mark.parametrize("minutes", [0.0, -5.0, float("nan")])
def test_alarms_are_not_kept_quiet_by_a_time_that_is_none(minutes: float) -> None:
    """Zero, a negative time and NaN end at the next look."""
    panel = Panel()
    panel.judge("presence_due")
    panel.send("presence_due", AlarmEvent.SHELVE, minutes=minutes)
    panel.judge("presence_due", after_s=0.25)
    assert panel.state("presence_due") is S.ACTIVE


def test_alarms_of_the_safety_class_are_never_quiet() -> None:
    """Shelving is refused, and the refusal is returned for the journal."""
    for code, entry in ALARMS.items():
        panel = Panel()
        panel.judge(code)
        panel.judge(code, after_s=entry.on_delay_s)
        refused = panel.send(code, AlarmEvent.SHELVE, minutes=5.0)[0].to is None
        assert refused is (entry.alarm_class is AlarmClass.SAFETY)
        assert refused is not shelvable(code)


def test_alarms_return_refused_events_unchanged() -> None:
    """A refused event has `to` None, and nothing about the alarm moves."""
    panel = Panel()
    panel.judge("board_tripped", board_tripped={"first_out": "norise"})
    before = panel.standing
    change = panel.send("board_tripped", AlarmEvent.RESET)[0]
    assert (change.alarm, change.event, change.to) == ("board_tripped", AlarmEvent.RESET, None)
    assert change.fields == {"first_out": "norise"}
    assert panel.standing == before
    assert panel.send("link_lost", AlarmEvent.ACKNOWLEDGE) == ()


def test_alarms_follow_the_values_of_their_condition() -> None:
    """The fields on screen are those of now, without another announcement."""
    panel = Panel()
    panel.judge("link_lost", link_lost={"silence_s": 3})
    panel.judge("link_lost", link_lost={"silence_s": 4}, after_s=1.0)
    assert panel.standing[0].fields == {"silence_s": 4}
    assert panel.bells == ["link_lost"]


MODELLED = ("link_lost", "deviation_high", "board_reset", "sensor_bad", "overtemp_host")
PEOPLE = (AlarmEvent.ACKNOWLEDGE, AlarmEvent.RESET, AlarmEvent.SHELVE)
ORACLE = {alarm_class: oracle(alarm_class) for alarm_class in AlarmClass}


class _Model:
    """One alarm as the oracle has it, with its delays written anew."""

    def __init__(self, code: str) -> None:
        entry = ALARMS[code]
        self.table = ORACLE[entry.alarm_class]
        self.delays_ms = {True: entry.on_delay_s * 1000, False: entry.off_delay_s * 1000}
        self.state, self.true = S.NORMAL, False
        self.raw, self.raw_ms = False, 0
        self.quiet_until_ms: int | None = None
        self.bells = 0

    def send(self, event: AlarmEvent) -> None:
        to, announced = self.table.get((self.state, event, self.true), (None, False))
        self.bells += announced
        self.state = self.state if to is None else to
        if self.state is not S.SHELVED:
            self.quiet_until_ms = None

    def look(self, raw: bool, now_ms: int) -> None:  # noqa: FBT001 - the condition itself
        if raw is not self.raw:
            self.raw, self.raw_ms = raw, now_ms
        if self.quiet_until_ms is not None and now_ms >= self.quiet_until_ms:
            self.send(AlarmEvent.UNSHELVE)
        if self.raw is not self.true and now_ms - self.raw_ms >= self.delays_ms[self.raw]:
            self.true = self.raw
            self.send(AlarmEvent.RAISE if self.true else AlarmEvent.CLEAR)


class AlarmMachine(RuleBasedStateMachine):
    """Random lives of five alarms of all classes, against the oracle."""

    @initialize()
    def begin(self) -> None:
        """Start calm."""
        self.panel = Panel()
        self.models = {code: _Model(code) for code in MODELLED}
        self.true_now: set[str] = set()

    @rule(code=st.sampled_from(MODELLED), after_ms=st.integers(0, 6000))
    def turn(self, code: str, after_ms: int) -> None:
        """One condition turns about."""
        self.true_now ^= {code}
        self.wait(after_ms)

    @rule(after_ms=st.integers(0, 40 * 60_000))
    def wait(self, after_ms: int) -> None:
        """Time passes."""
        self.panel.judge(*sorted(self.true_now), after_s=after_ms / 1000.0)
        for code, model in self.models.items():
            model.look(code in self.true_now, self.panel.now_ms)

    @rule(
        code=st.sampled_from(MODELLED),
        event=st.sampled_from(PEOPLE),
        minutes=st.floats(0.1, 60.0),
    )
    def person(self, code: str, event: AlarmEvent, minutes: float) -> None:
        """Somebody acknowledges, resets or shelves."""
        if not self.panel.send(code, event, minutes):
            assert self.panel.state(code) is S.NORMAL
            return
        model = self.models[code]
        before = model.state
        model.send(event)
        if event is AlarmEvent.SHELVE and model.state is S.SHELVED and before is not S.SHELVED:
            model.quiet_until_ms = self.panel.now_ms + int(min(minutes * 60.0, 1800.0) * 1000)

    @invariant()
    def agrees(self) -> None:
        """State, condition and announcements are the oracle's; the journal replays to them."""
        replayed = dict.fromkeys(MODELLED, S.NORMAL)
        for code, _event, before, to in self.panel.journal:
            assert replayed[code] is before
            replayed[code] = before if to is None else to
        for code, model in self.models.items():
            assert self.panel.state(code) is model.state, code
            assert replayed[code] is model.state
            assert self.panel.bells.count(code) == model.bells
            true = next((one.true for one in self.panel.standing if one.alarm == code), False)
            assert true is model.true
            if ALARMS[code].alarm_class is AlarmClass.SAFETY and model.true:
                assert model.state in (S.ACTIVE, S.ACKNOWLEDGED)


AlarmMachine.TestCase.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
test_alarms_agree_with_the_oracle_over_random_lives = AlarmMachine.TestCase
