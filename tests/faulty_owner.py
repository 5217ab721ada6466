"""An owner with a fault: a part of it breaks down as soon as a file says so."""

from __future__ import annotations

import asyncio
import os
import sys
from pathlib import Path

from tawny.cli.main import main
from tawny.service.press import Press

FAULT = "fault"  # in the service thread
DESK_FAULT = "desk-fault"  # in the main thread


def break_down(home: Path) -> None:
    """Let the press fail at its next tick after the file is there."""
    tick = Press.tick

    def faulty(self: Press, host_ms: int) -> None:
        if os.path.exists(home / FAULT):  # noqa: PTH110 - many times a second
            message = "no such thing"
            raise ZeroDivisionError(message)
        tick(self, host_ms)

    Press.tick = faulty  # type: ignore[method-assign]


def lose_the_desk(home: Path) -> None:
    """Let the main thread fail while it waits for the service thread to end."""
    waits = asyncio.to_thread

    async def faulty(*given: object) -> object:
        waiting = asyncio.create_task(waits(*given))  # type: ignore[arg-type]
        while not waiting.done():
            if await waits(os.path.exists, home / DESK_FAULT):
                message = "no such desk"
                raise ZeroDivisionError(message)
            await asyncio.sleep(0.1)
        return await waiting

    asyncio.to_thread = faulty  # type: ignore[assignment]


if __name__ == "__main__":
    break_down(Path(sys.argv[1]))
    lose_the_desk(Path(sys.argv[1]))
    main(sys.argv[2:])
