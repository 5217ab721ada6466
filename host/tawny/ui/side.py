"""The lines beside the big figure: both halves against setpoint, and how the phase stands."""

from __future__ import annotations

from tawny.core.aim_state import Aim
from tawny.core.names import Half, Phase, Quality
from tawny.core.snapshot import AimView, HalfView, HoldView, Snapshot
from tawny.ui import digits
from tawny.ui.look import WORKING, Look, deviation_alarm
from tawny.ui.text import Part, Role, cut, pad, right
from tawny.words import _, numbers, sentences

_AS_THE_RECIPE_S = 0.5
_LEAST_CAUSE_K = 0.5
_SECONDS_A_DASH = 2.0
_GROWN_WIDTH = 21
_HEATING_UP = {Phase.PREHEAT, Phase.SOAK}
_BEFORE_CLOSING = {Phase.SOAK, Phase.READY, Phase.CLEAN, Phase.OIL}


def side(snapshot: Snapshot, look: Look, cells: int) -> list[list[Part]]:
    """Return the lines beside the figure, at most `cells` wide."""
    halves = ((Half.UPPER, snapshot.upper), (Half.LOWER, snapshot.lower))
    if _grown(snapshot, look):
        lines = _grown_halves(snapshot, look)
    else:
        lines = [_half_line(name, view, snapshot, look) for name, view in halves]
        lines += _phase_lines(snapshot, look)
    return [cut(line, cells, look.marks) for line in lines]


def _abnormal(half: Half, snapshot: Snapshot) -> bool:
    return deviation_alarm(snapshot, half.value) is not None


def _grown(snapshot: Snapshot, look: Look) -> bool:
    """Return whether the halves' digits grow: the mould is in use and a half is out of band."""
    fresh = not look.old(snapshot)
    out = any(_abnormal(half, snapshot) for half in Half)
    return fresh and out and snapshot.phase in WORKING and snapshot.phase is not Phase.RELEASE


def _half_line(half: Half, view: HalfView, snapshot: Snapshot, look: Look) -> list[Part]:
    names = [sentences.half_name(each) for each in Half]
    name = pad(sentences.half_name(half), max(len(each) for each in names) + 2)
    reading = right(numbers.temperature(view.process_value_c), 9)
    stale = look.old(snapshot) or view.quality is not Quality.GOOD
    line: list[Part] = [(name, "quiet"), (reading, "old" if stale else "strong"), ("  ", "plain")]
    word, role = _band(half, view, snapshot, look)
    line.append((pad(word, 14), role))
    heat = _("heat {percent}").format(percent=numbers.percent(view.duty))
    line.append((heat, "old" if stale else "plain"))
    return line


def _band(half: Half, view: HalfView, snapshot: Snapshot, look: Look) -> tuple[str, Role]:
    """Return where a half stands against its setpoint; colour only with a word and a shape."""
    if view.quality is Quality.BAD:
        return f"{look.marks.high} " + _("no reading"), "red"
    if look.old(snapshot) or view.quality is Quality.STALE:
        return f"{look.marks.medium} " + _("old"), "amber"
    if view.setpoint_c is None or view.deviation_k is None:
        return "", "quiet"
    if view.in_band:
        return _("in band"), "quiet"
    above = view.deviation_k > 0.0
    away = numbers.difference(view.deviation_k)
    word = _("{k} above").format(k=away) if above else _("{k} below").format(k=away)
    if not _abnormal(half, snapshot):
        return word, "plain"
    return f"{look.marks.above if above else look.marks.below} {word}", "amber"


def _grown_halves(snapshot: Snapshot, look: Look) -> list[list[Part]]:
    """Return both temperatures in digits of their own, words under them."""
    size: digits.Size = "small" if look.marks.dots else "hash"
    columns = []
    for half, view in ((Half.UPPER, snapshot.upper), (Half.LOWER, snapshot.lower)):
        word, role = _band(half, view, snapshot, look)
        drawn = digits.rows(numbers.number(view.process_value_c, 0), size)
        name = sentences.half_name(half) + " °C"
        columns.append((drawn, name, word, role))
    lines: list[list[Part]] = [
        [(pad(drawn[row], _GROWN_WIDTH), role) for drawn, _n, _w, role in columns]
        for row in range(digits.height(size))
    ]
    caption: list[Part] = []
    for _drawn, name, word, role in columns:
        caption += [(f"{name} ", "quiet"), (pad(word, _GROWN_WIDTH - 1 - len(name)), role)]
    lines.append(caption)
    return lines


