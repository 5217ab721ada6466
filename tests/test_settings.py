"""The home folder, the press profile, the mould passports, and a sentence for each mistake."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tawny.core.equipment import Mould, Press
from tawny.errors import SettingsError
from tawny.settings.demo import demo_files, lay_demo
from tawny.settings.equipment import read_mould, read_moulds, read_press
from tawny.settings.files import write_whole
from tawny.settings.fit import check_fit, force_kn
from tawny.settings.home import Home, find_home, open_home
from tawny.settings.workshop import load_workshop
from tawny.words import sentence_of

PRESS = demo_files()["press.toml"].read_text(encoding="utf-8")
MOULD = demo_files()["moulds/saucer-160.toml"].read_text(encoding="utf-8")


def read_with(tmp_path: Path, text: str, old: str, new: str, *, mould: bool = False) -> object:
    """Read a demo file in which one line was changed."""
    assert old in text
    path = tmp_path / "changed.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return read_mould(path) if mould else read_press(path)


def refusal(tmp_path: Path, text: str, old: str, new: str, *, mould: bool = False) -> str:
    """Return the sentence with which a changed demo file is refused."""
    with pytest.raises(SettingsError) as refused:
        read_with(tmp_path, text, old, new, mould=mould)
    return sentence_of(refused.value)


@pytest.fixture
def demo(tmp_path: Path) -> Home:
    """Return a home folder with the demo workshop in it."""
    return lay_demo(find_home(tmp_path / "demo"))


def test_home_given_goes_before_the_environment(tmp_path: Path) -> None:
    """--home, then TAWNY_HOME, then the user's data folder; the demo has a folder of its own."""
    environ = {"TAWNY_HOME": str(tmp_path / "b")}

    assert find_home(tmp_path / "a", environ).root == tmp_path / "a"
    assert find_home(None, environ).root == tmp_path / "b"
    assert find_home(None, {}).root.name == "press"
    assert find_home(None, {}, simulated=True).root.name == "demo"


def test_home_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    """A new home folder can be read by nobody else: the desk's socket lies in it."""
    home = open_home(find_home(tmp_path / "deep" / "home"))

    assert home.root.stat().st_mode & 0o777 == 0o700
    assert list(home.root.iterdir()) == []


def test_home_that_is_a_file_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """The sentence names the path, the reason and what to do."""
    (tmp_path / "file").write_text("")

    with pytest.raises(SettingsError, match=r"file/home cannot be written: .*choose another"):
        open_home(find_home(tmp_path / "file" / "home"))


def test_home_in_a_read_only_folder_is_refused(tmp_path: Path) -> None:
    """A folder without write permission is refused before anything runs."""
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o500)
    script = (
        "import sys\n"
        "from tawny.errors import SettingsError\n"
        "from tawny.settings.home import find_home, open_home\n"
        "try:\n"
        "    open_home(find_home(sys.argv[1]))\n"
        "except SettingsError as error:\n"
        "    print(error)\n"
    )
    command = [sys.executable, "-c", script, str(folder)]
    if os.geteuid() == 0:  # root passes over permissions unless it gives that right up
        command = ["setpriv", "--bounding-set=-dac_override", "--inh-caps=-dac_override", *command]
    answer = subprocess.run(command, capture_output=True, text=True, check=True).stdout

    assert "cannot be written: Permission denied" in answer
    assert list(folder.iterdir()) == []


def test_home_with_a_path_too_long_for_a_socket_is_refused(tmp_path: Path) -> None:
    """A Unix socket's path has room for 107 bytes: longer is said at once, not at the desk."""
    with pytest.raises(SettingsError, match="bytes, at most 90 can be used"):
        open_home(find_home(tmp_path / ("x" * 120)))


