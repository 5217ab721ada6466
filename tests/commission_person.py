"""A person at terminal and press who reads what stands on the screen and does it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Self

from tawny.core.commission_typed import TONES
from tawny.core.names import ResetCause
from tawny.settings.home import Home
from tawny.sim.commands import ContactorFault
from tawny.sim.hand import FarHand, Hand, NearHand
from tawny.sim.parameters import load
from tawny.sim.world import World

WITHIN_S = 60.0
HAND = "hand.sock"
REACTS_S = 0.3  # of the board's time: a line of telemetry, and some
PACE = 3.0  # 3 s of a lost link are then 1 s here, which a busy machine may take for itself
NOW_MS = 1_790_000_000_000


def run(*arguments: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    return subprocess.run(
        [sys.executable, "-m", "tawny", "commission", *arguments],
        input=typed,
        capture_output=True,
        text=True,
        check=False,
        timeout=WITHIN_S,
    )


@contextmanager
def board(home: Home, *, pace: float = PACE) -> Iterator[FarHand]:
    """A simulated board that knows no mould, where the settings look for it."""
    channel = home.root / HAND
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "tawny", "board", "simulate", "--uncommissioned"),
            *("--link", str(home.root / "board"), "--control", str(channel)),
            *("--eeprom", str(home.root / "board-memory.json"), "--pace", str(pace)),
        ]
    )
    try:
        stop_s = time.monotonic() + WITHIN_S
        while not channel.exists():
            assert time.monotonic() < stop_s
            time.sleep(0.05)
        hand = FarHand(channel)
        try:
            yield hand
        finally:
            hand.close()
    finally:
        process.terminate()
        process.wait()


class Doer:
    """Somebody at terminal and press, who does what the lines ask for.

    Args:
        hand: At the board.
        pace: Of the board.
    """

    def __init__(self, hand: Hand, *, pace: float) -> None:
        self.hand, self.pace = hand, pace
        self.lines: list[str] = []

    def type(self, text: str) -> None:
        """Type a line."""
        raise AssertionError(text)

    def later(self, deed: Callable[[], object]) -> None:
        """Do something after a moment of the board's time."""
        time.sleep(REACTS_S / self.pace)
        deed()

    def read(self, line: str) -> None:
        """Read a line, and do what it asks for."""
        self.lines.append(line.rstrip())
        if line.startswith("  > "):
            self.do(line[4:])
        assert not line.startswith("  ! "), self.lines[-5:]

    def do(self, asked: str) -> None:
        """Do what one line asks for, told by its words."""
        hand = self.hand
        for words, deed in {
            "Type your name": lambda: self.type("Ada Reed"),
            "Type the name": lambda: self.type("Tom Hale"),
            "type yes": lambda: self.type("yes"),
            "Type yes": lambda: self.type("yes"),
            "second thermometer": lambda: self.type("22 degC"),
            "Hold ARM down": lambda: hand.hold_arm(down=True),
            "Let go of ARM. Reset": self.reset,
            "Let the armature back": self.reset,
            "Let go of ARM": lambda: hand.hold_arm(down=False),
            "Press NEXT": hand.press_next,
            "Open the mould": hand.open_mould,
            "Close the mould": hand.close_mould,
            "call lamp": lambda: self.type(self.scene().lamp),
            "how many tones": lambda: self.type(str(TONES[self.scene().sound])),
            "Press the heat-off": lambda: hand.heat_off_button(pressed=True),
            "Pull the heat-off": lambda: hand.heat_off_button(pressed=False),
            "Trip the limit": lambda: hand.thermostat(opened=True),
            "dry block": lambda: self.type("252 degC"),
            "isolator off": lambda: hand.mains(on=False),
            "isolator on": lambda: hand.mains(on=True),
            "Pull the USB plug": self.pull_usb,
            "armature in": lambda: hand.contactor(ContactorFault.WELDED),
            "Type the trip point": lambda: self.type(""),
        }.items():
            if words in asked:
                self.later(deed)
                return

    def reset(self) -> None:
        """Let everything back, then hold RESET for 3 s."""
        self.hand.hold_arm(down=False)
        self.hand.thermostat(opened=False)
        self.hand.contactor(ContactorFault.GOOD)
        self.later(self.hand.reset_trip)

    def pull_usb(self) -> None:
        """Take the board's supply away for a moment."""
        self.hand.plug(plugged=False)
        self.hand.restart(ResetCause.POWER)
        self.later(lambda: self.hand.plug(plugged=True))

    def scene(self):  # type: ignore[no-untyped-def]
        """Look."""
        scene = self.hand.look().scene
        assert scene is not None
        return scene


class Person(Doer):
    """The same at a process of its own.

    Args:
        home: Where the command works.
        hand: At the board.
        pace: Of the board.
    """

    def __init__(self, home: Home, hand: FarHand, *, pace: float = PACE) -> None:
        super().__init__(hand, pace=pace)
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-m", "tawny", "commission", "--home", str(home.root)),
                *("--pace", str(pace)),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()

    def end(self) -> int:
        """Wait for its end and return its code."""
        return self.process.wait(WITHIN_S)

    def type(self, text: str) -> None:
        """Type a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def until(self, wanted: str) -> str:
        """Do what is asked until a line holds these words; return the line."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if wanted in line:
                return line
            self.read(line)
        raise AssertionError(self.lines[-10:])


class Virtual:
    """A board in this process as the terminal's port, and its clock: a read is 50 ms."""

    pace = 1.0

    def __init__(self) -> None:
        self.world = World(load("saucer-160"), commissioned=False, seed=5)
        self.ms = 0

    def now_ms(self) -> int:
        """The clock."""
        return self.ms

    def utc_ms(self, host_ms: int) -> int:
        """Wall time."""
        return NOW_MS + host_ms

    def read(self) -> bytes:
        """Let time pass."""
        self.ms += 50
        self.world.advance(self.ms)
        return self.world.take()

    def write(self, data: bytes) -> None:
        """Hand bytes to the board."""
        self.world.receive(data, self.ms)

    def close(self) -> None:
        """Nothing to close."""


class Plugging(Doer):
    """Beside a board of another process, whose supply goes with its plug: the process ends.

    Args:
        home: Where the board is looked for.
        typed: The writing end of standard input.
        plugs: Holds the board that is plugged in.
    """

    def __init__(self, home: Home, typed: int, plugs: ExitStack) -> None:
        super().__init__(plugs.enter_context(board(home)), pace=PACE)
        self.home, self.typed, self.plugs = home, typed, plugs

    def type(self, text: str) -> None:
        """Type a line."""
        os.write(self.typed, text.encode() + b"\n")

    def do(self, asked: str) -> None:
        """Do what one line asks for; leave where the isolator is to be locked."""
        if "and lock it" in asked:
            self.type("leave")
        else:
            super().do(asked)

    def pull_usb(self) -> None:
        """Pull the plug, and put it back in."""
        self.plugs.close()
        (self.home.root / HAND).unlink(missing_ok=True)
        self.hand = self.plugs.enter_context(board(self.home))


class Near(Doer):
    """The same in this process.

    Args:
        board: The board.
        typed: The writing end of standard input.
    """

    def __init__(self, board: Virtual, typed: int) -> None:
        super().__init__(NearHand(board.world), pace=1.0)
        self.world = board.world
        self.typed = typed

    def type(self, text: str) -> None:
        """Type a line."""
        os.write(self.typed, text.encode() + b"\n")

    def later(self, deed: Callable[[], object]) -> None:
        """Do something after a moment of the board's time."""
        self.world.after(800, lambda: deed() and None)
