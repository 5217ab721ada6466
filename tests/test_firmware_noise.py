"""Noise on the line to the board: many broken lines, and a fuzzer that looks for a way in.

The long forms are `campaigns/broken_lines.py` and `campaigns/fuzz_wire.py`.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from c_core import FIRMWARE
from campaigns import broken_lines, fuzz_wire
from needs import lacking
from wire_board import Receiver

LINES = 100_000
RUNS = 400_000


@pytest.fixture
def clang() -> None:
    """Clang with its fuzzer."""
    if shutil.which(fuzz_wire.CLANG) is None:
        lacking("clang-19 with its fuzzer is not installed")


@pytest.mark.slow
def test_board_never_acts_on_one_of_many_broken_lines() -> None:
    """10^5 broken lines of every way, 0 taken, each counted once, each good line between taken."""
    tally = broken_lines.run(LINES, seed=1)
    assert tally.lines >= LINES
    assert tally.taken == []
    assert tally.miscounted == []
    assert tally.lost == []
    ways = {way.__name__ for way in broken_lines.WAYS}
    assert set(tally.kinds) == ways | {"stalled"}
    assert min(tally.kinds.values()) > LINES / 50


def test_campaign_sees_a_line_that_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """A way that leaves another good line is told, as is a receiver that takes half a line."""
    monkeypatch.setattr(broken_lines, "WAYS", (lambda _, rng: broken_lines.good(rng),))
    assert len(broken_lines.run(8, seed=1).taken) == 8
    monkeypatch.undo()
    monkeypatch.setattr(broken_lines, "STALL_MS", 49)
    tally = broken_lines.Tally()
    broken_lines.stalled(Receiver(), broken_lines.Random(1), 0, tally)
    assert len(tally.taken) == 1


@pytest.mark.slow
@pytest.mark.usefixtures("clang")
def test_fuzzing_finds_nothing_wrong_with_the_wire(tmp_path: Path) -> None:
    """A taken request gives its bytes back, lines are counted once, an LF begins anew."""
    fuzzer = fuzz_wire.build(tmp_path)
    tried, found = fuzz_wire.fuzz(fuzzer, fuzz_wire.sow(tmp_path), runs=RUNS, seed=1)
    assert found == ""
    assert tried >= RUNS


@pytest.mark.slow
@pytest.mark.usefixtures("clang")
@pytest.mark.parametrize(
    ("source", "right", "wrong", "told"),
    [
        pytest.param(
            "wire.c",
            "    receiver->oversize = false;\n}\n\nstatic",
            "}\n\nstatic",
            "receiver.bad + receiver.unknown == lines",
            id="skips on after a pause",
        ),
        pytest.param(
            "wire.c",
            "(WIRE_TO_BOARD_MOST - 1u)",
            "(WIRE_TO_BOARD_MOST + 1u)",
            "out of bounds",
            id="one byte past the buffer",
        ),
        pytest.param(
            "wire.c",
            "text[1] == (uint8_t)'0'",
            "false",
            "request_text",
            id="takes -0",
        ),
        pytest.param(
            "wire_write.c",
            "while (*words > ' ')",
            "while (*words > '\\n')",
            "heap-buffer-overflow",
            id="writes past the line",
        ),
    ],
)
def test_fuzzing_finds_a_planted_bug(
    source: str, right: str, wrong: str, told: str, tmp_path: Path
) -> None:
    """What is broken in a copy of the sources is found within the same number of inputs."""
    copy = tmp_path / "firmware"
    copy.mkdir()
    for path in FIRMWARE.glob("wire*.[ch]"):
        shutil.copy(path, copy)
    text = (copy / source).read_text(encoding="ascii")
    assert text.count(right) == 1
    (copy / source).write_text(text.replace(right, wrong), encoding="ascii")

    fuzzer = fuzz_wire.build(tmp_path, copy)
    _, found = fuzz_wire.fuzz(fuzzer, fuzz_wire.sow(tmp_path), runs=RUNS, seed=1)
    assert told in found
