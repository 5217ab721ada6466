"""A press to which something is announced, and what a viewer sees of it."""

from __future__ import annotations

from core_events import Play, make_state
from tawny.core import intents as ask
from tawny.core.snapshot import AheadView, Code, Snapshot
from tawny.core.view import snapshot

UTC_MS = 1_770_000_000_000  # wall clock where the host clock stands at 0
HOUR_MS = 3_600_000


def say(play: Play, what: str, after_ms: int | None) -> Code | None:
    """Announce something for so long from now; None: take it back."""
    now_utc_ms = UTC_MS + play.host_ms
    at_utc_ms = None if after_ms is None else now_utc_ms + after_ms
    return play.ask(ask.Announce(what, at_utc_ms, now_utc_ms))


def seen(play: Play) -> Snapshot:
    """Return what a viewer sees now."""
    return snapshot(play.state, seq=1, utc_ms=UTC_MS + play.host_ms, simulated=True)


def ahead(play: Play) -> AheadView:
    """Return what is told of later."""
    view = seen(play).ahead
    assert view is not None
    return view


def lines(play: Play) -> list[str]:
    """Return the codes of the lines told."""
    return [one.code for one in ahead(play).lines]


def cold(**changes: object) -> Play:
    """Return a cold press with a board."""
    play = Play(make_state(**changes))
    play.run(2.0)
    return play
