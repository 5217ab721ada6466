"""The simulated hand of the demo, in a thread of the owner: it does what the screen asks for."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from tawny.core.names import BoardState
from tawny.errors import TawnyError
from tawny.sim.follower import HandFollower
from tawny.sim.hand import FarHand

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tawny.core.snapshot import Snapshot

LOOK_EVERY_S = 0.1
AGAIN_AFTER_S = 1.0


class DemoHands:
    """Follows snapshots over the simulated board's control channel.

    Args:
        control: The channel's socket.
        latest: Returns the newest snapshot.
    """

    def __init__(self, control: Path, latest: Callable[[], Snapshot]) -> None:
        """Prepare; nothing is touched yet."""
        self._control, self._latest = control, latest
        self._stopping = threading.Event()
        self._asked = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hands", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def act(self) -> None:
        """Do what only a person at the board can: reset a trip, or show presence."""
        self._asked.set()

    def stop(self) -> None:
        """Ask the thread to end, and wait a moment for it."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join(AGAIN_AFTER_S)

    def _run(self) -> None:
        follower: HandFollower | None = None
        while not self._stopping.wait(LOOK_EVERY_S):
            try:
                if follower is None:
                    hand = FarHand(self._control)
                    follower = HandFollower(hand)
                snapshot = self._latest()
                follower.follow(snapshot)
                if self._asked.is_set():
                    self._asked.clear()
                    if snapshot.board.state is BoardState.TRIPPED:
                        hand.reset_trip()
                    else:
                        hand.press_arm()
            except (OSError, TawnyError):
                # The board's process has gone; its hand comes back with it.
                follower = None
                self._stopping.wait(AGAIN_AFTER_S)
