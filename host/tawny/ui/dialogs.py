"""Questions that lie over the lower half of the screen; the sentence stays in sight.

Each has its own letters, shown beside what they do, and Escape is never the only way out.
Heat off works in all of them but the ones a name is typed into.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, Generic, TypeVar

from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from tawny.core.intents import Prepare
from tawny.ui.marks import Marks
from tawny.ui.text import Part, content
from tawny.words import _

if TYPE_CHECKING:
    from textual.app import ComposeResult

Answer = TypeVar("Answer")


class Panel(ModalScreen[Answer], Generic[Answer]):
    """The frame of every question: lines of words over the trend and the actions."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("h", "heat_off", show=False),
    ]

    def __init__(self, marks: Marks) -> None:
        super().__init__()
        self.marks = marks

    def compose(self) -> ComposeResult:
        """Show the lines; a subclass adds what it needs."""
        with Vertical(id="panel"):
            yield Static(id="words")

    def on_mount(self) -> None:
        """Write the words once the screen is there."""
        self.write()

    def write(self) -> None:
        """Write the words anew."""
        self.query_one("#words", Static).update(content(self.asked(), self.marks))

    def asked(self) -> list[list[Part]]:
        """Return the lines of the question; each kind has its own."""
        return []

    def action_leave(self) -> None:
        """Close without an answer."""
        self.dismiss(None)

    async def action_heat_off(self) -> None:
        """Take the heat off and close."""
        self.dismiss(None)
        await self.app.run_action("tap('h')")


def _key(key: str, does: str) -> list[Part]:
    return [(f" {key}  ", "strong"), (does, "plain")]


class Confirm(Panel[bool]):
    """One question with yes and no."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", show=False),
        Binding("n", "answer(False)", show=False),
    ]

    def __init__(self, marks: Marks, question: str, yes: str, no: str) -> None:
        super().__init__(marks)
        self._words = (question, yes, no)

    def asked(self) -> list[list[Part]]:
        """Return the question and both answers."""
        question, yes, no = self._words
        return [[(question, "strong")], [], _key("y", yes), _key("n", no)]

    def action_answer(self, yes: bool) -> None:  # noqa: FBT001 - an action's argument
        """Close with the answer."""
        self.dismiss(yes)


class StartDay(Panel[Prepare]):
    """Three things looked at before any preheat; each has a letter of its own.

    One letter held down can therefore never answer all three.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("e", "tick(0)", show=False),
        Binding("d", "tick(1)", show=False),
        Binding("u", "tick(2)", show=False),
        Binding("w", "dry_out", show=False),
        Binding("s", "start", show=False),
        Binding("n", "leave", show=False),
        Binding("space", "space", show=False),
    ]

    def __init__(self, marks: Marks, fresh_tap: Callable[[], bool] | None = None) -> None:
        super().__init__(marks)
        self._ticked = [False, False, False]
        self._dry_out = False
        self._fresh_tap = fresh_tap

    def asked(self) -> list[list[Part]]:
        """Return the three questions with their ticks."""
        questions = (
            ("e", _("nothing lies in the mould")),
            ("d", _("the mould is dry and its vents are clear")),
            ("u", _("the press is let down, nothing is pumped up")),
        )
        rows: list[list[Part]] = [
            [(_("Look into the mould and at the gauge, then tick what you saw:"), "strong")],
            [],
        ]
        for (key, words), done in zip(questions, self._ticked, strict=True):
            mark = self.marks.done if done else self.marks.undone
            rows.append([(f" {key}  ", "strong"), (f"{mark} {words}", "plain")])
        rows.append([])
        damp = _("the heaters may be damp: dry them out slowly first")
        mark = self.marks.done if self._dry_out else self.marks.undone
        rows.append([(" w  ", "strong"), (f"{mark} {damp}", "plain")])
        start = _key("s", _("start heating with what is ticked"))
        rows.append([*start, ("   ", "plain"), *_key("n", _("not now"))])
        if self._fresh_tap is not None:
            rows.append(_key(_("Space"), _("the simulated hand ticks the next one")))
        return rows

    def action_tick(self, which: int) -> None:
        """Tick one of the three, or take its tick away."""
        self._ticked[which] = not self._ticked[which]
        self.write()

    def action_start(self) -> None:
        """Close with what was seen; the core says what is still missing."""
        empty, dry, let_down = self._ticked
        dry_out = self._dry_out
        self.dismiss(Prepare(empty=empty, dry=dry, let_down=let_down, dry_out=dry_out))

    def action_dry_out(self) -> None:
        """Tell what a dry-out does before it is asked for, or take it back."""
        if self._dry_out:
            self._take_dry_out(taken=False)
            return

        def answered(taken: bool | None) -> None:  # noqa: FBT001 - a callback's argument
            self._take_dry_out(taken=bool(taken))

        self.app.push_screen(DryOut(self.marks), answered)

    def _take_dry_out(self, *, taken: bool) -> None:
        self._dry_out = taken
        self.write()

    def action_space(self) -> None:
        """Let the simulated hand tick the next one, a tap at a time."""
        if self._fresh_tap is None or not self._fresh_tap():
            return
        if all(self._ticked):
            self.action_start()
        else:
            self.action_tick(self._ticked.index(False))


