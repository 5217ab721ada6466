"""The same calls of the pure C on the controller and on this machine: `tests/avr/calls.c`."""

from __future__ import annotations

import subprocess
from collections.abc import Iterable
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import c_core
from tawny.sim.chip import Chip
from tawny.sim.image import read_image

SOURCE = Path(__file__).resolve().parent / "avr" / "calls.c"
MOST = 24
BEGIN_MS = 0xFFFF_0000  # the clock wraps within the first minute
STEP_CYCLES = 200_000
SENSE, TRIP, BUILD, TAKE, ACCOUNT, MOULD, JUDGE = range(7)
LEFT_OUT = {"-flto", "-fno-fat-lto-objects"}  # a function keeps its own code


class Call(NamedTuple):
    """One call: see `calls.h`."""

    what: int
    a: int = 0
    b: int = 0
    c: int = 0
    d: int = 0


def sources(firmware: Path) -> list[Path]:
    """Return the pure C of a folder."""
    return [firmware / f"{name}.c" for name in c_core.PURE]


def build_image(firmware: Path, folder: Path) -> Path:
    """Compile for the controller with the image's own flags, but without LTO."""
    show = ["make", "-s", "-C", str(c_core.FIRMWARE), "--eval", "flags:;@echo $(CFLAGS)", "flags"]
    flags = subprocess.run(show, check=True, capture_output=True, text=True).stdout.split()
    elf = folder / "calls.elf"
    command = ["avr-gcc", *(flag for flag in flags if flag not in LEFT_OUT)]
    command += [f"-I{firmware}", f"-I{SOURCE.parent}", "-Wl,--gc-sections"]
    command += [str(SOURCE), *map(str, sources(firmware)), "-o", str(elf)]
    subprocess.run(command, check=True)
    return elf


class OnBoard:
    """The calls as the controller makes them."""

    def __init__(self, elf: Path) -> None:
        self.chip = Chip(read_image(elf))
        self.chip.run(STEP_CYCLES)

    def make(self, calls: list[Call]) -> list[tuple[int, int]]:
        """Make up to `MOST` calls."""
        poke = self.chip.poke
        for at, call in enumerate(calls):
            for name, value, size in zip("abcd", call[1:], (4, 2, 2, 2), strict=True):
                self._write(f"calls_{name}", at, value, size)
            self._write("calls_what", at, call.what, 1)
        poke("calls_wait", 1, 1)
        for _ in range(1000):
            self.chip.run(self.chip.cycle + STEP_CYCLES)
            if not self.chip.peek("calls_wait", 1):
                break
        else:
            raise AssertionError("a call does not end")
        found = [self.chip.peek(f"calls_{name}", 4 * MOST) for name in "xy"]
        words = [[whole >> 32 * at & 0xFFFF_FFFF for at in range(len(calls))] for whole in found]
        return list(zip(*words, strict=True))

    def _write(self, name: str, at: int, value: int, size: int) -> None:
        address = self.chip.image.symbols[name] + at * size
        for index, byte in enumerate((value & 0xFFFF_FFFF).to_bytes(4, "little")[:size]):
            self.chip.call("poke", address + index, byte)


class OnHost:
    """The calls as this machine makes them."""

    def __init__(self) -> None:
        self.ffi, self.lib = _library()
        self.lib.calls_start(BEGIN_MS)

    def make(self, calls: list[Call]) -> list[tuple[int, int]]:
        """Make up to `MOST` calls."""
        for at, call in enumerate(calls):
            self.lib.calls_what[at] = call.what
            self.lib.calls_a[at], self.lib.calls_b[at] = call.a, call.b
            self.lib.calls_c[at], self.lib.calls_d[at] = call.c, call.d
        self.lib.calls_make()
        return [(self.lib.calls_x[at], self.lib.calls_y[at]) for at in range(len(calls))]


def _library() -> tuple[Any, Any]:
    header = SOURCE.with_suffix(".h")
    return c_core.build([*sources(c_core.FIRMWARE), SOURCE], [header])


def near(rng: Random, *limits: int) -> int:
    """Return one of some limits, or next to it."""
    return rng.choice(limits) + rng.choice((-1, 0, 1))


def a_call(rng: Random) -> Call:
    """Return any call, its numbers often at a limit."""
    what = rng.choice((SENSE, SENSE, SENSE, TRIP, TAKE, ACCOUNT, ACCOUNT, JUDGE, JUDGE, JUDGE))
    if rng.random() < 0.02:
        what = rng.choice((BUILD, MOULD))
    if what == SENSE:
        shown = rng.choice((near(rng, -64, 0, 1599, 860, 8191, -8192), rng.randint(-80, 1640)))
        cold = rng.choice((near(rng, -880, -160, 0, 327, 1120, 2032), rng.randint(-900, 2040)))
        fault = rng.choice((0, 0, 0, 0, 0, 1 << 16, 8, 2))
        return Call(SENSE, (shown & 0x3FFF) << 18 | (cold & 0xFFF) << 4 | fault)
    if what == TRIP:
        wanted = near(rng, 600, 2150, 2300, -4000, 9999, 32767, -32768)
        return Call(TRIP, wanted & 0xFFFF_FFFF, near(rng, 600, 2150, 2300), rng.randrange(4))
    if what == BUILD:
        window = rng.choice((1000, 2000, 20_000))
        return Call(BUILD, window, 2000 if window == 20_000 else 0, rng.randint(1000, 2000))
    duty = min(max(near(rng, 0, 200, 500, 800, 950, 1000), 0), 1000)
    if what == TAKE:
        other = rng.randint(0, 1000)
        return Call(TAKE, near(rng, 0, 100, 1500) & 0xFFFF_FFFF, rng.randint(0, 900), duty, other)
    if what == ACCOUNT:
        return Call(ACCOUNT, 0, rng.randint(0, 1000))
    if what == MOULD:
        return Call(MOULD, rng.randint(60, 7200), rng.randint(1, 5000), rng.randint(1, 3000))
    tenths = rng.choice((rng.randint(-100, 4000), 2149, 2150, 1800, 1801, -100, 4000))
    setpoint = rng.choice((0, 1800, 2000))
    switches = rng.choice((0, 0, 0, 0, 1, 2, 4, 24)) << 11
    return Call(
        JUDGE, rng.choice((7, rng.getrandbits(30))), tenths & 0xFFFF, duty, setpoint | switches
    )


def batches(rng: Random, count: int) -> Iterable[list[Call]]:
    """Yield batches until there were so many calls."""
    for _ in range(-(-count // MOST)):
        yield [a_call(rng) for _ in range(MOST)]


def differences(board: OnBoard, rng: Random, count: int) -> list[tuple[Call, Any, Any]]:
    """Return the calls that came out otherwise on the controller than here."""
    host, found = OnHost(), []
    for batch in batches(rng, count):
        there, here = board.make(batch), host.make(batch)
        found += [one for one in zip(batch, there, here, strict=True) if one[1] != one[2]]
    return found
