"""The alarm banner under the title: shape, what happened, what to do; there until seen."""

from __future__ import annotations

from tawny.core.names import Priority
from tawny.core.snapshot import Snapshot
from tawny.ui.lines import unseen_alarms
from tawny.ui.look import Look
from tawny.ui.text import Part, Role, spread
from tawny.words import _, numbers, sentences


def banner(snapshot: Snapshot, look: Look) -> list[list[Part]]:
    """Return the two rows of the first alarm not seen yet, or [] when there is none."""
    alarms = unseen_alarms(snapshot)
    if not alarms:
        return []
    first = alarms[0]
    words = sentences.alarm(first)
    role: Role = "banner" if first.priority is Priority.HIGH else "medium"
    shape = look.marks.priority(first.priority)
    when = numbers.clock(first.since_utc_ms, with_seconds=True)
    if len(alarms) > 1:
        when = _("first of {count}").format(count=len(alarms)) + f" · {when}"
    cells = look.columns - 2
    key = [("a ", role), (_("seen"), role)] if look.at_desk(snapshot) else [(" ", role)]
    above = spread([(f" {shape} {words.what}", role)], [(when + " ", role)], cells, look.marks)
    indent = " " * (len(shape) + 2)
    below = spread([(indent + words.do, role)], [*key, (" ", role)], cells, look.marks)
    return [[(text, role) for text, _role in above], [(text, role) for text, _role in below]]
