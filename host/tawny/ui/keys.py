"""Every key of the dashboard: what it asks for, when it is shown, and where it stands.

A key does one thing in every phase. One that is not allowed now is not shown; tapped all
the same, it is sent, and the core answers what is missing.
"""

from __future__ import annotations

from dataclasses import dataclass

from tawny.core import intents
from tawny.core.aim_state import Aim
from tawny.core.names import Phase
from tawny.core.phases import TABLE, Trigger
from tawny.core.snapshot import Snapshot
from tawny.ui import lines, rescue
from tawny.ui.look import Look
from tawny.ui.text import Part, cut, pad
from tawny.words import _, sentences

LEAST_APART_S = 0.2  # of one key: a held key sends at most five intents a second
PRESENCE_SHOWN_S = 120.0

# Keys that need no answer first. The others open a question, a list or a view.
AT_ONCE: dict[str, intents.AnyIntent] = {
    "m": intents.Mark(),
    "h": intents.HeatOff(),
    "a": intents.Acknowledge(),
    "r": intents.Arm(),
    "i": intents.Confirm(),
}
ASKING = {
    "s": "start",
    "x": "scrap",
    "c": "recipe",
    "o": "operator",
    "l": "lot",
    "v": "alarms",
    "t": "take",
    "u": "upkeep",
    "e": "later",
    "question_mark": "help",
    "q": "quit",
}
VIEWS = {"b": "big", "w": "window"}
START_CODES = frozenset({"start_day", "need_empty_dry"})
AGAIN_CODES = frozenset({"cool", "touchable"})  # heat was on before, and may be asked for anew
_IN_HAND = frozenset(
    {
        Phase.FILL,
        Phase.CLOSE,
        Phase.BREATHE,
        Phase.HOLD,
        Phase.RELEASE,
        Phase.OPEN,
        Phase.DEMOULD,
    }
)
_RESTABLE = {Phase.SOAK, Phase.READY, Phase.CLEAN, Phase.OIL, Phase.PAUSED}


@dataclass(frozen=True, slots=True)
class Shown:
    """A key beside what it does; `row` and `column` are its place among the actions."""

    key: str
    does: str
    row: int
    column: int
    leading: bool = False


def space(snapshot: Snapshot) -> intents.AnyIntent | str:
    """Return what a tap of the space bar asks for, or the question it opens.

    With a simulated hand the bar also plays the person at the press: it answers what only
    that person could, so that a part can be pressed with the bar alone.
    """
    if snapshot.simulated_hand:
        if snapshot.rescue is not None:
            return intents.RescueStep(rescue.next_step(snapshot.rescue))
        if snapshot.sentence.code in START_CODES | AGAIN_CODES:
            return ASKING["s"]
        if snapshot.sentence.code == "arm":
            return intents.Arm()
        if snapshot.sentence.code == "tripped":
            return intents.Confirm()
    return intents.Advance(seen=snapshot.phase)


def pause_or_resume(snapshot: Snapshot) -> intents.AnyIntent:
    """Return what `p` asks for: it undoes itself."""
    return intents.Resume() if snapshot.phase is Phase.PAUSED else intents.Pause()


def standby_or_back(snapshot: Snapshot) -> intents.AnyIntent:
    """Return what `k` asks for: it undoes itself."""
    return intents.Resume() if rests(snapshot) else intents.Standby()


def rests(snapshot: Snapshot) -> bool:
    """Return whether the mould rests warm."""
    return snapshot.aim is not None and snapshot.aim.kind == Aim.STANDBY


def waiting() -> list[Shown]:
    """Return the keys while there is no owner."""
    return [Shown("?", _("help"), 1, 2), Shown("q", _("leave"), 2, 2)]


def shown(snapshot: Snapshot, look: Look) -> list[Shown]:
    """Return the keys allowed now, each with its words and its place."""
    desk = look.at_desk(snapshot)
    keys = [*_first_column(snapshot, desk=desk), *_third_column(snapshot, desk=desk)]
    if desk:
        keys += _second_column(snapshot)
    if look.wide:
        keys.append(Shown("b", _("big figure"), 0, 3))
        keys.append(Shown("w", _("longer or shorter trend"), 1, 3))
        if desk:
            keys.append(Shown("e", _("outage, when to press"), 2, 3))
    return keys


def _first_column(snapshot: Snapshot, *, desk: bool) -> list[Shown]:
    keys = []
    if desk:
        keys += [Shown(_("Space"), words, 0, 0, leading=True) for words in _space_words(snapshot)]
    keys.append(Shown("h", _("heat off"), 1, 0))  # whoever watches may take the heat off
    if desk and lines.unseen_alarms(snapshot):
        keys.append(Shown("a", _("alarms seen"), 2, 0))
    else:
        count = _("alarms ({count})").format(count=len(snapshot.alarms))
        keys.append(Shown("v", count, 2, 0))
    return keys


