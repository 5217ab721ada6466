"""The benchmarks: their short forms run, and what they measure is what they say."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest

from tawny.cli.benches import listing, screen, screen_child, size, speed, start
from tawny.cli.benches.measured import Measured
from tawny.core.names import Phase
from tawny.desk.messages import Points, Snap, ToViewer, Welcome
from tawny.errors import InputError, TawnyError
from tawny.store.reader import Reader
from tawny.store.sizes import Sizes


def bench(name: str) -> list[dict[str, Any]]:
    """Run the short form of a benchmark as a user does; return its objects."""
    command = [sys.executable, str(start.script()), "bench", name, "--short", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    found = [json.loads(line) for line in done.stdout.splitlines()]
    assert found, done.stderr
    for one in found:
        assert one["bench"] == name
        assert one["compares"]
        assert math.isfinite(one["ratio"])
        assert math.isfinite(one["limit"])
        within = one["ratio"] >= one["limit"]
        at_most = one["ratio"] <= one["limit"]
        assert one["passed"] is (within if one["bound"] == "at least" else at_most)
    assert done.returncode == (0 if all(one["passed"] for one in found) else 1)
    return found


@pytest.mark.slow
def test_bench_of_speed_divides_simulated_by_wall_seconds() -> None:
    """A whole pressing from cold, recorded; with sync time, grouping and machine beside it."""
    (found,) = bench("speed")

    figures = found["figures"]
    assert found["limit"] == 1000.0
    assert found["bound"] == "at least"
    assert found["ratio"] == pytest.approx(figures["simulated_s"] / figures["wall_s"])
    assert figures["simulated_s"] > 600.0
    assert figures["pressings_each_run"] == 1
    assert figures["record_bytes"] > 20_000
    assert figures["sync_ms"] > 0.0
    assert (figures["group_requests_most"], figures["group_linger_s"]) == (60, 0.25)
    assert figures["cpu"]


@pytest.mark.slow
def test_bench_of_the_image_runs_it_with_mould_and_host() -> None:
    """The compiled image at rest, heating, and under the whole host, each against its limit."""
    found = bench("image")

    assert [one["limit"] for one in found] == [100.0, 100.0, 50.0]
    assert all(one["bound"] == "at least" for one in found)
    for one in found:
        figures = one["figures"]
        # What the processor spent on it does not depend on who else keeps the machine busy.
        assert figures["simulated_s_per_cpu_s"] >= 0.9 * one["ratio"]
        assert figures["cpu"]


@pytest.mark.slow
def test_bench_of_start_loads_nothing_heavy() -> None:
    """`tawny --help` against the bare interpreter, and no heavy library in it."""
    quick, heavy = bench("start")

    figures = quick["figures"]
    assert quick["limit"] == 5.0
    assert quick["ratio"] == pytest.approx(figures["help_s"] / figures["interpreter_s"])
    assert quick["ratio"] > 1.0
    assert heavy["passed"], heavy["figures"]["heavy"]
    assert heavy["figures"]["modules"] > 50


@pytest.mark.slow
def test_bench_of_the_screen_really_draws() -> None:
    """The dashboard is drawn again and again on a terminal of 120x40, within 5 times one text."""
    drawn, memory = bench("screen")

    figures = drawn["figures"]
    assert drawn["limit"] == 5.0
    assert memory["limit"] == 120.0
    assert drawn["ratio"] == pytest.approx(figures["dashboard_cpu_s"] / figures["one_text_cpu_s"])
    for which in ("dashboard", "one_text"):
        assert figures[f"{which}_wall_s"] == pytest.approx(figures["changes"] * 0.25, rel=0.2)
        assert figures[f"{which}_screen_bytes"] > 50 * figures["changes"]
    assert figures["dashboard_screen_bytes"] > 5 * figures["one_text_screen_bytes"]
    assert drawn["passed"], figures
    assert memory["passed"]
    assert memory["ratio"] > 20.0


@pytest.mark.slow
def test_bench_of_size_counts_everything_a_pressing_adds() -> None:
    """At most 16 kB for a pressing of about five minutes with the wait until the next."""
    (found,) = bench("size")

    figures = found["figures"]
    grown = {name: value for name, value in figures.items() if name.startswith("grown_")}
    assert found["limit"] == 16_000.0
    assert found["ratio"] == pytest.approx(
        max(figures["used_bytes"], figures["file_bytes"]) / figures["pressings"]
    )
    assert sum(grown.values()) == figures["used_bytes"]
    traces = figures["trace_mean_bytes"] + figures["between_mean_bytes"]
    assert grown["grown_blob_bytes"] >= figures["pressings"] * traces
    assert figures["pressing_mean_s"] > 240.0
    assert figures["entries"] == "pressing:4 segment:4"
    assert found["passed"], figures


@pytest.mark.slow
def test_bench_of_the_list_lists_ten_thousand_parts() -> None:
    """Every part is on a line; what is measured is beyond the start of the program."""
    (found,) = bench("list")

    figures = found["figures"]
    assert found["limit"] == 0.2
    assert figures["lines"] >= 10_000
    assert found["ratio"] == pytest.approx(figures["list_s"] - figures["help_s"])
    assert found["ratio"] > 0.0


def test_bench_refuses_a_name_it_does_not_know() -> None:
    """The names there are stand in the sentence; code 2."""
    command = [sys.executable, str(start.script()), "bench", "sped"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert done.returncode == 2
    assert "speed" in done.stderr


@pytest.mark.parametrize(
    ("ratio", "at_least", "passed"),
    [(5.0, False, True), (5.1, False, False), (5.0, True, True), (4.9, True, False)],
)
def test_measured_figure_is_held_against_its_limit(
    *, ratio: float, at_least: bool, passed: bool
) -> None:
    """The limit itself is within; both bounds."""
    found = Measured(bench="x", compares="y", ratio=ratio, limit=5.0, at_least=at_least)

    assert found.passed is passed
    assert found.plain()["passed"] is passed
    assert ("MISSED" in found.lines()[0]) is not passed


@pytest.mark.parametrize("at_least", [True, False])
def test_measured_figure_that_is_no_number_fails(*, at_least: bool) -> None:
    """A quotient of nothing by nothing passes no limit."""
    assert not Measured(
        bench="x", compares="y", ratio=math.nan, limit=5.0, at_least=at_least
    ).passed


def made_shift(grown: dict[str, int], file: int) -> size.Shift:
    """Return a shift of two pressings in which a record grew so."""
    before = Sizes(tables={"journal": 4096, "blob": 8192}, free=0, file=20_480, log=0)
    names = before.tables | grown
    tables = {name: before.tables.get(name, 0) + grown.get(name, 0) for name in names}
    after = Sizes(tables=tables, free=0, file=before.file + file, log=0)
    return size.Shift(
        new=before, hot=before, before=before, after=after, seconds=[300.0, 290.0],
        traces=[6000, 6100], stretches=[3000, 3000], entries=Counter(pressing=2),
    )  # fmt: skip


def test_size_counts_the_growth_of_any_table() -> None:
    """A table that was not there before counts like the journal; so does one nobody thought of."""
    found = size.judged(made_shift({"blob": 20_480, "journal": 4096, "sqlite_stat9": 8192}, 0))

    assert found.ratio == (20_480 + 4096 + 8192) / 2
    assert found.figures["grown_sqlite_stat9_bytes"] == 8192
    assert not found.passed


def test_size_goes_by_the_file_where_that_grew_more() -> None:
    """Pages that are free again after all still lie on the disk."""
    found = size.judged(made_shift({"blob": 20_480}, 40_960))

    assert found.ratio == 40_960 / 2
    assert not found.passed


def test_screen_child_measures_from_settling_to_the_last_change() -> None:
    """Too few changes are no figure, so that a screen that does not draw cannot pass."""
    meter = screen_child.Meter(3)
    taken = [meter.next() for _ in range(screen_child.SETTLING + 3)]
    assert all(taken)
    with pytest.raises(RuntimeError, match="changes"):
        meter.drawn()
    assert not meter.next()
    drawn = meter.drawn()
    assert 0.0 <= drawn.cpu_s < 1.0
    assert drawn.end_s >= drawn.begin_s > 0.0
    assert 5.0 < drawn.peak_mb < 1000.0


@pytest.mark.slow
def test_screen_that_is_told_too_little_has_no_figure(tmp_path: Path) -> None:
    """An owner that falls silent ends the measurement with a sentence, not with a low ratio."""
    told = tmp_path / "told.jsonl"
    whole = screen.canned(tmp_path / "home", 4).splitlines()
    told.write_bytes(b"\n".join(whole) + b"\n")

    with pytest.raises(TawnyError, match="ended early"):
        screen.watch("dashboard", told, 20)

    messages: list[Any] = [msgspec.json.decode(line, type=ToViewer) for line in whole]
    assert isinstance(messages[0], Welcome)
    span_s = messages[0].history[-1].host_s - messages[0].history[0].host_s
    assert span_s == pytest.approx(3600.0, abs=2.0)
    shots = [one.snapshot for one in messages if isinstance(one, Snap)]
    assert len(shots) == 4
    assert {one.phase for one in shots} == {Phase.HOLD}
    assert [b.host_s - a.host_s for a, b in pairwise(shots)] == [0.25] * 3
    assert any(isinstance(one, Points) for one in messages)


def test_start_sees_a_heavy_library_that_is_loaded() -> None:
    """The list of modules is what the interpreter says it imported."""
    loaded = start.modules((sys.executable, "-X", "importtime", "-c", "import msgspec"))

    assert "msgspec" in start.HEAVY & loaded
    assert "msgspec" not in start.modules((sys.executable, "-X", "importtime", "-c", "pass"))


def test_start_takes_no_time_of_a_command_that_failed() -> None:
    """What did not work was not measured."""
    with pytest.raises(InputError, match="ended with 3"):
        start.quickest_s([(sys.executable, "-c", "raise SystemExit(3)")], times=1)


def test_listing_makes_the_record_it_lists(tmp_path: Path) -> None:
    """As many parts as asked for, each sealed as the store seals."""
    listing.fill(tmp_path, 30)

    with Reader.open(tmp_path) as reader:
        assert len(reader.parts()) == 30
        assert reader.verify().sound
        assert reader.simulated


def test_speed_waits_for_the_disk_it_writes_to(tmp_path: Path) -> None:
    """The sync time is that of a real file in the folder, and leaves nothing behind."""
    assert 0.0 < speed.sync_time_s(tmp_path) < 5.0
    assert list(tmp_path.iterdir()) == []
