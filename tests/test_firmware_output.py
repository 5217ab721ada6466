"""The board's outputs in C: against the Python model, and what section 6.4 says never happens."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import example, given, settings
from hypothesis import strategies as st

from output_twin import (
    RELAY,
    RELAYS,
    U16,
    Build,
    COutput,
    Op,
    Script,
    Seen,
    do,
    keep,
    moments,
    scripts,
)
from tawny.sim.output import Output

STRIDE_MS = st.integers(1, 1000)

# Duty 0 cuts a relay late in a whole window; it is wanted again 0.4 s before the next one.
CUT_LATE = Script(RELAY, 0, (*keep((1000, 0), 48), Op(400, "take", (0, 1)), *keep((300, 1), 60)))
# The same, and what is left after its minimum off is too short for a pulse.
CUT_LATE_SHORT = Script(
    RELAY, 0, (*keep((1000, 0), 48), Op(400, "take", (0, 1)), *keep((150, 1), 120))
)
# The same as a step to full: the next window comes before the minimum off is over.
STEP_LATE = Script(
    RELAY, 0, (*keep((1000, 500), 48), Op(400, "take", (0, 500)), *keep((1000, 500), 60))
)
# Pauses of exactly the minimum, accounted at other moments than their ends.
SHORT_PAUSES = Script(RELAY, 0, keep((900, 900), 200))
# A step to full while the other half's pulse is about to begin.
STEP_BEFORE_PULSE = Script(
    Build(20_000, 2000, 1000),
    0,
    (*keep((500, 500), 24), Op(0, "take", (0, 500)), *keep((1000, 500), 60)),
)
# What one half is owed would overlap with the other half's pulse.
OWED = Script(Build(20_000, 2000, 1000), 0, keep((95, 850), 150))
# The duty falls while a relay waits for its minimum off.
FALLS_WHILE_WAITING = Script(
    RELAY,
    0,
    (*keep((1000, 0), 40), Op(0, "cut"), Op(400, "take", (1000, 0)), *keep((100, 0), 120)),
)
OPEN_AND_OWED = Script(
    RELAY,
    0,
    (*keep((95, 95), 45), Op(0, "hold", mould_open=True), *keep((500, 500), 120)),
)


def state(output: Output | COutput) -> tuple[object, ...]:
    """All that the rest of the board sees of the outputs."""
    return (
        output.on,
        output.duties,
        output.taken,
        tuple(each_ms & U16 for each_ms in output.delivered_ms),
    )


# The same as the Python model.


@settings(max_examples=200)
@given(scripts(), STRIDE_MS)
@example(CUT_LATE, 100)
@example(CUT_LATE_SHORT, 100)
@example(STEP_LATE, 100)
@example(SHORT_PAUSES, 333)
@example(STEP_BEFORE_PULSE, 100)
@example(OWED, 7)
@example(FALLS_WHILE_WAITING, 50)
@example(OPEN_AND_OWED, 999)
def test_output_does_what_the_model_does(script: Script, stride_ms: int) -> None:
    """Same levels, duties and on-time at every moment asked for, through the clock's wrap."""
    model = Output(
        window_ms=script.build.window_ms,
        least_ms=script.build.least_ms,
        cap=script.build.cap,
        now_ms=script.start_ms,
    )
    output = COutput(script.build, script.start_ms)
    now_ms = script.start_ms
    for op in script.ops:
        until_ms = now_ms + op.wait_ms
        while now_ms < until_ms:
            if output.idle:  # weeks may pass so
                *_, now_ms = moments(output, now_ms, min(until_ms, now_ms + op.wait_ms))
            else:
                now_ms = min(until_ms, now_ms + stride_ms)
            model.account(now_ms)
            output.account(now_ms)
            assert state(output) == state(model)
        do(model, op, now_ms)
        do(output, op, now_ms)
        assert state(output) == state(model)


