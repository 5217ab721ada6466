"""The board's call lamp and buzzer in C: the patterns of section 6.9."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from c_core import core, defines
from tawny.core import limits

_ffi, _lib = core("signals")

SHORT_MS = 150  # signals.h: what section 6.9 leaves open
LONG_MS = 1000
PASS_MS: Final = limits.SAFETY_PASS_MS
U32 = 0xFFFF_FFFF
WRAP = 1 << 32

# The words of `snd`, in the order of section 4, and those of `lamp`.
OFF, BREATHE, TOPUP, SOON, ALARM = range(5)
LAMP_OFF, LAMP_ON, LAMP_BLINK = range(3)

# Section 6.9: on-times of one round in ms from its begin, and how often it comes.
ROUNDS = {
    OFF: ([], None),
    BREATHE: ([(0, SHORT_MS), (2 * SHORT_MS, 3 * SHORT_MS)], 3000),  # two short, each 3 s
    TOPUP: ([(0, LONG_MS)], 5000),  # one long, each 5 s
    SOON: ([(at, at + SHORT_MS) for at in (0, 2 * SHORT_MS, 4 * SHORT_MS)], None),  # three, once
    ALARM: ([(0, 500)], 1000),  # half a second on and off until changed
}
# The clock wraps within a pattern, or only the part of it that is kept, or neither; all on a pass.
STARTS_MS = pytest.mark.parametrize("start_ms", [0, 65_000, WRAP - 1746, WRAP - 46])


class Signals:
    """The C with a pass each 50 ms, at which alone patterns change, and pins seen at each 1 ms."""

    def __init__(self, now_ms: int = 0, pass_ms: int = PASS_MS) -> None:
        self.pass_ms = pass_ms
        self.raw: Any = _ffi.new("struct signals *")
        self.now_ms = now_ms
        self.own_alarm = False
        _lib.signals_start(self.raw, now_ms & U32)

    def ask(self, sound: int, lamp: int = LAMP_OFF) -> None:
        """Take what the host asks for."""
        _lib.signals_ask(self.raw, lamp, sound, self.now_ms & U32)

    def hush(self) -> None:
        """End what the host asked for."""
        _lib.signals_hush(self.raw, self.now_ms & U32)

    def update(self) -> None:
        """Make a pass."""
        _lib.signals_update(self.raw, self.own_alarm, self.now_ms & U32)

    @property
    def buzzes(self) -> bool:
        """Whether the buzzer is on."""
        return bool(_lib.signals_buzzer_is_on(self.raw, self.now_ms & U32))

    @property
    def shines(self) -> bool:
        """Whether the lamp is on."""
        return bool(_lib.signals_lamp_is_on(self.raw, self.now_ms & U32))

    def watch(self, for_ms: int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
        """Return the on-times of buzzer and lamp, from now on."""
        levels = []
        for _ in range(for_ms):
            if self.now_ms % self.pass_ms == 0:
                self.update()
            levels.append((self.buzzes, self.shines))
            self.now_ms += 1
        buzzer, lamp = zip(*levels, strict=True)
        return on_times(buzzer), on_times(lamp)

    def listen(self, for_ms: int) -> list[tuple[int, int]]:
        """Return the on-times of the buzzer, from now on."""
        return self.watch(for_ms)[0]


def on_times(levels: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Begin and end of each stretch that is on."""
    edges = [at for at, (a, b) in enumerate(pairwise((False, *levels, False))) if a != b]
    return list(zip(edges[::2], edges[1::2], strict=True))


def rounds(sound: int, for_ms: int) -> list[tuple[int, int]]:
    """Return what section 6.9 says of a pattern that began at 0."""
    beeps, each_ms = ROUNDS[sound]
    begins = range(0, for_ms, each_ms or for_ms)
    whole = [(begin_ms + a, begin_ms + b) for begin_ms in begins for a, b in beeps]
    return [(a, min(b, for_ms)) for a, b in whole if a < for_ms]


@STARTS_MS
@pytest.mark.parametrize("sound", ROUNDS)
def test_signals_play_each_pattern_as_the_contract_says(sound: int, start_ms: int) -> None:
    """Two short each 3 s, one long each 5 s, three short once, half a second on and off."""
    signals = Signals(start_ms)
    signals.ask(sound)
    assert signals.listen(16_000) == rounds(sound, 16_000)


@STARTS_MS
def test_signals_go_on_where_the_same_word_is_asked_again(start_ms: int) -> None:
    """At any moment of a pattern, and of one that has sounded once, it does not begin anew."""
    for sound in (BREATHE, TOPUP, SOON, ALARM):
        signals = Signals(start_ms)
        heard = []
        for begin_ms in range(0, 7000, 350):
            signals.ask(sound, LAMP_BLINK)
            heard += [(begin_ms + a, begin_ms + b) for a, b in signals.listen(350)]
        joined = [edge for on in heard for edge in on]
        turns = [at for at in joined if joined.count(at) == 1]  # a beep may lie across a request
        assert list(zip(turns[::2], turns[1::2], strict=True)) == rounds(sound, 7000)


def test_signals_soon_sounds_again_after_another_word() -> None:
    """Once for each time that it is asked for anew, also straight after it."""
    signals = Signals()
    signals.ask(SOON)
    assert len(signals.listen(2000)) == 3
    signals.ask(OFF)
    signals.ask(SOON)
    assert signals.listen(2000) == rounds(SOON, 2000)


