"""The benchmark of the hold: a mould nobody tuned for, figures and JSON, honest about misses."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from made_moulds import IRON, WEAK, mould_file
from tawny.cli.benches import start
from tawny.cli.benches.hold_jobs import Scenario, do, jobs_of
from tawny.cli.benches.hold_verdict import TARGETS, Case, Report, cases, judged, reports_of
from tawny.report.hold_drawing import Curve, HoldPicture, draw_hold
from tawny.sim.hold_bounds import Bounds
from tawny.sim.hold_run import HeatUp, Run, run
from tawny.sim.parameters import load


def bench(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run `tawny bench hold` as a user does."""
    command = [sys.executable, str(start.script()), "bench", "hold", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@cache
def iron_run(folder: Path, controller: str) -> Case:
    """Return a run of the plate, with its bounds."""
    model = load(str(mould_file(folder)))
    jobs, weak = jobs_of("plate", model, Scenario((controller,), 0, 6, 3), traced=False)
    assert not weak
    (case,) = cases([do(job) for job in jobs])
    return case


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder for the mould file."""
    return tmp_path_factory.mktemp("moulds")


@pytest.mark.slow
def test_mould_nobody_tuned_for_is_heated_up_fast_and_held(folder: Path) -> None:
    """Commissioning alone teaches the loop: ratio at most 1.25, overshoot 1 K, hold 0.25 K."""
    case = iron_run(folder, "tawny")
    figures = case.figures()
    assert figures["first_ratio"] <= 1.25
    assert figures["later_ratio"] <= 1.10
    assert figures["overshoot_k"] <= 1.0
    assert figures["hold_worst_k"] <= 0.25
    assert figures["surface_cv"] <= 0.01
    assert case.run.learning is not None
    assert case.run.learning.trusted
    assert abs(case.run.imbalance_j) < 1e-3 * case.run.simulated_s
    assert figures["first_ratio"] >= 0.995, "nothing beats the bound by more than a band's noise"


@pytest.mark.slow
def test_thermostat_does_worse_in_every_way(folder: Path) -> None:
    """Overshoot, hold, recovery: what a differential of 2 K leaves."""
    own, other = (iron_run(folder, name).figures() for name in ("tawny", "thermostat"))
    assert other["overshoot_k"] > 2.0 * own["overshoot_k"]
    assert other["hold_worst_k"] > 4.0 * own["hold_worst_k"]
    assert other["first_ratio"] > own["first_ratio"]
    assert other["recovery_ratio"] >= own["recovery_ratio"]


@pytest.mark.slow
def test_run_is_the_same_for_the_same_seed() -> None:
    """Everything but what the processor spent; another seed differs."""
    model = load("overpowered")
    first, again, other = (
        run(model, "thermostat", seed=seed, pressings=2, later=False) for seed in (4, 4, 5)
    )
    assert _timeless(first) == _timeless(again)
    assert _timeless(first) != _timeless(other)


def _timeless(one: Run) -> Run:
    from msgspec.structs import replace

    return replace(one, cpu_s=0.0)


@pytest.mark.slow
def test_loop_without_a_record_begins_slow_and_learns_from_its_first_heat_up() -> None:
    """Overshoot at most 1.5 K on the guess; the first heat-up then gives a model to trust."""
    found = run(load("overpowered"), "tawny", seed=2, pressings=0, record=False)
    assert found.learning is not None
    assert not found.learning.trusted
    assert found.first.overshoot_k <= 1.5
    assert found.first.time_s is not None
    assert found.later is not None
    assert found.later.time_s is not None
    if found.learning.later_refined:
        assert found.later.time_s < found.first.time_s
    else:
        assert found.learning.later_why


@pytest.mark.slow
def test_bench_of_a_mould_file_prints_one_object_a_copy_and_a_summary(tmp_path: Path) -> None:
    """A file alone is enough; copies in child processes; code by tawny's targets only."""
    path = mould_file(tmp_path)
    done = bench(
        "--mould", str(path), "--copies", "1", "--pressings", "0", "--json",
        "--controller", "tawny", "--controller", "thermostat",
    )  # fmt: skip
    found = [json.loads(line) for line in done.stdout.splitlines()]
    runs = [one for one in found if "run" in one]
    summaries = {one["controller"]: one for one in found if "summary" in one}
    assert {(one["controller"], one["copy"]) for one in runs} == {
        ("tawny", 0), ("tawny", 1), ("thermostat", 0), ("thermostat", 1),
    }  # fmt: skip
    for one in runs:
        assert one["bench"] == "hold"
        assert one["mould"] == str(path)
        assert one["bounds"]["heat_up_s"] > 60.0
        assert one["run"]["simulated_s"] > 2400.0
        assert set(one["figures"]) == {
            "first_ratio", "later_ratio", "overshoot_k", "hold_worst_k"
        }  # fmt: skip
        ratio = one["figures"]["first_ratio"]
        if one["run"]["first"]["time_s"] is not None:
            expected = one["run"]["first"]["time_s"] / one["bounds"]["heat_up_s"]
            assert ratio == pytest.approx(expected)
        else:
            assert ratio is None
    tawny = summaries["tawny"]["summary"]
    assert tawny["first_ratio"]["worst"] == max(
        one["figures"]["first_ratio"] for one in runs if one["controller"] == "tawny"
    )
    assert tawny["first_ratio"]["worst_most"] == 1.25
    assert all(one["passed"] is None for one in summaries["thermostat"]["summary"].values())
    passed = all(one["passed"] for one in tawny.values())
    assert done.returncode == (0 if passed else 1)


@pytest.mark.slow
def test_bench_tells_people_of_a_miss_and_draws(tmp_path: Path) -> None:
    """The thermostat alone misses no target of ours; its table and its picture are there."""
    picture = tmp_path / "hold.png"
    done = bench(
        "--mould", "light-aluminium", "--controller", "thermostat", "--pressings", "1",
        "--picture", str(picture),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "light-aluminium, 160 °C" in done.stdout
    assert "thermostat" in done.stdout
    assert "MISSED" not in done.stdout
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_short_bench_of_the_hold_judges_two_moulds_and_its_speed() -> None:
    """What CI looks at: each figure beside its limit, in the form of the other benchmarks."""
    done = bench("--short", "--json")
    found = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["limit"] for one in found] == [*[1.25, 1.0, 0.25, 1.0] * 2, 3000.0]
    for one in found[:-1]:
        assert one["bench"] == "hold"
        assert one["passed"], one
        assert 0.0 < one["figures"]["median"] <= one["ratio"]
    speed = found[-1]["figures"]
    assert found[-1]["ratio"] == pytest.approx(speed["simulated_s"] / speed["cpu_s"])
    assert done.returncode == (0 if found[-1]["passed"] else 1)


def test_bench_takes_its_options_before_the_name_too() -> None:
    """`tawny bench --short --json start` is `tawny bench start --short --json`."""
    command = [sys.executable, str(start.script()), "bench", "--short", "--json", "start"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert {json.loads(line)["bench"] for line in done.stdout.splitlines()} == {"start"}


def test_bench_says_what_a_weak_mould_would_take(tmp_path: Path) -> None:
    """A mould that never gets there is not tried; the sentence gives both powers."""
    path = mould_file(tmp_path, WEAK)
    done = bench("--mould", str(path), "--controller", "tawny")
    assert "165 °C is out of reach" in done.stdout
    assert "90 W" in done.stdout
    told = [json.loads(one) for one in bench("--mould", str(path), "--json").stdout.splitlines()]
    assert min(told[0]["too_weak"]["needs_w"]) > 95.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("nonsense", "plate.toml"),
        (IRON.replace('"165 degC"', '"165"'), "heat_up_to"),
        (IRON.replace('mass = "5.2 kg"', 'mass = "-1 kg"'), "mass"),
        (IRON.replace("[model]", "[modle]"), "[model]"),
    ],
)
def test_bench_refuses_a_bad_mould_file_with_one_sentence(
    tmp_path: Path, text: str, said: str
) -> None:
    """What is wrong, where; nothing is run."""
    done = bench("--mould", str(mould_file(tmp_path, text)))
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_bench_refuses_a_picture_it_could_not_write(tmp_path: Path) -> None:
    """Before anything is simulated."""
    assert bench("--picture", str(tmp_path / "x.gif")).returncode == 2
    assert bench("--picture", str(tmp_path / "no" / "x.png")).returncode == 2


