"""Every exception this package raises on purpose.

    TawnyError
    ├── InputError (ValueError)     what a person or a file gave is wrong        exit 2
    │   ├── QuantityError           a number with its unit
    │   └── SettingsError           a settings, recipe or mould file
    ├── BusyError                   another copy holds the home folder or the port   exit 2
    ├── LinkError                   the serial line or the board behind it       exit 1
    │   ├── PortError               the port cannot be opened or has gone
    │   └── VersionError            the board speaks another protocol version
    └── StoreError                  the record on disk                            exit 2
        ├── StoreNewerError         written by a later version
        ├── StoreDamagedError       fails its own checks
        └── StoreFullError          the disk is full or read-only

An upset of the process is never an exception: it is an alarm.
"""

from __future__ import annotations


def N_(template: str) -> str:  # noqa: N802 - the gettext convention for "mark, do not translate here"
    """Mark a sentence for the catalogue; the edge that shows it translates it."""
    return template


class TawnyError(Exception):
    """A sentence template with named fields: what, value, unit, limit, what to do.

    Args:
        template: The sentence, marked with `N_`, with `{name}` places.
        fields: The values of those places.
    """

    exit_code = 1

    def __init__(self, template: str, /, **fields: object) -> None:
        self.template = template
        self.fields = fields
        super().__init__(template.format(**fields) if fields else template)

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle by template and fields, so that a child process can hand it back."""
        return (_rebuild, (type(self), self.template, self.fields))


def _rebuild(kind: type[TawnyError], template: str, fields: dict[str, object]) -> TawnyError:
    return kind(template, **fields)


class InputError(TawnyError, ValueError):
    """Something a person typed or a file holds cannot be used."""

    exit_code = 2


class QuantityError(InputError):
    """A quantity has no unit, the wrong unit, or is not a finite number."""


class SettingsError(InputError):
    """A settings, recipe or mould file has an unknown key, a wrong value or a broken rule."""


class BusyError(TawnyError):
    """Another copy of the program holds the home folder or the port."""

    exit_code = 2


class LinkError(TawnyError):
    """The serial line or the board behind it."""


class PortError(LinkError):
    """The port cannot be opened, or it has gone."""


class VersionError(LinkError):
    """The board and this program do not speak the same protocol version."""


class StoreError(TawnyError):
    """The record on disk."""

    exit_code = 2


class StoreNewerError(StoreError):
    """The store was written by a later version of the program."""


class StoreDamagedError(StoreError):
    """The store fails its own checks."""


class StoreFullError(StoreError):
    """The store cannot be written: disk full or read-only."""
