"""The board's outputs in C at each limit of section 6.4: one side of it and the other."""

from __future__ import annotations

import pytest

from c_core import defines
from output_twin import (
    RELAY,
    SSR,
    WRAP,
    Build,
    COutput,
    Op,
    Script,
    Seen,
    keep,
    moments,
)
from tawny.sim.limits import EXPIRY_MOST_MS
from tawny.sim.output import FULL_DUTY

EITHER = pytest.mark.parametrize("build", [SSR, RELAY], ids=["ssr", "relay"])


def pulses(build: Build, duties: tuple[int, int], windows: int, half: int) -> list[tuple[int, int]]:
    """Begin and end of each pulse of a half over whole windows, at a constant duty."""
    times = windows * build.window_ms // 400
    seen = Seen(Script(build, 0, (Op(0, "take", duties), *keep(duties, times))))
    end_ms = windows * build.window_ms
    return [
        (run.begin_ms, min(run.end_ms, end_ms)) for run in seen.on[half] if run.begin_ms < end_ms
    ]


def test_output_upper_begins_and_lower_ends_the_window() -> None:
    """So that they overlap as little as can be: section 6.4."""
    assert pulses(SSR, (300, 400), 2, 0) == [(0, 300), (1000, 1300)]
    assert pulses(SSR, (300, 400), 2, 1) == [(600, 1000), (1600, 2000)]


@pytest.mark.parametrize(
    ("duty", "expected"),
    [
        (99, [(20_000, 23_960)]),  # 1980 ms are below the minimum: carried
        (100, [(0, 2000), (20_000, 22_000)]),
        (101, [(0, 2020), (20_000, 22_020)]),
        (900, [(0, 18_000), (20_000, 38_000)]),
        (901, [(0, 36_040)]),  # 1980 ms off are too few: on throughout, and less in the next window
        (1000, [(0, 40_000)]),
    ],
)
def test_output_carries_what_a_minimum_leaves_over(
    duty: int, expected: list[tuple[int, int]]
) -> None:
    """A pulse or pause below 2 s is made up for in the next window, to the millisecond."""
    assert pulses(RELAY, (duty, 0), 2, 0) == expected


@EITHER
@pytest.mark.parametrize("duties", [(1, 999), (95, 850), (333, 667), (500, 500), (959, 30)])
def test_output_delivers_the_duty_in_the_long_run(build: Build, duties: tuple[int, int]) -> None:
    """Over 50 windows the on-time is the duty's, but for one shortest pulse, also at cap 1000."""
    for cap in (1000, 2000):
        tight = Build(build.window_ms, build.least_ms, cap)
        for half, duty in enumerate(duties):
            on_ms = sum(end_ms - begin_ms for begin_ms, end_ms in pulses(tight, duties, 50, half))
            assert on_ms == pytest.approx(
                50 * build.window_ms * duty / 1000, abs=build.least_ms + 1
            )


@pytest.mark.parametrize(
    ("duties", "cap", "expected"),
    [
        ((600, 400), 1000, (600, 400)),
        ((600, 401), 1000, (599, 400)),
        ((1000, 1000), 1000, (500, 500)),
        ((1000, 1000), 1999, (999, 999)),
        ((1000, 1000), 2000, (1000, 1000)),
        ((900, 300), 1000, (750, 250)),
    ],
)
def test_output_scales_both_duties_down_to_the_supply_limit(
    duties: tuple[int, int], cap: int, expected: tuple[int, int]
) -> None:
    """Only where their sum is above it, and rounded down."""
    output = COutput(Build(1000, 0, cap), 0)
    output.take(0, duties, 1500)
    assert output.duties == expected
    assert output.taken == duties


@EITHER
@pytest.mark.parametrize("start_ms", [0, WRAP - 1500, WRAP - 700])
@pytest.mark.parametrize("live_ms", [100, 1499, 1500])
def test_output_goes_off_at_the_expiry_and_not_before(
    build: Build, start_ms: int, live_ms: int
) -> None:
    """On 1 ms before, off at it, minimum on or not; nothing is counted past it."""
    output = COutput(build, start_ms)
    output.take(start_ms, (1000, 1000), start_ms + live_ms)
    output.account(start_ms + live_ms - 1)
    assert output.on == (True, True)
    output.account(start_ms + live_ms)
    assert output.on == (False, False)
    assert output.taken == output.duties == (0, 0)
    output.account(start_ms + live_ms + 5000)
    assert output.delivered_ms == (live_ms, live_ms)


