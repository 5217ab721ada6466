"""The trend: readings to braille, without an app."""

from __future__ import annotations

import math
import time

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screens_factory import NOW_MS, NOW_S, make_trace
from tawny.core.names import Phase
from tawny.core.snapshot import TrendPoint
from tawny.ui.trend_axis import Axis, plot_range, time_labels
from tawny.ui.trend_data import MOST_POINTS, Trace
from tawny.ui.trend_draw import LEFT, Frame, Run, draw

WORDS = {"setpoint": "setpoint", "trip": "trip", "now": "now", **{p.value: p.value for p in Phase}}


def make_frame(**changes: object) -> Frame:
    """Return a frame of 78x10 cells over the last four minutes."""
    values: dict[str, object] = {
        "width": 78,
        "height": 10,
        "span_s": 240.0,
        "now_s": NOW_S,
        "now_utc_ms": NOW_MS,
        "low_c": 160.0,
        "high_c": 220.0,
        "setpoint_c": 180.0,
        "trip_c": 215.0,
        "words": WORDS,
    }
    return Frame(**{**values, **changes})  # type: ignore[arg-type]


def flat_point(host_s: float, upper_c: float | None, lower_c: float | None) -> TrendPoint:
    """Return a second in which nothing moved."""
    return TrendPoint(
        host_s=host_s,
        utc_ms=NOW_MS,
        upper_min_c=upper_c,
        upper_max_c=upper_c,
        lower_min_c=lower_c,
        lower_max_c=lower_c,
        setpoint_c=None,
        trip_c=215.0,
        phase=Phase.HOLD,
    )


def text_of(rows: list[list[Run]]) -> list[str]:
    """Return the rows without their roles."""
    return ["".join(text for text, _role in row) for row in rows]


def cells_with(rows: list[list[Run]], *roles: str) -> int:
    """Return how many cells with a dot belong to any of the roles."""
    return sum(len(text) - text.count(" ") for row in rows for text, role in row if role in roles)


def dots_in(row: list[Run]) -> int:
    """Return how many braille dots the plot of a row has."""
    text = "".join(text for text, _role in row)[LEFT:]
    return sum((ord(c) - 0x2800).bit_count() for c in text if 0x2800 < ord(c) <= 0x28FF)


def test_trend_rows_are_exactly_as_wide_as_the_frame() -> None:
    """Every row fills its cells: a shorter one would leave an older picture standing."""
    for width, height, span_s in ((78, 10, 240.0), (118, 30, 3600.0), (40, 6, 900.0)):
        frame = make_frame(width=width, height=height, span_s=span_s)
        rows = text_of(draw(Trace(make_trace()), frame))
        assert len(rows) == height
        assert {len(row) for row in rows[: frame.plot_height]} == {width}
        assert all(len(row) <= width for row in rows)


@given(peak_at=st.integers(0, 3599))
@settings(max_examples=25, deadline=None)
def test_trend_never_loses_a_peak_of_one_sample(peak_at: int) -> None:
    """A single second at 209 °C within an hour reaches its height in 66 columns of cells."""
    frame = make_frame(span_s=3600.0)
    calm = draw(Trace(make_trace()), frame)
    with_peak = draw(Trace(make_trace(peak_at=peak_at)), frame)
    row = Axis(160.0, 220.0, frame.plot_height, 4).row(209.0)
    assert dots_in(calm[row]) == 0
    in_view = NOW_S - 3599 + peak_at >= math.floor(NOW_S - 3600.0 * (1 - 1 / 132))
    assert (dots_in(with_peak[row]) > 0) or not in_view


def test_trend_keeps_both_halves_where_they_share_cells() -> None:
    """Lines on top of one another merge: nothing is erased, and the shared cells say so."""
    together = Trace(flat_point(NOW_S - 60 + n, 181.0, 181.0) for n in range(61))
    rows = draw(together, make_frame())
    assert cells_with(rows, "both") > 0
    apart = Trace(flat_point(NOW_S - 60 + n, 190.0, 170.0) for n in range(61))
    rows = draw(apart, make_frame())
    assert cells_with(rows, "upper") > 10
    assert cells_with(rows, "lower") > 5
    assert cells_with(rows, "both") == 0


