"""The one formatter of numbers: every figure a person reads passes through here.

Files and JSON keep the decimal point; only what is read by people follows the locale.
Babel is loaded for a locale other than English, never for the plain decimal point.
"""

from __future__ import annotations

import math
from datetime import datetime
from functools import cache

MISSING = "–"  # an absent or non-finite value; never a stand-in number
_MINUTES_IN_HOUR = 60
_SECONDS_IN_MINUTE = 60
_ENGLISH = ("", "C", "POSIX", "en")
_locale: list[str] = [""]


def use_locale(code: str | None) -> None:
    """Choose the locale of the decimal sign; None means the decimal point."""
    _locale[:] = [code or ""]


@cache
def _decimal_sign(code: str) -> str:
    base = code.split(".", maxsplit=1)[0].replace("-", "_")
    if base in _ENGLISH or base.startswith("en_"):
        return "."
    from babel import UnknownLocaleError  # noqa: PLC0415 - 60 ms that English never pays
    from babel.numbers import get_decimal_symbol  # noqa: PLC0415

    try:
        return get_decimal_symbol(base)
    except (UnknownLocaleError, ValueError):
        return "."


def number(value: float | None, decimals: int = 1) -> str:
    """Return a number with its decimals in the chosen locale, never a negative zero."""
    if value is None or not math.isfinite(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace(".", _decimal_sign(_locale[0]))


def shortest(value: float | None) -> str:
    """Return a number without trailing zeros: a gauge's "110", a count's "3.5"."""
    if value is None or not math.isfinite(value):
        return MISSING
    return number(value, 0 if float(value).is_integer() else 1)


def _with_unit(text: str, unit: str) -> str:
    return text if text == MISSING else f"{text} {unit}"


def temperature(value_c: float | None, decimals: int = 1) -> str:
    """Return a temperature as "181.2 °C"."""
    return _with_unit(number(value_c, decimals), "°C")


def difference(value_k: float | None, decimals: int = 0) -> str:
    """Return a difference of temperatures without its sign, as "1 K"."""
    return _with_unit(number(None if value_k is None else abs(value_k), decimals), "K")


def grams(value_g: float | None, decimals: int = 1) -> str:
    """Return a mass as "38.0 g"."""
    return _with_unit(number(value_g, decimals), "g")


def watts(value_w: float | None) -> str:
    """Return a power as "640 W"."""
    return _with_unit(number(value_w, 0), "W")


def litres(value: float | None) -> str:
    """Return a volume as "10 l"."""
    return _with_unit(number(value, 0 if value is None or value >= 10.0 else 1), "l")  # noqa: PLR2004


def seconds(value_s: float | None) -> str:
    """Return a short time as "8 s", a longer one as "2:05 min"."""
    if value_s is None or not math.isfinite(value_s):
        return MISSING
    whole_s = round(value_s)
    if abs(whole_s) < _SECONDS_IN_MINUTE:
        return f"{whole_s} s"
    return f"{minutes(value_s)} min"


def minutes(value_s: float | None) -> str:
    """Return a time as "m:ss", from an hour on as "h:mm:ss"."""
    if value_s is None or not math.isfinite(value_s):
        return MISSING
    whole_s = round(value_s)
    sign = "-" if whole_s < 0 else ""
    whole_min, left_s = divmod(abs(whole_s), _SECONDS_IN_MINUTE)
    if whole_min < _MINUTES_IN_HOUR:
        return f"{sign}{whole_min}:{left_s:02d}"
    hours, left_min = divmod(whole_min, _MINUTES_IN_HOUR)
    return f"{sign}{hours}:{left_min:02d}:{left_s:02d}"


def percent(fraction: float | None) -> str:
    """Return a fraction 0-1 as "34 %"."""
    return _with_unit(number(None if fraction is None else fraction * 100.0, 0), "%")


def local_time(utc_ms: float) -> datetime:
    """Return the time in the zone of this machine."""
    return datetime.fromtimestamp(utc_ms / 1000.0).astimezone()


def clock(utc_ms: float | None, *, with_seconds: bool = False) -> str:
    """Return a local time of day as "14:32" or "14:33:05"."""
    if utc_ms is None or not math.isfinite(utc_ms):
        return MISSING
    try:
        local = local_time(utc_ms)
    except (OverflowError, ValueError, OSError):  # no calendar reaches it
        return MISSING
    return local.strftime("%H:%M:%S" if with_seconds else "%H:%M")