def test_writing_a_file_leaves_old_or_new_never_half(tmp_path: Path) -> None:
    """The new text comes by a rename, its permissions are those of the old, nothing else stays."""
    path = tmp_path / "press.toml"
    path.write_text("old")
    path.chmod(0o640)
    before = path.stat().st_ino
    write_whole(path, "new\n")

    assert path.read_text() == "new\n"
    assert path.stat().st_ino != before
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_demo_is_laid_once_and_keeps_what_a_person_changed(demo: Home) -> None:
    """A second laying writes nothing over an edited file."""
    path = demo.recipes / "grain-apple.toml"
    path.write_text(path.read_text().replace("version = 3", "version = 4"))
    lay_demo(demo)
    workshop = load_workshop(demo)

    assert workshop.simulated
    assert workshop.press.workshop == "Millbrook workshop"
    assert [recipe.name for recipe in workshop.recipes] == [
        "apple-rich",
        "grain-apple",
        "spent-grain",
    ]
    assert workshop.recipe("grain-apple").version == 4


def test_demo_keeps_out_of_a_real_press_home(demo: Home) -> None:
    """Nothing simulated is laid into the folder of a press that is not simulated."""
    demo.press.write_text(PRESS.replace("simulated = true", "simulated = false"))

    with pytest.raises(SettingsError, match="belongs to a real press"):
        lay_demo(demo)


def test_demo_writes_only_inside_its_home(tmp_path: Path) -> None:
    """Every file of the demo lies under the home folder given."""
    lay_demo(find_home(tmp_path / "home"))

    assert [path.name for path in tmp_path.iterdir()] == ["home"]


def test_demo_pressing_takes_four_to_six_minutes(demo: Home) -> None:
    """At the board's own pace filling, hold and opening together stay near five minutes."""
    for recipe in load_workshop(demo).recipes:
        fill_open_and_demould_s = 60.0
        assert 240.0 <= recipe.equivalent_s + fill_open_and_demould_s <= 360.0


def test_press_profile_is_read_in_core_units(tmp_path: Path) -> None:
    """Text with units becomes numbers whose names end in the unit; the board's port is kept."""
    path = tmp_path / "press.toml"
    path.write_text(PRESS.replace("simulated = true", 'port = "/dev/serial/by-id/press"'))
    press, simulated, port = read_press(path)

    assert isinstance(press, Press)
    assert (simulated, port) == (False, "/dev/serial/by-id/press")
    assert read_press(demo_files()["press.toml"])[1:] == (True, "")
    assert (press.ram_area_cm2, press.gauge_unit, press.gauge_most) == (50.0, "bar", 190.0)
    assert (press.supply_w, press.breaker_a, press.window_s) == (1800.0, 16.0, 1.0)