def made_case(controller: str, ratio: float | None, overshoot_k: float = 0.2) -> Case:
    """Return a case of a mould whose bound is 100 s."""
    time_s = None if ratio is None else 100.0 * ratio
    made = Run(
        learning=None,
        first=HeatUp(time_s=time_s, overshoot_k=overshoot_k, given_j=None),
        later=None,
        hold=None,
        hold_switchings_per_h=None,
        pressings=None,
        imbalance_j=0.0,
        simulated_s=1.0,
        cpu_s=1.0,
    )
    return Case("made", controller, 0, 1, 180.0, Bounds(heat_up_s=100.0, given_j=1.0), made)


@pytest.mark.parametrize(
    ("ratios", "passed"),
    [
        ((1.05, 1.05, 1.25), True),
        ((1.05, 1.06, 1.25), False),  # the median
        ((1.0, 1.0, 1.26), False),  # the worst
        ((1.0, 1.0, None), False),  # one never arrived
    ],
)
def test_targets_are_of_median_and_worst(ratios: tuple[float | None, ...], *, passed: bool) -> None:
    """The limit itself passes; what never came is worse than any limit."""
    figure = judged([made_case("tawny", one) for one in ratios], record=True)["first_ratio"]
    assert figure.passed is passed
    assert figure.worst == (math.inf if None in ratios else max(one for one in ratios if one))
    plain: dict[str, Any] = figure.plain()
    assert (plain["worst"] is None) is (None in ratios)
    assert json.dumps(plain, allow_nan=False)


