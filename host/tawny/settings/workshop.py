"""Everything a press needs to know before it starts, read and checked at once."""

from __future__ import annotations

from typing import NamedTuple

from tawny.core.equipment import Mould, Press
from tawny.core.recipe import Recipe
from tawny.errors import N_, SettingsError, TawnyError
from tawny.settings.equipment import read_moulds, read_press
from tawny.settings.fit import check_fit
from tawny.settings.home import Home
from tawny.settings.recipes import read_recipes


class Workshop(NamedTuple):
    """The settings of one home folder.

    Attributes:
        simulated: Everything in this folder comes from a simulated board.
        port: Of the board; empty where none is set.
        notes: What a person should know about how the files were read.
    """

    press: Press
    simulated: bool
    port: str
    moulds: tuple[Mould, ...]
    recipes: tuple[Recipe, ...]
    notes: tuple[TawnyError, ...] = ()

    def mould(self, name: str) -> Mould:
        """Return a mould by name.

        Raises:
            SettingsError: If there is none.
        """
        for mould in self.moulds:
            if mould.name == name:
                return mould
        raise SettingsError(
            N_("there is no mould {name}; there are {known}"),
            name=name,
            known=", ".join(mould.name for mould in self.moulds),
        )

    def recipe(self, name: str) -> Recipe:
        """Return a recipe by name.

        Raises:
            SettingsError: If there is none.
        """
        for recipe in self.recipes:
            if recipe.name == name:
                return recipe
        raise SettingsError(
            N_("there is no recipe {name}; there are {known}"),
            name=name,
            known=", ".join(recipe.name for recipe in self.recipes),
        )


def load_workshop(home: Home) -> Workshop:
    """Return the settings of a home folder, each recipe proved to fit its mould and the press.

    Raises:
        SettingsError: For the first thing that is missing or wrong.
    """
    if not home.settled:
        raise SettingsError(
            N_(
                '{path} has no press.toml: run "tawny demo" to try the demo workshop, or write the '
                "settings of your press there"
            ),
            path=home.root,
        )
    press, simulated, port = read_press(home.press)
    moulds = read_moulds(home.moulds)
    entries = read_recipes(home.recipes)
    if not moulds:
        raise SettingsError(N_("{path} holds no mould passport; write one there"), path=home.moulds)
    if not entries:
        raise SettingsError(N_("{path} holds no recipe; write one there"), path=home.recipes)
    workshop = Workshop(
        press,
        simulated,
        port,
        moulds,
        tuple(entry.recipe for entry in entries),
        tuple(note for entry in entries for note in entry.notes),
    )
    for recipe in workshop.recipes:
        check_fit(recipe, workshop.mould(recipe.mould), press)
    return workshop