def _phase_lines(snapshot: Snapshot, look: Look) -> list[list[Part]]:
    if snapshot.hold is not None:
        role: Role = "old" if look.old(snapshot) else "quiet"
        return [[(words, role)] for words in _hold_words(snapshot.hold)]
    if snapshot.phase is Phase.FILL:
        return [_fill_line(snapshot, look)]
    lines: list[list[Part]] = []
    if snapshot.upper.setpoint_c is not None or snapshot.lower.setpoint_c is not None:
        lines.append([(_held_at(snapshot), "quiet")])
        if snapshot.learning and snapshot.phase in _HEATING_UP:
            lines.append([(_("learning this mould: heats with care"), "plain")])
        if snapshot.first_off and snapshot.phase in _BEFORE_CLOSING:
            lines.append([(_("first-off: check its part apart"), "plain")])
    return lines


def _held_at(snapshot: Snapshot) -> str:
    """Return what the halves are held at: the recipe, or what is asked for in its place."""
    aim, lower_c = snapshot.aim, snapshot.lower_setpoint_c
    if aim is not None:
        return _aimed(snapshot, aim)
    setpoint = numbers.temperature(snapshot.setpoint_c, 0)
    band = numbers.difference(snapshot.band_k)
    if lower_c is None or lower_c == snapshot.setpoint_c:
        return _("setpoint {setpoint}, band {band} either way").format(setpoint=setpoint, band=band)
    return _("upper {upper}, lower {lower}, band {band}").format(
        upper=setpoint, lower=numbers.temperature(lower_c, 0), band=band
    )


def _aimed(snapshot: Snapshot, aim: AimView) -> str:
    goal = _pair(aim.upper_goal_c, aim.lower_goal_c)
    upper_c, lower_c = snapshot.upper.setpoint_c, snapshot.lower.setpoint_c
    if aim.kind == Aim.STANDBY:
        usual = _pair(snapshot.setpoint_c, snapshot.lower_setpoint_c)
        return _("standby {goal}, pressing {usual}").format(goal=goal, usual=usual)
    if aim.kind == Aim.MANUAL:
        return _("by hand, no heat from {goal} on").format(goal=goal)
    if upper_c is None or lower_c is None:
        return _("setpoint going to {goal}").format(goal=goal)
    return _("setpoint {now}, going to {goal}").format(now=_pair(upper_c, lower_c), goal=goal)


def _pair(upper_c: float, lower_c: float | None) -> str:
    """Return both halves' temperatures, or the one that holds for both."""
    upper = numbers.temperature(upper_c, 0)
    if lower_c is None or round(lower_c) == round(upper_c):
        return upper
    return f"{numbers.number(upper_c, 0)}/{numbers.temperature(lower_c, 0)}"


def _hold_words(hold: HoldView) -> tuple[str, str]:
    dose = _("dose {done} of {wanted} min").format(
        done=numbers.number(hold.equivalent_s / 60.0),
        wanted=numbers.number(hold.wanted_equivalent_s / 60.0),
    )
    least = numbers.minutes(hold.least_s)
    passed = hold.elapsed_s >= hold.least_s
    when = _("least {time} passed") if passed else _("not before {time}")
    return f"{dose} · {when.format(time=least)}", _longer(hold)


def _longer(hold: HoldView) -> str:
    """Return how the hold differs from the recipe's own time, and why."""
    if abs(hold.longer_s) < _AS_THE_RECIPE_S:
        return _("as long as the recipe has it")
    time = numbers.seconds(abs(hold.longer_s))
    words = _("{time} longer") if hold.longer_s > 0.0 else _("{time} shorter")
    words = words.format(time=time)
    # Time left goes by the heat now, the deviation by the mean since closing: as the mould
    # passes setpoint they part for a while, and the mean explains nothing then.
    explains = (hold.cause_k < 0.0) == (hold.longer_s > 0.0)
    if abs(hold.cause_k) < _LEAST_CAUSE_K or not explains:
        return words
    away = numbers.difference(hold.cause_k)
    cause = _("mould {k} cool") if hold.cause_k < 0.0 else _("mould {k} hot")
    return f"{words}: {cause.format(k=away)}"


def _fill_line(snapshot: Snapshot, look: Look) -> list[Part]:
    """Return the seconds since opening as a thin line, amber with a word when it takes long."""
    slow = snapshot.sentence.code == "fill_slow" or snapshot.figure.over
    time = _("filling {time}").format(time=numbers.minutes(snapshot.phase_elapsed_s))
    dashes = "─" * min(int(snapshot.phase_elapsed_s / _SECONDS_A_DASH), 18)
    if slow:
        return [(f"{time} {dashes} ", "amber"), (f"{look.marks.medium} " + _("slow"), "amber")]
    return [(f"{time} ", "plain"), (dashes, "quiet")]
