"""A press in real processes: owner, simulated board on a pty, and a viewer over the desk."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from small_disk import Disk
from tawny.core.intents import AnyIntent, Prepare
from tawny.core.names import Phase
from tawny.core.snapshot import Snapshot
from tawny.desk.client import DeskClient
from tawny.desk.messages import Bye, Snap
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home

PACE = 10.0  # faster, and a busy machine already looks like a lost board
WITHIN_S = 60.0  # of the world; generous, for a loaded machine


def tawny(*arguments: str) -> list[str]:
    """Return the command line of the program under test."""
    return [sys.executable, "-m", "tawny", *arguments]


class LivePress:
    """Starts and kills the processes, and looks at snapshots as a viewer does."""

    def __init__(self, home: Path, pace: float = PACE, disk: Disk | None = None) -> None:
        self.home = lay_demo(Home(home if disk is None else disk.seen))
        self.pace = pace
        self._root = home
        self._inside = disk.inside if disk is not None else lambda words: words
        self.snapshot: Snapshot | None = None
        self.goodbye: Bye | None = None
        self.owner: subprocess.Popen[bytes] | None = None
        self.board: subprocess.Popen[bytes] | None = None
        self._news = asyncio.Event()
        self._client: DeskClient | None = None
        self._listening: asyncio.Task[None] | None = None

    def start_board(self, start: str = "170 degC") -> None:
        """Start the simulated board by hand, as a person would plug one in."""
        root = self._root
        self.board = subprocess.Popen(
            self._inside(
                tawny(
                    "board",
                    "simulate",
                    *("--link", os.fspath(root / "board")),
                    *("--control", os.fspath(root / "hand.sock")),
                    *("--eeprom", os.fspath(root / "board-memory.json")),
                    *("--mould", "saucer-160"),
                    *("--pace", str(self.pace)),
                    *("--start", start),
                )
            ),
            stdout=subprocess.DEVNULL,
        )

    def start_owner(self, *options: str, program: Sequence[str] = ()) -> None:
        """Start the owner; the board is another process.

        With a program of the test's own, what it says is kept for `communicate`.
        """
        words = tawny(
            "serve",
            *("--home", os.fspath(self._root)),
            "--hand",
            *("--pace", str(self.pace)),
            *("--recipe", "grain-apple"),
            *options,
        )
        if program:
            words = [*program, *words[3:]]
        self.owner = subprocess.Popen(
            self._inside(words), stderr=subprocess.PIPE if program else None
        )

    async def look(self, *, desk: bool = True) -> None:
        """Attach a viewer, at the desk or behind it."""
        self._client = DeskClient(self.home.socket, name="tester", desk=desk)
        for _ in range(400):
            try:
                await self._client.open()
                break
            except OSError:
                await asyncio.sleep(0.05)
        self._listening = asyncio.create_task(self._listen(self._client))
        await self.until(lambda snapshot: snapshot.desk_viewer != "")

    async def _listen(self, client: DeskClient) -> None:
        async for message in client.messages():
            if isinstance(message, Snap):
                self.snapshot = message.snapshot
                self._news.set()
            elif isinstance(message, Bye):
                self.goodbye = message
                self._news.set()

    async def leave(self) -> None:
        """Close the viewer's line."""
        if self._listening is not None:
            self._listening.cancel()
        if self._client is not None:
            await self._client.close()
        self.snapshot = None

    async def ask(self, intent: AnyIntent) -> bool:
        """Ask as the operator."""
        assert self._client is not None
        return (await self._client.ask(intent)).accepted

    async def until(self, seen: Callable[[Snapshot], bool], within_s: float = WITHIN_S) -> Snapshot:
        """Wait until a snapshot shows something."""
        async with asyncio.timeout(within_s):
            while self.snapshot is None or not seen(self.snapshot):
                self._news.clear()
                await self._news.wait()
        return self.snapshot

    async def start_the_day(self) -> None:
        """Confirm the mould and let the simulated hand arm."""
        await self.until(lambda snapshot: snapshot.board.state.value == "ready")
        assert await self.ask(Prepare(empty=True, dry=True, let_down=True))
        await self.until(lambda snapshot: snapshot.phase is Phase.PREHEAT)

    def board_log(self) -> list[str]:
        """Return the codes of the board's event log, oldest first."""
        memory = json.loads((self._root / "board-memory.json").read_text(encoding="utf-8"))
        return [code for _number, _boot, _ms, code, _tenths in memory["log"]]

    def scene(self) -> dict[str, object]:
        """Return how things stand at the simulated press."""
        with socket.socket(socket.AF_UNIX) as hand:
            hand.connect(os.fspath(self._root / "hand.sock"))
            hand.sendall(b'{"do": "look"}\n')
            scene: dict[str, object] = json.loads(hand.makefile().readline())["scene"]
        return scene

    def kill_board(self) -> None:
        """Pull the plug: the board's process dies at once."""
        assert self.board is not None
        self.board.kill()
        self.board.wait()

    def kill_owner(self) -> None:
        """Kill the owner as a power cut of the computer would."""
        assert self.owner is not None
        self.owner.kill()
        self.owner.wait()

    def stop(self) -> None:
        """End every process."""
        for process in (self.owner, self.board):
            if process is not None and process.poll() is None:
                process.send_signal(signal.SIGTERM)
                try:
                    process.wait(10)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()


async def _sit_and_look(home: Path) -> None:
    """Sit at the desk as a viewer in a process of its own, until killed."""
    client = DeskClient(Home(home).socket, name="hung")
    await client.open()
    async for _ in client.messages():
        pass


if __name__ == "__main__":
    asyncio.run(_sit_and_look(Path(sys.argv[1])))
