"""The compiled image on the bench of the contract tests, pin for pin and cycle for cycle."""

from __future__ import annotations

from functools import cache

from board_rig import SLOT, SWITCH_MS, THERMOSTAT_MS
from image_code import within
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause
from tawny.sim.build import Build
from tawny.sim.checkout import image_path, new_eeprom
from tawny.sim.chip import CYCLES_PER_MS, Misuse, Pin
from tawny.sim.commission import HalfMeasure, Measure
from tawny.sim.elf import ElfBoard
from tawny.sim.elf_commission import FAST_BYTE, commission
from tawny.sim.image import Image, read_image

SOUNDS = ("off", "breathe", "topup", "soon", "alarm")  # in the order of PROTOCOL.md
PLAYS = "signals.playing"  # of `struct unit`: the pattern
CLOCK = "board_ms"  # the image's own millisecond counter
TRAIN_WITHIN_MS = 3  # an edge of the contactor's train each 0.5 ms: this is no pause
STARTED_WITHIN_MS = 1000
REPLY_WITHIN_MS = 100
STILL_MS = 3  # the image begins its next line within this
UNASKED = (b"tele ", b"stat ", b"event ", b"boot ")


@cache
def image_of(build: Build) -> Image:
    """Return the image of a build; built once in each process."""
    return read_image(image_path(build))


@cache
def commissioned_eeprom(build: Build) -> bytes:
    """Return what the EEPROM holds once slot 1 was stored and used over the line."""
    half = HalfMeasure(
        rise_k_per_s=SLOT.rise / 1000.0,
        lag_s=SLOT.lag / 10.0,
        heat_up_s=SLOT.heat_up,
        loss_per_s=0.0,
    )
    board = ElfBoard(image_of(build), build)
    board.chip.eeprom = new_eeprom(build.board)
    commission(board, Measure(half, half), 1)
    return board.chip.eeprom


