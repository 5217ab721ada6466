"""Sentences for people: the gettext door, and the one formatter of numbers.

Every sentence a person reads is looked up here; `core` returns codes and values only.
A template is marked with `_` where it is shown at once and with `N_` where it waits in a
table. A translator starts from

    pybabel extract --keyword=N_ --output=tawny.pot host/tawny
    pybabel init --domain=tawny --input-file=tawny.pot --output-dir=host/tawny/words/locale \
        --locale=de
    pybabel compile --domain=tawny --directory=host/tawny/words/locale
"""

from __future__ import annotations

import gettext as _gettext
import os
from functools import cache

from tawny.errors import TawnyError

_LOCALES = os.path.join(os.path.dirname(__file__), "locale")  # noqa: PTH118, PTH120 - pathlib is 3 ms
_language: list[tuple[str, str | os.PathLike[str]]] = []


def use_language(code: str | None, folder: str | os.PathLike[str] = _LOCALES) -> None:
    """Choose the language of every later sentence; None means the source text.

    Args:
        code: A language such as "de"; without a catalogue of it the source text stands.
        folder: Where the catalogues lie, as `code`/LC_MESSAGES/tawny.mo.
    """
    _language[:] = [(code, folder)] if code else []
    _catalogue.cache_clear()


@cache
def _catalogue() -> _gettext.NullTranslations:
    if not _language:
        return _gettext.NullTranslations()
    code, folder = _language[0]
    return _gettext.translation("tawny", folder, languages=[code], fallback=True)


def _(template: str) -> str:
    """Return the sentence template in the chosen language."""
    return _catalogue().gettext(template)


def ngettext(one: str, many: str, count: int) -> str:
    """Return the singular or plural template in the chosen language."""
    return _catalogue().ngettext(one, many, count)


def sentence_of(error: TawnyError) -> str:
    """Return an error as the sentence a person reads; a reason inside it is translated too."""
    template = _(error.template)
    fields = {
        name: sentence_of(value) if isinstance(value, TawnyError) else value
        for name, value in error.fields.items()
    }
    return template.format(**fields) if fields else template
