"""The same events from the same state: the same states, effects and bytes."""

from __future__ import annotations

import msgspec
import pytest
from msgspec.structs import replace

from core_events import RECIPE, Play, make_state
from tawny.core import events as ev
from tawny.core import intents as ask
from tawny.core.heat import setpoints_c
from tawny.core.names import Phase
from tawny.core.state import State
from tawny.core.state_codec import decode_state, encode_state
from tawny.core.step import step
from tawny.errors import StoreDamagedError, StoreNewerError

P = Phase


def _busy_hour() -> Play:
    """A pressing with everything that can happen in it."""
    play = Play().to(P.BREATHE)
    play.run(13.0)
    play.press_next()
    play.until(P.HOLD)
    play.ask(ask.SetOperator(name="Ada"))
    play.upper_c = None
    play.run(3.0)
    play.upper_c = 180.3
    play.frames = False
    play.run(2.0)
    play.frames = True
    play.run(5.0)
    play.ask(ask.Acknowledge())
    play.feed(ev.Refusal(host_ms=play.host_ms, kind="duty", why="echo"))
    play.feed(ev.DeskChanged(host_ms=play.host_ms, viewer="", empty_s=12.0, viewers=1))
    play.run(2.0)
    play.board |= {"st": "tripped", "fo": "norise"}
    play.run(3.0)
    play.tap()
    return play


def _idle_day() -> Play:
    """A dry-out, a ramp, a rest and heat by hand, with doubts in between."""
    play = Play(_slow())
    play.ask(ask.Prepare(empty=True, dry=True, let_down=True, dry_out=True))
    play.board["st"] = "armed"
    play.run(30.0)
    play.set_c(58.0)
    play.run(60.0)
    play.ask(ask.EndDryOut())
    play.run(30.0)
    play.upper_c = None
    play.run(1.0)
    play.set_c(175.0)
    play.run(60.0)
    play.ask(ask.Standby())
    play.run(20.0)
    play.ask(ask.ManualHeat(upper=0.2, lower=0.1, minutes=1.0))
    play.run(30.0)
    play.lower_c = None
    play.run(2.0)
    play.set_c(150.0)
    play.ask(ask.Resume())
    play.run(30.0)
    return play


def _slow() -> State:
    return make_state(recipes=(replace(RECIPE, ramp_k_per_min=5.0, ramp_together=True),))


def _lived(state: State, events: list[ev.AnyEvent]) -> list[bytes]:
    lived = []
    for event in events:
        state, effects = step(state, event)
        lived.append(msgspec.json.encode((state, effects)))
    return lived


def test_step_replays_to_the_same_bytes() -> None:
    """The same events from the same state give byte for byte the same states and effects."""
    play = _busy_hour()
    first = _lived(make_state(), play.events)
    assert first == _lived(make_state(), play.events)
    final, effects = make_state(), 0
    for event in play.events:
        final, more = step(final, event)
        effects += len(more)
    assert final == play.state
    assert effects > 300


def test_step_replays_what_the_setpoint_did() -> None:
    """Standby, ramps, dry-out and heat by hand replay byte for byte, over JSON and back."""
    play = _idle_day()
    kept = msgspec.json.encode(play.events)
    events = msgspec.json.decode(kept, type=list[ev.AnyEvent])
    assert _lived(_slow(), events) == _lived(_slow(), play.events)
    final = _slow()
    for event in events:
        final, _ = step(final, event)
    assert final == play.state
    assert decode_state(encode_state(final)) == final


def test_step_state_of_before_the_working_setpoint_is_read() -> None:
    """A state that an earlier program kept has no aim: it is read as the recipe's own."""
    state = Play().to(P.HOLD).state
    told = msgspec.to_builtins(state)
    del told["aim"]
    del told["cycle"]["pressing"]["first_off"]
    for name in ("standby_drop_k", "standby_offer_s", "dry_c", "dry_hold_s", "dry_duty"):
        del told["press"][name]
    del told["press"]["first_off"]
    for recipe in (*told["recipes"], told["recipe"], told["cycle"]["pressing"]["recipe"]):
        del recipe["ramp_k_per_min"], recipe["ramp_together"]
    kept = msgspec.msgpack.encode({"schema": 1, "state": msgspec.Raw(msgspec.msgpack.encode(told))})
    read = decode_state(kept)
    assert setpoints_c(read) == (180.0, 180.0)
    assert read.cycle.pressing is not None
    assert not read.cycle.pressing.first_off


def test_step_replays_from_events_that_were_recorded() -> None:
    """Events through JSON and back, from a state through bytes and back: the same bytes."""
    play = _busy_hour()
    middle = len(play.events) // 2
    state = make_state()
    for event in play.events[:middle]:
        state, _ = step(state, event)
    kept = msgspec.json.encode(play.events[middle:])
    events = msgspec.json.decode(kept, type=list[ev.AnyEvent])
    assert _lived(decode_state(encode_state(state)), events) == _lived(state, play.events[middle:])


@pytest.mark.parametrize("phase", Phase)
def test_step_state_comes_back_from_bytes_unchanged(phase: Phase) -> None:
    """State through msgpack and through JSON is the same state, in every phase."""
    play = Play().to(phase)
    state = play.state
    assert decode_state(encode_state(state)) == state
    assert msgspec.json.decode(msgspec.json.encode(state), type=State) == state
    play.ask(ask.HeatOff())
    assert decode_state(encode_state(play.state)) == play.state


def test_step_state_refuses_what_it_cannot_read() -> None:
    """A state of a later schema is named so; damaged bytes are."""
    newer = msgspec.msgpack.encode({"schema": 99, "state": {}})
    with pytest.raises(StoreNewerError):
        decode_state(newer)
    data = encode_state(make_state())
    for broken in (b"", data[:-1], data[: len(data) // 2], b"\x00" + data):
        with pytest.raises(StoreDamagedError):
            decode_state(broken)
