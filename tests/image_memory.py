"""The image's lasting memory: bytes that change, and resets in the middle of writing."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from random import Random
from typing import Final, NamedTuple

from image_rig import HEATERS, OVER_C, Host, heating, shared_heating, split
from image_start import Found, look, new_board, restart
from tawny.core import messages as m
from tawny.core.names import ResetCause
from tawny.sim.chip import CYCLES_PER_MS

LATCH_AT: Final = range(1, 5)  # both copies of the latch, as firmware/record.h lays them out
REDUCED: Final = 1900
WRITING_MS: Final = 40  # any of these deeds leaves more than that to write
BEGUN_MS: Final = 900  # and begins to within this
DEFAULT_TRIP: Final = 2150


class Corrupt(NamedTuple):
    """One byte of the EEPROM with another value, of a board that was latched or not."""

    address: int
    value: int
    latched: bool


@cache
def kept(*, latched: bool) -> bytes:
    """Return an EEPROM with a reduced trip point; with a latch where asked for."""

    def use() -> str:
        host = heating((300, 300), REDUCED / 10 - 10)
        host.duty = None
        host.send(m.TripSet, REDUCED)
        host.live(300)
        if latched:
            host.set_c(REDUCED / 10 + 2)
        host.live(2000)
        assert host.last(m.Tele).fo == ("overtemp" if latched else "none")
        return host.chip.eeprom.hex()

    return bytes.fromhex(split(use))


@cache
def undamaged(*, latched: bool) -> Found:
    """Return what a board makes of that EEPROM."""
    return Found.of(split(lambda: look(new_board(kept(latched=latched)))))


def corrupt(case: Corrupt) -> Found:
    """Start a board with one byte of its EEPROM changed."""
    content = bytearray(kept(latched=case.latched))
    content[case.address] = case.value
    return look(new_board(bytes(content)))


def cases(addresses: Iterable[int], random: Random) -> list[Corrupt]:
    """Return what to do to each byte: 0, all ones, one bit, anything; unlatched and latched."""
    found = []
    for address in addresses:
        for latched in (False, True):
            value = kept(latched=latched)[address]
            others = {0x00, 0xFF, value ^ 1 << random.randrange(8), random.randrange(256)}
            found += [Corrupt(address, other, latched) for other in sorted(others - {value})]
    return found


def wrong(case: Corrupt, found: Found) -> str:
    """Return what a corrupt byte has done that it must not do, "" if nothing."""
    before = undamaged(latched=case.latched)
    if found.driven or found.state in {"armed", ""}:
        return f"state {found.state}, driven {found.driven}"
    if case.latched and (found.latch == "none" or found.state != "tripped"):
        return f"latch {found.latch} in state {found.state}"
    if not 600 <= found.trip <= before.trip:
        return f"trip point {found.trip}"
    halves = (found.mould[:3], before.mould[:3]), (found.mould[3:], before.mould[3:])
    if any(half not in {was, (0, 0, 0)} for half, was in halves):
        return f"mould {found.mould}"
    return ""


# Resets in the middle of writing.


class Deed(NamedTuple):
    """What leaves something to write, and how much later the reset comes.

    Attributes:
        what: `trip`, `reduce`, `charge` or `silence`.
        wait: Cycles, from the first byte on where `writing` is set.
        writing: The reset comes in the middle of a byte.
        cause: Of the reset.
    """

    what: str
    wait: int
    writing: bool
    cause: ResetCause


class Cut(NamedTuple):
    """What came of it.

    Attributes:
        found: What the board says afterwards.
        was_writing: A byte was cut.
        latch_begun: Anything of the latch's record was written, or being written.
        levels: Pins that were high right after the reset.
    """

    found: Found
    was_writing: bool
    latch_begun: bool
    levels: int


def draw(random: Random, what: str) -> Deed:
    """Return a deed with a reset at a random time, mostly in the middle of a byte."""
    cause = random.choice((ResetCause.POWER, *ResetCause))
    wait = random.randrange(WRITING_MS * CYCLES_PER_MS)
    return Deed(what, wait, random.random() < 0.8, cause)


def do(host: Host, what: str) -> None:
    """Do it; return when the board has begun to act on it."""
    if what == "trip":
        host.set_c(OVER_C)
        stop = host.now + 1000 * CYCLES_PER_MS
        while any(host.level(pin) for pin in HEATERS) and host.now < stop:
            host.live(0.5, step_ms=0.5)
    elif what == "reduce":
        host.run(host.send(m.TripSet, REDUCED))
    elif what == "charge":
        host.run(host.send(m.Charge))
    else:
        host.duty = None
        host.live(2500)


def _await_writing(host: Host, within_ms: float) -> None:
    stop = host.now + round(within_ms * CYCLES_PER_MS)
    while not host.chip.call("is_writing") and host.now < stop:
        host.live(0.5, step_ms=0.5)


def cut(deed: Deed) -> Cut:
    """Reset a heating board in the middle of what a deed leaves to write."""
    host = shared_heating()
    before = host.chip.eeprom
    do(host, deed.what)
    if deed.writing:
        _await_writing(host, BEGUN_MS)
    host.run(host.now + deed.wait)
    if deed.writing:
        _await_writing(host, 20)
    writing = bool(host.chip.call("is_writing"))
    begun = any(host.chip.eeprom[at] != before[at] for at in LATCH_AT)
    levels = restart(host.rig.board, deed.cause)
    return Cut(look(host.rig.board), writing, begun, levels)


def wrong_cut(deed: Deed, came: Cut) -> str:
    """Return what is wrong after a reset in the middle of writing, "" if nothing."""
    found = came.found
    if came.levels or found.driven or found.state in {"armed", ""}:
        return f"{came.levels} pins high, state {found.state}, driven {found.driven}"
    if came.latch_begun and found.latch == "none":
        return "latch lost"
    if found.latch not in {"none", "overtemp", "selftest"} or (
        found.latch == "overtemp" and deed.what != "trip"
    ):
        return f"latch {found.latch}"
    if not 600 <= found.trip <= DEFAULT_TRIP:
        return f"trip point {found.trip}"
    return ""
