"""The demo workshop: one press, one mould, three recipes, all simulated."""

from __future__ import annotations

from pathlib import Path

from tawny.errors import N_, SettingsError
from tawny.settings.equipment import read_press
from tawny.settings.files import write_whole
from tawny.settings.home import Home, open_home

_DATA = Path(__file__).parent.parent / "data"


def demo_files() -> dict[str, Path]:
    """Return the demo workshop's files as shipped, by their place in a home folder."""
    files = {"press.toml": _DATA / "press.toml"}
    for shipped, folder in (("passports", "moulds"), ("recipes", "recipes")):
        for path in sorted((_DATA / shipped).glob("*.toml")):
            files[f"{folder}/{path.name}"] = path
    return files


def lay_demo(home: Home) -> Home:
    """Put the demo workshop into a home folder; a file that is there already stays.

    Raises:
        SettingsError: If the folder belongs to a press that is not simulated, or cannot be
            written to.
    """
    if home.settled:
        if not read_press(home.press).simulated:
            raise SettingsError(
                N_(
                    "{path} belongs to a real press: the demo needs a folder of its own; choose "
                    "one with --home"
                ),
                path=home.root,
            )
    elif home.store.exists():
        raise SettingsError(
            N_(
                "{path} holds a record without a press.toml: the demo needs a folder of its own; "
                "choose one with --home"
            ),
            path=home.root,
        )
    open_home(home)
    for place, shipped in demo_files().items():
        target = home.root / place
        if not target.exists():
            write_whole(target, shipped.read_text(encoding="utf-8"))
    return home
