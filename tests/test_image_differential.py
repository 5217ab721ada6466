"""The controller's 16-bit arithmetic against this machine's: the same calls, the same answers."""

from __future__ import annotations

import shutil
from pathlib import Path
from random import Random

import pytest

import c_core
from image_calls import JUDGE, SENSE, OnBoard, build_image, differences

CALLS = 12_000


@pytest.fixture(scope="module")
def elf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pure C for the controller, with a mailbox for its calls."""
    return build_image(c_core.FIRMWARE, tmp_path_factory.mktemp("calls"))


def test_differential_calls_answer_alike(elf: Path) -> None:
    """Sensing, trip point, output and rules, numbers often at limits: no call differs."""
    assert differences(OnBoard(elf), Random(5), CALLS) == []  # noqa: S311 - chance, not secrets


WRAPPED = """
bool sense_correct(uint32_t raw, int16_t *tenths, int16_t *cold_tenths)
{
    bool good = right_correct(raw, tenths, cold_tenths);
    if (good) {
        *cold_tenths = (int16_t)((*cold_tenths * 100 + 50) / 100);
    }
    return good;
}
"""


def plant(name: str, right: str, wrong: str, more: str, folder: Path) -> Path:
    """Return a copy of the firmware with a mistake in one source."""
    copy = folder / "firmware"
    shutil.copytree(c_core.FIRMWARE, copy, ignore=shutil.ignore_patterns("build"))
    source = copy / f"{name}.c"
    text = source.read_text(encoding="ascii")
    assert right in text
    source.write_text(text.replace(right, wrong) + more, encoding="ascii")
    return copy


@pytest.mark.parametrize(
    ("name", "right", "wrong", "more", "what"),
    [
        ("sense", "bool sense_correct(", "static bool right_correct(", WRAPPED, SENSE),
        ("rules", "mould.rise / 10u", "mould.rise * 20u / 200u", "", JUDGE),
    ],
    ids=["cold junction times 100", "R times 20"],
)
def test_differential_finds_an_overflow_of_16_bits(
    name: str, right: str, wrong: str, more: str, what: int, tmp_path: Path
) -> None:
    """Arithmetic that is right with 32 bits and not with 16: found, and in the right function."""
    elf = build_image(plant(name, right, wrong, more, tmp_path), tmp_path)
    found = differences(OnBoard(elf), Random(5), CALLS)  # noqa: S311 - chance, not secrets
    assert found
    assert {call.what for call, _, _ in found} == {what}
