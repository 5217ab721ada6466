"""Pressings that were cut short: what of them can be shown, exported and drawn."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from rig import Rig
from tawny.cli.main import answer
from tawny.core.names import Phase
from tawny.store.codes import part_code


def cut_short(home: Path, phase: Phase, after_s: float) -> None:
    """Leave a record whose owner was killed so long after a phase began, sealed by the next."""
    rig = Rig(home, start_c=175.0, person=1)
    rig.until(phase)
    rig.run(after_s)
    rig.recorder.flush()
    rig.store.close()
    with Rig(home):
        pass


@pytest.mark.parametrize(
    ("phase", "after_s"), [(Phase.FILL, 3.0), (Phase.BREATHE, 3.0), (Phase.HOLD, 20.0)]
)
def test_cut_short_pressing_is_exported_with_what_is_known(
    tmp_path: Path, phase: Phase, after_s: float
) -> None:
    """Both formats and the picture are written; what nobody knows is absent, never a number."""
    home, to = tmp_path / "home", tmp_path / "out"
    cut_short(home, phase, after_s)
    words = ["export", part_code(1), "--home", str(home), "--to", str(to)]
    assert answer([*words, "--picture"]) == 0
    assert answer([*words, "--format", "json"]) == 0

    stem = f"SIMULATED-{part_code(1)}"
    rows = list(csv.DictReader((to / f"{stem}.csv").read_text(encoding="utf-8").splitlines()))
    whole = json.loads((to / f"{stem}.json").read_text(encoding="utf-8"))
    about = json.loads((to / f"{stem}.about.json").read_text(encoding="utf-8"))
    assert {row["phase"] for row in rows} >= {phase.value}
    assert 4 * after_s <= len(rows)
    assert len(whole["samples"]["t_s"]) == len(rows)
    assert "interrupted" in json.dumps(about)
    assert "NaN" not in json.dumps(whole)
    assert (to / f"{stem}.svg").exists()


def test_cut_short_before_its_first_sample_has_no_trace_and_stops_no_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asked for by name: one sentence and code 2. Among all: said, and the others are written."""
    home, to = tmp_path / "home", tmp_path / "out"
    cut_short(home, Phase.HOLD, 5.0)
    cut_short(home, Phase.FILL, 0.0)
    words = ["export", "--home", str(home), "--to", str(to)]
    assert answer([*words, part_code(2)]) == 2
    said = capsys.readouterr().err
    assert "was cut short before its first sample" in said
    assert answer(["show", part_code(2), "--home", str(home)]) == 0
    assert answer(words) == 0

    assert "was cut short before its first sample" in capsys.readouterr().err
    assert (to / f"SIMULATED-{part_code(1)}.csv").exists()
    assert not (to / f"SIMULATED-{part_code(2)}.csv").exists()
