"""The home folder: everything one press keeps, and the only place the program writes to.

home/
  press.toml       the press profile
  moulds/*.toml    one passport for each mould
  recipes/*.toml   one recipe each
  record.db        the record
  exports/         where exports go unless told otherwise
  crashes/         what to send to whoever mends the program
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from tawny.errors import N_, SettingsError

HOME_VARIABLE = "TAWNY_HOME"
_SOCKET_LONGEST = 100  # the kernel takes 107 bytes of path


class Home(NamedTuple):
    """Where each thing lies; a path need not exist."""

    root: Path

    @property
    def press(self) -> Path:
        """The press profile."""
        return self.root / "press.toml"

    @property
    def moulds(self) -> Path:
        """The mould passports."""
        return self.root / "moulds"

    @property
    def recipes(self) -> Path:
        """The recipes."""
        return self.root / "recipes"

    @property
    def store(self) -> Path:
        """The record."""
        return self.root / "record.db"

    @property
    def socket(self) -> Path:
        """The desk between the owner and its viewers."""
        return self.root / "desk.sock"

    @property
    def lock(self) -> Path:
        """Held by the owner while it runs."""
        return self.root / "lock"

    @property
    def exports(self) -> Path:
        """Where exports go unless told otherwise."""
        return self.root / "exports"

    @property
    def crashes(self) -> Path:
        """Reports of crashes."""
        return self.root / "crashes"

    @property
    def cache(self) -> Path:
        """What can be made again, such as the list of fonts."""
        return self.root / "cache"

    @property
    def settled(self) -> bool:
        """Settings are there."""
        return self.press.is_file()


def find_home(
    given: str | Path | None = None,
    environ: Mapping[str, str] = os.environ,
    *,
    simulated: bool = False,
) -> Home:
    """Return the home folder: as given, else TAWNY_HOME, else this user's data folder.

    Args:
        given: From the command line.
        environ: The environment.
        simulated: The demo's own default, so that nothing simulated lies in a press's home.
    """
    chosen = given or environ.get(HOME_VARIABLE)
    if chosen:
        return Home(Path(chosen).expanduser().absolute())
    from platformdirs import user_data_path  # noqa: PLC0415 - only where nothing is given

    return Home(user_data_path("tawny", appauthor=False) / ("demo" if simulated else "press"))


def open_home(home: Home) -> Home:
    """Make the folder where it is missing, and prove that it can be written to.

    Raises:
        SettingsError: If it is no folder, cannot be made or written to, or its path is too
            long for the desk's socket.
    """
    longest = len(os.fsencode(home.socket))
    if not longest <= _SOCKET_LONGEST:
        raise SettingsError(
            N_(
                "home folder {path}: its path is {length} bytes, at most {limit} can be used; "
                "choose a shorter one with --home"
            ),
            path=home.root,
            length=len(os.fsencode(home.root)),
            limit=_SOCKET_LONGEST - len("/desk.sock"),
        )
    try:
        home.root.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=home.root):
            pass
    except FileExistsError as error:
        raise SettingsError(
            N_("{path} is a file, not a folder; choose another folder with --home"), path=home.root
        ) from error
    except OSError as error:
        raise SettingsError(
            N_(
                "{path} cannot be written: {reason}; mend its permissions or free the disk, or "
                "choose another folder with --home"
            ),
            path=home.root,
            reason=error.strerror or str(error),
        ) from error
    return home