class DryOut(Panel[bool]):
    """What a dry-out does and does not do; yes asks for it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", show=False),
        Binding("n", "answer(False)", show=False),
    ]

    def asked(self) -> list[list[Part]]:
        """Return the page and both answers."""
        lines = (
            _("Heaters that were stored damp take up water, and their insulation suffers."),
            _("This heats slowly, in stages, at low duty for hours, then as usual."),
            _("It drives water out and proves nothing. Whether they may be used is for an"),
            _("electrician's insulation test to say; local codes and the maker come first."),
            _("If the residual-current device trips: stop, leave it off, call one."),
        )
        rows: list[list[Part]] = [[(_("Dry out damp heaters first?"), "strong")]]
        rows += [[(line, "plain")] for line in lines]
        yes = _key("y", _("dry them out first"))
        rows.append([*yes, ("   ", "plain"), *_key("n", _("no, heat up as usual"))])
        return rows

    def action_answer(self, yes: bool) -> None:  # noqa: FBT001 - an action's argument
        """Close with the answer."""
        self.dismiss(yes)


class Scrap(Panel[str]):
    """Why a pressing is scrapped; a number scraps it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(str(n), f"reason({n})", show=False) for n in range(1, 6)),
        Binding("n", "leave", show=False),
    ]

    def reasons(self) -> tuple[tuple[str, str], ...]:
        """Return the word for the record and the words for people, in order."""
        return (
            ("not_filled", _("not filled out")),
            ("burnt", _("burnt")),
            ("cracked", _("cracked or burst")),
            ("stuck", _("stuck in the mould")),
            ("other", _("something else")),
        )

    def asked(self) -> list[list[Part]]:
        """Return the reasons and the way back."""
        rows: list[list[Part]] = [
            [(_("Scrap this pressing? The mould stays hot. What is wrong with it:"), "strong")],
            [],
        ]
        rows += [_key(str(n), words) for n, (_c, words) in enumerate(self.reasons(), start=1)]
        rows.append(_key("n", _("keep it")))
        return rows

    def action_reason(self, number: int) -> None:
        """Close with the reason."""
        self.dismiss(self.reasons()[number - 1][0])


class ChooseOne(Panel[str]):
    """One of a list of names."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("n", "leave", show=False)]

    def __init__(self, marks: Marks, question: str, names: tuple[str, ...], now: str) -> None:
        super().__init__(marks)
        self._question = question
        self._names = names
        self._now = now

    def compose(self) -> ComposeResult:
        """Show the question and the list."""
        with Vertical(id="panel"):
            yield Static(id="words")
            yield OptionList(*(Option(name, id=f"n{i}") for i, name in enumerate(self._names)))

    def on_mount(self) -> None:
        """Begin at the name in use."""
        self.write()
        options = self.query_one(OptionList)
        if self._now in self._names:
            options.highlighted = self._names.index(self._now)
        options.focus()

    def asked(self) -> list[list[Part]]:
        """Return the question and its keys."""
        return [
            [(self._question, "strong")],
            [*_key(_("Enter"), _("take it")), ("   ", "plain"), *_key("n", _("leave it"))],
        ]

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Close with the name."""
        self.dismiss(self._names[event.option_index])


class AskName(Panel[str]):
    """A name typed in; letters are letters here, so no key acts on the press."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("h", "none", show=False)]

    def __init__(self, marks: Marks, question: str, now: str) -> None:
        super().__init__(marks)
        self._question = question
        self._now = now

    def compose(self) -> ComposeResult:
        """Show the question and the field."""
        with Vertical(id="panel"):
            yield Static(id="words")
            yield Input(value=self._now, max_length=40)

    def on_mount(self) -> None:
        """Begin in the field."""
        self.write()
        self.query_one(Input).focus()

    def asked(self) -> list[list[Part]]:
        """Return the question and its keys."""
        leave = _("leave it as it was; other keys act again after that")
        return [
            [(self._question, "strong")],
            [*_key(_("Enter"), _("take it")), ("   ", "plain"), *_key(_("Escape"), leave)],
        ]

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take what was typed."""
        self.take(event.value.strip())

    def take(self, typed: str) -> None:
        """Close with the name; an empty one changes nothing."""
        self.dismiss(typed or None)
