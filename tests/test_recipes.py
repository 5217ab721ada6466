"""Recipes as files: read with a sentence for each mistake, written without losing a comment."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tawny.core.recipe import Breath, Recipe
from tawny.errors import SettingsError
from tawny.settings.decode import read_file
from tawny.settings.demo import demo_files
from tawny.settings.edit import edited
from tawny.settings.marks import FileTable, Tree
from tawny.settings.recipes import read_recipe, read_recipes, write_recipe
from tawny.words import sentence_of

SHIPPED = demo_files()["recipes/grain-apple.toml"]
TEXT = SHIPPED.read_text(encoding="utf-8")
FIRST_STEP = Path(__file__).parent / "kept" / "recipe-1.toml"


def refusal(tmp_path: Path, old: str, new: str) -> str:
    """Return the sentence with which a changed recipe is refused."""
    assert old in TEXT
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        read_recipe(path)
    said = sentence_of(refused.value)
    assert said.startswith(str(path))
    assert "\n" not in said
    return said


def test_recipe_is_read_in_core_units() -> None:
    """Quantities with units become numbers whose names end in the unit."""
    recipe = read_recipe(SHIPPED).recipe

    assert (recipe.name, recipe.version, recipe.mould) == ("grain-apple", 3, "saucer-160")
    assert recipe.setpoints_c() == (180.0, 180.0)
    assert (recipe.residue_g, recipe.water_g, recipe.charge_g()) == (32.0, 6.0, 38.0)
    assert (recipe.force, recipe.force_unit, recipe.top_up_below) == (140.0, "bar", 110.0)
    assert (recipe.equivalent_s, recipe.least_s, recipe.most_s) == (240.0, 180.0, 360.0)
    assert recipe.activation_j_per_mol == 90_000.0
    assert recipe.breaths[0] == Breath(at_s=12.0, open_s=2.0)


def test_recipe_of_the_first_schema_opens_for_ever() -> None:
    """A file written with the first version of the format still means the same."""
    recipe = read_recipe(FIRST_STEP).recipe

    assert recipe == Recipe(
        name="oat hull plate",
        version=7,
        mould="plate-220",
        setpoint_c=172.5,
        lower_setpoint_c=175.0,
        band_k=2.5,
        residue_g=61.5,
        water_g=9.25,
        force=14.5,
        force_unit="MPa",
        top_up_below=11.0,
        fill_most_s=75.0,
        breaths=(Breath(at_s=15.0, open_s=2.5), Breath(at_s=40.0, open_s=3.0)),
        equivalent_s=270.0,
        least_s=200.0,
        most_s=390.0,
        activation_j_per_mol=95_000.0,
        clean_every=12,
        oil_every=2,
        note="the first of its kind",
    )


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"180 degC"', '"1800 degC"', "setpoint 1800 degC is not between 60 degC and 200 degC"),
        ('"180 degC"', '"180 degF"', "is only 82.2 degC, below the boil; if 180 degC is meant"),
        ('"180 degC"', '"nan degC"', 'setpoint: "nan degC" is not a finite number'),
        ('"180 degC"', "nan", "setpoint = nan is not a finite number"),
        ('"180 degC"', "180", 'setpoint = 180 has no unit: write it as text, such as "180 degC"'),
        ('"180 degC"', '"180"', '"180" has no unit'),
        ('"180 degC"', '"180,5 degC"', '"180,5 degC" has a comma'),
        ('"180 degC"', "180,5", "line 8: setpoint = 180,5 has a comma"),
        ('"180 degC"', '"453 K"', "could be a difference"),
        ('"2 K"', '"2 degC"', "is a temperature where a difference is wanted"),
        ('"2 K"', '"20 K"', "band 20 K is not between 0.5 and 10 K"),
        ("setpoint =", "setpont =", 'setpont is not a known key; did you mean "setpoint"?'),
        ("residue =", "residu =", 'charge.residu is not a known key; did you mean "residue"?'),
        ('water = "6 g"', 'water = "6 ml"', "charge.water: "),
        ('least = "3 min"', 'least = "7 min"', "least hold 420 s is longer than the most 360 s"),
        ('at = "25 s"', 'at = "11 s"', "breath at 11 s must come after the one before"),
        ('open = "3 s"', 'open = "3 min"', "breath at 45 s must come after"),
        ('open = "3 s"', 'opn = "3 s"', 'breath 3: opn is not a known key; did you mean "open"?'),
        ("[[breath]]", "[breath]", "is not TOML"),
        ('force = "140 bar"', 'force = "140"', "press.force: "),
        ('top_up_below = "110 bar"', 'top_up_below = "150 bar"', "not above its 140 bar"),
        ('top_up_below = "110 bar"', 'top_up_below = "11 MPa"', "must be in bar like the force"),
        ("version = 3", "version = 0", "version = 0 is not between 1 and 999999"),
        ("version = 3", 'version = "3"', "version = 3 must be a whole number"),
        ("schema = 1", "schema = 99", "schema 99 is newer than this program, which reads up to 1"),
    ],
)  # fmt: skip
def test_recipe_mistake_is_one_clear_sentence(
    tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    """Each mistake names the file, what, the value, the limit and what to do; exit code 2."""
    assert sentence in refusal(tmp_path, old, new)
    assert SettingsError.exit_code == 2


def test_recipe_in_fahrenheit_is_converted_and_said(tmp_path: Path) -> None:
    """356 degF is 180 degC; whoever reads the recipe is told how it was read."""
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT.replace('"180 degC"', '"356 degF"'), encoding="utf-8")
    recipe, notes = read_recipe(path)

    assert recipe.setpoint_c == pytest.approx(180.0)
    assert [sentence_of(note) for note in notes] == [
        f'{path}: setpoint "356 degF" is read as 180.0 degC'
    ]


def test_recipe_name_stands_in_a_folder_once(tmp_path: Path) -> None:
    """Two files with one recipe name are refused, and both are named."""
    (tmp_path / "a.toml").write_text(TEXT)
    (tmp_path / "b.toml").write_text(TEXT)

    with pytest.raises(
        SettingsError, match=r"b.toml: recipe grain-apple already stands in .*a.toml"
    ):
        read_recipes(tmp_path)


def test_recipe_written_again_keeps_comments_and_spelling(tmp_path: Path) -> None:
    """Only lines whose meaning changed are written: "4 min" stays, and so does every comment."""
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT.replace('equivalent = "4 min"', 'equivalent = "240 s"'))
    recipe = read_recipe(path).recipe
    write_recipe(path, msgspec.structs.replace(recipe, version=4, residue_g=31.5))

    changed = [
        (before, after)
        for before, after in zip(TEXT.splitlines(), path.read_text().splitlines(), strict=True)
        if before != after
    ]
    assert changed == [
        ("version = 3", "version = 4"),
        ('residue = "32 g"', 'residue = "31.5 g"'),
        ('equivalent = "4 min"', 'equivalent = "240 s"'),
    ]


def test_recipe_unchanged_is_not_written(tmp_path: Path) -> None:
    """Saving what is there already leaves the file alone, to the byte and the time."""
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT)
    before = path.stat().st_mtime_ns
    write_recipe(path, read_recipe(path).recipe)

    assert path.stat().st_mtime_ns == before


def test_recipe_keys_come_and_go(tmp_path: Path) -> None:
    """An optional key is taken out when it means nothing, and put in when it does."""
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT)
    recipe = msgspec.structs.replace(
        read_recipe(path).recipe, top_up_below=None, lower_setpoint_c=178.0, breaths=(), note=""
    )
    write_recipe(path, recipe)

    assert read_recipe(path).recipe == recipe
    assert "top_up_below" not in path.read_text()
    assert "[[breath]]" not in path.read_text()


@given(
    recipe=st.builds(
        Recipe,
        name=st.from_regex(r"[A-Za-zäß][A-Za-z0-9 .äß-]{0,30}[A-Za-z0-9]", fullmatch=True),
        version=st.integers(1, 999_999),
        mould=st.just("saucer-160"),
        setpoint_c=st.decimals(100, 200, places=2).map(float),
        lower_setpoint_c=st.none() | st.decimals(100, 200, places=2).map(float),
        band_k=st.decimals("0.5", 10, places=2).map(float),
        residue_g=st.decimals("0.1", 5000, places=2).map(float),
        water_g=st.decimals(0, 2000, places=2).map(float),
        force=st.decimals(1, 1000, places=1).map(float),
        force_unit=st.sampled_from(["bar", "MPa", "kN"]),
        equivalent_s=st.integers(1, 3600).map(float),
        least_s=st.integers(60, 300).map(float),
        most_s=st.integers(300, 3600).map(float),
        breaths=st.sampled_from(
            [(), (Breath(at_s=12.0, open_s=2.0), Breath(at_s=30.5, open_s=0.5))]
        ),
        activation_j_per_mol=st.integers(10, 250).map(lambda kj: kj * 1000.0),
        note=st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=40),
    )
)
def test_recipe_written_reads_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, recipe: Recipe
) -> None:
    """Whatever recipe the core allows survives the file, and its hash with it."""
    path = tmp_path_factory.mktemp("recipe") / "recipe.toml"
    write_recipe(path, recipe)
    again = read_recipe(path).recipe

    assert again == recipe
    assert again.digest() == recipe.digest()


def test_recipe_that_breaks_a_rule_is_never_written(tmp_path: Path) -> None:
    """A wrong recipe leaves the file as it was."""
    path = tmp_path / "recipe.toml"
    path.write_text(TEXT)
    recipe = msgspec.structs.replace(read_recipe(path).recipe, setpoint_c=float("nan"))

    with pytest.raises(SettingsError):
        write_recipe(path, recipe)
    assert path.read_text() == TEXT


class LaterTable(FileTable, frozen=True, kw_only=True):
    """A made-up format at its third schema."""

    colour: str
    size: int = 1


def test_older_schema_is_upgraded_step_by_step(tmp_path: Path) -> None:
    """Each upgrade turns one schema into the next; a newer file than known is refused."""

    def spell(tree: Tree) -> Tree:
        return {"colour": tree.pop("color"), **tree}

    def grow(tree: Tree) -> Tree:
        return {**tree, "size": 2}

    path = tmp_path / "a.toml"
    answers = []
    for text in (
        'schema = 1\ncolor = "red"',
        'schema = 2\ncolour = "red"',
        'schema = 3\ncolour = "red"',
    ):
        path.write_text(text)
        answers.append(read_file(path, LaterTable, (spell, grow)))
    path.write_text("schema = 4")

    assert [(answer.colour, answer.size) for answer in answers] == [
        ("red", 2),
        ("red", 2),
        ("red", 1),
    ]
    with pytest.raises(
        SettingsError, match="schema 4 is newer than this program, which reads up to 3"
    ):
        read_file(path, LaterTable, (spell, grow))


def test_edited_file_adds_a_key_before_its_tables() -> None:
    """A new top-level key never slips into a table that stands before it."""
    text = edited("# mine\na = 1\n\n[t]\nb = 2\n", {"c": "3 s", "t.d": 4}, "list", [])

    assert read_back(text) == {"a": 1, "c": "3 s", "t": {"b": 2, "d": 4}}
    assert text.startswith("# mine\n")


def read_back(text: str) -> Tree:
    """Parse TOML with the standard library, not with the writer's own."""
    import tomllib

    return tomllib.loads(text)