def test_trend_tells_the_halves_apart_without_colour() -> None:
    """A still upper half is an unbroken line, a still lower half a dashed one."""
    trace = Trace(flat_point(NOW_S - 239 + n, 200.0, 170.0) for n in range(240))
    frame = make_frame()
    rows = draw(trace, frame)
    axis = Axis(160.0, 220.0, frame.plot_height, 4)
    upper, lower = dots_in(rows[axis.row(200.0)]), dots_in(rows[axis.row(170.0)])
    assert upper == frame.plot_width * 2
    assert 0.4 * upper < lower < 0.6 * upper


def test_trend_puts_the_setpoint_under_the_measured_line() -> None:
    """Where a half stands at setpoint its own line is seen, not the setpoint's."""
    points = [
        msgspec.structs.replace(flat_point(NOW_S - 239 + n, 180.0, None), setpoint_c=180.0)
        for n in range(240)
    ]
    rows = draw(Trace(points), make_frame())
    assert cells_with(rows, "setpoint") == 0
    assert cells_with(rows, "upper") >= 60


def test_trend_leaves_a_gap_where_nothing_was_read() -> None:
    """A minute without a good sample is empty; it is never bridged by a line."""
    points = [flat_point(NOW_S - 240 + n, 181.0, None) for n in range(241) if not 90 < n < 150]
    frame = make_frame(width=LEFT + 60 + 9)
    rows = draw(Trace(points), frame)
    axis = Axis(160.0, 220.0, frame.plot_height, 4)
    plot = "".join(text for text, _role in rows[axis.row(181.0)])[LEFT : LEFT + 60]
    upper = [cell > "\u2800" for cell in plot]
    assert not any(upper[24:37])
    assert all(upper[2:22])
    assert all(upper[39:60])


def test_trend_leaves_out_readings_that_are_not_numbers() -> None:
    """NaN and infinity in a point are no reading, like None."""
    points = [flat_point(NOW_S - 10 + n, math.nan, math.inf) for n in range(11)]
    rows = draw(Trace(points), make_frame())
    assert cells_with(rows, "upper", "lower", "both") == 0


def test_trend_draws_a_reading_beyond_the_plot_at_its_edge() -> None:
    """What is hotter than the plot stands at its upper edge, never outside and never gone."""
    trace = Trace(flat_point(NOW_S - 60 + n, 390.0, 20.0) for n in range(61))
    frame = make_frame()
    rows = draw(trace, frame)
    assert dots_in(rows[0]) > 0
    assert dots_in(rows[frame.plot_height - 1]) > 0


def test_trend_joins_steep_readings() -> None:
    """A fall between two seconds is drawn without a hole in every row it passes."""
    points = [flat_point(NOW_S - 20 + n, 210.0 if n < 10 else 165.0, None) for n in range(21)]
    frame = make_frame()
    rows = draw(Trace(points), frame)
    axis = Axis(160.0, 220.0, frame.plot_height, 4)
    for row in range(axis.row(210.0), axis.row(165.0) + 1):
        assert dots_in(rows[row]) > 0


def test_trend_draws_letters_where_there_is_no_braille() -> None:
    """Without unicode every line has a letter of its own and all of it is ASCII."""
    rows = draw(Trace(make_trace()), make_frame(dots=False))
    text = "\n".join(text_of(rows))
    assert text.isascii()
    assert {"u", "l", "*", "=", "-"} <= set(text)


def test_trend_names_phases_and_breaths_under_the_plot() -> None:
    """Ticks carry the phase's name where there is room; breaths are dots beside them."""
    rows = text_of(draw(Trace(make_trace()), make_frame(width=118)))
    marks = rows[-2]
    assert marks.index("╵fill") < marks.index("╵breathe") < marks.index("╵hold")
    assert marks.count("·") == 2
    crowded = text_of(draw(Trace(make_trace()), make_frame(span_s=3600.0)))[-2]
    assert crowded.count("╵") >= 2
    assert len(crowded) <= 78