class ElfRig:
    """The real image in the simulator, on a line that takes hardly any time.

    Attributes:
        board: The chip with its image.
    """

    def __init__(
        self,
        *,
        build: Build | None = None,
        commissioned: bool = True,
        clock_ms: int = 0,
        inputs: int = m.IN_MAINS,
    ) -> None:
        """Power it up."""
        build = build or Build()
        self._clock_ms = clock_ms
        self._noticed_ms = clock_ms
        self._registers = [0, 0]
        self._out = b""
        self.board = ElfBoard(image_of(build), build)
        self.chip = self.board.chip
        self.chip.eeprom = commissioned_eeprom(build) if commissioned else new_eeprom(build.board)
        self.chip.call("set_line", FAST_BYTE)
        self._start(ResetCause.POWER, inputs, fails=False)

    def _start(self, cause: ResetCause, inputs: int, *, fails: bool) -> None:
        """Reset it, and find out when its clock stood at 0."""
        self.board.start(
            lambda half: self._registers[half], cause, inputs=inputs, selftest_fails=fails
        )
        if self._clock_ms:
            self._set_clock()
        start_ms = self._clock_ms
        stop = self.chip.cycle + STARTED_WITHIN_MS * CYCLES_PER_MS
        while not 0 < self.chip.peek(CLOCK, 4) - start_ms < STARTED_WITHIN_MS:
            assert self.chip.cycle < stop, "the image's clock does not run"
            self.chip.run(self.chip.cycle + CYCLES_PER_MS // 10)
        self._zero = self.chip.cycle - (self.chip.peek(CLOCK, 4) - start_ms) * CYCLES_PER_MS
        self._noticed_ms = self.now_ms
        self._listen()

    def _set_clock(self) -> None:
        """Let the clock begin elsewhere; a cold start resets itself once, and begins again."""
        within = STARTED_WITHIN_MS * CYCLES_PER_MS // 2
        assert self.chip.run_to("main", self.chip.cycle + within)
        self.chip.poke(CLOCK, self._clock_ms, 4)
        self.chip.run(self.chip.cycle + 1)
        if self.chip.run_to("main", self.chip.cycle + within):
            self.chip.poke(CLOCK, self._clock_ms, 4)

    @property
    def now_ms(self) -> int:
        """The image's clock, not wrapped."""
        return self._clock_ms + (self.chip.cycle - self._zero) // CYCLES_PER_MS

    def advance(self, ms: int) -> None:
        """Let the board live so long."""
        if ms <= 0:
            return
        since_ms = self.now_ms - self._clock_ms
        self.chip.run(self._zero + (since_ms + ms) * CYCLES_PER_MS)
        self._listen()

    def _notice(self) -> None:
        self.advance(self._noticed_ms - self.now_ms)

    def write(self, data: bytes) -> None:
        """Send bytes, and wait for what the board has to say to them."""
        self._notice()
        ends_line = b"\n" in data
        self._listen()
        heard = len(self._out)
        while data:
            data = data[self.chip.hear(data) :]
            while self.chip.call("unheard"):
                self._live()
        if not ends_line:
            return
        stop = self.chip.cycle + REPLY_WITHIN_MS * CYCLES_PER_MS
        while self.chip.cycle < stop and not self._has_reply(heard):
            self._live()
        stop, still = self.chip.cycle + REPLY_WITHIN_MS * CYCLES_PER_MS, self.chip.cycle
        while self.chip.cycle < min(stop, still + STILL_MS * CYCLES_PER_MS):
            self._live()
            if self.chip.call("talks"):
                still = self.chip.cycle

    def _has_reply(self, heard: int) -> bool:
        begin = self._out.rfind(b"\n", 0, heard) + 1
        whole = self._out[begin:].split(b"\n")[:-1]
        return any(not line.startswith(UNASKED) for line in whole)

    def _live(self) -> None:
        self.chip.run(self.chip.cycle + CYCLES_PER_MS // 4)
        self._listen()

    def _listen(self) -> None:
        self._out += self.chip.said()

    def read(self) -> bytes:
        """Return the whole lines that the board has sent since the last call."""
        end = self._out.rfind(b"\n") + 1
        data, self._out = self._out[:end], self._out[end:]
        return data

    def set_register(self, half: Half, raw: int) -> None:
        """Set what a converter measures."""
        self._registers[half is Half.LOWER] = raw
        self.chip.call("set_register", half is Half.LOWER, raw)

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move a switch; whoever looks next waits until it was noticed."""
        if bool(self.board.inputs & bit) != on:
            self.board.set_input(bit, on=on)
            wait_ms = THERMOSTAT_MS if bit == m.IN_THERMOSTAT else SWITCH_MS
            self._noticed_ms = max(self._noticed_ms, self.now_ms + wait_ms)

    def contactor(self) -> bool:
        """Return whether the train runs that the enable circuit lives on."""
        since = self.chip.cycle - self.chip.call("edge", Pin.CONTACTOR_TRAIN)
        return since < TRAIN_WITHIN_MS * CYCLES_PER_MS

    def outputs(self) -> tuple[bool, bool]:
        """Return which heaters' pins are high."""
        self._notice()
        return (
            bool(self.chip.call("level", Pin.HEATER_UPPER)),
            bool(self.chip.call("level", Pin.HEATER_LOWER)),
        )

    def sound(self) -> str:
        """Return the pattern that plays, which the buzzer's pin only shows with time."""
        self._notice()
        return SOUNDS[self.chip.call("peek", within(self.chip.image, PLAYS))]

    def restart(self, cause: ResetCause, *, selftest_fails: bool = False) -> None:
        """Reset the board; its EEPROM stays."""
        self._start(cause, self.board.inputs, fails=selftest_fails)

    def misused(self) -> dict[str, int]:
        """Return what the image did that it must never do."""
        counts = {what.name: self.chip.call("misused", what) for what in Misuse}
        counts["OVERRUN"] = self.chip.call("overruns")
        return {name: count for name, count in counts.items() if count}
