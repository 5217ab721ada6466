"""The benchmark of the hold as a person reads it."""

from __future__ import annotations

import math
from statistics import median
from typing import TYPE_CHECKING, Final, NamedTuple

from tawny.cli.benches.hold_verdict import NO_RECORD, TARGETS, Target, finite
from tawny.sim.hold_run import TAWNY
from tawny.words import _
from tawny.words.numbers import MISSING, number, temperature, watts

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from tawny.cli.benches.hold_verdict import Case, Figure, Report
    from tawny.sim.hold_bounds import Weak

_WH_J: Final = 3600.0
_PERCENT: Final = 100.0


class _Column(NamedTuple):
    """One column: its two lines of heading, its decimals, and its value in a case."""

    head: str
    unit: str
    decimals: int
    value: Callable[[Case], float | None]
    target: str = ""
    scale: float = 1.0
    bound: Callable[[Case], float | None] = lambda _case: None


def _columns() -> list[_Column]:
    def hold(name: str) -> Callable[[Case], float | None]:
        return lambda c: None if c.run.hold is None else getattr(c.run.hold, name)

    def pressed(name: str) -> Callable[[Case], float | None]:
        return lambda c: None if c.run.pressings is None else getattr(c.run.pressings, name)

    def figure(name: str) -> Callable[[Case], float | None]:
        return lambda c: c.figures().get(name)

    def on_per_h(c: Case) -> float | None:
        found = c.run.hold_switchings_per_h
        return None if found is None else max(found)

    return [
        _Column(
            _("heat-up"),
            "s",
            0,
            lambda c: c.run.first.time_s,
            bound=lambda c: c.bounds.heat_up_s,
        ),
        _Column(_("ratio"), "", 2, figure("first_ratio"), "first_ratio"),
        _Column(_("later"), "", 2, figure("later_ratio"), "later_ratio"),
        _Column(_("over"), "K", 2, figure("overshoot_k"), "overshoot_k"),
        _Column(_("hold"), "K", 2, hold("worst_k"), "hold_worst_k"),
        _Column(_("std"), "K", 3, hold("std_k")),
        _Column(_("shown"), "K", 2, hold("shown_worst_k")),
        _Column(_("halves"), "K", 2, hold("apart_k")),
        _Column(_("on/h"), "", 0, on_per_h),
        _Column(_("dip"), "K", 1, pressed("dip_k"), bound=lambda c: c.bounds.dip_k),
        _Column(_("back"), "s", 0, pressed("recovery_s"), bound=lambda c: c.bounds.recovery_s),
        _Column(_("ratio"), "", 2, figure("recovery_ratio"), "recovery_ratio"),
        _Column(_("dose"), _("CV %"), 2, figure("surface_cv"), "surface_cv", _PERCENT),
        _Column(_("clock"), _("CV %"), 2, pressed("clock_surface_cv"), "", _PERCENT),
        _Column(_("core"), _("CV %"), 2, pressed("core_cv"), "", _PERCENT),
        _Column(_("part"), "Wh", 0, pressed("part_j"), "", 1.0 / _WH_J),
        _Column(
            _("up"),
            "Wh",
            0,
            lambda c: c.run.first.given_j,
            "",
            1.0 / _WH_J,
            lambda c: c.bounds.given_j,
        ),
    ]


def lines(report: Report) -> list[str]:
    """Return the lines of one mould: what it is, its table, what was missed."""
    found = [
        too_weak(report.mould, number_of, report.weak_setpoints_c[number_of], weak)
        for number_of, weak in report.weak.items()
    ]
    if not report.cases:
        return found
    copies = len({case.number for case in report.cases})
    title = _("{mould}, {setpoint}").format(
        mould=report.mould, setpoint=temperature(report.cases[0].setpoint_c, 0)
    )
    if copies > 1:
        title = _("{mould}, with copies: {count}").format(mould=report.mould, count=copies)
    if not report.record:
        title += _(", without a commissioning record")
    found += [
        _(
            "{mould}{copy} under {name}: the heaters gave all they may, all the time: too weak for"
            " this pace of pressing"
        ).format(mould=case.mould, copy=_copy(case.number), name=case.controller)
        for case in report.cases
        if case.too_fast
    ]
    missed = _missed(report.mould, report.figures.get(TAWNY, {}))
    return [title, *_table(report), *found, *missed]