def test_mould_passport_is_read_in_core_units() -> None:
    """The passport carries what commissioning measured, and what the mould may bear."""
    mould = read_mould(demo_files()["moulds/saucer-160.toml"])

    assert isinstance(mould, Mould)
    assert (mould.slot, mould.cavities, mould.rated_kn, mould.rated_c) == (1, 1, 110.0, 270.0)
    assert mould.area_cm2 == pytest.approx(3.141592653589793 * 8.0**2, abs=0.5)
    assert mould.upper.loss_per_s > 0.0


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('breaker = "16 A"', "breaker = 16", "supply.breaker = 16 has no unit: write it as text"),
        ('breaker = "16 A"', "breaker = nan", "supply.breaker = nan is not a finite number"),
        ('breaker = "16 A"', 'breaker = "nan A"', 'supply.breaker: "nan A" is not a finite number'),
        ('breaker = "16 A"', "breaker = 16,0", "line 18: breaker = 16,0 has a comma"),
        ('breaker = "16 A"', 'breaker = "16,5 A"', "has a comma"),
        ('breaker = "16 A"', 'breaker = "16"', '"16" has no unit'),
        ('breaker = "16 A"', 'breaker = "16 s"', "supply.breaker: "),
        ('breaker = "16 A"', 'breaker = "900 A"', '"900 A" is not between 1 and 200 A'),
        ('breaker = "16 A"', 'braker = "16 A"', "supply.braker is not a known key; did you mean"),
        ('breaker = "16 A"', 'colour = "red"', "not a known key; known here: heaters, breaker"),
        ('breaker = "16 A"', "", 'supply.breaker is missing; add breaker = "16 A"'),
        ('kind = "ssr"', 'kind = "valve"', 'output.kind = "valve" is not one of ssr, relay'),
        ('window = "1 s"', 'window = "20 s"', "is not between 1 s and 2 s, the range for ssr"),
        ("simulated = true", 'simulated = "yes"', "simulated = yes must be true or false"),
        ('name = "press-1"', 'name = ""', "name must be a name of 1 to 40 printable characters"),
        ("[output]", "[output", "is not TOML"),
        ("[output]", "[[output]]", "output = [...] must be [output]"),
        ("schema = 1", "", 'the first line must be "schema = 1"'),
        ("schema = 1", "schema = true", 'the first line must be "schema = 1"'),
        ("schema = 1", "schema = 2", "schema 2 is newer than this program"),
        ('gauge_most = "190 bar"', 'gauge_most = "190 kg"', "hydraulics.gauge_most: "),
        ('gauge_most = "190 bar"', 'gauge_most = "190 Pa"', "write it in the gauge's own unit"),
    ],
)  # fmt: skip
def test_press_profile_mistake_is_one_clear_sentence(
    tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    """Each mistake names the file, the key and the value, the limit, and what to do."""
    said = refusal(tmp_path, PRESS, old, new)

    assert said.startswith(str(tmp_path / "changed.toml"))
    assert sentence in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("slot = 1", "slot = 9", "slot = 9 is not between 1 and 8"),
        ("slot = 1", 'slot = "1"', "slot = 1 must be a whole number"),
        ("vents = 6", "vents = true", "vents = true must be a whole number"),
        ('rated_temperature = "270 degC"', 'rated_temperature = "270 K"', "could be a difference"),
        ("[upper]", "[uper]", 'uper is not a known key; did you mean "upper"?'),
        ('lag = "16 s"', 'lag = "0 s"', 'upper.lag = "0 s" is not between 0.1 and 300 s'),
    ],
)
def test_mould_passport_mistake_is_one_clear_sentence(
    tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    """A passport's numbers stay within what the board can store."""
    assert sentence in refusal(tmp_path, MOULD, old, new, mould=True)


def test_settings_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    """Bytes that are not UTF-8, a missing file and a huge one each have their sentence."""
    path = tmp_path / "press.toml"
    with pytest.raises(SettingsError, match="does not exist"):
        read_press(path)
    path.write_bytes(b'name = "\xff"')
    with pytest.raises(SettingsError, match="not text in UTF-8"):
        read_press(path)
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(SettingsError, match="larger than 1000 kB"):
        read_press(path)
    with pytest.raises(SettingsError, match="cannot be read: Is a directory"):
        read_press(tmp_path)


def test_settings_file_saved_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """Some editors put a mark before the text."""
    path = tmp_path / "press.toml"
    path.write_text(PRESS, encoding="utf-8-sig")

    assert read_press(path) == read_press(demo_files()["press.toml"])


def test_two_moulds_may_not_share_a_slot_of_the_board(tmp_path: Path) -> None:
    """The board would use one mould's R and lag for the other."""
    (tmp_path / "a.toml").write_text(MOULD)
    (tmp_path / "b.toml").write_text(MOULD.replace('"saucer-160"', '"bowl-130"'))

    with pytest.raises(SettingsError, match="slot 1 already belongs to mould saucer-160"):
        read_moulds(tmp_path)


def test_force_is_gauge_pressure_times_ram_area() -> None:
    """140 bar on 50 cm2 is 70 kN: 1 bar is 1e5 N/m2 (SI Brochure, table 8)."""
    press = read_press(demo_files()["press.toml"]).press

    assert force_kn(140.0, "bar", press) == pytest.approx(140e5 * 50e-4 / 1000.0)
    assert force_kn(14.0, "MPa", press) == pytest.approx(70.0)
    assert force_kn(70.0, "kN", press) == 70.0


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"setpoint_c": 199.0, "rated_c": 190.0}, "199 degC is above the 190 degC that mould"),
        ({"trip_c": 190.0}, "180 degC is above 175 degC, the most under a trip point of 190 degC"),
        ({"force_unit": "MPa"}, "force is in MPa, but the gauge of press press-1 is marked in bar"),
        (
            {"force": 191.0},
            "191 bar is above 190 bar, the most that press press-1 may be pumped to",
        ),
        ({"rated_kn": 60.0}, "140 bar is 70.0 kN, above the 60 kN that the mould may bear"),
        ({"jack_kn": 50.0}, "above the 50 kN that the jack may bear"),
        ({"frame_kn": 50.0}, "above the 50 kN that the frame may bear"),
    ],
)
def test_recipe_above_a_limit_of_its_equipment_is_refused(
    demo: Home, change: dict[str, float | str], sentence: str
) -> None:
    """Mould, trip point, gauge, jack and frame each hold."""
    import msgspec

    def changed(part: msgspec.Struct) -> dict[str, object]:
        return {key: value for key, value in change.items() if hasattr(part, key)}

    workshop = load_workshop(demo)
    recipe, mould = workshop.recipe("grain-apple"), workshop.moulds[0]
    with pytest.raises(SettingsError) as refused:
        check_fit(
            msgspec.structs.replace(recipe, **changed(recipe)),
            msgspec.structs.replace(mould, **changed(mould)),
            msgspec.structs.replace(workshop.press, **changed(workshop.press)),
            float(change.get("trip_c", 215.0)),
        )

    assert sentence in sentence_of(refused.value)


