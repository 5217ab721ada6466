"""Squeezes the JSON of states and events, whose field names are known beforehand."""

from __future__ import annotations

import zlib
from functools import cache
from importlib.resources import files

_LEVEL = 9


@cache
def known() -> bytes:
    """Return what the JSON is likely to hold: the names of all fields, once.

    It is part of version 1 of the window and never changed, or no window of that version would
    open any more. Names that are added later are only packed less small.
    """
    return files("tawny").joinpath("data", "window-1.json").read_bytes()


def squeeze(data: bytes) -> bytes:
    """Return the bytes deflated against the known names."""
    stream = zlib.compressobj(_LEVEL, zdict=known())
    return stream.compress(data) + stream.flush()


def expand(data: bytes) -> bytes:
    """Return what was squeezed.

    Raises:
        zlib.error: If it was never squeezed so.
    """
    stream = zlib.decompressobj(zdict=known())
    return stream.decompress(data) + stream.flush()
