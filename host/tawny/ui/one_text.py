"""The least a screen of this framework can be: one text, changed now and then."""

from __future__ import annotations

from collections.abc import Callable

from textual.app import App, ComposeResult
from textual.widgets import Static


class OneText(App[None]):
    """An app that shows one text, for measuring what the framework itself takes.

    Args:
        each_s: Time from one text to the next.
        next_text: Returns it, or None to end.
    """

    ENABLE_COMMAND_PALETTE = False

    def __init__(self, each_s: float, next_text: Callable[[], str | None]) -> None:
        super().__init__()
        self._each_s, self._next_text = each_s, next_text

    def compose(self) -> ComposeResult:
        """Yield the text."""
        yield Static(id="text")

    def on_mount(self) -> None:
        """Begin to change it."""
        self.set_interval(self._each_s, self._change)

    def _change(self) -> None:
        text = self._next_text()
        if text is None:
            self.exit()
        else:
            self.query_one("#text", Static).update(text)