def test_workshop_without_settings_says_what_to_do(tmp_path: Path) -> None:
    """An empty home names the demo; one without moulds or recipes says what is missing."""
    home = open_home(find_home(tmp_path / "home"))
    with pytest.raises(SettingsError, match="has no press.toml: run"):
        load_workshop(home)
    home.press.write_text(PRESS)
    with pytest.raises(SettingsError, match="moulds holds no mould passport"):
        load_workshop(home)
    home.moulds.mkdir()
    (home.moulds / "a.toml").write_text(MOULD)
    with pytest.raises(SettingsError, match="recipes holds no recipe"):
        load_workshop(home)


def test_workshop_recipe_for_an_unknown_mould_is_refused(demo: Home) -> None:
    """A recipe names a mould that has a passport."""
    path = demo.recipes / "grain-apple.toml"
    path.write_text(path.read_text().replace('mould = "saucer-160"', 'mould = "bowl"'))

    with pytest.raises(SettingsError, match="no mould bowl; there are saucer-160"):
        load_workshop(demo)


def test_demo_mould_passport_holds_what_commissioning_measured() -> None:
    """R, lag, heat-up and loss are those that heating the simulated mould gives, within 3 %."""
    from tawny.core.names import Half
    from tawny.sim.commission import measure
    from tawny.sim.parameters import load

    model = load("saucer-160")
    mould = read_mould(demo_files()["moulds/saucer-160.toml"])
    for half, passport in ((Half.UPPER, mould.upper), (Half.LOWER, mould.lower)):
        found = measure(model).half(half)
        assert passport.rise_k_per_s == pytest.approx(found.rise_k_per_s, rel=0.03)
        assert passport.lag_s == pytest.approx(found.lag_s, rel=0.03)
        assert passport.heat_up_s == pytest.approx(found.heat_up_s, rel=0.03)
        assert passport.loss_per_s == pytest.approx(found.loss_per_s, rel=0.03)
        assert passport.heater_w == model.half(half).heater_w
        assert passport.mass_kg == model.half(half).mass_kg
