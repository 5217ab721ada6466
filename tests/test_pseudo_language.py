"""The screens in a made-up language: whatever is still in Latin letters was not translated.

Every template that the extraction finds gets its letters replaced by Cyrillic ones, its
named fields left alone; the catalogue then goes through gettext like any other.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo

import tawny
from fake_viewer import FakeViewer, screen_rows
from screens_factory import make_part, make_trace
from screens_scenes import scene
from tawny.core.snapshot import Code, Snapshot
from tawny.ui.app import Dashboard
from tawny.words import tables, use_language, vocabulary
from tawny.words.alarms import ALARMS

PACKAGE = Path(tawny.__file__).parent
# Units are the same in every language; the gauge's is data.
SAME = {"min", "bar"}
SCENES = (
    "start",
    "arm",
    "preheat",
    "switch-on",
    "touchable-later",
    "last-closing",
    "never-ready",
    "ready",
    "standby",
    "dry-out",
    "by-hand",
    "unlike",
    "ramp",
    "fill",
    "fill-slow",
    "breathe",
    "hold",
    "release",
    "alarm",
    "deviation",
    "tripped",
    "link-lost",
    "rescue",
)


def pseudo(template: str) -> str:
    """Return a template in Cyrillic letters between brackets, its fields untouched."""
    pieces = re.split(r"(\{\w*\})", template)
    return "⟦" + "".join(p if p.startswith("{") else _cyrillic(p) for p in pieces) + "⟧"


def _cyrillic(text: str) -> str:
    small = str.maketrans({chr(97 + n): chr(0x430 + n) for n in range(26)})
    large = str.maketrans({chr(65 + n): chr(0x410 + n) for n in range(26)})
    return text.translate(small).translate(large)


def extracted() -> set[str]:
    """Return every template that `pybabel extract --keyword=N_` finds in the package."""
    keywords = {"_": None, "N_": None, "ngettext": (1, 2)}
    found = set()
    for _file, _line, message, _comments, _context in extract_from_dir(PACKAGE, keywords=keywords):
        found.update([message] if isinstance(message, str) else message)
    return found


@pytest.fixture(scope="module")
def catalogues(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the catalogue of the made-up language."""
    catalogue = Catalog(locale="ru", domain="tawny")
    for template in extracted():
        catalogue.add(template, pseudo(template))
    folder = tmp_path_factory.mktemp("locale") / "ru" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    buffer = io.BytesIO()
    write_mo(buffer, catalogue)
    (folder / "tawny.mo").write_bytes(buffer.getvalue())
    return folder.parents[1]


@pytest.fixture
def language(catalogues: Path) -> Iterator[None]:
    """Speak the made-up language."""
    use_language("ru", catalogues)
    yield
    use_language(None)


def without_names(snapshot: Snapshot) -> Snapshot:
    """Return a snapshot whose data has no Latin letter, so that only the program's are left."""
    fields = {
        name: value for name, value in snapshot.sentence.fields.items() if name != "force_unit"
    }
    if "topup_force" in fields or "force" in fields:
        fields["force_unit"] = "bar"
    return msgspec.structs.replace(
        snapshot,
        sentence=Code(snapshot.sentence.code, fields),
        mould="160",
        recipe="7",
        operator="Я",
        lot="12",
        recipes=("7", "8"),
        last_parts=tuple(make_part(n, part_id=f"0{n}", recipe="7") for n in range(5)),
    )


def latin_words(rows: list[str]) -> list[str]:
    """Return the words in Latin letters; one letter alone is a key or a unit."""
    words = re.findall(r"[A-Za-z]{2,}", "\n".join(rows))
    return [word for word in words if word not in SAME]


def test_pseudo_language_extraction_finds_every_template_of_the_tables() -> None:
    """Nothing a person reads waits in a table unmarked."""
    found = extracted()
    listed: list[str] = []
    for table in (
        *(tables.SENTENCES, tables.AHEAD, tables.REFUSALS),
        *(tables.PERMISSIVES, tables.RESCUE_STEPS),
    ):
        for choices in table.values():
            listed += [choices] if isinstance(choices, str) else list(choices)
    for what_and_do in ALARMS.values():
        for choices in what_and_do:
            listed += [choices] if isinstance(choices, str) else list(choices)
    for words in vars(vocabulary).values():
        if isinstance(words, dict) and all(isinstance(word, str) for word in words.values()):
            listed += words.values()
    assert len(listed) > 150
    assert not [template for template in listed if template not in found]


@pytest.mark.usefixtures("language")
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
@pytest.mark.asyncio
async def test_pseudo_language_leaves_no_word_untranslated(size: tuple[int, int]) -> None:
    """In every moment of a pressing each word on the screen came through gettext."""
    owner = FakeViewer(without_names(scene("hold")), make_trace())
    app = Dashboard(owner)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        for name in SCENES:
            owner.put(without_names(scene(name)))
            await pilot.pause()
            await pilot.pause()
            rows = screen_rows(app)
            assert latin_words(rows) == [], name
            assert "⟦" in "".join(rows)


@pytest.mark.usefixtures("language")
@pytest.mark.asyncio
async def test_pseudo_language_covers_every_question() -> None:
    """Questions, lists, help and refusals are translated too."""
    snapshot = msgspec.structs.replace(
        without_names(scene("deviation")), simulated_hand=True, desk_viewer=""
    )
    owner = FakeViewer(snapshot, make_trace())
    app = Dashboard(owner)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        for opener in ("s", "s w", "x", "c", "o", "l", "u", "e", "e p", "v", "question_mark", "q"):
            await pilot.press(*opener.split())
            await pilot.pause()
            assert latin_words(screen_rows(app)) == [], opener
            await pilot.press(*["escape"] * len(opener.split()))
            await pilot.pause()
        owner.refuse_with = Code("stale_phase", {"phase": "release"})
        await pilot.press("m")
        await pilot.pause()
        assert latin_words(screen_rows(app)) == []
        owner.dead = True
        await pilot.press("h")
        await pilot.pause()
        assert latin_words(screen_rows(app)) == []
        await pilot.press("ctrl+c")
        await pilot.pause()
        assert latin_words(screen_rows(app)) == []


@pytest.mark.usefixtures("language")
@pytest.mark.asyncio
async def test_pseudo_language_would_see_an_unmarked_word() -> None:
    """A name written in Latin letters is found: the check can fail."""
    named = msgspec.structs.replace(without_names(scene("hold")), operator="Untranslated")
    app = Dashboard(FakeViewer(named, make_trace()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.pause()
        assert latin_words(screen_rows(app)) == ["Untranslated"]
