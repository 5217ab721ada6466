"""The board's real image in place of the simulated board: what its pins do is what counts.

Delivered heat comes from the edges of the heaters' pins, the contactor from its enable circuit,
lamp and buzzer from their pins; state and first-out are what the board last said on the line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from tawny.core import messages as m
from tawny.core.names import ResetCause
from tawny.errors import N_, SettingsError
from tawny.sim import patterns
from tawny.sim.boards import Read, Shown
from tawny.sim.build import Build
from tawny.sim.checkout import holds_a_mould, new_eeprom
from tawny.sim.chip import CYCLES_PER_MS, EEPROM_BYTES, SUPPLY_MV, Analogue, Chip, Pin, ResetFlag
from tawny.sim.commission import Measure
from tawny.sim.elf_commission import commission
from tawny.sim.image import Image

WATCH_MS: Final = 20  # the contactor is looked at so often, as by the ms of its own delay
CONVERSION_MS: Final = 100  # of the converters; what they measure is renewed as often
QUIET_MS: Final = 100  # without a byte written, the EEPROM is at rest

# Against 10 kOhm at the supply: E24 resistors of the mould-identity steps 1 to 8.
IDENTITY_OHM: Final = (1100, 2400, 4300, 6800, 10_000, 15_000, 24_000, 39_000)
REFERENCE_OHM: Final = 10_000

FLAGS: Final = {
    ResetCause.POWER: ResetFlag.POWER,
    ResetCause.BUTTON: ResetFlag.EXTERNAL,
    ResetCause.BROWNOUT: ResetFlag.BROWNOUT,
    ResetCause.WATCHDOG: ResetFlag.WATCHDOG,
    ResetCause.UNKNOWN: ResetFlag.NONE,
}
# The vector of an interrupt that no image uses: a bit of it is part of what the image checks.
UNUSED_FLASH: Final = 0x64

_STATE: Final = re.compile(rb"tele .* st=([a-z]+) fo=([a-z]+) ")
_KEPT_BYTES: Final = 1 << 20  # of what nobody takes


def newest_state(lines: Sequence[bytes]) -> tuple[str, str] | None:
    """Return state and first-out of the last telemetry among some lines, None without any."""
    for line in reversed(lines):
        found = _STATE.match(line)
        if found:
            return found[1].decode("ascii"), found[2].decode("ascii")
    return None


class ElfBoard:
    """One chip with its image; `start` resets it.

    Args:
        image: The image.
        build: What it was built as; only the identity resistor matters here.
    """

    watch_ms = WATCH_MS

    def __init__(self, image: Image, build: Build) -> None:
        self.chip = Chip(image)
        self.inputs = m.IN_MAINS
        self._read: Read = lambda _: 0
        self._flipped = False
        self._began = 0  # cycle of the last start
        self._on_before = (0, 0)
        self._convert_ms = 0
        self._out = b""
        self._line = b""
        self._state, self._first_out = "boot", "none"
        self.keep: Callable[[bytes], None] | None = None  # takes the EEPROM when it has changed
        self._writes = 0
        self._wrote_ms: int | None = None
        if build.identity:
            ohm = IDENTITY_OHM[build.identity - 1]
            # Rounded up, so that the converter's own rounding down meets it.
            millivolts = -(-SUPPLY_MV * ohm // (ohm + REFERENCE_OHM))
            self.chip.call("set_analogue", Analogue.IDENTITY, millivolts)

    def start(self, read: Read, cause: ResetCause, *, inputs: int, selftest_fails: bool) -> None:
        """Reset it.

        Args:
            read: Reads a converter.
            cause: Why; power takes the content of its RAM away as well.
            inputs: Switches as they stand then.
            selftest_fails: A bit of its flash has turned over.
        """
        self._read = read
        self.inputs = inputs
        if selftest_fails != self._flipped:
            self.chip.call("flip_flash", UNUSED_FLASH, 1)
            self._flipped = selftest_fails
        self.chip.call("set_switches", inputs)
        self.chip.call("reset", FLAGS[cause])
        self._began = self.chip.cycle
        self._on_before = self._on_cycles()
        self._convert_ms = 0
        self._wrote_ms = 0  # what was written before is kept at the next rest
        self._line = b""
        self._state, self._first_out = "boot", "none"

    @property
    def now_ms(self) -> int:
        """Time since the last start."""
        return (self.chip.cycle - self._began) // CYCLES_PER_MS

    @property
    def contactor(self) -> bool:
        """Whether the enable circuit lets the contactor in."""
        return bool(self.chip.call("enabled"))

    def advance(self, to_ms: int) -> None:
        """Run up to a moment since the last start."""
        while self._convert_ms <= to_ms:
            self._run(self._convert_ms)
            for half in range(2):
                self.chip.call("set_register", half, self._read(half))
            self._convert_ms += CONVERSION_MS
        self._run(to_ms)
        self._listen()
        self._save(to_ms)

    def _run(self, to_ms: int) -> None:
        self.chip.run(self._began + to_ms * CYCLES_PER_MS)

    def receive(self, data: bytes, at_ms: int) -> None:
        """Put bytes on the line; they take their time on it."""
        self.advance(at_ms)
        while data:
            data = data[self.chip.hear(data) :]
            if data:
                self.advance(self.now_ms + 1)

    def take(self) -> bytes:
        """Return what has come over the line since the last call."""
        data, self._out = self._out, b""
        return data

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move one switch."""
        if bool(self.inputs & bit) != on:
            self.inputs ^= bit
            self.chip.call("set_switches", self.inputs)

    def delivered(self, now_ms: int) -> tuple[float, float]:
        """Return how long each heater's pin was high since the last start."""
        self.advance(now_ms)
        upper, lower = self._on_cycles()
        before = self._on_before
        return (upper - before[0]) / CYCLES_PER_MS, (lower - before[1]) / CYCLES_PER_MS

    def _on_cycles(self) -> tuple[int, int]:
        return (
            self.chip.call("on_cycles", Pin.HEATER_UPPER),
            self.chip.call("on_cycles", Pin.HEATER_LOWER),
        )

    def shown(self) -> Shown:
        """Return what line and pins show."""
        return Shown(
            self._state,
            self._first_out,
            patterns.lamp(self._edges(Pin.CALL_LAMP)),
            patterns.sound(self._edges(Pin.BUZZER)),
            bool(self.chip.call("level", Pin.HOT_LAMP)),
        )

    def _edges(self, pin: Pin) -> patterns.Edges:
        now = self.chip.cycle
        ages_ms = [(now - cycle) / CYCLES_PER_MS for cycle in self.chip.history(pin)]
        return patterns.Edges(ages_ms, bool(self.chip.call("level", pin)))

    def _listen(self) -> None:
        said = self.chip.said()
        if not said:
            return
        self._out = (self._out + said)[-_KEPT_BYTES:]
        *lines, self._line = (self._line + said).split(b"\n")
        self._state, self._first_out = newest_state(lines) or (self._state, self._first_out)

    def _save(self, now_ms: int) -> None:
        writes = self.chip.call("writes")
        if writes != self._writes:
            self._writes, self._wrote_ms = writes, now_ms
        elif self._wrote_ms is not None and now_ms - self._wrote_ms >= QUIET_MS:
            self._wrote_ms = None
            if self.keep is not None:
                self.keep(self.chip.eeprom)


