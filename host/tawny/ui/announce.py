"""What comes later: an outage, a dearer tariff, when one wants to press. It only informs."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tawny.core import intents
from tawny.core.plan_state import Announced
from tawny.core.snapshot import AheadView, Snapshot
from tawny.errors import InputError
from tawny.ui.dialogs import AskName, Panel
from tawny.ui.marks import Marks
from tawny.ui.text import Part
from tawny.words import _, numbers, sentence_of, sentences
from tawny.words.moments import read_moment

_KEYS = {"e": Announced.OUTAGE, "d": Announced.TARIFF, "p": Announced.PRESS}


class Later(Panel[intents.AnyIntent]):
    """What is announced, a letter to change each; closes with the change."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(key, f"change('{key}')", show=False) for key in _KEYS),
        Binding("n", "leave", show=False),
    ]

    def __init__(self, marks: Marks, snapshot: Snapshot) -> None:
        super().__init__(marks)
        self._now_utc_ms = snapshot.utc_ms
        ahead = AheadView() if snapshot.ahead is None else snapshot.ahead
        self._said = {
            Announced.OUTAGE: ahead.outage_utc_ms,
            Announced.TARIFF: ahead.tariff_utc_ms,
            Announced.PRESS: ahead.press_utc_ms,
        }

    def asked(self) -> list[list[Part]]:
        """Return what is announced, and the keys."""
        heads = {
            "e": _("outage, the supply goes off at: {time}"),
            "d": _("dearer tariff from: {time}"),
            "p": _("I want to press from: {time}"),
        }
        rows: list[list[Part]] = [
            [(_("What comes later? It changes what is told here."), "strong")]
        ]
        rows.append([(_("Heat never starts or stops by it: you do that, at the press."), "strong")])
        rows.append([])
        for key, words in heads.items():
            line = words.format(time=self._told(_KEYS[key]))
            rows.append([(f" {key}  ", "strong"), (line, "plain")])
        rows.append([(" n  ", "strong"), (_("leave it"), "plain")])
        return rows

    def _told(self, what: Announced) -> str:
        at_utc_ms = self._said[what]
        if at_utc_ms is None:
            return numbers.MISSING
        return sentences.moment(at_utc_ms, self._now_utc_ms)

    def action_change(self, key: str) -> None:
        """Ask for the time of one of them, or take it back."""
        what = _KEYS[key]

        def answered(at_utc_ms: str | None) -> None:
            if at_utc_ms is not None:
                at = int(at_utc_ms) if at_utc_ms else None
                self.dismiss(intents.Announce(what.value, at, self._now_utc_ms))

        told = "" if self._said[what] is None else self._told(what)
        self.app.push_screen(AskMoment(self.marks, told, self._now_utc_ms), answered)


class AskMoment(AskName):
    """A time of day typed in; closes with it as UTC, or with nothing to take it back."""

    def __init__(self, marks: Marks, told: str, now_utc_ms: int) -> None:
        question = _("At what time? As on the wall clock: 14:00, or 2026-10-05 14:00.")
        super().__init__(marks, question, "")
        self._told = told
        self._now_utc_ms = now_utc_ms
        self._why = ""

    def asked(self) -> list[list[Part]]:
        """Return the question, its keys, and why the last answer was none."""
        rows = super().asked()
        if self._why:
            rows.append([(self._why, "strong")])
        elif self._told:
            words = _("Now: {time}. Enter with nothing typed takes it back.")
            rows.append([(words.format(time=self._told), "plain")])
        return rows

    def take(self, typed: str) -> None:
        """Close with the time, or say why it is none; nothing typed takes back what was said."""
        if not typed:
            self.dismiss("" if self._told else None)
            return
        try:
            self.dismiss(str(read_moment(typed, self._now_utc_ms)))
        except InputError as error:
            self._why = sentence_of(error)
            self.write()
