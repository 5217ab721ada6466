"""Upkeep: what whoever looks after the heating may ask for; nobody needs it to press a part."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tawny.core import intents
from tawny.core.aim_state import Aim
from tawny.core.limits import MANUAL_DUTY_MOST, MANUAL_MOST_S
from tawny.core.snapshot import Snapshot
from tawny.ui.dialogs import Panel
from tawny.ui.marks import Marks
from tawny.ui.text import Part
from tawny.words import _, numbers

_DUTY_STEP = 0.05
_MINUTES_STEP = 5


class Upkeep(Panel[intents.AnyIntent]):
    """Heat by hand with its limits, and the early end of a dry-out.

    Letters only turn the figures round; one key of its own starts what they say.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("a", "turn(0)", show=False),
        Binding("b", "turn(1)", show=False),
        Binding("t", "turn(2)", show=False),
        Binding("s", "start", show=False),
        Binding("e", "end", show=False),
        Binding("u,n", "leave", show=False),
    ]

    def __init__(self, marks: Marks, snapshot: Snapshot) -> None:
        super().__init__(marks)
        self._drying = snapshot.aim is not None and snapshot.aim.kind == Aim.DRY_OUT
        self._steps = [0, 0, 1]  # of upper and lower duty, and of minutes

    def asked(self) -> list[list[Part]]:
        """Return the page: heat by hand, or the way out of a dry-out."""
        if self._drying:
            return [
                [
                    (
                        _("The heaters are being dried out. Heat by hand can be had after it."),
                        "strong",
                    )
                ],
                [],
                _row("e", _("end the dry-out and heat up as usual: an insulation test was good")),
                _row("n", _("leave it")),
            ]
        upper, lower, minutes = self._values()
        most = _("at most {duty}, {time}, up to the recipe's setpoint").format(
            duty=numbers.percent(MANUAL_DUTY_MOST), time=numbers.seconds(MANUAL_MOST_S)
        )
        return [
            [(_("Heat by hand: a fixed duty for each half, to look after the heating."), "strong")],
            [(most, "quiet")],
            [],
            _row("a", _("upper half {duty}").format(duty=numbers.percent(upper))),
            _row("b", _("lower half {duty}").format(duty=numbers.percent(lower))),
            _row("t", _("for {time}").format(time=numbers.seconds(minutes * 60.0))),
            [
                *_row("s", _("start, with nothing in the mould")),
                ("   ", "plain"),
                *_row("n", _("not now")),
            ],
        ]

    def _values(self) -> tuple[float, float, int]:
        upper, lower, minutes = self._steps
        return upper * _DUTY_STEP, lower * _DUTY_STEP, minutes * _MINUTES_STEP

    def action_turn(self, which: int) -> None:
        """Turn a figure on by one step; past its limit it begins again."""
        most = round(MANUAL_DUTY_MOST / _DUTY_STEP)
        if which == 2:  # noqa: PLR2004 - the minutes
            self._steps[2] = self._steps[2] % round(MANUAL_MOST_S / 60.0 / _MINUTES_STEP) + 1
        else:
            self._steps[which] = (self._steps[which] + 1) % (most + 1)
        self.write()

    def action_start(self) -> None:
        """Close with what the figures say."""
        if not self._drying:
            upper, lower, minutes = self._values()
            self.dismiss(intents.ManualHeat(upper=upper, lower=lower, minutes=float(minutes)))

    def action_end(self) -> None:
        """Close with the end of the dry-out."""
        if self._drying:
            self.dismiss(intents.EndDryOut())


def _row(key: str, does: str) -> list[Part]:
    return [(f" {key}  ", "strong"), (does, "plain")]
