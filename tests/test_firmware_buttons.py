"""The board's switches in C: the filter, ARM/RESET and NEXT/MARK."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from c_core import core, defines
from tawny.sim import limits
from tawny.sim.buttons import ArmButton, NextButton

_ffi, _lib = core("buttons")

U16 = 0xFFFF
U32 = 0xFFFF_FFFF
WRAP = 1 << 32
SAMPLES = 4  # equal ones in a row that move a switch
STARTS_MS = pytest.mark.parametrize("start_ms", [0, WRAP - 1, WRAP - 1000, WRAP - 5000])


class Filter:
    """The C's filter of 16 switches."""

    def __init__(self, now: int = 0) -> None:
        self.raw: Any = _ffi.new("struct buttons_filter *")
        _lib.buttons_filter_start(self.raw, now)

    def take(self, sample: int) -> tuple[int, int]:
        """Take a sample; return which switches moved, and how all stand."""
        moved = int(_lib.buttons_filter_take(self.raw, sample))
        return moved, int(self.raw.stable)


def naive(start: int, samples: list[int]) -> list[tuple[int, int]]:
    """Filter each switch for itself: it moves with the fourth sample in a row that differs."""
    stable = [start >> bit & 1 for bit in range(16)]
    differing = [0] * 16
    seen = []
    for sample in samples:
        moved = 0
        for bit in range(16):
            level = sample >> bit & 1
            differing[bit] = differing[bit] + 1 if level != stable[bit] else 0
            if differing[bit] == SAMPLES:
                stable[bit], differing[bit] = level, 0
                moved |= 1 << bit
        seen.append((moved, sum(level << bit for bit, level in enumerate(stable))))
    return seen


_LEVEL = st.sampled_from((0, U16)) | st.integers(0, U16)
# Runs of one sample, around the four that move a switch.
_SAMPLES = st.lists(st.tuples(_LEVEL, st.integers(1, 6)), max_size=60).map(
    lambda runs: [level for level, times in runs for _ in range(times)]
)


@given(st.integers(0, U16), _SAMPLES)
def test_buttons_filter_does_what_a_filter_for_each_switch_does(
    start: int, samples: list[int]
) -> None:
    """Same movements, and the same stand of each of the 16, whatever the others do."""
    switches = Filter(start)
    assert [switches.take(sample) for sample in samples] == naive(start, samples)


@pytest.mark.parametrize("start", [0, U16, 0x5555])
@pytest.mark.parametrize("bit", [0, 7, 8, 15])
def test_buttons_filter_moves_with_the_fourth_sample(start: int, bit: int) -> None:
    """Not with the third; the movement is told once, and of that switch alone."""
    switches = Filter(start)
    moved = start ^ 1 << bit
    seen = [switches.take(moved) for _ in range(6)]
    assert seen == [(0, start)] * 3 + [(1 << bit, moved)] + [(0, moved)] * 2


@given(st.integers(0, U16), st.lists(st.integers(1, SAMPLES - 1), max_size=60), st.data())
def test_buttons_filter_never_passes_a_bounce(
    start: int, bounces: list[int], data: st.DataObject
) -> None:
    """No run of three differing samples or fewer moves a switch, however many come."""
    switches = Filter(start)
    for times in bounces:
        other = data.draw(st.integers(0, U16))
        for _ in range(times):
            assert switches.take(other) == (0, start)
        assert switches.take(start) == (0, start)


@given(st.lists(st.tuples(st.integers(1, 3), st.integers(1, 6)), max_size=20))
def test_buttons_filter_passes_a_press_that_bounces_once(bounces: list[tuple[int, int]]) -> None:
    """It moves once, with the fourth sample after the last bounce."""
    switches = Filter(0)
    for down, up in bounces:
        assert {switches.take(level)[0] for level in [1] * down + [0] * up} == {0}
    assert [switches.take(1)[0] for _ in range(8)] == [0, 0, 0, 1, 0, 0, 0, 0]


# ARM/RESET.


