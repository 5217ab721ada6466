"""What the image takes of the controller, and that the same sources make the same bytes."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from zlib import crc32

import pytest
import size

from c_core import FIRMWARE
from image_start import ask, decoded, new_board
from tawny.core import messages as m
from tawny.sim.image import Image, read_image
from telling import say

STAMP_BYTES = 4


@pytest.fixture(scope="module")
def image() -> Image:
    """The image as the other tests run it."""
    return new_board().chip.image


@pytest.mark.parametrize("what", ["flash", "ram", "stack"])
def test_image_stays_within_its_share(image: Image, what: str) -> None:
    """Flash, static RAM and the deepest stack within the limits of the build."""
    figures = size.measure(image.path)
    room, share = {
        "flash": (size.FLASH_BYTES, size.FLASH_SHARE),
        "ram": (size.RAM_BYTES, size.RAM_SHARE),
        "stack": (figures["room"], size.STACK_SHARE),
    }[what]
    say(f"{what}: {figures[what]} of {room} bytes, limit {share:.0%}")
    assert 0 < figures[what] <= share * room


def test_image_size_knows_the_whole_flash(image: Image) -> None:
    """The figure for flash is what goes into the controller, not less."""
    assert size.measure(image.path)["flash"] == len(image.flash)


def test_image_stamp_is_its_crc(image: Image) -> None:
    """The four bytes at `board_stamp` are the CRC-32 of all others."""
    at = image.symbols["board_stamp"]
    others = image.flash[:at] + image.flash[at + STAMP_BYTES :]
    stamp = int.from_bytes(image.flash[at : at + STAMP_BYTES], "little")
    assert stamp == crc32(others)
    assert stamp not in {0, 0xFFFF_FFFF}


def test_image_says_its_stamp_on_the_line(image: Image) -> None:
    """`build` of `boot` and of `here` is that stamp."""
    at = image.symbols["board_stamp"]
    stamp = f"{int.from_bytes(image.flash[at : at + STAMP_BYTES], 'little'):08x}"
    board = new_board()
    board.advance(1700)
    said = decoded(board.take()) + ask(board, m.Hello(1, m.PROTOCOL_MAJOR, "7a3c90de"))
    builds = [one.build for one in said if isinstance(one, m.Boot | m.Here)]
    assert builds == [stamp, stamp]


@pytest.mark.slow
def test_image_is_the_same_wherever_it_is_built(tmp_path: Path) -> None:
    """Two copies of the sources in folders of different names: same bytes, same stamp."""
    images = []
    for name in ("here", "a/longer/way/there"):
        sources = tmp_path / name
        shutil.copytree(FIRMWARE, sources, ignore=shutil.ignore_patterns("build", "__pycache__"))
        build = tmp_path / f"built {name.replace('/', '-')}".replace(" ", "-")
        command = ["make", "-C", str(sources), f"BUILD={build}"]
        subprocess.run(command, check=True, capture_output=True)
        hexes = (build / "tawny.hex").read_bytes()
        images.append((read_image(build / "tawny.elf").flash, hexes))
    assert images[0] == images[1]


@pytest.mark.slow
def test_image_changes_its_stamp_with_a_limit(tmp_path: Path) -> None:
    """Another compiled limit is another build."""
    sources = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, sources, ignore=shutil.ignore_patterns("build", "__pycache__"))
    stamps = []
    for cap in (2000, 1900):
        build = sources / f"build-{cap}"
        command = ["make", "-C", str(sources), f"BUILD={build}", f"CAP={cap}"]
        subprocess.run(command, check=True, capture_output=True)
        built = read_image(build / "tawny.elf")
        at = built.symbols["board_stamp"]
        stamps.append(built.flash[at : at + STAMP_BYTES])
    assert stamps[0] != stamps[1]
