"""The one big figure of the screen and the words under it."""

from __future__ import annotations

from tawny.core.names import Phase
from tawny.core.snapshot import Figure, Snapshot
from tawny.ui import digits
from tawny.ui.look import Look
from tawny.ui.text import Part, Role
from tawny.words import _, numbers, sentences


def figure(snapshot: Snapshot, look: Look) -> list[list[Part]]:
    """Return the rows of the figure, its caption the last; none where the phase has none."""
    shown = snapshot.figure
    text = _digits(shown)
    if not text:
        return []
    drawn = digits.rows(text, look.digits)
    if look.big:
        drawn = digits.doubled(drawn)
    old = look.old(snapshot)
    role: Role = "quiet" if old else "amber" if shown.over else "strong"
    if old:
        drawn = digits.struck(drawn)
    caption: list[Part] = [(_caption(shown, snapshot), "quiet")]
    if old:
        caption.append((f"  {look.marks.medium} " + _("old"), "amber"))
    elif shown.over:
        words = _("slow") if snapshot.phase is Phase.FILL else _("late")
        caption.append((f"  {look.marks.medium} {words}", "amber"))
    return [*([(row, role)] for row in drawn), caption]


def _digits(shown: Figure) -> str:
    if shown.value is None or shown.kind == "none":
        return ""
    if shown.kind == "grams":
        return numbers.number(shown.value)
    if shown.kind == "drying":
        return numbers.number(shown.value / 60.0, 0)
    if shown.kind == "temperature":
        return numbers.number(shown.value, 0)
    if shown.kind == "time_to_breath":
        now = shown.value < 0.5  # noqa: PLR2004 - rounds to 0: the sentence says what to do
        return "" if now else numbers.number(shown.value, 0)
    return numbers.minutes(shown.value)


def _caption(shown: Figure, snapshot: Snapshot) -> str:
    captions = {
        "time_left": _("minutes left"),
        "time_to_ready": _("minutes to ready"),
        "time_to_breath": _("seconds to the next breath"),
        "elapsed": _("minutes at {phase}").format(phase=sentences.phase_name(snapshot.phase)),
        "drying": _("minutes of drying left"),
        "grams": _("grams into each cavity"),
        "temperature": _("°C, the hotter half"),
    }
    return captions.get(shown.kind, "")
