"""What the board's C judges of its readings: section 6.5, at each limit and against the model."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings

from rules_histories import History, histories, play
from rules_twin import SLOT, Twin, armed_twin, around, half
from tawny.sim.memory import HalfSlot
from tawny.sim.trips import HalfInput, Surroundings

VERDICTS = {
    "",
    "overtemp",
    "disagree",
    "norise",
    "risefast",
    "fall",
    "fallfast",
    "welded",
    "stuck",
    "full",
}
MOST_READS = 20_000


def steps(twin: Twin, *tenths: int, **board: bool) -> list[str]:
    """Read these temperatures of both halves one after the other; return what was said."""
    return [twin.read((half(value), half(value)), around(**board)) for value in tenths]


# One limit after the other.


@pytest.mark.parametrize("trip", [600, 2150, 2300])
def test_rules_trip_at_two_readings_in_a_row_at_the_trip_point(trip: int) -> None:
    """One reading at the trip point does nothing, nor two apart; the second in a row trips."""
    twin = Twin(2)
    board = around(trip=trip, armed=False)
    words = [
        twin.read((half(value), half(0)), board)
        for value in (trip, trip - 1, trip, trip - 1, trip, trip, 4000, trip - 1)
    ]

    assert words == ["", "", "", "", "", "overtemp", "overtemp", ""]


def test_rules_let_a_bad_reading_neither_count_nor_clear() -> None:
    """Two readings over the trip point with a bad one between are in a row."""
    twin = Twin(2)
    board = around(armed=False)

    assert twin.read((half(), half(2150)), board) == ""
    assert twin.read((half(), half(0, good=False)), board) == ""
    assert twin.read((half(), half(2150)), board) == "overtemp"


def test_rules_do_not_judge_a_bad_reading() -> None:
    """A bad read, which shows the last good value, is nobody's rise or fall."""
    twin = armed_twin(halves=1)
    steps(twin, *[1000] * 25)
    assert [twin.read((half(value, good=False),), around()) for value in (2000, 0)] == ["", ""]


@pytest.mark.parametrize(("step", "word"), [(5, ""), (7, "risefast"), (-1, ""), (-3, "fall")])
def test_rules_look_back_5_s_however_many_readings_were_bad(step: int, word: str) -> None:
    """Every second read bad: a slope is judged over 5 s, not over 25 good readings."""
    twin = armed_twin(halves=1)
    seen, tenths = [], 1000
    for read in range(40):
        tenths += step
        good = read % 2 == 0
        shown = tenths if good else tenths - step
        seen.append(twin.read((half(shown, good=good),), around()))
    assert set(seen) == {"", word}


@pytest.mark.parametrize(("rise", "most"), [(1, 150), (1499, 150), (1519, 151), (5000, 500)])
def test_rules_trip_on_a_rise_faster_than_both_limits(rise: int, most: int) -> None:
    """3 K/s or twice R over 5 s is allowed, a tenth of a kelvin more is not."""
    for risen, word in ((most, ""), (most + 1, "risefast")):
        twin = armed_twin(HalfSlot(rise, 200, 600))
        assert steps(twin, *[500] * 25, 500 + risen)[-1] == word


def test_rules_call_a_fall_of_more_than_5_k_in_5_s() -> None:
    """5.0 K from one reading to that 5 s later is allowed, 5.1 K takes the heat away."""
    for fallen, word in ((50, ""), (51, "fall")):
        twin = armed_twin()
        assert steps(twin, *[1000] * 25, 1000 - fallen)[-1] == word


@pytest.mark.parametrize(("apart_reads", "word"), [(3000, "fallfast"), (3001, "fall")])
def test_rules_trip_on_two_falls_within_10_min(apart_reads: int, word: str) -> None:
    """A second fall 10 min after the first trips, one read later it is a first one again."""
    twin = armed_twin()
    assert steps(twin, *[1500] * 25, 1400)[-1] == "fall"
    assert set(steps(twin, *[1400] * (apart_reads - 1))) == {""}
    assert steps(twin, 1300) == [word]


def test_rules_allow_25_k_of_a_charge() -> None:
    """In the window a half may fall to 25.0 K below the announcement, and no further."""
    for fallen, word in ((250, ""), (251, "fall")):
        twin = armed_twin()
        steps(twin, *[1500] * 25)
        twin.charge((1500, 1500))
        assert steps(twin, 1500 - fallen, window=True) == [word]


def test_rules_look_back_no_further_than_the_end_of_a_window_or_of_an_open_mould() -> None:
    """What fell in the window, or while the mould was open, is not called afterwards."""
    twin = armed_twin()
    steps(twin, *[1500] * 25)
    twin.charge((1500, 1500))
    steps(twin, 1300, 1300, window=True)
    assert set(steps(twin, *[1300] * 30)) == {""}
    steps(twin, *[1200] * 3, closed=False)
    assert set(steps(twin, *[1200] * 30)) == {""}
    assert steps(twin, 1149) == ["fall"]


