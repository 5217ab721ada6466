"""Fitting the thermal model apart from the press: in a child process, or at once.

The child is this module run with -m: an order on standard input, what was found on standard
output. A fit that fails or takes too long is a fit not taken; the press goes on with what it has.
"""

from __future__ import annotations

import subprocess
import sys
import time
from contextlib import suppress
from typing import Final, Protocol

import msgspec

from tawny.core.loop.identify import Row, fit_mould
from tawny.core.loop.refine import judge
from tawny.core.loop.thermal import Thermal
from tawny.core.snapshot import Code

LONGEST_S: Final = 60.0


class Order(msgspec.Struct, frozen=True):
    """What is to be fitted.

    Attributes:
        stretches: Rows of both halves, each stretch from rest on.
        room_c: Of the room.
        before: The trusted model so far.
        heat_ups: From how many heat-ups the new one will have come.
    """

    stretches: tuple[tuple[Row, ...], ...]
    room_c: float
    before: Thermal | None
    heat_ups: int


class Found(msgspec.Struct, frozen=True):
    """What became of it.

    Attributes:
        thermal: The model to use; None: the one before stays.
        why: Why it was not taken.
        residual_k: Measured less modelled, standard deviation of each half.
        rise_k, coast_s: What the stretches held.
    """

    thermal: Thermal | None = None
    why: Code | None = None
    residual_k: tuple[float, float] = (0.0, 0.0)
    rise_k: float = 0.0
    coast_s: float = 0.0


class Fitter(Protocol):
    """Fits one order at a time."""

    def start(self, order: Order) -> None:
        """Begin; an order that still runs is given up."""

    def found(self) -> Found | None:
        """Return what was found, once; None while it runs, or where nothing was ordered."""

    def close(self) -> None:
        """Give up what runs."""


def fit(order: Order) -> Found:
    """Fit now."""
    fits = fit_mould(order.stretches, order.room_c, order.before)
    verdict = judge(fits, order.before, heat_ups=order.heat_ups)
    if fits is None:
        return Found(None, verdict.why)
    upper, lower = fits
    return Found(
        verdict.thermal,
        verdict.why,
        (upper.residual_k, lower.residual_k),
        min(upper.rise_k, lower.rise_k),
        min(upper.coast_s, lower.coast_s),
    )


class AtOnce:
    """Fits in the caller's time: for a virtual clock, which waits."""

    def __init__(self) -> None:
        self._found: Found | None = None

    def start(self, order: Order) -> None:
        """Fit."""
        self._found = fit(order)

    def found(self) -> Found | None:
        """Return what was found, once."""
        found, self._found = self._found, None
        return found

    def close(self) -> None:
        """Nothing runs."""


class Apart:
    """Fits in a child process."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        self._began_s = 0.0

    def start(self, order: Order) -> None:
        """Start a child; where none can be started nothing is found."""
        self.close()
        try:
            child = subprocess.Popen(
                [sys.executable, "-m", "tawny.service.fitting"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError:
            return
        self._child, self._began_s = child, time.monotonic()
        # The child reads all of it before it writes anything.
        if child.stdin is not None:
            with suppress(OSError):
                child.stdin.write(msgspec.msgpack.encode(order))
                child.stdin.close()

    def found(self) -> Found | None:
        """Return what the child found, once it has ended."""
        child = self._child
        if child is None:
            return None
        if child.poll() is None:
            if time.monotonic() - self._began_s > LONGEST_S:
                self.close()
                return Found(None, Code("fit_failed"))
            return None
        self._child = None
        data = b"" if child.stdout is None else child.stdout.read()
        if child.stdout is not None:
            child.stdout.close()
        try:
            return msgspec.msgpack.decode(data, type=Found)
        except msgspec.DecodeError:
            return Found(None, Code("fit_failed"))

    def close(self) -> None:
        """End a child that still runs."""
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        child.wait()
        if child.stdout is not None:
            child.stdout.close()


def main() -> None:
    """Fit the order on standard input."""
    order = msgspec.msgpack.decode(sys.stdin.buffer.read(), type=Order)
    sys.stdout.buffer.write(msgspec.msgpack.encode(fit(order)))


if __name__ == "__main__":
    main()
