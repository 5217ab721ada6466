"""A dashboard in front of a press that always stands the same, as a program of its own.

`python screen_alone.py [no-mouse]` starts the guard, which starts `... bare [no-mouse]`.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from tawny.ui.guard import run_guarded

if TYPE_CHECKING:
    from tawny.desk.messages import ToViewer

EACH_S = 0.3


def bare(*, mouse: bool) -> int:
    """Show the screen in this process."""
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
                await asyncio.sleep(EACH_S)

    return run_dashboard(Living(), mouse=mouse)


if __name__ == "__main__":
    if "bare" in sys.argv:
        sys.exit(bare(mouse="no-mouse" not in sys.argv))
    sys.exit(run_guarded([sys.executable, __file__, "bare", *sys.argv[1:]]))
