"""The benchmark of the hold as a picture: the end of the heat-up with the hold, and a charge.

Each controller has its own dash and weight, so that it is told apart without colour.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

from tawny.words import _
from tawny.words.numbers import minutes, number, temperature

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tawny.report.hold_drawing import HoldPicture
    from tawny.report.picture import Axes, Figure

HOLD_SIZE: Final = (10.0, 7.6)
_INK, _QUIET, _BAND = "#222222", "#767676", "#ececec"
_BAND_K: Final = 1.0
_LOWEST_K, _HIGHEST_K = -10.0, 12.0
_AFTER_S: Final = 1800.0  # of the hold, shown beyond the bound
_TICKS_S: Final = (10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0)
_BEFORE_SHARE: Final = 0.06  # of the heat-up, shown before it


class _Look(NamedTuple):
    color: str
    width: float
    dash: str | tuple[int, tuple[float, ...]]


# Okabe and Ito's colours, which differ in lightness too.
_LOOKS: Final = {
    "tawny": _Look("#000000", 2.4, "solid"),
    "thermostat": _Look("#d55e00", 1.1, "solid"),
    "untuned": _Look("#0072b2", 1.3, (0, (1.0, 1.2))),
    "simc": _Look("#009e73", 1.3, (0, (6.0, 1.5))),
    "amigo": _Look("#cc79a7", 1.3, (0, (6.0, 1.5, 1.0, 1.5))),
    "relay": _Look("#767676", 1.3, (0, (2.5, 1.5))),
}
_OTHER: Final = _Look("#767676", 1.0, "solid")


def compose_hold(figure: Figure, picture: HoldPicture) -> None:
    """Draw both panels."""
    upper, lower = figure.subplots(2, 1, squeeze=True)
    heat_up_s = picture.heat_up_s
    begin_s = 0.0 if heat_up_s is None else heat_up_s * (1.0 - _BEFORE_SHARE)
    end_s = max((one.heat_up[-1][0] for one in picture.curves if one.heat_up), default=1.0)
    if heat_up_s is not None:
        end_s = min(end_s, heat_up_s + _AFTER_S)
    _panel(upper, [(one.name, one.heat_up) for one in picture.curves], (begin_s, end_s))
    _bound(upper, heat_up_s)
    upper.set_title(_("end of the heat-up, and hold"), loc="left", fontsize=10, color=_INK)
    upper.set_xlabel(_("time since heat was switched on, min:s"), color=_INK)
    upper.legend(loc="upper right", fontsize=9, frameon=False, ncols=3)
    pressings = [(one.name, one.pressing) for one in picture.curves]
    times_s = [at_s for _name, points in pressings for at_s, _k in points]
    _panel(lower, pressings, (min(times_s, default=-1.0), max(times_s, default=1.0)))
    _bound(lower, picture.recovery_s)
    lower.axvline(0.0, color=_INK, linewidth=0.8)
    lower.set_title(_("the last charge: opened, filled, closed at 0"), loc="left", fontsize=10)
    lower.set_xlabel(_("time since closing, min:s"), color=_INK)
    title = _("SIMULATED: {mould} at {setpoint}").format(
        mould=picture.mould, setpoint=temperature(picture.setpoint_c, 0)
    )
    figure.suptitle(title, x=0.01, ha="left", fontsize=12, color=_INK)


def _panel(
    axes: Axes,
    curves: Sequence[tuple[str, Sequence[tuple[float, float]]]],
    span_s: tuple[float, float],
) -> None:
    axes.axhspan(-_BAND_K, _BAND_K, color=_BAND, lw=0)
    axes.axhline(0.0, color=_QUIET, linewidth=0.6)
    shown: list[float] = []
    for name, points in curves:
        inside = [(at_s, k) for at_s, k in points if span_s[0] <= at_s <= span_s[1]]
        if not inside:
            continue
        look = _LOOKS.get(name, _OTHER)
        axes.plot(
            [at_s for at_s, _k in inside],
            [k for _at, k in inside],
            color=look.color,
            linewidth=look.width,
            linestyle=look.dash,
            label=name,
            zorder=3.0 if name == "tawny" else 2.0,
        )
        shown += [k for _at, k in inside]
    axes.set_xlim(*span_s)
    axes.set_ylim(
        max(min(shown, default=-1.0), _LOWEST_K) - 0.5,
        min(max(shown, default=1.0), _HIGHEST_K) + 0.5,
    )
    axes.set_ylabel(_("deviation of the half further off, K"), color=_INK)
    step_s = next((step for step in _TICKS_S if span_s[1] - span_s[0] <= 12.0 * step), _TICKS_S[-1])
    first, last = math.ceil(span_s[0] / step_s), math.floor(span_s[1] / step_s)
    axes.set_xticks([place * step_s for place in range(first, last + 1)])
    axes.xaxis.set_major_formatter(lambda value, _place: minutes(value))
    axes.yaxis.set_major_formatter(lambda value, _place: number(value, 0))
    axes.spines[["top", "right"]].set_visible(False)


def _bound(axes: Axes, at_s: float | None) -> None:
    if at_s is None:
        return
    axes.axvline(at_s, color=_INK, linewidth=1.0, linestyle=(0, (1, 2)))
    axes.annotate(
        _("physics allows no sooner"),
        (at_s, 0.02),
        xycoords=("data", "axes fraction"),
        xytext=(4, 0),
        textcoords="offset points",
        fontsize=8,
        color=_QUIET,
    )