def _space_words(snapshot: Snapshot) -> list[str]:
    breathe = snapshot.breathe
    if snapshot.phase is Phase.BREATHE and breathe is not None and breathe.next_in_s == 0.0:
        return [_("mark a breath")]
    if snapshot.next_phase is not None:
        phase = sentences.phase_name(snapshot.next_phase)
        return [_("next: {phase}").format(phase=phase)]
    if not snapshot.simulated_hand:
        return []
    if snapshot.rescue is not None:
        return [_("tick next step")]
    by_code = {
        "arm": _("ask for arming"),
        "press_arm": _("press ARM"),
        "tripped": _("hold RESET"),
        **dict.fromkeys(START_CODES, _("start the day")),
        **dict.fromkeys(AGAIN_CODES, _("heat again")),
    }
    words = by_code.get(snapshot.sentence.code)
    return [words] if words else []


def _second_column(snapshot: Snapshot) -> list[Shown]:
    phase = snapshot.phase
    in_hand = phase in _IN_HAND or snapshot.paused_from in _IN_HAND
    beside = _beside_space(snapshot)
    keys = [] if beside is None else [Shown(*beside, 0, 1)]
    if phase is Phase.PAUSED:
        keys.append(Shown("p", _("go on"), 1, 1))
    elif (phase, Trigger.PAUSE) in TABLE:
        keys.append(Shown("p", _("pause"), 1, 1))
    elif phase in {Phase.IDLE, Phase.COOL}:
        keys.append(Shown("c", _("choose a recipe"), 1, 1))
    if in_hand:
        keys.append(Shown("x", _("scrap this pressing"), 2, 1))
    else:
        keys.append(Shown("o", _("name the operator"), 2, 1))
    return keys


def _beside_space(snapshot: Snapshot) -> tuple[str, str] | None:
    """Return the key beside the space bar with its words, if one is allowed now."""
    code, phase = snapshot.sentence.code, snapshot.phase
    if code in START_CODES:
        return "s", _("start the day")
    if code in AGAIN_CODES:
        return "s", _("heat again")
    if code == "arm":
        return "r", _("ask for arming")
    if snapshot.breathe is not None and phase in {Phase.BREATHE, Phase.HOLD}:
        return "m", _("mark a breath")
    if rests(snapshot):
        return "k", _("to pressing heat")
    if phase in _RESTABLE and snapshot.aim is None:
        return "k", _("rest warm")
    return None


def _third_column(snapshot: Snapshot, *, desk: bool) -> list[Shown]:
    keys = []
    left_s = snapshot.presence_left_s
    if not desk:
        keys.append(Shown("t", _("take the desk"), 0, 2))
    elif snapshot.simulated_hand and left_s is not None and left_s <= PRESENCE_SHOWN_S:
        keys.append(Shown("i", _("press a button at the board"), 0, 2))
    elif not (snapshot.phase in _IN_HAND or snapshot.phase is Phase.PAUSED):
        keys.append(Shown("l", _("name the lot"), 0, 2))
    keys.append(Shown("?", _("help"), 1, 2))
    keys.append(Shown("q", _("leave"), 2, 2))
    return keys


class Taps:
    """Lets each key through at most five times a second, whatever the keyboard repeats."""

    def __init__(self) -> None:
        self._last_s: dict[str, float] = {}

    def allow(self, key: str, now_s: float) -> bool:
        """Return whether a key may be sent now, and note that it was."""
        last_s = self._last_s.get(key)
        if last_s is not None and now_s - last_s < LEAST_APART_S:
            return False
        self._last_s[key] = now_s
        return True


def rows(keys: list[Shown], look: Look) -> list[list[Part]]:
    """Return the three rows of actions, each key in its own place."""
    columns = 4 if look.wide else 3
    cells = (look.columns - 4) // columns
    name = max(len(_("Space")), 5) + 2
    lines: list[list[Part]] = [[], [], []]
    for row, line in enumerate(lines):
        for column in range(columns):
            here = [key for key in keys if (key.row, key.column) == (row, column)]
            if not here:
                line.append((" " * cells, "plain"))
                continue
            key = here[0]
            wide = name if column == 0 else 3
            line.append((pad(key.key, wide), "strong"))
            does = cut([(key.does, "plain")], cells - wide - 1, look.marks)[0][0]
            line.append((pad(does, cells - wide), "strong" if key.leading else "plain"))
    return lines
