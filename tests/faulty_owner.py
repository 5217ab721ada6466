"""An owner with a fault: it breaks down in the middle of a step as soon as a file says so."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from tawny.cli.main import main
from tawny.service.press import Press

FAULT = "fault"


def break_down(home: Path) -> None:
    """Let the press fail at its next tick after the file is there."""
    tick = Press.tick

    def faulty(self: Press, host_ms: int) -> None:
        if os.path.exists(home / FAULT):  # noqa: PTH110 - many times a second
            message = "no such thing"
            raise ZeroDivisionError(message)
        tick(self, host_ms)

    Press.tick = faulty  # type: ignore[method-assign]


if __name__ == "__main__":
    break_down(Path(sys.argv[1]))
    main(sys.argv[2:])