class Buttons:
    """The C's two buttons, the clock cut to 32 bits."""

    def __init__(self) -> None:
        self.arm: Any = _ffi.new("struct buttons_arm *")
        self.next: Any = _ffi.new("struct buttons_next *")
        _lib.buttons_arm_start(self.arm)
        _lib.buttons_next_start(self.next)

    def press_arm(self, now_ms: int, *, tripped: bool) -> None:
        """ARM goes down."""
        _lib.buttons_arm_press(self.arm, now_ms & U32, tripped)

    def release_arm(self, now_ms: int) -> bool:
        """ARM comes up; return whether this asks for a reset."""
        return bool(_lib.buttons_arm_release(self.arm, now_ms & U32))

    def press_next(self, now_ms: int) -> None:
        """NEXT goes down."""
        _lib.buttons_next_press(self.next, now_ms & U32)

    def release_next(self, now_ms: int) -> None:
        """NEXT comes up."""
        _lib.buttons_next_release(self.next, now_ms & U32)

    def update(self, now_ms: int) -> None:
        """What each pass does."""
        _lib.buttons_update(self.arm, self.next, now_ms & U32)


@STARTS_MS
@pytest.mark.parametrize(
    ("held_ms", "asks"),
    [(0, False), (1999, False), (2000, True), (3500, True), (5000, True), (5001, False)],
)
def test_buttons_arm_held_for_2_to_5_s_asks_for_a_reset(
    held_ms: int, start_ms: int, *, asks: bool
) -> None:
    """Both limits belong to it; 1 ms less or more does not: section 6.1."""
    for updates in (False, True):
        buttons = Buttons()
        buttons.press_arm(start_ms, tripped=True)
        if updates:
            for now_ms in range(start_ms, start_ms + held_ms, 50):
                buttons.update(now_ms)
        assert buttons.release_arm(start_ms + held_ms) == asks


def test_buttons_arm_clears_nothing_that_tripped_after_it_went_down() -> None:
    """The button must go down while the board is already tripped."""
    buttons = Buttons()
    buttons.press_arm(1000, tripped=False)
    assert buttons.arm.held
    assert not buttons.release_arm(4000)


def test_buttons_arm_that_is_down_at_the_start_is_not_held() -> None:
    """It holds nothing and asks for nothing until it came up and went down again."""
    buttons = Buttons()
    assert not buttons.arm.held
    assert not buttons.release_arm(3000)
    buttons.press_arm(4000, tripped=True)
    assert buttons.arm.held
    assert buttons.release_arm(7000)
    assert not buttons.arm.held
    assert not buttons.release_arm(7001)


@pytest.mark.parametrize("turns", [1, 2])
@pytest.mark.parametrize("held_ms", [0, 2000, 3500, 5000])
def test_buttons_arm_that_is_stuck_for_weeks_clears_nothing(held_ms: int, turns: int) -> None:
    """Not even where the clock has come round, so that it seems to be down for 2 to 5 s."""
    buttons = Buttons()
    buttons.press_arm(0, tripped=True)
    buttons.update(5000)
    assert buttons.arm.may_reset
    buttons.update(5001)
    assert buttons.arm.held
    assert not buttons.release_arm(turns * WRAP + held_ms)


# NEXT/MARK.


@STARTS_MS
@pytest.mark.parametrize(("down_ms", "counted"), [(0, 0), (49, 0), (50, 1), (51, 1), (60_000, 1)])
def test_buttons_next_counts_from_50_ms_on(down_ms: int, counted: int, start_ms: int) -> None:
    """Released after at least 50 ms: section 5."""
    for updates in (False, True):
        buttons = Buttons()
        buttons.press_next(start_ms)
        assert buttons.next.is_down
        if updates:
            for now_ms in range(start_ms, start_ms + down_ms, 10):
                buttons.update(now_ms)
        assert buttons.next.count == 0
        buttons.release_next(start_ms + down_ms)
        assert buttons.next.count == counted
        assert not buttons.next.is_down


@STARTS_MS
@pytest.mark.parametrize(("apart_ms", "counted"), [(100, 1), (499, 1), (500, 2), (501, 2)])
def test_buttons_next_counts_from_half_a_second_after_the_last(
    apart_ms: int, counted: int, start_ms: int
) -> None:
    """From release to release; one that came too soon does not put the next one off."""
    for updates in (False, True):
        buttons = Buttons()
        buttons.press_next(start_ms - 60)
        buttons.release_next(start_ms)
        buttons.press_next(start_ms + apart_ms - 60)
        if updates:
            for now_ms in range(start_ms, start_ms + apart_ms + 1):
                buttons.update(now_ms)
        buttons.release_next(start_ms + apart_ms)
        assert buttons.next.count == counted
        buttons.press_next(start_ms + 900)
        buttons.release_next(start_ms + apart_ms + 500)
        assert buttons.next.count == counted + 1


