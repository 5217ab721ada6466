"""Canonical JSON: one spelling for one value, so that its bytes can be hashed.

Keys are text and sorted by code point; no spaces; UTF-8 with only the escapes JSON requires;
a float in the shortest spelling that reads back the same; integers within 64 bits; no NaN
and no infinity.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping

from tawny.errors import N_, InputError

INT64_LEAST, INT64_MOST = -(1 << 63), (1 << 63) - 1

_encode = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode


def canonical_json(value: object) -> bytes:
    """Return the canonical JSON of plain values: None, bool, int, float, str, list, dict.

    Raises:
        InputError: If a number is not finite or does not fit 64 bits, a key is not text, text
            cannot be written as UTF-8, or a value is of another kind.
    """
    _check(value, "payload")
    try:
        return _encode(value).encode()
    except UnicodeEncodeError as error:
        raise InputError(N_("text cannot be written as UTF-8: {why}"), why=error.reason) from error


def digest(data: bytes) -> bytes:
    """Return the SHA-256 of some bytes, 32 bytes."""
    return hashlib.sha256(data).digest()


def _check(value: object, where: str) -> None:
    if value is None or isinstance(value, (bool, str)):
        return
    if isinstance(value, (int, float)):
        _check_number(value, where)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            if not isinstance(key, str):
                raise InputError(N_("{where} has the key {key!r}, not text"), where=where, key=key)
            _check(item, f"{where}.{key}")
    elif isinstance(value, (list, tuple)):
        for place, item in enumerate(value):
            _check(item, f"{where}[{place}]")
    else:
        kind = type(value).__name__
        raise InputError(N_("{where} is a {kind}, which has no JSON form"), where=where, kind=kind)


def _check_number(value: float, where: str) -> None:
    if not math.isfinite(value):
        raise InputError(N_("{where} is {value}, not a finite number"), where=where, value=value)
    if isinstance(value, int) and not INT64_LEAST <= value <= INT64_MOST:
        raise InputError(N_("{where} is {value}, beyond 64 bits"), where=where, value=value)
