"""Fuzzing of the board's receiver and writer, led by coverage, under sanitizers.

In the folder `tests`: `python -m campaigns.fuzz_wire [--runs N] [--seed S]`. Needs clang-19.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

from c_core import FIRMWARE
from tawny.core import messages as m
from wire_lines import VECTORS, raw_of

CLANG: Final = "clang-19"
HARNESS: Final = Path(__file__).resolve().parent.parent / "fuzz" / "wire_fuzz.c"
SOURCES: Final = ("wire", "wire_write", "wire_table")
SANITIZERS: Final = (
    "-fsanitize=fuzzer,address,undefined",
    "-fno-sanitize-recover=all",
    "-fstrict-flex-arrays=3",  # the receiver's buffer ends its struct, yet has bounds
)
HANG_S: Final = 10  # an input that takes longer is a finding
LONGEST: Final = 400  # bytes of an input: some lines and pauses


def build(folder: Path, firmware: Path = FIRMWARE) -> Path:
    """Build the fuzzer.

    Args:
        folder: Where it goes.
        firmware: Where the sources lie.
    """
    fuzzer = folder / "wire_fuzz"
    sources = [str(firmware / f"{name}.c") for name in SOURCES]
    subprocess.run(
        [CLANG, "-std=c11", "-g", "-O1", "-Wall", "-Wextra", "-Werror", "-DIN_FLASH=", *SANITIZERS,
         f"-I{firmware}", str(HARNESS), *sources, "-o", str(fuzzer)],
        check=True,
    )  # fmt: skip
    return fuzzer


def sow(folder: Path) -> Path:
    """Write the corpus to begin with: every vector as a line, and lines to write."""
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, vector in enumerate(VECTORS):
        (corpus / f"vector-{number}").write_bytes(raw_of(vector)[:LONGEST] + b"\n")
    good = [raw_of(v) for v in VECTORS if v["direction"] == "to_board" and v["expected"] == "ok"]
    # 1 and a byte is a silence in an input; one that begins with 1 is a line to write.
    (corpus / "stalled").write_bytes(good[0][:9] + b"\x01\x32" + good[1] + b"\n")
    (corpus / "slow").write_bytes(good[0][:9] + b"\x01\x31" + good[0][9:] + b"\n")
    for kind in range(len(m.ToBoard.__args__), len((m.ToBoard | m.FromBoard).__args__)):
        (corpus / f"write-{kind}").write_bytes(bytes([1, kind]) + bytes(60))
    return corpus


def fuzz(fuzzer: Path, corpus: Path, *, runs: int, seed: int) -> tuple[int, str]:
    """Run the fuzzer.

    Args:
        fuzzer: As built.
        corpus: As sown; it grows.
        runs: How many inputs are tried.
        seed: The same seed tries the same inputs.

    Returns:
        How many inputs were tried, and what the fuzzer found: nothing, or its whole report.
    """
    ran = subprocess.run(
        [str(fuzzer), str(corpus), f"-runs={runs}", f"-seed={seed}", f"-max_len={LONGEST}",
         "-use_value_profile=1", f"-timeout={HANG_S}", "-print_final_stats=1", "-verbosity=1",
         f"-artifact_prefix={fuzzer.parent}/"],
        capture_output=True, text=True, errors="replace", check=False,
    )  # fmt: skip
    tried = re.search(r"number_of_executed_units:\s*(\d+)", ran.stderr)
    return int(tried[1]) if tried else 0, ran.stderr if ran.returncode else ""


def main() -> None:
    """Run the campaign and say what came of it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=20_000_000)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        corpus = sow(folder)
        tried, found = fuzz(build(folder), corpus, runs=wanted.runs, seed=wanted.seed)
        kept = len(list(corpus.iterdir()))
    sys.stdout.write(f"{tried} inputs tried, {kept} kept for what they reach\n")
    sys.stdout.write(found or "nothing found\n")
    sys.exit(bool(found))


if __name__ == "__main__":
    main()