def test_buttons_next_that_is_down_at_the_start_counts_nothing() -> None:
    """It counts only what it saw go down, and each press once."""
    buttons = Buttons()
    buttons.release_next(1000)
    assert buttons.next.count == 0
    buttons.press_next(2000)
    buttons.release_next(2060)
    buttons.release_next(3000)
    assert buttons.next.count == 1


def test_buttons_next_counts_modulo_256() -> None:
    """The 256th press is 0 again."""
    buttons = Buttons()
    for press in range(1, 300):
        buttons.press_next(press * 1000)
        buttons.release_next(press * 1000 + 60)
        assert buttons.next.count == press % 256


@pytest.mark.parametrize("late_ms", [0, 49, 499])
def test_buttons_next_counts_after_weeks(late_ms: int) -> None:
    """A press that is held, or comes, a whole turn of the clock later counts as any other."""
    buttons = Buttons()
    buttons.press_next(0)
    for now_ms in range(0, WRAP + late_ms, WRAP // 4):
        buttons.update(now_ms)
    buttons.release_next(WRAP + late_ms)
    assert buttons.next.count == 1
    for now_ms in range(WRAP + late_ms, 2 * WRAP + late_ms, WRAP // 4):
        buttons.update(now_ms)
    buttons.press_next(2 * WRAP + late_ms - 60)
    buttons.release_next(2 * WRAP + late_ms)
    assert buttons.next.count == 2


# Both against the model.

_WAIT_MS = st.one_of(
    st.sampled_from((0, 49, 50, 51, 440, 449, 450, 499, 500, 501, 1999, 2000, 2001, 4999, 5000)),
    st.sampled_from((5001, WRAP // 2, WRAP - 1, WRAP, WRAP + 60, WRAP + 3000)),
    st.integers(0, 6000),
)
_ACTS = st.lists(st.tuples(_WAIT_MS, st.sampled_from(("arm", "next")), st.booleans()), max_size=40)


@given(_ACTS, st.integers(WRAP - 10_000, WRAP) | st.just(0))
def test_buttons_do_what_the_model_does(acts: list[tuple[int, str, bool]], start_ms: int) -> None:
    """Same resets asked for, same presses counted, over weeks and through the clock's wrap."""
    arm, following = ArmButton(), NextButton()
    buttons = Buttons()
    now_ms = start_ms
    arm_down = next_down = False
    for wait_ms, which, tripped in acts:
        for _ in range(4):
            buttons.update(now_ms)
            now_ms += wait_ms // 4
        now_ms += wait_ms % 4
        if which == "next":
            next_down = not next_down
            for each in (following, buttons):
                press = each.press if isinstance(each, NextButton) else each.press_next
                release = each.release if isinstance(each, NextButton) else each.release_next
                (press if next_down else release)(now_ms)
        elif arm_down:
            arm_down = False
            assert buttons.release_arm(now_ms) == arm.release(now_ms)
        else:
            arm_down = True
            arm.press(now_ms, tripped=tripped)
            buttons.press_arm(now_ms, tripped=tripped)
        assert buttons.arm.held == arm.held
        assert buttons.next.count == following.count


def test_buttons_limits_are_those_of_the_contract() -> None:
    """Sections 5 and 6.1; four samples pass well within the 25 ms that section 5 allows."""
    numbers = defines("buttons")
    assert numbers["BUTTONS_RESET_LEAST_MS"] == limits.RESET_LEAST_MS == 2000
    assert numbers["BUTTONS_RESET_MOST_MS"] == limits.RESET_MOST_MS == 5000
    assert numbers["BUTTONS_NEXT_LEAST_MS"] == limits.NEXT_LEAST_MS == 50
    assert numbers["BUTTONS_NEXT_APART_MS"] == limits.NEXT_APART_MS == 500
    assert (SAMPLES + 1) * numbers["BUTTONS_SAMPLE_MS"] <= 25