def test_trend_writes_minutes_for_short_and_times_of_day_for_long_spans() -> None:
    """Relative times are m:ss; beyond a quarter of an hour they are times of day."""
    short = text_of(draw(Trace(make_trace()), make_frame()))[-1]
    assert short.split() == ["-3:00", "-2:00", "-1:00", "now"]
    assert time_labels(3600.0, NOW_MS, most=4, relative=False)[0][0] == NOW_MS / 1000 % 900
    long = text_of(draw(Trace(make_trace()), make_frame(span_s=3600.0)))[-1].split()
    assert long[-1] == "now"
    assert all(len(label) == 5 and label[2] == ":" for label in long[:-1])


def test_trend_labels_trip_and_setpoint_in_the_margins() -> None:
    """Both lines carry their number at the left and their name at the right."""
    rows = text_of(draw(Trace(make_trace()), make_frame()))
    trip = next(row for row in rows if row.rstrip().endswith("trip"))
    setpoint = next(row for row in rows if row.rstrip().endswith("setpoint"))
    assert trip.split()[0] == "215"
    assert setpoint.split()[0] == "180"


def test_trend_range_follows_setpoint_and_trip_only() -> None:
    """The picture does not breathe: its edges come from the recipe and the trip point."""
    assert plot_range(180.0, 215.0, working=True) == (160.0, 220.0)
    assert plot_range(180.0, 215.0, working=False) == (0.0, 220.0)
    assert plot_range(200.0, 215.0, working=True) == (170.0, 220.0)


@pytest.mark.parametrize(
    "changes",
    [
        {"width": 20},
        {"height": 4},
        {"high_c": 160.0},
        {"span_s": 0.0},
        {"now_s": math.nan},
    ],
)
def test_trend_draws_nothing_where_there_is_no_room(changes: dict[str, object]) -> None:
    """A frame too small or without extent gives no rows rather than a fall."""
    assert draw(Trace(make_trace()), make_frame(**changes)) == []


def test_trend_draws_an_empty_trace() -> None:
    """Before the first reading there are axes and no line."""
    rows = draw(Trace(), make_frame())
    assert cells_with(rows, "upper", "lower", "both", "setpoint", "trip") == 0
    assert "180" in "".join(text_of(rows))


def test_trend_keeps_points_in_order_and_forgets_the_oldest() -> None:
    """A point that is not later is left out; ten hours are kept, with their marks."""
    trace = Trace(
        [flat_point(10.0, 1.0, 1.0), flat_point(10.0, 2.0, 2.0), flat_point(9.0, 3.0, 3.0)]
    )
    assert list(trace.host_s) == [10.0]
    trace.extend(flat_point(11.0 + n, 100.0, 100.0) for n in range(MOST_POINTS + 10))
    assert MOST_POINTS // 2 < len(trace) <= MOST_POINTS
    assert trace.host_s[-1] == 11.0 + MOST_POINTS + 9
    assert all(mark.host_s >= trace.host_s[0] for mark in trace.marks)


def test_trend_begins_anew_with_another_owner() -> None:
    """The history in a welcome replaces what was there: the owner's clock may start again."""
    trace = Trace(make_trace())
    trace.replace([flat_point(5.0, 20.0, 20.0)])
    assert list(trace.host_s) == [5.0]


def test_trend_of_an_hour_is_cheap_to_draw() -> None:
    """An hour of seconds at 160 columns takes at most a twentieth of a 4 Hz frame."""
    trace, frame = Trace(make_trace()), make_frame(width=160, height=30, span_s=3600.0)
    draw(trace, frame)
    begun = time.process_time()
    for _again in range(20):
        draw(trace, frame)
    assert (time.process_time() - begun) / 20 < 0.25 / 20