@settings(max_examples=100)
@given(scripts(), st.floats(0.0, 1.0))
def test_output_names_every_moment_at_which_it_changes(script: Script, part: float) -> None:
    """Between two accountings at the moments it names no pin changes, wherever one looks."""
    output = COutput(script.build, script.start_ms)
    now_ms = script.start_ms
    for op in script.ops:
        before, before_ms, on = output.copy(), now_ms, output.on
        until_ms = now_ms + op.wait_ms
        for moment_ms in moments(output, now_ms, until_ms):
            for look_ms in (1, round(part * (moment_ms - before_ms)), moment_ms - before_ms - 1):
                if 0 < look_ms < moment_ms - before_ms:
                    look = before.copy()
                    look.account(before_ms + look_ms)
                    assert look.on == on
            before, before_ms, on = output.copy(), moment_ms, output.on
        now_ms = until_ms
        do(output, op, now_ms)


# What never happens.


@settings(max_examples=100)
@given(scripts(RELAYS))
@example(CUT_LATE)
@example(CUT_LATE_SHORT)
@example(STEP_LATE)
@example(STEP_BEFORE_PULSE)
@example(OWED)
@example(FALLS_WHILE_WAITING)
def test_output_relay_never_switches_before_its_minimum(script: Script) -> None:
    """No pulse below 2 s but where duty 0, a cut, a hold or expiry ends it; no pause ever."""
    seen = Seen(script)
    for runs in seen.on:
        for run in runs:
            if not run.cut and run.end_ms > run.begin_ms:
                assert run.end_ms - run.begin_ms >= script.build.least_ms
        for run, after in pairwise(runs):
            assert after.begin_ms - run.end_ms >= script.build.least_ms


@settings(max_examples=100)
@given(scripts())
@example(OWED)
@example(Script(Build(1500, 0, 1000), 0, keep((333, 667), 60)))
@example(Script(Build(20_000, 2000, 1050), 0, keep((105, 990), 150)))
def test_output_never_exceeds_the_supply_limit(script: Script) -> None:
    """Within each window both on-times sum to at most `cap`; at 1000 both are never on together."""
    seen = Seen(script)
    most_ms = script.build.window_ms * script.build.cap // 1000
    for begin_ms, end_ms in seen.spans():
        sum_ms = seen.on_ms(0, begin_ms, end_ms) + seen.on_ms(1, begin_ms, end_ms)
        assert sum_ms <= most_ms
        assert seen.both_ms(begin_ms, end_ms) <= most_ms - script.build.window_ms


@settings(max_examples=100)
@given(scripts())
@example(OPEN_AND_OWED)
def test_output_never_gives_an_open_mould_more_than_half(script: Script) -> None:
    """From the opening on a half is on for at most half of a window, and off at once past that."""
    seen = Seen(script)
    half_ms = script.build.window_ms // 2
    for begin_ms, end_ms in seen.spans():
        for opened_ms in seen.openings:
            if begin_ms <= opened_ms < end_ms:
                for half in range(2):
                    before_ms = seen.on_ms(half, begin_ms, opened_ms)
                    assert seen.on_ms(half, begin_ms, end_ms) <= max(half_ms, before_ms)


@settings(max_examples=100)
@given(scripts())
def test_output_is_never_on_without_a_living_duty(script: Script) -> None:
    """On only while the half's last taken duty is above 0, not expired, not cut, not held."""
    seen = Seen(script)
    for half, runs in enumerate(seen.on):
        for run in runs:
            allowed_ms = sum(
                max(0, min(run.end_ms, to_ms) - max(run.begin_ms, from_ms))
                for from_ms, to_ms in seen.allowed[half]
            )
            assert allowed_ms == run.end_ms - run.begin_ms
    assert seen.output.idle


@settings(max_examples=100)
@given(scripts())
def test_output_counts_what_its_pins_delivered(script: Script) -> None:
    """The delivered time is the time that the pin was on, modulo 65536."""
    seen = Seen(script)
    pins = tuple(seen.on_ms(half, script.start_ms, seen.end_ms) & U16 for half in range(2))
    assert seen.output.delivered_ms == pins