def test_targets_bind_nobody_but_tawny_and_less_without_a_record() -> None:
    """A rival is told, not judged; on a guess only the overshoot is."""
    assert judged([made_case("simc", 9.0)], record=True)["first_ratio"].passed is None
    guess = judged([made_case("tawny", 3.0, 1.4)], record=False)
    assert guess["first_ratio"].passed is None
    assert guess["overshoot_k"].passed is True
    assert judged([made_case("tawny", 3.0, 1.6)], record=False)["overshoot_k"].passed is False
    report = Report("made", [], {}, {}, {"tawny": guess, "simc": {}}, record=False)
    assert report.passed


def test_copies_that_are_too_weak_are_left_out_and_told() -> None:
    """Their number and setpoint stand in the report; nothing is divided by a bound that is none."""
    model = load("underpowered")
    scenario = Scenario(("tawny",), 40, 0, 1)
    jobs, weak = jobs_of("underpowered", model, scenario, traced=False)
    assert {job.number for job in jobs} | set(weak) == set(range(41))
    assert not {job.number for job in jobs} & set(weak)
    (report,) = reports_of({"underpowered": model}, [], {"underpowered": weak}, scenario)
    assert set(report.weak_setpoints_c) == set(weak)
    assert set(TARGETS) >= set(report.figures)


def test_picture_of_the_hold_says_what_it_shows(tmp_path: Path) -> None:
    """Mould, setpoint, controllers and the bound stand in it as text, and that it is simulated."""
    points = tuple((float(at), math.sin(at / 30.0)) for at in range(0, 2000, 4))
    path = tmp_path / "hold.svg"
    draw_hold(
        HoldPicture(
            mould="saucer-160",
            setpoint_c=185.0,
            heat_up_s=700.0,
            recovery_s=40.0,
            curves=(
                Curve("tawny", points, tuple((at - 40.0, k) for at, k in points[:70])),
                Curve("thermostat", points, ()),
                Curve("nothing", (), ()),
            ),
        ),
        path,
    )
    text = path.read_text(encoding="utf-8")
    for wanted in ("SIMULATED: saucer-160 at 185 °C", "tawny", "thermostat", "no sooner"):
        assert wanted in text, wanted
    assert "nothing" not in text
