"""`tawny when`: what it tells of a cold press, and of one that runs."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from msgspec.structs import replace

from live_press import LivePress, tawny
from screens_factory import NOW_MS, make_half, make_snapshot
from tawny.cli.root import root
from tawny.cli.when_told import Question, told
from tawny.core.names import Phase
from tawny.core.snapshot import AheadView
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """Return the demo workshop's home."""
    return lay_demo(Home(tmp_path))


def when(home: Home, *options: str) -> tuple[int, str]:
    """Run the command; return its exit code and what it said."""
    result = CliRunner().invoke(root, ["when", "--home", str(home.root), *options])
    return result.exit_code, result.output


def test_when_tells_of_a_cold_mould(home: Home) -> None:
    """With nobody at the press: from room heat, and that nothing heats by itself."""
    code, said = when(home)
    assert code == 0
    assert said.startswith("SIMULATED · saucer-160")
    assert "Heated from now on: ready about" in said
    assert said.endswith("This only tells. Heat starts by hand, at the press.\n")


def test_when_answers_a_program(home: Home) -> None:
    """One line of JSON: when to switch on, the last closing, what it is told by."""
    question = Question(NOW_MS, NOW_MS + 7_200_000, NOW_MS + 14_400_000, "grain-apple")
    values, _lines = told(home, None, question)
    assert json.loads(json.dumps(values, allow_nan=False)) == values
    assert values["ready_utc_ms"] == pytest.approx(NOW_MS + 760_000, abs=60_000)
    assert values["margin_s"] == 300.0
    assert values["switch_on_by_utc_ms"] == pytest.approx(
        NOW_MS + 7_200_000 - 300_000 - 760_000, abs=60_000
    )
    assert values["late"] is False
    assert values["parts_left"] is None
    assert values["cycles_counted"] == 0
    code, said = when(home, "--json", "--press-at", "09:00", "--outage", "14:00")
    assert code == 0
    assert values.keys() == json.loads(said).keys()


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--press-at", "25:00"], "no time of day"),
        (["--outage", "soon"], "no time of day"),
        (["--press-at", "2020-01-01 09:00"], "is past"),
        (["--recipe", "no-such"], "no recipe no-such"),
    ],
)
def test_when_refuses_bad_input(home: Home, options: list[str], why: str) -> None:
    """A time that is none, a past one, an unknown recipe."""
    result = CliRunner().invoke(root, ["when", "--home", str(home.root), *options])
    assert result.exit_code != 0
    assert why in str(result.exception)


def test_when_tells_what_the_owner_of_a_press_foresees(home: Home) -> None:
    """Where one runs, its own forecast counts, and its pressings of the shift."""
    seen = make_snapshot(
        phase=Phase.READY,
        hold=None,
        recipe="grain-apple",
        ahead=AheadView(cycle_s=300.0, out_s=200.0, cycles_counted=4),
    )
    question = Question(NOW_MS, None, NOW_MS + 3_600_000, "")
    values, lines = told(home, seen, question)
    assert (values["cycle_s"], values["cycles_counted"]) == (300.0, 4)
    assert values["close_by_utc_ms"] == NOW_MS + 3_600_000 - 320_000
    # The demo's recipe fills in at most so long; then each 300 s.
    assert isinstance(values["closings_left"], int)
    assert 10 <= values["closings_left"] <= 11
    heating = replace(seen, phase=Phase.PREHEAT, ready_at_utc_ms=NOW_MS + 500_000)
    values, lines = told(home, heating, Question(NOW_MS, NOW_MS + 400_000, None, ""))
    assert values["ready_utc_ms"] == NOW_MS + 500_000
    assert values["late"] is True
    assert any("later than" in line for line in lines)


def test_when_tells_of_a_warm_mould_by_its_readings(home: Home) -> None:
    """Warm it is ready sooner than cold."""
    warm = make_half(process_value_c=120.0, setpoint_c=None, deviation_k=None, in_band=False)
    seen = make_snapshot(phase=Phase.COOL, hold=None, recipe="grain-apple", upper=warm, lower=warm)
    cold, _lines = told(home, None, Question(NOW_MS, None, None, "grain-apple"))
    found, _lines = told(home, seen, Question(NOW_MS, None, None, ""))
    assert isinstance(found["ready_utc_ms"], int)
    assert isinstance(cold["ready_utc_ms"], int)
    assert found["ready_utc_ms"] < cold["ready_utc_ms"] - 300_000


@pytest.mark.slow
def test_when_asks_the_owner_that_runs(tmp_path: Path) -> None:
    """Over the desk of a living owner, beside its viewer, without taking the desk."""
    press = LivePress(tmp_path)

    async def day() -> str:
        press.start_board("60 degC")
        press.start_owner()
        await press.look()
        await press.start_the_day()
        process = await asyncio.create_subprocess_exec(
            *tawny("when"), "--home", str(tmp_path), "--json",
            stdout=asyncio.subprocess.PIPE,
        )  # fmt: skip
        said, _ = await process.communicate()
        snapshot = await press.until(lambda one: one.phase is Phase.PREHEAT)
        assert snapshot.desk_viewer == "tester"
        await press.leave()
        return said.decode()

    try:
        values = json.loads(asyncio.run(day()))
    finally:
        press.stop()
    assert values["running"] is True
    assert values["phase"] in {"preheat", "soak"}
    assert values["ready_utc_ms"] > values["now_utc_ms"]
