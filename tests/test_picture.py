"""The picture of a part: whole, legible, without anything from elsewhere."""

from __future__ import annotations

import struct
import subprocess
import sys
import zlib
from pathlib import Path
from xml.etree import ElementTree as ET

import msgspec
import pytest

from made_trace import made_part, made_samples
from tawny.core.names import Phase
from tawny.errors import InputError, TawnyError
from tawny.report.drawing import draw_part

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder for the list of fonts, made once for all pictures."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory, cache: Path) -> tuple[Path, Path]:
    """Return the SVG and the PNG of the made-up part."""
    svg, png = draw_part(made_part(), tmp_path_factory.mktemp("out"), cache=cache)
    return svg, png


def words(svg: Path) -> str:
    """Return all text of an SVG."""
    tree = ET.parse(svg)  # noqa: S314 - our own file
    return "\n".join("".join(text.itertext()) for text in tree.iter(f"{SVG}text"))


def test_picture_says_what_it_shows(pictures: tuple[Path, Path]) -> None:
    """Part, recipe, press, result, phases, both halves, setpoint and trip stand in it as text."""
    said = words(pictures[0])

    for wanted in (
        "P0142-K",
        "grain-apple version 3",
        "press-1, Millbrook workshop",
        "complete",
        "hold 4:04",
        "peak 181.4 °C",
        "breathe",
        "upper half",
        "lower half",
        "setpoint",
        "trip 215 °C",
        "min:s",
    ):
        assert wanted in said, wanted


def test_picture_of_a_simulated_part_is_marked(
    tmp_path: Path, cache: Path, pictures: tuple[Path, Path]
) -> None:
    """SIMULATED stands across it and in its name; a real part carries no such mark."""
    (real,) = draw_part(made_part(simulated=False), tmp_path, cache=cache, formats=("svg",))

    assert "SIMULATED" in words(pictures[0])
    assert all(path.name.startswith("SIMULATED-") for path in pictures)
    assert "SIMULATED" not in words(real)
    assert real.name == "P0142-K.svg"


def test_picture_fetches_nothing(pictures: tuple[Path, Path]) -> None:
    """No link, no remote font, no script: only namespace names look like addresses."""
    tree = ET.parse(pictures[0])  # noqa: S314 - our own file
    links = [
        value
        for element in tree.iter()
        for name, value in element.attrib.items()
        if name.endswith("href")
    ]
    text = pictures[0].read_text()

    assert all(link.startswith("#") for link in links)
    assert "@font-face" not in text
    assert "@import" not in text
    assert "<script" not in text


def test_picture_as_png_is_large_and_not_blank(pictures: tuple[Path, Path]) -> None:
    """The PNG is 1200 by 672 dots, and its rows are not all alike (PNG, ISO/IEC 15948)."""
    data = pictures[1].read_bytes()
    width, height, depth, colour = struct.unpack(">IIBB", data[16:26])
    packed, at = b"", 8
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"IDAT":
            packed += data[at + 8 : at + 8 + length]
        at += 12 + length
    stride = 1 + width * (4 if colour == 6 else 3) * depth // 8
    raw = zlib.decompress(packed)

    assert (width, height) == (1200, 672)
    assert len(raw) == stride * height
    assert len({raw[place * stride + 1 : (place + 1) * stride] for place in range(height)}) > 100


def test_picture_is_the_same_each_time(
    tmp_path: Path, cache: Path, pictures: tuple[Path, Path]
) -> None:
    """The same trace gives the same bytes, so that a drawing can be compared."""
    again = draw_part(made_part(), tmp_path, cache=cache)

    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in pictures]


def test_picture_never_loses_a_peak_of_one_sample(tmp_path: Path, cache: Path) -> None:
    """In an hour of trace, thinned for the page, one sample at 214 degC is still drawn."""
    samples = made_samples(18_000)
    values = list(samples.upper_c)
    values[9_001] = 214.0
    spiked = msgspec.structs.replace(samples, upper_c=tuple(values))

    def highest(one: Path) -> float:
        """Return the height of the solid trace's top, in dots from the top of the page."""
        paths = [
            element.attrib["d"]
            for element in ET.parse(one).iter(f"{SVG}path")  # noqa: S314 - our own file
            if "stroke: #b35900" in element.attrib.get("style", "")
            and "stroke-dasharray" not in element.attrib.get("style", "")
        ]
        longest = max(paths, key=len).split()
        return min(float(longest[place + 2]) for place, word in enumerate(longest) if word in "ML")

    flat = draw_part(made_part(samples=samples), tmp_path / "a", cache=cache, formats=("svg",))[0]
    peak = draw_part(made_part(samples=spiked), tmp_path / "b", cache=cache, formats=("svg",))[0]

    assert highest(peak) < highest(flat) - 50.0
    assert peak.stat().st_size < 200_000


def test_picture_of_very_little_is_still_drawn(tmp_path: Path, cache: Path) -> None:
    """No sample, one sample, and a half that never read: each gives a picture, not a crash."""
    for rows in (0, 1, 40):
        samples = made_samples(rows)
        dead = msgspec.structs.replace(samples, lower_c=(None,) * rows, phase=(Phase.HOLD,) * rows)
        (path,) = draw_part(
            made_part(samples=dead), tmp_path / str(rows), cache=cache, formats=("svg",)
        )
        assert "lower half" in words(path)


def test_picture_takes_names_as_they_are(tmp_path: Path, cache: Path) -> None:
    """Signs that mean something to SVG or to a typesetter are only signs."""
    part = made_part()
    record = msgspec.structs.replace(part.record, press="<press> $x^2$ & co")
    odd = msgspec.structs.replace(part, record=record)
    (path,) = draw_part(odd, tmp_path, cache=cache, formats=("svg",))

    assert "<press> $x^2$ & co" in words(path)


def test_picture_is_drawn_in_another_process() -> None:
    """Ordering a picture loads no matplotlib here."""
    script = "import sys, tawny.report.drawing; print(*{'matplotlib', 'numpy'} & set(sys.modules))"
    command = [sys.executable, "-c", script]
    answer = subprocess.run(command, capture_output=True, text=True, check=True)

    assert answer.stdout.split() == []


def test_picture_that_cannot_be_drawn_is_one_sentence(tmp_path: Path, cache: Path) -> None:
    """An unknown format, a file in the way and a failing child each have a sentence."""
    with pytest.raises(InputError, match="format gif is not known; choose one of svg, png"):
        draw_part(made_part(), tmp_path, cache=cache, formats=("gif",))
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        draw_part(made_part(), tmp_path / "file", cache=cache)
    (tmp_path / "out" / ".SIMULATED-P0142-K.svg").mkdir(parents=True)
    with pytest.raises(TawnyError, match="the picture of P0142-K could not be drawn: IsADirectory"):
        draw_part(made_part(), tmp_path / "out", cache=cache, formats=("svg",))
