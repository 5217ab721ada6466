"""The pictures of a part's trace and of the benchmark: the only door to matplotlib.

`tawny.report.drawing` runs this module as a child process. No pyplot, no window, no font
from anywhere but this machine.
"""

from __future__ import annotations

import sys
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from tawny.core.names import Phase
from tawny.core.trace import PartTrace, Samples, stretches
from tawny.report.drawing import Order
from tawny.report.hold_drawing import HOLD, HoldOrder
from tawny.report.hold_picture import HOLD_SIZE, compose_hold
from tawny.words import _
from tawny.words.numbers import difference, local_time, minutes, number, temperature
from tawny.words.vocabulary import PHASES, RESULTS

if TYPE_CHECKING:
    from collections.abc import Callable

    # Also for who composes a figure elsewhere: there is one door.
    from matplotlib.axes import Axes as Axes  # noqa: PLC0414
    from matplotlib.figure import Figure as Figure  # noqa: PLC0414

_POINTS_MOST = 1200  # more than a picture this wide can show
_TICKS_S = (1.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0, 14400.0)
_INK, _QUIET = "#222222", "#767676"
_UPPER, _LOWER, _TRIP = "#b35900", "#0072b2", "#a0306e"  # told apart by dash and label too
_Line = tuple[tuple[float | None, ...], str, object, str]
_SHADES = {
    Phase.BREATHE: "#f3ead7",
    Phase.HOLD: "#e7eef3",
    Phase.RELEASE: "#f3ead7",
}


def draw(trace: PartTrace, paths: tuple[Path, ...]) -> None:
    """Draw one part and save it to each path; a file appears whole or not at all."""
    _save(lambda figure: _compose(figure, trace), trace.part_id, paths)


def _save(
    compose: Callable[[Figure], None],
    title: str,
    paths: tuple[Path, ...],
    size: tuple[float, float] = (10.0, 5.6),
) -> None:
    import matplotlib as mpl  # noqa: PLC0415 - a second of import that only the child pays
    from matplotlib.figure import Figure  # noqa: PLC0415

    # The same trace gives the same bytes, text stays text in the viewer's own fonts, and a
    # dollar sign in a name is a dollar sign.
    with mpl.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": "tawny", "text.parse_math": False}
    ):
        figure = Figure(figsize=size, dpi=120, layout="constrained")
        compose(figure)
        for path in paths:
            fresh = path.with_name(f".{path.name}")
            metadata: dict[str, Any] = {"Title": title}
            if path.suffix == ".svg":
                metadata["Date"] = None
            figure.savefig(fresh, format=path.suffix[1:], metadata=metadata)
            fresh.replace(path)


def _compose(figure: Figure, trace: PartTrace) -> None:
    from matplotlib.ticker import MultipleLocator  # noqa: PLC0415 - with the rest of it

    upper, lower = figure.subplots(
        2, 1, sharex=True, gridspec_kw={"height_ratios": [4.0, 1.0]}, squeeze=True
    )
    samples = trace.samples
    _draw_phases(upper, lower, samples)
    _draw_temperatures(upper, trace)
    _draw_heat(lower, samples)
    for axes in (upper, lower):
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(colors=_INK)
        axes.grid(visible=True, axis="y", color="#dddddd", linewidth=0.6)
        axes.set_axisbelow(True)
    lower.xaxis.set_major_locator(MultipleLocator(_tick_s(samples)))
    lower.xaxis.set_major_formatter(lambda value, _place: minutes(value))
    lower.set_xlabel(_("time since the pressing began, min:s"), color=_INK)
    if samples.t_s:
        lower.set_xlim(samples.t_s[0], max(samples.t_s[-1], samples.t_s[0] + 1.0))
    figure.suptitle(_title(trace), x=0.01, ha="left", fontsize=11, color=_INK)
    if trace.record.simulated:
        figure.text(
            0.5, 0.5, _("SIMULATED"), ha="center", va="center", fontsize=64, color="#8c2f00",
            alpha=0.13, rotation=18, zorder=0,
        )  # fmt: skip


def _tick_s(samples: Samples) -> float:
    """Return a step of whole minutes or seconds that gives at most a dozen ticks."""
    span_s = samples.t_s[-1] - samples.t_s[0] if samples.t_s else 0.0
    return next((step for step in _TICKS_S if span_s <= 12 * step), _TICKS_S[-1])


def _title(trace: PartTrace) -> str:
    record = trace.record
    when = local_time(record.started_utc_ms).strftime("%Y-%m-%d %H:%M")
    first = _("{part}  ·  {recipe} version {version}  ·  {press}, {workshop}  ·  {when}").format(
        part=trace.part_id,
        recipe=record.recipe.name,
        version=record.recipe.version,
        press=record.press,
        workshop=trace.workshop,
        when=when,
    )
    second = _("{result}  ·  hold {hold}  ·  equivalent {equivalent}  ·  peak {peak}").format(
        result=_(RESULTS[record.result]),
        hold=minutes(record.hold_s),
        equivalent=minutes(record.equivalent_s),
        peak=temperature(record.highest_c),
    )
    if record.first_off:
        second += "  ·  " + _("first-off")
    return f"{first}\n{second}"


