"""The list of alarms and the page of help, over the lower half of the screen."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tawny.core import intents
from tawny.core.names import AlarmState
from tawny.core.snapshot import AlarmView, Snapshot
from tawny.ui.dialogs import Panel
from tawny.ui.marks import Marks
from tawny.ui.text import Part, Role, pad, spread
from tawny.words import _, numbers, sentences

_QUIET_MIN = 10.0


class Alarms(Panel[intents.AnyIntent]):
    """Every alarm that is not normal, with what to do; closes with what was asked for."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("v,n", "leave", show=False),
        Binding("up", "move(-1)", show=False),
        Binding("down", "move(1)", show=False),
        Binding("a", "seen", show=False),
        Binding("z", "quiet", show=False),
        Binding("e", "reset", show=False),
    ]

    def __init__(self, marks: Marks, snapshot: Snapshot) -> None:
        super().__init__(marks)
        self._alarms = snapshot.alarms
        self._chosen = 0

    def show(self, snapshot: Snapshot) -> None:
        """Follow the press while the list is open."""
        if snapshot.alarms != self._alarms:
            self._alarms = snapshot.alarms
            self._chosen = min(self._chosen, max(len(self._alarms) - 1, 0))
            self.write()

    def asked(self) -> list[list[Part]]:
        """Return a row for each alarm, what to do about the chosen one, and the keys."""
        if not self._alarms:
            return [[(_("No alarm stands."), "strong")], [], _keys(("v", _("close")))]
        cells = max(self.app.size.width - 8, 20)
        most = max(self.app.size.height // 2 - 8, 1)
        first = max(0, self._chosen - most + 1)
        rows = []
        for number, alarm in list(enumerate(self._alarms))[first : first + most]:
            rows.append(self._row(alarm, cells, chosen=number == self._chosen))
        chosen = self._alarms[self._chosen]
        words = sentences.alarm(chosen)
        rows += [[], [(words.what, "strong")], [(words.do, "strong")], []]
        keys = [("a", _("seen")), ("e", _("reset it"))]
        if chosen.shelvable:
            keys.append(("z", _("quiet for 10 min")))
        rows.append(_keys(*keys, ("v", _("close"))))
        return rows

    def _row(self, alarm: AlarmView, cells: int, *, chosen: bool) -> list[Part]:
        calls = alarm.state is AlarmState.ACTIVE
        role: Role = "strong" if calls else "plain"
        pointer = ("›" if self.marks.dots else ">") if chosen else " "
        shape = self.marks.priority(alarm.priority)
        state = sentences.alarm_state(alarm)
        since = numbers.clock(alarm.since_utc_ms, with_seconds=True)
        if alarm.first_out:
            state = _("first, {state}").format(state=state)
        left: list[Part] = [
            (f"{pointer} {shape} ", role),
            (f"{since}  ", "quiet"),
            (sentences.alarm(alarm).what, role),
        ]
        return spread(left, [(state, "quiet")], cells, self.marks)

    def action_move(self, by: int) -> None:
        """Choose the alarm above or below."""
        if self._alarms:
            self._chosen = (self._chosen + by) % len(self._alarms)
            self.write()

    def action_seen(self) -> None:
        """Acknowledge the chosen alarm."""
        self._ask(intents.Acknowledge)

    def action_reset(self) -> None:
        """Reset the chosen alarm."""
        self._ask(intents.ResetAlarm)

    def action_quiet(self) -> None:
        """Keep the chosen alarm quiet for a while."""
        if self._alarms:
            self.dismiss(intents.Shelve(self._alarms[self._chosen].alarm, _QUIET_MIN))

    def _ask(self, kind: type[intents.Acknowledge | intents.ResetAlarm]) -> None:
        if self._alarms:
            self.dismiss(kind(self._alarms[self._chosen].alarm))


def _keys(*keys: tuple[str, str]) -> list[Part]:
    parts: list[Part] = []
    for key, does in keys:
        parts += [(f" {key}  ", "strong"), (f"{does}   ", "plain")]
    return parts


class Help(Panel[None]):
    """Every key and what it does."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark,n", "leave", show=False),
    ]

    def asked(self) -> list[list[Part]]:
        """Return the keys in two columns."""
        left = (
            (_("Space"), _("go on to the next phase")),
            ("h", _("heat off, at once")),
            ("a", _("alarms seen")),
            ("v", _("list of alarms")),
            ("m", _("mark a breath")),
            ("x", _("scrap, mould stays hot")),
            ("p", _("pause, go on")),
            ("k", _("rest warm, back to heat")),
            ("s", _("start the day")),
            ("r", _("ask for arming")),
        )
        right = (
            ("c", _("choose a recipe")),
            ("o", _("name the operator")),
            ("l", _("name the lot")),
            ("i", _("simulated hand: a button")),
            ("t", _("take the desk")),
            ("b w", _("big figure, longer trend")),
            ("e", _("outage, when to press")),
            ("1-9", _("tick a rescue step")),
            ("u", _("upkeep: heat by hand")),
            ("q", _("leave; asks first")),
        )
        cells = max((self.app.size.width - 8) // 2, 20)
        rows: list[list[Part]] = []
        for (key, does), (other, also) in zip(left, right, strict=True):
            rows.append(
                [
                    (pad(key, 7), "strong"),
                    (pad(does, cells - 7), "plain"),
                    (pad(other, 5), "strong"),
                    (also, "plain"),
                ]
            )
        rows.append([])
        words = _("The heat-off button at the press works without this program.")
        rows.append([(words, "strong")])
        rows.append(_keys(("?", _("close"))))
        return rows
