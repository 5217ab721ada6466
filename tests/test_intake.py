"""What one line of telemetry makes of a half: quality, delivered heat, stuck, cut-off, band."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from core_events import HALF
from tawny.core.intake import go_stale, on_time_ms, take_in
from tawny.core.names import Quality
from tawny.core.state import HalfState

STEP_MS = 200


class Half:
    """One half fed with lines 0.2 s apart."""

    def __init__(self, **state: Any) -> None:
        self.state = HalfState(**state)
        self.board_ms = 10_000
        self.counter = 0
        self.on_ms = 0

    def read(self, value_c: float | None, **changes: Any) -> HalfState:
        """Take in one line; a fresh sample and a moving register unless `changes` say so."""
        self.counter += 1
        dt_ms = changes.pop("dt_ms", STEP_MS)
        self.board_ms += dt_ms
        fields: dict[str, Any] = {
            "value": "bad" if value_c is None else round(value_c * 10),
            "raw": self.counter,
            "counter": self.counter,
            "on_ms": self.on_ms,
            "board_ms": self.board_ms,
            "dt_ms": dt_ms,
            "gap": False,
            "setpoint_c": 180.0,
            "band_k": 2.0,
            "model": HALF,
        }
        self.state = take_in(self.state, **(fields | changes))
        return self.state


def test_intake_takes_a_moving_counter_and_a_number_for_good() -> None:
    """A fresh reading is good, with its value in degrees."""
    half = Half().read(179.6)
    assert (half.quality, half.value_c) == (Quality.GOOD, 179.6)


@pytest.mark.parametrize("value", ["bad", "none", 4001, 9999, -101, -4000])
def test_intake_takes_what_no_mould_reads_for_bad(value: int | str) -> None:
    """The board's own word, and a number beyond -10 to 400 degC, are bad at once."""
    half = Half()
    half.read(180.0)
    after = half.read(180.0, value=value)
    assert after.quality is Quality.BAD
    assert after.value_c == 180.0
    assert not after.in_band


@pytest.mark.parametrize("value", [4000, -100, 0])
def test_intake_takes_the_ends_of_the_range_for_readings(value: int) -> None:
    """-10 degC, 0 degC and 400 degC themselves are readings."""
    assert Half().read(0.0, value=value).quality is Quality.GOOD


def test_intake_finds_a_counter_that_stands_still_stale_after_a_second() -> None:
    """1.0 s without a new sample is still good, more is stale; one new sample mends it."""
    half = Half()
    half.read(180.0)
    for _ in range(5):
        assert half.read(180.0, counter=1).quality is Quality.GOOD
    assert half.read(180.0, counter=1).quality is Quality.STALE
    assert not half.state.in_band
    assert half.read(180.0).quality is Quality.GOOD


def test_intake_counts_only_new_samples_into_the_mean() -> None:
    """A sample that is sent twice counts once."""
    half = Half()
    half.read(100.0)
    half.read(100.0, counter=1)
    half.read(110.0)
    assert (half.state.sum_c, half.state.count) == (210.0, 2)


def test_intake_forgets_samples_from_before_a_gap() -> None:
    """The mean after a gap holds nothing from before it."""
    half = Half()
    half.read(100.0)
    half.read(150.0, gap=True, dt_ms=2500)
    assert (half.state.sum_c, half.state.count) == (150.0, 1)


def test_intake_survives_a_board_clock_that_goes_back() -> None:
    """After a step back a sample is fresh from where the clock now is, and ages from there."""
    half = Half()
    half.read(180.0)
    half.board_ms = 500
    assert half.read(180.0, gap=True, dt_ms=0, counter=1).quality is Quality.GOOD
    for _ in range(6):
        half.read(180.0, counter=1)
    assert half.state.quality is Quality.STALE


def test_intake_counts_on_time_across_its_wrap() -> None:
    """The on-time counter wraps at 65 536 ms."""
    half = HalfState(on_ms=65_500)
    assert on_time_ms(half, 64, gap=False) == 100
    assert on_time_ms(half, 65_500, gap=False) == 0
    assert on_time_ms(half, 64, gap=True) == 0
    assert on_time_ms(HalfState(), 64, gap=False) == 0


def test_intake_sums_delivered_heat() -> None:
    """On-time adds up until the loop takes it, and the screen's mean comes to 1 at full duty."""
    half = Half()
    half.read(100.0)
    for _ in range(100):
        half.on_ms = (half.on_ms + STEP_MS) % 65_536
        half.read(100.0)
    assert half.state.given_ms == 100 * STEP_MS
    assert half.state.delivered > 0.95


def test_intake_counts_how_often_an_output_switches_on() -> None:
    """Off, on, on, off, on: two operations, whatever the on-time of each frame."""
    half = Half()
    half.read(100.0)
    for on_ms in (0, 200, 40, 0, 120, 0):
        half.on_ms = (half.on_ms + on_ms) % 65_536
        half.read(100.0)
    assert half.state.operations == 2


def test_intake_lets_integrals_wait_over_a_gap() -> None:
    """What was delivered in a gap is not known: on-time and delivered duty stay."""
    half = Half(given_ms=80, delivered=0.4, on_ms=0, same_ms=5000, duty=0.5)
    half.on_ms = 5000
    after = half.read(180.0, gap=True, dt_ms=5000, raw=half.state.raw)
    assert (after.given_ms, after.delivered, after.same_ms) == (80, 0.4, 5000)