def _draw_phases(upper: Axes, lower: Axes, samples: Samples) -> None:
    """Shade the phases and name those that are wide enough for their name."""
    if not samples.t_s:
        return
    span_s = max(samples.t_s[-1] - samples.t_s[0], 1.0)
    for stretch in stretches(samples):
        for axes in (upper, lower):
            axes.axvspan(
                stretch.start_s, stretch.end_s, color=_SHADES.get(stretch.phase, "#ffffff"), lw=0
            )
            axes.axvline(stretch.start_s, color="#cccccc", linewidth=0.6)
        if stretch.end_s - stretch.start_s > 0.06 * span_s:
            upper.text(
                (stretch.start_s + stretch.end_s) / 2, 1.01, _(PHASES[stretch.phase]),
                transform=upper.get_xaxis_transform(), ha="center", va="bottom", fontsize=9,
                color=_QUIET,
            )  # fmt: skip


def _draw_temperatures(axes: Axes, trace: PartTrace) -> None:
    samples = trace.samples
    for values, color, dash, label in (
        *_setpoints(samples),
        (samples.upper_c, _UPPER, "solid", _("upper half")),
        (samples.lower_c, _LOWER, (0, (5, 1.5)), _("lower half")),
    ):
        times, shown = _thin(samples.t_s, values)
        axes.plot(times, shown, color=color, linestyle=dash, linewidth=1.3, label=label)
    if trace.trip_c is not None:
        axes.axhline(trace.trip_c, color=_TRIP, linewidth=1.6, linestyle=(0, (8, 3)))
        axes.annotate(
            _("trip {trip}").format(trip=temperature(trace.trip_c, 0)),
            (0.995, trace.trip_c), xycoords=("axes fraction", "data"), xytext=(0, 3),
            textcoords="offset points", ha="right", color=_TRIP, fontsize=9,
        )  # fmt: skip
    marked = [t_s for t_s, event in zip(samples.t_s, samples.event, strict=True) if event]
    if marked:
        axes.plot(
            marked, [0.02] * len(marked), linestyle="none", marker="^", color=_INK, markersize=5,
            transform=axes.get_xaxis_transform(), clip_on=False, label=_("event"),
        )  # fmt: skip
    gap_k = _largest_gap_k(samples)
    if gap_k is not None:
        axes.set_title(
            _("halves apart by at most {gap}").format(gap=difference(gap_k, 1)),
            loc="right", fontsize=9, color=_QUIET, pad=16,
        )  # fmt: skip
    axes.set_ylabel(_("temperature, °C"), color=_INK)
    axes.yaxis.set_major_formatter(lambda value, _place: number(value, 0))
    axes.legend(loc="lower right", fontsize=9, frameon=False, ncols=4)


def _setpoints(samples: Samples) -> list[_Line]:
    """Return one line where both halves have one setpoint, else two."""
    dotted = (0, (1, 2))
    if samples.setpoint_c == samples.lower_setpoint_c:
        return [(samples.setpoint_c, _INK, dotted, _("setpoint"))]
    return [
        (samples.setpoint_c, _UPPER, dotted, _("setpoint, upper")),
        (samples.lower_setpoint_c, _LOWER, dotted, _("setpoint, lower")),
    ]


def _draw_heat(axes: Axes, samples: Samples) -> None:
    for values, color, dash in (
        (samples.upper_duty, _UPPER, "solid"),
        (samples.lower_duty, _LOWER, (0, (5, 1.5))),
    ):
        times, shown = _thin(samples.t_s, values)
        axes.plot(
            times, [value * 100.0 for value in shown], color=color, linestyle=dash, linewidth=1.0
        )
    axes.set_ylim(0.0, 105.0)
    axes.set_ylabel(_("heat, %"), color=_INK)


def _largest_gap_k(samples: Samples) -> float | None:
    """Return how far the halves were apart while the mould was held."""
    return max(
        (
            abs(upper_c - lower_c)
            for phase, upper_c, lower_c in zip(
                samples.phase, samples.upper_c, samples.lower_c, strict=True
            )
            if phase is Phase.HOLD and upper_c is not None and lower_c is not None
        ),
        default=None,
    )


def _thin(
    times: tuple[float, ...], values: tuple[float | None, ...]
) -> tuple[list[float], list[float]]:
    """Return at most about `_POINTS_MOST` points; a peak of one sample is never lost.

    Of each group the least and the most are kept, in the order of time. An absent value
    becomes NaN, which breaks the line.
    """
    rows = list(zip(times, (float("nan") if v is None else v for v in values), strict=True))
    if len(rows) <= _POINTS_MOST:
        kept = rows
    else:
        group = -(-2 * len(rows) // _POINTS_MOST)
        kept = []
        for start in range(0, len(rows), group):
            part = rows[start : start + group]
            absent = [row for row in part if row[1] != row[1]]
            good = [row for row in part if row[1] == row[1]]
            ends = {min(good, key=itemgetter(1)), max(good, key=itemgetter(1))} if good else set()
            kept += sorted([*ends, *absent[:1]])
    return [row[0] for row in kept], [row[1] for row in kept]


def _child() -> int:
    """Draw what standard input orders; the last line on standard error says what failed."""
    told = sys.stdin.buffer.read()
    if sys.argv[1:] == [HOLD]:
        held = msgspec.json.decode(told, type=HoldOrder)
        picture = held.picture
        _save(
            lambda figure: compose_hold(figure, picture),
            picture.mould,
            (Path(held.path),),
            HOLD_SIZE,
        )
        return 0
    order = msgspec.json.decode(told, type=Order)
    draw(order.trace, tuple(map(Path, order.paths)))
    return 0


if __name__ == "__main__":
    sys.exit(_child())
