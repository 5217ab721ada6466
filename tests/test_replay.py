"""The same events from the same state: the same states, effects and bytes."""

from __future__ import annotations

import msgspec
import pytest

from core_events import Play, make_state
from tawny.core import events as ev
from tawny.core import intents as ask
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