class ElfBoards:
    """One real board, as new from the programmer, or as the file of its EEPROM has it.

    Args:
        image: The image.
        build: What it was built as.
        path: The file, which is kept up to date; None: nothing outlasts this object.

    Raises:
        SettingsError: If the file is none of these.
        InputError: If the simulator cannot be built.
    """

    def __init__(self, image: Image, build: Build, path: Path | None = None) -> None:
        self.board = ElfBoard(image, build)
        self._path = path
        self.board.chip.eeprom = self._kept() or new_eeprom(build.board)
        self.board.keep = self._keep

    def _kept(self) -> bytes | None:
        """Return what the file holds, None where there is none."""
        if self._path is None:
            return None
        try:
            content = self._path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise SettingsError(
                N_("{path} is not the EEPROM of a board ({reason}): delete or move it"),
                path=str(self._path),
                reason=error.strerror or str(error),
            ) from error
        if len(content) != EEPROM_BYTES:
            raise SettingsError(
                N_(
                    "{path} is not the EEPROM of a board ({bytes} bytes, not {wanted}): "
                    "delete or move it"
                ),
                path=str(self._path),
                bytes=len(content),
                wanted=EEPROM_BYTES,
            )
        return content

    def _keep(self, content: bytes) -> None:
        """Write the file whole; a board's memory asks nothing of the host's disk."""
        if self._path is None:
            return
        part = self._path.with_name(self._path.name + ".part")
        with suppress(OSError):
            part.write_bytes(content)
            part.replace(self._path)

    def knows_a_mould(self) -> bool:
        """Return whether anything is stored of any mould."""
        return holds_a_mould(self.board.chip.eeprom)

    def commission(self, measured: Measure, slot: int) -> None:
        """Store and use a mould as a host and a hand do it, over the line.

        The file is written at the end only: who is killed on the way finds the board of before.
        """
        self.board.keep = None
        commission(self.board, measured, slot)
        self.board.keep = self._keep
        self._keep(self.board.chip.eeprom)

    def start(
        self, read: Read, cause: ResetCause, *, clock_ms: int, inputs: int, selftest_fails: bool
    ) -> ElfBoard:
        """Reset the board."""
        del clock_ms  # its clock begins at 0, as on the bench
        self.board.start(read, cause, inputs=inputs, selftest_fails=selftest_fails)
        return self.board