def test_signals_soon_stays_over_for_weeks() -> None:
    """It does not sound a second time when the clock has come round."""
    signals = Signals()
    signals.ask(SOON)
    signals.listen(2000)
    for _ in range(200):
        assert not signals.buzzes
        signals.now_ms += 700
        signals.update()
    signals.now_ms = WRAP - 100
    signals.update()
    assert signals.listen(2000) == []


@pytest.mark.parametrize("sound", [BREATHE, TOPUP, ALARM])
def test_signals_repeat_evenly_for_minutes(sound: int) -> None:
    """Two 16-bit clocks later the beat is the same, to the millisecond."""
    signals = Signals()
    signals.ask(sound)
    assert signals.listen(140_000) == rounds(sound, 140_000)


@pytest.mark.parametrize("pass_ms", [1, 7, 970, 1000])
@pytest.mark.parametrize("sound", ROUNDS)
def test_signals_do_not_depend_on_how_often_passes_come(sound: int, pass_ms: int) -> None:
    """Once a second is enough, and at no multiple of anything."""
    signals = Signals(pass_ms=pass_ms)
    signals.ask(sound, LAMP_BLINK)
    blinks = [(begin_ms, begin_ms + 500) for begin_ms in range(0, 11_000, 1000)]
    assert signals.watch(11_000) == (rounds(sound, 11_000), blinks)


@pytest.mark.parametrize("sound", [OFF, BREATHE, TOPUP, SOON])
@pytest.mark.parametrize("into_ms", [0, 50, 450, 2000])
def test_signals_own_alarm_goes_before_the_pattern(sound: int, into_ms: int) -> None:
    """It begins at the next pass and lasts until it ends; then the pattern begins anew."""
    signals = Signals()
    signals.ask(sound)
    if into_ms:
        signals.listen(into_ms)
    signals.own_alarm = True
    assert signals.listen(4000) == rounds(ALARM, 4000)
    signals.own_alarm = False
    over = sound == SOON and into_ms >= 5 * SHORT_MS
    assert signals.listen(4000) == ([] if over else rounds(sound, 4000))


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 400)), max_size=40))
def test_signals_host_never_silences_or_delays_the_own_alarm(asks: list[tuple[int, int]]) -> None:
    """Whatever is asked for and however often, the beat of the own alarm stays as it is."""
    signals = Signals()
    signals.own_alarm = True
    signals.update()
    heard = 0
    for sound, wait_ms in asks:
        signals.ask(sound)
        for _ in range(wait_ms):
            assert signals.buzzes == (heard % 1000 < 500)
            heard += 1
            signals.now_ms += 1
            if signals.now_ms % PASS_MS == 0:
                signals.update()


def test_signals_hush_ends_pattern_and_lamp_at_once() -> None:
    """Without a pass; the same word then begins anew."""
    signals = Signals()
    signals.ask(TOPUP, LAMP_ON)
    signals.listen(100)
    assert (signals.buzzes, signals.shines) == (True, True)
    signals.hush()
    assert (signals.buzzes, signals.shines) == (False, False)
    assert signals.watch(6000) == ([], [])
    signals.ask(TOPUP, LAMP_ON)
    assert signals.watch(6000) == (rounds(TOPUP, 6000), [(0, 6000)])


def test_signals_hush_leaves_the_own_alarm_alone() -> None:
    """Silence of the host does not silence the board, nor shift its beat."""
    signals = Signals()
    signals.own_alarm = True
    signals.listen(300)
    signals.hush()
    assert signals.listen(3000) == [(0, 200), (700, 1200), (1700, 2200), (2700, 3000)]


@STARTS_MS
@pytest.mark.parametrize(
    ("lamp", "expected"),
    [
        (LAMP_OFF, []),
        (LAMP_ON, [(0, 5000)]),
        (LAMP_BLINK, [(begin_ms, begin_ms + 500) for begin_ms in range(0, 5000, 1000)]),
    ],
)
def test_signals_lamp_is_off_on_or_blinks_once_a_second(
    lamp: int, expected: list[tuple[int, int]], start_ms: int
) -> None:
    """Blink: half a second on, half off, from the asking."""
    signals = Signals(start_ms)
    assert signals.watch(350) == ([], [])
    signals.ask(OFF, lamp)
    assert signals.watch(5000) == ([], expected)


def test_signals_lamp_blinks_on_where_it_is_asked_again() -> None:
    """A repeated request does not hold it on; a new sound does not either."""
    signals = Signals()
    for begin_ms in range(0, 4000, 400):
        signals.ask(begin_ms // 400 % 2 * BREATHE, LAMP_BLINK)
        for _ in range(400):
            if signals.now_ms % PASS_MS == 0:
                signals.update()
            assert signals.shines == (signals.now_ms % 1000 < 500)
            signals.now_ms += 1


def test_signals_lamp_blinks_evenly_for_minutes() -> None:
    """Two 16-bit clocks later it blinks as at first."""
    signals = Signals()
    signals.ask(OFF, LAMP_BLINK)
    expected = [(begin_ms, begin_ms + 500) for begin_ms in range(0, 140_000, 1000)]
    assert signals.watch(140_000) == ([], expected)


def test_signals_shapes_are_those_of_the_header() -> None:
    """What the page leaves open has one home; short and long can be told apart."""
    numbers = defines("signals")
    assert numbers["SIGNALS_SHORT_MS"] == SHORT_MS
    assert numbers["SIGNALS_LONG_MS"] == LONG_MS
    assert LONG_MS >= 4 * SHORT_MS
    assert {SHORT_MS % PASS_MS, LONG_MS % PASS_MS} == {0}
