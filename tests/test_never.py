"""What must never happen, over random histories of board, mould and people."""

from __future__ import annotations

import math
from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as st

from core_events import Play, make_link_up
from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.messages import IN_BUTTON, IN_MAINS, IN_OPEN
from tawny.core.names import BoardState, LinkStatus, Phase
from tawny.core.phases import HEATED
from tawny.core.snapshot import Code
from tawny.core.state_codec import decode_state, encode_state

P = Phase

_HALF_C = st.sampled_from((22.0, 120.0, 178.0, 180.0, 183.0, 199.9, 200.0, 240.0, None))
_ACTIONS = st.one_of(
    st.tuples(st.just("run"), st.integers(1, 40)),
    st.tuples(st.just("silent"), st.integers(1, 16)),
    st.tuples(st.just("upper"), _HALF_C),
    st.tuples(st.just("lower"), _HALF_C),
    st.tuples(st.just("st"), st.sampled_from([state.value for state in BoardState])),
    st.tuples(st.just("inputs"), st.sampled_from((IN_MAINS, 0, IN_MAINS | IN_OPEN, IN_BUTTON))),
    st.tuples(st.just("counters"), st.booleans()),
    st.tuples(st.just("board_ms"), st.sampled_from((-60_000, -1, 900, 5000))),
    st.tuples(st.just("boot"), st.just(1)),
    st.tuples(st.just("down"), st.booleans()),
    st.tuples(st.just("up"), st.sampled_from((200.0, 170.0))),
    st.tuples(st.just("desk"), st.sampled_from((0.0, 11.0, 61.0))),
    st.tuples(st.just("store"), st.booleans()),
    st.tuples(st.just("next"), st.just(1)),
    st.tuples(
        st.just("ask"),
        st.sampled_from(
            (
                ask.Prepare(empty=True, dry=True, let_down=True),
                ask.Arm(),
                ask.Mark(),
                ask.Scrap(),
                ask.Pause(),
                ask.Resume(),
                ask.Standby(),
                ask.ManualHeat(upper=0.4, lower=0.2, minutes=1.0),
                ask.Prepare(empty=True, dry=True, let_down=True, dry_out=True),
                ask.EndDryOut(),
                ask.HeatOff(),
                ask.Acknowledge(),
                ask.ResetAlarm(),
                ask.Shelve(alarm="presence_due"),
                ask.Confirm(),
            )
        ),
    ),
    st.tuples(st.just("tap"), st.just(1)),
)


def _frames(play: Play, count: int) -> None:
    for _ in range(count):
        play.frame()


def _ticks(play: Play, count: int) -> None:
    for _ in range(count):
        play.tick()


def _clock(play: Play, step_ms: int) -> None:
    play.board_ms = max(play.board_ms + step_ms, 0)


def _down(play: Play, refused: bool) -> None:  # noqa: FBT001 - one drawn value
    play.feed(ev.LinkDown(host_ms=play.host_ms, reason=Code("gone"), refused=refused))


def _up(play: Play, most_c: float) -> None:
    play.feed(make_link_up(play.host_ms, boot=play.boot, setpoint_most_c=most_c))


def _desk(play: Play, empty_s: float) -> None:
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=empty_s, viewers=1))


def _store(play: Play, ok: bool) -> None:  # noqa: FBT001 - one drawn value
    play.feed(ev.StoreChanged(host_ms=play.host_ms, ok=ok))


def _next(play: Play, count: int) -> None:
    play.board["k"] = (play.board["k"] + count) % 256


def _boot(play: Play, count: int) -> None:
    play.boot += count


ACTS: dict[str, Callable[..., object]] = {
    "run": _frames,
    "silent": _ticks,
    "upper": lambda play, value_c: setattr(play, "upper_c", value_c),
    "lower": lambda play, value_c: setattr(play, "lower_c", value_c),
    "st": lambda play, word: play.board.update(st=word),
    "inputs": lambda play, bits: play.board.update(inputs=bits),
    "counters": lambda play, moving: setattr(play, "counters_move", moving),
    "board_ms": _clock,
    "boot": _boot,
    "down": _down,
    "up": _up,
    "desk": _desk,
    "store": _store,
    "next": _next,
    "ask": lambda play, intent: play.ask(intent),
    "tap": lambda play, _once: play.tap(),
}


def _sound(play: Play, sent: fx.SendDuty, boot: int) -> None:
    """Hold a duty above 0 against what was true on the wire, written anew."""
    assert play.board["st"] == "armed"
    assert play.upper_c is not None
    assert play.lower_c is not None
    assert play.state.link.status is LinkStatus.UP
    assert max(sent.upper_setpoint_c, sent.lower_setpoint_c) <= 200.0
    for duty, setpoint_c, value_c in (
        (sent.upper, sent.upper_setpoint_c, play.upper_c),
        (sent.lower, sent.lower_setpoint_c, play.lower_c),
    ):
        assert math.isfinite(duty)
        assert 0.0 <= duty <= (0.5 if play.board["inputs"] & IN_OPEN else 1.0)
        assert duty == 0.0 or setpoint_c > 0.0
        assert value_c < 200.0
    aim = play.state.aim
    if play.state.cycle.pressing is not None:
        assert (sent.upper_setpoint_c, sent.lower_setpoint_c) == (180.0, 180.0)
    elif aim.manual is not None:
        assert not aim.manual.over
        assert (sent.upper, sent.lower) <= (0.4, 0.2)
    elif aim.standby:
        assert max(sent.upper_setpoint_c, sent.lower_setpoint_c) <= 140.0
    elif aim.dry is not None:
        assert max(sent.upper, sent.lower) <= 0.4
        assert max(sent.upper_setpoint_c, sent.lower_setpoint_c) <= 110.0
    assert play.state.cycle.confirmed
    assert play.state.desk_empty_s < 60.0
    assert play.state.link.boot == boot


@settings(max_examples=300, deadline=None)
@given(st.sampled_from((P.IDLE, P.SOAK, P.READY, P.CLOSE, P.HOLD)), st.lists(_ACTIONS, max_size=25))
def test_step_never_heats_in_doubt_whatever_happens(
    phase: Phase, actions: list[tuple[str, object]]
) -> None:
    """No history leads to a duty above 0 with a doubt on the wire, or to an exception."""
    play = Play().to(phase)
    for name, value in actions:
        play.effects.clear()
        ACTS[name](play, value)
        cycle = play.state.cycle
        assert cycle.heat_wanted is (cycle.phase in HEATED)
        sent = [one for one in play.effects if isinstance(one, fx.SendDuty)]
        if sent and (sent[-1].upper > 0.0 or sent[-1].lower > 0.0):
            _sound(play, sent[-1], play.boot)
        standing = [one.alarm for one in play.state.alarms]
        assert len(standing) == len(set(standing))
    assert decode_state(encode_state(play.state)) == play.state