@pytest.mark.parametrize(("duty", "reads"), [(200, 0), (201, 451)])
def test_rules_call_a_register_stuck_after_90_s(duty: int, reads: int) -> None:
    """The same register for 90 s at a duty above 200 trips, at 200 never."""
    twin = armed_twin()
    halves = (half(duty=duty, setpoint=1800), half(duty=0))

    assert twin.until(halves, around(contactor=False), 1000) == reads


def test_rules_begin_the_stuck_time_anew_with_another_register_or_less_duty() -> None:
    """One bit of the register, or one read at a duty of 200, and 90 s begin again."""
    for other in (half(duty=500, raw=0x01541910), half(duty=200)):
        twin = armed_twin()
        same = (half(duty=500), half())
        board = around(contactor=False)
        assert twin.until(same, board, 450) == 0
        assert twin.read((other, half()), board) == ""
        assert twin.until(same, board, 1000) in {450, 451}


@pytest.mark.parametrize(
    ("lag", "coast_reads"), [(1, 300), (200, 300), (201, 301), (1000, 1500), (3000, 4500)]
)
def test_rules_wait_for_the_coast_before_heat_when_off(lag: int, coast_reads: int) -> None:
    """A rise during three lags, 60 s at least, is the heater's coast; 5.0 K after it trips."""
    twin = Twin(2)
    twin.set_mould((HalfSlot(500, lag, 600),) * 2)
    board = around(armed=False)
    # The read at which the duty becomes 0 is the first of the coast.
    assert twin.until((half(1000), half(1000)), board, coast_reads + 1) == 0
    assert twin.read((half(1200), half(1200)), board) == ""  # from here the rise counts
    assert twin.read((half(1249), half(1249)), board) == ""
    assert twin.read((half(1250), half(1250)), board) == "welded"


def test_rules_judge_heat_when_off_within_60_s() -> None:
    """A rise of 5 K within 60 s trips; where it takes longer, the 60 s begin anew."""
    for reads, word in ((299, "welded"), (300, "")):
        twin = Twin(1)
        board = around(armed=False)
        twin.until((half(1000),), board, 302)
        assert twin.until((half(1049),), board, reads) == 0
        assert twin.read((half(1050),), board) == word


@pytest.mark.parametrize(
    ("other", "board", "word"),
    [
        (half(1060), {}, "welded"),
        (half(1061), {}, ""),
        (half(1050), {"contactor": False}, ""),
        (half(1050), {"closed": False}, ""),
        (half(1050), {"window": True}, ""),
    ],
)
def test_rules_do_not_call_heat_when_off_what_has_another_cause(
    other: HalfInput, board: dict[str, bool], word: str
) -> None:
    """Only with the contactor in, the mould closed, no charge, and no hotter half beside it."""
    twin = Twin(2)
    calm = around(armed=False)
    twin.until((half(1000), half(1000, duty=1)), calm, 400)
    place = around(**{"armed": False, **board})
    lower = half(other.tenths, duty=1)

    assert twin.read((half(1050), lower), place) == word


@pytest.mark.parametrize(
    ("slot", "reads"),
    [
        (None, 6001),
        (HalfSlot(500, 200, 60), 3001),
        (HalfSlot(500, 200, 400), 3001),
        (HalfSlot(500, 200, 401), 3008),
        (HalfSlot(500, 200, 600), 4501),
        (HalfSlot(500, 200, 2400), 18001),
        (HalfSlot(500, 200, 7200), 18001),
    ],
)
def test_rules_end_full_duty_after_one_and_a_half_heat_ups(
    slot: HalfSlot | None, reads: int
) -> None:
    """1.5 heat-up times within 10 to 60 min, 20 min where none is stored; 950 is full, 949 not."""
    assert full_reads(slot, duty=950, taken=950) == reads
    assert full_reads(slot, duty=949, taken=949) == 0


def test_rules_count_scaled_full_duty_in_proportion() -> None:
    """A full duty that the supply limit halves lasts twice as long."""
    assert full_reads(SLOT, duty=500, taken=1000) == 9001
    assert full_reads(SLOT, duty=0, taken=1000) == 0


def full_reads(slot: HalfSlot | None, *, duty: int, taken: int) -> int:
    """Return after how many reads full duty is too long, the temperature rising as it should."""
    twin = armed_twin(slot, halves=1)
    board = around(contactor=False)
    for count in range(MOST_READS):
        tenths = 500 + count % 2  # no register stays the same, no rule of rise looks below 200
        one = half(tenths, duty=duty, taken=taken, setpoint=600, raw=count)
        if word := twin.read((one,), board):
            assert word == "full"
            return count + 1
    return 0


