"""Bytes from the terminal that are no text: they must not end the screen.

Mouse reports of an old form, a paste in another encoding or noise on a serial console are not
UTF-8. The framework decodes strictly, in a thread of its own, and falls over the first of them.
"""

from __future__ import annotations

from codecs import IncrementalDecoder, getincrementaldecoder
from collections.abc import Callable
from functools import partial

from textual.drivers import linux_driver


def take_any_byte() -> None:
    """Let the framework's reader replace what it cannot decode."""
    linux_driver.getincrementaldecoder = _lenient  # type: ignore[assignment, attr-defined]


def _lenient(encoding: str) -> Callable[[], IncrementalDecoder]:
    return partial(getincrementaldecoder(encoding), errors="replace")