def _table(report: Report) -> list[str]:
    found, record = report.cases, report.record
    columns = _columns()
    targets = TARGETS if record else NO_RECORD
    many = len({case.number for case in found}) > 1
    rows = [
        ["", *(column.head for column in columns)],
        ["", *(column.unit for column in columns)],
        [
            _("bound, median") if many else _("bound"),
            *(_middle(column, found, column.bound) for column in columns),
        ],
    ]
    if many:
        rows.append([_("limit of median"), *_limits(columns, targets, lambda one: one.median)])
    rows.append([_("limit"), *_limits(columns, targets, lambda one: one.worst)])
    for name in report.figures:
        own = [case for case in found if case.controller == name]
        if not own:
            continue
        label = _("{name}, median").format(name=name) if many else name
        rows.append([label, *(_middle(column, own, column.value) for column in columns)])
        if many:
            rows.append(
                [_("{name}, worst").format(name=name), *(_worst(column, own) for column in columns)]
            )
    return _aligned(rows)


def _missed(mould: str, figures: dict[str, Figure]) -> list[str]:
    """Return a line for each target that was missed."""
    names = {
        "first_ratio": _("first heat-up, of the bound"),
        "later_ratio": _("later heat-up, of the bound"),
        "overshoot_k": _("overshoot, K"),
        "hold_worst_k": _("hold, worst true error, K"),
        "recovery_ratio": _("recovery, of the bound"),
        "surface_cv": _("spread of the surface dose, of 1"),
    }
    told = []
    for name, figure in figures.items():
        if figure.passed is not False or figure.target is None:
            continue
        found = _("{median} and {worst}").format(
            median=_number(figure.median, 3), worst=_number(figure.worst, 3)
        )
        most = _("{median} and {worst}").format(
            median=_number(figure.target.median, 3), worst=_number(figure.target.worst, 3)
        )
        told.append(
            _("MISSED: {mould}: {what}: median and worst are {found}, at most {most}").format(
                mould=mould, what=names[name], found=found, most=most
            )
        )
    return told


def too_weak(mould: str, number_of: int, setpoint_c: float, weak: Weak) -> str:
    """Return why a mould cannot be heated to its setpoint, and what would do."""
    template = _(
        "{mould}{copy}: {setpoint} is out of reach: to stay there the halves take {upper} and"
        " {lower}; the heaters give {upper_has} and {lower_has}, and both duties together may be"
        " {cap}"
    )
    return template.format(
        mould=mould,
        copy=_copy(number_of),
        setpoint=temperature(setpoint_c, 0),
        upper=watts(weak.needs_w[0]),
        lower=watts(weak.needs_w[1]),
        upper_has=watts(weak.has_w[0]),
        lower_has=watts(weak.has_w[1]),
        cap=number(weak.supply_cap, 2),
    )


def _copy(number_of: int) -> str:
    return _(", copy {number}").format(number=number_of) if number_of else ""


def legend() -> list[str]:
    """Return what the columns mean."""
    return [
        _("heat-up, ratio, later: first heat-up from room, and both beside the physical bound"),
        _("over: highest above setpoint; hold, std: true error over 30 min, worst and deviation"),
        _("shown: worst error as displayed; halves: their largest difference; on/h: switchings"),
        _("dip, back, ratio: after a charge, median from the fifth on, over a bound above 0"),
        _("dose, clock: spread of the surface dose, holds ended by dose and by clock; core: dose"),
        _("part, up: heat for a part and for the first heat-up; a dash: never, or not tried"),
    ]


def _limits(
    columns: list[_Column], targets: dict[str, Target], most: Callable[[Target], float | None]
) -> list[str]:
    shown = []
    for column in columns:
        target = targets.get(column.target)
        value = None if target is None else most(target)
        shown.append("" if value is None else number(value * column.scale, column.decimals))
    return shown


def _middle(column: _Column, found: Sequence[Case], value: Callable[[Case], float | None]) -> str:
    if value is column.bound and all(value(case) is None for case in found):
        return ""
    ordered = _values(column, found, value)
    if not ordered:
        return MISSING
    return _number(median(ordered) * column.scale, column.decimals)


def _worst(column: _Column, found: Sequence[Case]) -> str:
    values = _values(column, found, column.value)
    if not values:
        return MISSING
    worst = min(values) if column.head == _("dip") else max(values)
    return _number(worst * column.scale, column.decimals)


def _values(
    column: _Column, found: Sequence[Case], value: Callable[[Case], float | None]
) -> list[float]:
    """Return the values of all cases: what never came is infinite, what is no figure left out."""
    values = [value(case) for case in found]
    if column.target and value is column.value:
        return [one for one in values if one is not None]
    return [math.inf if one is None else one for one in values]


def _number(value: float | None, decimals: int) -> str:
    return MISSING if finite(value) is None else number(value, decimals)


def _aligned(rows: list[list[str]]) -> list[str]:
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    return [
        "  ".join(
            text.ljust(width) if place == 0 else text.rjust(width)
            for place, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
