"""What the dashboard needs of its line to the owner; `tawny.desk` provides it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Protocol

from tawny.core.intents import AnyIntent
from tawny.desk.messages import Answer, ToViewer


class Viewer(Protocol):
    """One end of the socket between a viewer and the owner of the press.

    `open` may be called again after `close`: the dashboard does so until the owner answers.
    """

    async def open(self) -> object:
        """Connect and greet.

        Raises:
            OSError: If nobody listens.
            TawnyError: If the owner refuses this viewer.
        """

    def messages(self) -> AsyncIterator[ToViewer]:
        """Yield what the owner sends, beginning with its welcome; ends when the line does."""

    async def ask(self, intent: AnyIntent) -> Answer:
        """Send an intent and return its answer.

        Raises:
            OSError: If the line is gone.
            TimeoutError: If no answer came in time.
        """

    async def close(self) -> None:
        """Close the line; closing twice does nothing."""