def at(upper_setpoint: int, lower_setpoint: int) -> tuple[HalfInput, HalfInput]:
    """Return both halves at 140.0 °C with setpoints of their own."""
    return half(1400, setpoint=upper_setpoint), half(1400, setpoint=lower_setpoint)


@pytest.mark.parametrize(
    ("before", "after", "reads"),
    [
        (at(1800, 1800), at(1500, 1801), 51),  # 40.0 K below once, then 30.1 K apart
        (at(1000, 1000), at(1801, 1500), 51),  # 40.0 K above once
        (at(1801, 1800), at(1500, 1801), 0),
        (at(1800, 1801), at(1500, 1801), 0),
        (at(999, 1000), at(1500, 1801), 0),
        (at(1000, 999), at(1500, 1801), 0),
        (at(1800, 1800), at(1500, 1800), 0),  # 30.0 K apart
        (at(1800, 1800), at(1800, 1500), 0),
    ],
)
def test_rules_call_halves_apart_after_10_s(
    before: tuple[HalfInput, HalfInput], after: tuple[HalfInput, HalfInput], reads: int
) -> None:
    """More than 30.0 K apart for 10 s, once both were within 40 K of setpoint since arming."""
    twin = armed_twin()
    twin.read(before, around())

    assert twin.until(after, around(), 200) == reads


def test_rules_begin_the_10_s_of_halves_apart_anew() -> None:
    """One read less far apart, and 10 s begin again; an arming asks for nearness again."""
    twin = armed_twin()
    twin.read(at(1400, 1400), around())
    assert twin.until(at(1500, 1801), around(), 50) == 0
    assert twin.read(at(1500, 1800), around()) == ""
    assert twin.until(at(1500, 1801), around(), 200) == 51
    twin.arm()
    assert twin.until(at(1500, 1801), around(), 200) == 0


@pytest.mark.parametrize(
    ("after", "board"),
    [
        (at(1500, 1801), around(closed=False)),
        (at(1500, 1801), around(armed=False)),
        (at(0, 1400), around()),
        (at(1400, 0), around()),
    ],
)
def test_rules_let_halves_differ_that_are_not_to_be_compared(
    after: tuple[HalfInput, HalfInput], board: Surroundings
) -> None:
    """Nothing is apart in an open mould, on a board not armed, or where no heat is wanted."""
    twin = armed_twin()
    twin.read(at(1400, 1400), around())

    assert twin.until(after, board, 200) == 0


def test_rules_compare_nothing_of_before_an_arming() -> None:
    """Rise, fall, register, lag and full duty begin anew with the arming."""
    twin = armed_twin(halves=1)
    steps(twin, *[1000] * 25)
    twin.arm()

    assert steps(twin, 1500, *[1500] * 24) == [""] * 25
    assert steps(twin, 1449) == ["fall"]


def test_rules_know_a_mould_by_the_stored_rise_of_every_half() -> None:
    """Known only with R of each half that is fitted."""
    for halves in (1, 2):
        for slots in ((None, None), (SLOT, None), (None, SLOT), (SLOT, SLOT)):
            twin = Twin(halves)
            twin.set_mould(slots)
            assert twin.lib.rules_know_mould(twin.rules) == all(slots[:halves])


# Times that must not look young again.


@pytest.mark.parametrize("idle_reads", [70_000, 140_000])
def test_rules_never_take_a_long_time_for_a_short_one(idle_reads: int) -> None:
    """After hours of rest heat when off is judged as before, and an old fall is forgotten."""
    twin = Twin(1)
    twin.arm()
    assert steps(twin, *[1000] * 25, 900)[-1] == "fall"
    for _ in range(idle_reads):
        twin.age()
    assert steps(twin, *[900] * 25) == [""] * 25
    assert steps(twin, 800) == ["fall"]
    for _ in range(idle_reads):
        twin.age()
    board = around(armed=False)
    assert [twin.read((half(value),), board) for value in (900, 950)] == ["", "welded"]


# Against the model.


@settings(max_examples=200)
@given(histories())
def test_rules_in_c_say_what_the_model_says(history: History) -> None:
    """Any history near the limits gets the same verdict at each read from both."""
    play(history)


@pytest.mark.slow
def test_rules_campaign_meets_every_verdict() -> None:
    """Thousands of histories agree, and each verdict comes many times."""
    seen: Counter[str] = Counter()

    @settings(max_examples=1500, database=None)
    @given(histories())
    def campaign(history: History) -> None:
        seen.update(play(history))

    campaign()
    assert set(seen) == VERDICTS
    assert min(seen.values()) >= 30, seen