@pytest.mark.parametrize(
    ("rise_k_per_s", "lag_s", "step_s"),
    [
        (0.6, 8.0, 30),  # a quick half keeps the usual 60 s and 30 s
        (0.26, 15.0, 36),
        (0.2, 55.0, 60),  # not even 60 s are enough for a late one; earlier would be a nuisance
    ],
)
def test_intake_probes_a_register_that_stands_still_at_heat(
    rise_k_per_s: float, lag_s: float, step_s: int
) -> None:
    """On one register at a duty above 0.2 a duty step is asked for, once, to end with 90 s."""
    model = replace(HALF, rise_k_per_s=rise_k_per_s, lag_s=lag_s)
    half = Half(duty=0.4, raw=7)
    asked_ms = []
    for _ in range(600):
        after = half.read(180.0, raw=7, model=model)
        if after.probe_ms:
            asked_ms.append(after.same_ms)
    assert asked_ms[0] == (90 - step_s) * 1000
    assert asked_ms[-1] == 89_800
    assert len(asked_ms) == step_s * 5


def test_intake_takes_a_moving_register_or_a_low_duty_for_alive() -> None:
    """One move of the register starts its time anew; at a low duty nothing is counted."""
    half = Half(duty=0.4, raw=7)
    for _ in range(269):
        half.read(180.0, raw=7)
    half.read(180.0, raw=8)
    for _ in range(269):
        half.read(180.0, raw=8)
    assert (half.state.same_ms, half.state.probe_ms) == (53_800, 0)
    quiet = Half(duty=0.2, raw=7)
    for _ in range(400):
        quiet.read(180.0, raw=7)
    assert quiet.state.same_ms == 0


def test_intake_cuts_off_at_setpoint_plus_twenty() -> None:
    """200.0 degC at a setpoint of 180 is cut off, 199.9 is not; it stays cut as it cools."""
    half = Half()
    half.read(179.0)
    assert not half.read(199.9).cut
    assert half.read(200.0).cut
    assert half.state.above_cutoff
    assert half.read(197.6).above_cutoff
    after = half.read(197.4)
    assert (after.above_cutoff, after.cut) == (False, True)
    assert not half.read(199.0).above_cutoff


def test_intake_cut_off_follows_a_lowered_setpoint_as_the_half_cools() -> None:
    """From 180 to 150 degC: no cut-off at once, but 10 K above the coolest so far cuts."""
    half = Half()
    half.read(180.0)
    assert half.read(180.0, setpoint_c=150.0).cutoff_c == 190.0
    for value_c in (179.0, 176.0, 172.0):
        half.read(value_c, setpoint_c=150.0)
    assert half.state.cutoff_c == 182.0
    assert not half.read(181.9, setpoint_c=150.0).cut
    assert half.read(182.0, setpoint_c=150.0).cut


def test_intake_cut_off_ends_at_the_new_setpoint_plus_twenty() -> None:
    """Cooled to the new setpoint, its own cut-off stands."""
    half = Half()
    half.read(180.0)
    for tenth in range(300):
        half.read(180.0 - tenth / 10.0, setpoint_c=150.0)
    assert half.state.cutoff_c == 170.0
    assert not half.state.cut


def test_intake_cut_off_follows_a_raised_setpoint_at_once() -> None:
    """From 150 to 180 degC the cut-off is 200 degC with the next line."""
    half = Half()
    half.read(150.0, setpoint_c=150.0)
    assert half.read(150.0, setpoint_c=180.0).cutoff_c == 200.0


def test_intake_cut_off_keeps_watch_when_the_heat_is_off() -> None:
    """Without a setpoint the last cut-off stands: a heater that stays on is noticed."""
    half = Half()
    half.read(180.0)
    assert half.read(180.0, setpoint_c=None).cutoff_c == 200.0
    assert half.read(201.0, setpoint_c=None).cut


def test_intake_leaves_the_band_only_at_half_as_much_again() -> None:
    """In band within 2 K, out of it beyond 3 K, so that the edge does not flicker."""
    half = Half()
    assert not half.read(177.9).in_band
    assert half.read(178.0).in_band
    assert half.read(177.1).in_band
    assert half.read(177.0).in_band
    assert not half.read(176.9).in_band
    assert not half.read(177.5).in_band


def test_intake_judges_the_band_anew_at_another_setpoint() -> None:
    """What was reached at one setpoint was not reached at the next."""
    half = Half()
    assert half.read(180.0).reached
    after = half.read(180.0, setpoint_c=182.5)
    assert (after.in_band, after.reached) == (False, False)
    assert half.read(182.0, setpoint_c=182.5).reached
    assert not half.read(182.0, setpoint_c=None).reached


def test_intake_goes_stale_with_the_link() -> None:
    """Without a link what was good is stale and what was bad stays bad; the duty is 0."""
    good = go_stale(HalfState(quality=Quality.GOOD, duty=0.4, in_band=True))
    assert (good.quality, good.duty, good.in_band) == (Quality.STALE, 0.0, False)
    bad = go_stale(HalfState(quality=Quality.BAD, duty=0.4))
    assert (bad.quality, bad.duty) == (Quality.BAD, 0.0)
