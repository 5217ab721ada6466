"""What a buzzer's and a lamp's pin do is heard and seen as the word that asked for it."""

from __future__ import annotations

import pytest

from tawny.sim.patterns import UNCLEAR, Edges, lamp, sound

# Rising and falling edges of one round in ms, and how often it comes: PROTOCOL.md 6.9.
BREATHE = ([0, 150, 300, 450], 3000)
TOPUP = ([0, 1000], 5000)
SOON = ([0, 150, 300, 450, 600, 750], 0)
ALARM = ([0, 500], 1000)


def played(pattern: tuple[list[int], int], now_ms: int, until_ms: int = 1 << 40) -> Edges:
    """Edges of a pattern that began at 0, seen at a moment; after `until_ms` it is silent."""
    round_ms, each_ms = pattern
    begins = range(0, min(now_ms, until_ms) + 1, each_ms) if each_ms else [0]
    edges = [begin + edge for begin in begins for edge in round_ms if begin + edge <= now_ms]
    edges = [edge for edge in edges if edge <= until_ms]
    on = len(edges) % 2 == 1
    if on and now_ms > until_ms:
        edges.append(until_ms)
        on = False
    return Edges([now_ms - edge for edge in reversed(edges)], on)


@pytest.mark.parametrize(
    ("pattern", "word"), [(BREATHE, "breathe"), (TOPUP, "topup"), (ALARM, "alarm")]
)
def test_pattern_is_named_at_every_moment(pattern: tuple[list[int], int], word: str) -> None:
    """From the end of its first group on; before that it is unclear, never another word."""
    clear_ms = pattern[0][-1] + 1
    for now_ms in range(0, 12_000, 7):
        heard = sound(played(pattern, now_ms))
        assert heard == word or (now_ms < clear_ms and heard in {UNCLEAR, word}), now_ms


def test_pattern_of_three_is_heard_once() -> None:
    """Soon: three short ones, then silence. Two of them could still be another pattern."""
    heard = [sound(played(SOON, now_ms)) for now_ms in range(760, 8000, 20)]
    assert heard[0] == "soon"
    assert heard[-1] == "off"
    assert set(heard) == {"soon", "off"}


@pytest.mark.parametrize(
    ("pattern", "within_ms"), [(BREATHE, 3000), (TOPUP, 5000), (ALARM, 700), (SOON, 700)]
)
def test_pattern_ends_in_silence(pattern: tuple[list[int], int], within_ms: int) -> None:
    """Once nothing more comes it is off, at the latest when the next round would have come."""
    for until_ms in range(10_000, 13_000, 130):
        assert sound(played(pattern, until_ms + within_ms + 10, until_ms)) == "off"


def test_pattern_of_a_still_pin_is_off() -> None:
    """No edge at all, or a level long gone."""
    assert sound(Edges([], on=False)) == "off"
    assert sound(Edges([50_000, 50_500], on=False)) == "off"


def test_lamp_is_off_on_or_blinks() -> None:
    """Two edges within a moment are blinking, one is a switch."""
    assert lamp(Edges([], on=False)) == "off"
    assert lamp(Edges([4000], on=True)) == "on"
    assert lamp(Edges([100], on=True)) == "on"
    assert lamp(Edges([100, 600, 1100], on=False)) == "blink"
    assert lamp(Edges([2000, 2500, 3000], on=False)) == "off"
