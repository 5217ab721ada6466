"""The column beside the pressing on a wide screen: the last parts and the day."""

from __future__ import annotations

from tawny.core.names import Result
from tawny.core.snapshot import PartView, Snapshot
from tawny.ui.look import Look
from tawny.ui.text import Part, cut, pad
from tawny.words import _, numbers, sentences

_PARTS = 5


def last_parts(snapshot: Snapshot, look: Look, cells: int) -> list[list[Part]]:
    """Return a heading, the last five parts, and who presses what today."""
    lines: list[list[Part]] = [[(_("last parts"), "quiet")]]
    lines += [_part(part, look) for part in snapshot.last_parts[:_PARTS]]
    if not snapshot.last_parts:
        lines.append([(_("none yet"), "quiet")])
    lines += [[] for _line in range(_PARTS + 1 - len(lines))]
    lines.append([])
    rows = (
        (_("parts today"), str(snapshot.parts_today)),
        (_("operator"), snapshot.operator),
        (_("lot"), snapshot.lot),
        (_("viewers"), str(snapshot.viewers)),
    )
    name = max(len(words) for words, _value in rows) + 2
    lines += [[(pad(words, name), "quiet"), (value, "plain")] for words, value in rows if value]
    return [cut(line, cells, look.marks) for line in lines]


def _part(part: PartView, look: Look) -> list[Part]:
    line: list[Part] = [
        (f"{numbers.clock(part.ended_utc_ms)}  ", "quiet"),
        (pad(part.part_id, 10), "plain"),
        (_("hold {time}").format(time=numbers.minutes(part.hold_s)), "quiet"),
        ("  ", "plain"),
    ]
    if part.result is Result.COMPLETE:
        peak = numbers.temperature(part.peak_c, 0)
        line.append((_("peak {temperature}").format(temperature=peak), "quiet"))
        if part.first_off:
            line.append((" · " + _("first-off"), "plain"))
    else:
        line.append((f"{look.marks.medium} {sentences.result(part.result)}", "amber"))
    return line