@EITHER
@pytest.mark.parametrize("late_ms", [1, 1000, 64_736, 100_000, WRAP // 2 - 3000])
def test_output_late_accounting_counts_no_more_than_the_duty_lived(
    build: Build, late_ms: int
) -> None:
    """Whatever was not accounted for, the on-time ends with the duty."""
    output = COutput(build, 7)
    output.take(7, (1000, 1000), 1507)
    output.account(1507 + late_ms)
    assert output.on == (False, False)
    assert output.delivered_ms == (1500, 1500)


@pytest.mark.parametrize("expires_ms", [10_000 + 1501, 10_000, 9999, 10_000 + WRAP // 2, 0])
def test_output_cuts_at_a_duty_that_lives_too_long_or_is_over(expires_ms: int) -> None:
    """An expiry beyond 1.5 s, or one that is past, brings no heat and ends what was on."""
    output = COutput(SSR, 9000)
    output.take(9000, (1000, 1000), 10_500)
    output.take(10_000, (1000, 1000), expires_ms)
    assert output.on == (False, False)
    assert output.taken == (0, 0)
    assert output.delivered_ms == (1000, 1000)


@pytest.mark.parametrize(("duty", "restarts"), [(949, False), (950, True), (1000, True)])
def test_output_starts_a_window_at_a_step_from_0_to_full(duty: int, *, restarts: bool) -> None:
    """From 950 on at once; below, the half waits for the next window."""
    output = COutput(RELAY, 0)
    for at_ms in range(0, 5000, 400):
        output.take(at_ms, (0, 300), at_ms + 1500)
    output.take(5000, (duty, 300), 6500)
    assert output.on == (restarts, False)


def test_output_step_to_full_does_not_wait_for_a_half_that_ends() -> None:
    """What is cut with it stays off: its minimum off need not be over."""
    output = COutput(RELAY, 0)
    for at_ms in range(0, 15_201, 400):
        output.take(at_ms, (0, 500), at_ms + 1500)
    assert output.on == (False, True)
    output.take(15_600, (1000, 0), 17_100)
    assert output.on == (True, False)


def test_output_step_to_full_lets_the_other_half_finish_its_minimum() -> None:
    """The running pulse ends after its 2 s, and the new window begins there."""
    output = COutput(RELAY, 0)
    for at_ms in range(0, 15_201, 400):
        output.take(at_ms, (0, 250), at_ms + 1500)
    assert output.on == (False, True)  # since 15 000
    output.take(15_500, (1000, 250), 17_000)
    output.account(16_999)
    assert output.on == (False, True)
    output.take(16_999, (1000, 250), 18_499)
    output.account(17_000)
    assert output.on == (True, False)


@pytest.mark.parametrize("idle_ms", [1999, 2000, 2001, 65_546, WRAP - 1, WRAP, WRAP + 1999])
def test_output_relay_waits_for_its_minimum_off_and_no_longer(idle_ms: int) -> None:
    """1 ms before the 2 s it waits; after weeks, or a whole turn of the clock, it does not."""
    output = COutput(RELAY, WRAP - 3000)
    output.take(WRAP - 3000, (1000, 0), WRAP - 1500)
    output.cut(WRAP - 2000)
    now_ms = WRAP - 2000 + idle_ms
    for _ in moments(output, WRAP - 2000, now_ms):
        pass
    output.take(now_ms, (1000, 0), now_ms + 1500)
    assert output.on == (idle_ms >= 2000, False)
    output.account(now_ms + 1)
    assert output.on == (True, False)


@pytest.mark.parametrize(
    ("opened_ms", "off_ms"), [(0, 500), (499, 500), (500, 500), (501, 501), (800, 800)]
)
def test_output_ends_a_pulse_at_half_the_window_when_the_mould_opens(
    opened_ms: int, off_ms: int
) -> None:
    """At half the window, or at the opening where half is past; closing brings none back in it."""
    output = COutput(SSR, 0)
    output.take(0, (1000, 0), 1500)
    output.hold(opened_ms, held=False, mould_open=True)
    assert output.duties == (500, 0)
    if off_ms > opened_ms:
        output.account(off_ms - 1)
        assert output.on == (True, False)
    output.account(off_ms)
    assert output.on == (False, False)
    output.hold(900, held=False, mould_open=False)
    assert output.on == (False, False)
    output.account(1000)
    assert output.on == (True, False)


@pytest.mark.parametrize(("taken", "in_force"), [(499, 499), (500, 500), (501, 500)])
def test_output_takes_an_open_mould_at_500_at_most(taken: int, in_force: int) -> None:
    """Each half for itself, from the opening on."""
    output = COutput(SSR, 0)
    output.hold(0, held=False, mould_open=True)
    output.take(0, (taken, taken), 1500)
    assert output.duties == (in_force, in_force)


@EITHER
def test_output_is_off_while_held_and_keeps_what_was_taken(build: Build) -> None:
    """Off at once; after the hold the next window heats again."""
    output = COutput(build, 0)
    output.take(0, (1000, 1000), 1500)
    output.hold(100, held=True, mould_open=False)
    assert output.on == (False, False)
    assert output.duties == (0, 0)
    assert output.taken == (1000, 1000)
    for at_ms in range(500, build.window_ms + 2000, 400):
        output.take(at_ms, (1000, 1000), at_ms + 1500)
        output.hold(at_ms + 100, held=at_ms < 900, mould_open=False)
    assert output.on == (True, True)


@EITHER
@pytest.mark.parametrize("back_ms", [1, 1000, WRAP // 2])
def test_output_goes_off_where_the_clock_runs_backwards(build: Build, back_ms: int) -> None:
    """A moment before the last one is one that lies weeks ahead: the duty has expired by then."""
    output = COutput(build, WRAP - 100)
    output.take(WRAP - 100, (1000, 1000), WRAP + 1000)
    output.account(WRAP + 50)
    output.account(WRAP + 50 - back_ms)
    assert output.on == (False, False)
    assert output.idle


@pytest.mark.parametrize("lost", ["window_ms", "expires_ms", "window_end_ms"])
def test_output_goes_off_where_memory_is_not_what_it_was(lost: str) -> None:
    """A length that has become 0 ends in no endless loop and in no heat."""
    output = COutput(SSR, 0)
    output.take(0, (1000, 1000), 1500)
    setattr(output.raw.build if lost == "window_ms" else output.raw, lost, 0)
    output.account(1400)
    assert output.on == (False, False)
    assert output.idle


def test_output_limits_are_those_of_the_contract() -> None:
    """Section 6.3: a duty lives 1500 ms at most. Section 6.4: 950 is full."""
    numbers = defines("output")
    assert numbers["OUTPUT_EXPIRY_MOST_MS"] == EXPIRY_MOST_MS == 1500
    assert numbers["OUTPUT_FULL_DUTY"] == FULL_DUTY == 950
