"""What a pin's edges mean to an ear and an eye: the patterns of `signal` in PROTOCOL.md 6.9."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

SHORT_MOST_MS: Final = 400.0  # of a pulse; the alarm's last half a second
ALARM_MOST_MS: Final = 600.0  # longer ones are long
NEXT_WITHIN_MS: Final = 600.0  # pulses of one group follow each other
BREATHE_EACH_MS: Final = 3000.0
TOPUP_EACH_MS: Final = 5000.0
BLINK_WITHIN_MS: Final = 1500.0
_BREATHE, _SOON = 2, 3  # short pulses of a group

UNCLEAR: Final = "unclear"  # too early to tell


class Edges(NamedTuple):
    """A pin's last changes.

    Attributes:
        ages_ms: How long ago each was, the newest first.
        on: The pin's level now.
    """

    ages_ms: Sequence[float]
    on: bool


class _Pulse(NamedTuple):
    """One that has ended: how long ago it began and ended."""

    began_ms: float
    ended_ms: float


def lamp(edges: Edges) -> str:
    """Return the word for what a lamp does."""
    if sum(age_ms <= BLINK_WITHIN_MS for age_ms in edges.ages_ms) > 1:
        return "blink"
    return "on" if edges.on else "off"


def sound(edges: Edges) -> str:
    """Return the word for what a buzzer plays, or `UNCLEAR`."""
    ages_ms, on = edges
    nothing = UNCLEAR if on else "off"
    if on and ages_ms[0] > ALARM_MOST_MS:
        return "topup"
    pulses = _ended(ages_ms[1:] if on else ages_ms)
    if not pulses:
        return nothing
    length_ms = pulses[0].began_ms - pulses[0].ended_ms
    silent_ms = pulses[0].ended_ms - (ages_ms[0] if on else 0.0)
    if length_ms > ALARM_MOST_MS:
        return "topup" if silent_ms <= TOPUP_EACH_MS else nothing
    if length_ms > SHORT_MOST_MS:
        return "alarm" if silent_ms <= NEXT_WITHIN_MS else nothing
    count = _group(pulses)
    if silent_ms <= NEXT_WITHIN_MS:
        if count + on == 1 and _group(pulses[1:]) == _BREATHE and _gap_ms(pulses) < BREATHE_EACH_MS:
            return "breathe"  # the first of its next group
        return {_BREATHE: "breathe", _SOON: "soon"}.get(count + on, UNCLEAR)
    return "breathe" if count == _BREATHE and silent_ms <= BREATHE_EACH_MS else nothing


def _ended(ages_ms: Sequence[float]) -> list[_Pulse]:
    """Return the pulses that have ended, the newest first."""
    return [_Pulse(*both) for both in zip(ages_ms[1::2], ages_ms[::2], strict=False)]


def _group(pulses: Sequence[_Pulse]) -> int:
    """Return how many pulses follow each other closely at the end."""
    count = min(1, len(pulses))
    for later, earlier in pairwise(pulses):
        if earlier.ended_ms - later.began_ms > NEXT_WITHIN_MS:
            break
        count += 1
    return count


def _gap_ms(pulses: Sequence[_Pulse]) -> float:
    """Return the silence before the last pulse."""
    return pulses[1].ended_ms - pulses[0].began_ms
