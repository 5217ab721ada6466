"""A dashboard in front of a press that always stands the same, as a program of its own.

`python screen_alone.py [no-mouse] [noisy]` starts the guard, which starts `... bare ...`.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import warnings
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from tawny.ui.guard import run_guarded

if TYPE_CHECKING:
    from tawny.desk.messages import ToViewer

EACH_S = 0.3


def bare(*, mouse: bool, noisy: bool) -> int:
    """Show the screen in this process; a noisy one complains all the while."""
    from fake_viewer import FakeViewer
    from screens_factory import make_snapshot, make_trace
    from tawny.desk.messages import DESK_VERSION, Snap, Welcome
    from tawny.ui.app import run_dashboard

    class Living(FakeViewer):
        """Sends the same picture again and again, so that it never grows old."""

        async def messages(self) -> AsyncIterator[ToViewer]:
            """Welcome the viewer, then show the press."""
            yield Welcome(DESK_VERSION, "me", "0.0", tuple(make_trace()))
            while True:
                yield Snap(make_snapshot())
                if noisy:
                    complain()
                await asyncio.sleep(EACH_S)

    return run_dashboard(Living(), mouse=mouse)


def complain() -> None:
    """Say something in every way that a library does."""
    warnings.warn("NOISE of a warning", stacklevel=1)
    logging.getLogger("library").error("NOISE of a log")
    sys.stderr.write("NOISE of an error\n")
    sys.stdout.write("NOISE of a print\n")


if __name__ == "__main__":
    if "bare" in sys.argv:
        sys.exit(bare(mouse="no-mouse" not in sys.argv, noisy="noisy" in sys.argv))
    sys.exit(run_guarded([sys.executable, __file__, "bare", *sys.argv[1:]]))
