"""Sentences for people: the gettext door, and the one formatter of numbers.

Every sentence a person reads is looked up here; `core` returns codes and values only.
"""

from __future__ import annotations

import gettext as _gettext
from functools import cache
from pathlib import Path

from tawny.errors import TawnyError

_LOCALES = Path(__file__).parent / "locale"
_language: list[str] = []


def use_language(code: str | None) -> None:
    """Choose the language of every later sentence; None means the source text."""
    _language[:] = [code] if code else []
    _catalogue.cache_clear()


@cache
def _catalogue() -> _gettext.NullTranslations:
    if not _language:
        return _gettext.NullTranslations()
    return _gettext.translation("tawny", _LOCALES, languages=_language, fallback=True)


def _(template: str) -> str:
    """Return the sentence template in the chosen language."""
    return _catalogue().gettext(template)


def ngettext(one: str, many: str, count: int) -> str:
    """Return the singular or plural template in the chosen language."""
    return _catalogue().ngettext(one, many, count)


def sentence_of(error: TawnyError) -> str:
    """Return an error as the sentence a person reads."""
    template = _(error.template)
    return template.format(**error.fields) if error.fields else template
