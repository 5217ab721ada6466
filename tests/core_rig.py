"""The board's pure C on the bench: the contract's second board, without a controller under it."""

from __future__ import annotations

from functools import cache
from typing import Any

import c_core
from board_rig import SWITCH_MS, THERMOSTAT_MS
from tawny.core import messages as m
from tawny.core.names import Half, ResetCause
from tawny.sim.build import Build

HOST_BOARD = c_core.FIRMWARE.parent / "tests" / "host_board"
CAUSES = (
    ResetCause.POWER,
    ResetCause.BUTTON,
    ResetCause.BROWNOUT,
    ResetCause.WATCHDOG,
    ResetCause.UNKNOWN,
)
BUZZES = {0: "off", 1: "breathe", 2: "topup", 3: "soon", 4: "alarm"}
PIN_UPPER, PIN_LOWER = 1, 2


@cache
def host_board() -> tuple[Any, Any]:
    """Build the pure C with the loop of this machine; return cffi's `ffi` and the library."""
    return c_core.build(
        [c_core.FIRMWARE / f"{name}.c" for name in (*c_core.PURE, *c_core.JOINED)]
        + [HOST_BOARD / "host_board.c"],
        [HOST_BOARD / "host_board.h"],
    )


class CoreRig:
    """A board of the pure C; see `board_rig.Rig`."""

    def __init__(
        self,
        *,
        build: Build | None = None,
        commissioned: bool = True,
        clock_ms: int = 0,
        inputs: int = m.IN_MAINS,
    ) -> None:
        """Start a board whose memory knows one mould."""
        self.ffi, self.lib = host_board()
        self._build = self._c_build(build or Build())
        self.board = self.ffi.gc(self.lib.host_board_new(), self.lib.host_board_free)
        self.ffi.memmove(self.board.eeprom, _eeprom(commissioned=commissioned), 1024)
        self.board.switches = inputs
        self._start(ResetCause.POWER, clock_ms)

    def _c_build(self, build: Build) -> Any:
        c_build = self.ffi.new("struct unit_build *")
        c_build.output.window_ms = build.window_ms
        c_build.output.least_ms = build.least_ms
        c_build.output.cap = build.cap
        c_build.id = int(build.build, 16)
        c_build.zones = build.zones
        c_build.fit = build.fit
        return c_build

    def _start(self, cause: ResetCause, clock_ms: int, *, fails: bool = False) -> None:
        self._started_ms = self._noticed_ms = clock_ms
        self.lib.host_board_start(
            self.board, self._build, CAUSES.index(cause), clock_ms & 0xFFFF_FFFF, not fails
        )
        self._passed_ms = 0

    @property
    def now_ms(self) -> int:
        """The board's clock, not wrapped."""
        return self._started_ms + self._passed_ms

    def advance(self, ms: int) -> None:
        """Let the board live so long."""
        self.lib.host_board_run(self.board, ms)
        self._passed_ms += ms

    def write(self, data: bytes) -> None:
        """Send bytes to the board, now."""
        self._notice()
        self.lib.host_board_hear(self.board, data, len(data))

    def read(self) -> bytes:
        """Return what the board has sent since the last call."""
        out = self.ffi.new("uint8_t[65536]")
        return bytes(self.ffi.buffer(out, self.lib.host_board_said(self.board, out, 65536)))

    def set_register(self, half: Half, raw: int) -> None:
        """Set what a converter holds."""
        self.board.raw[half is Half.LOWER] = raw

    def set_input(self, bit: int, *, on: bool) -> None:
        """Move a switch, a bit of `tele.in`; whoever looks next waits until it was noticed."""
        before = self.board.switches
        self.board.switches = before | bit if on else before & ~bit
        if self.board.switches != before:
            wait_ms = THERMOSTAT_MS if bit == m.IN_THERMOSTAT else SWITCH_MS
            self._noticed_ms = max(self._noticed_ms, self.now_ms + wait_ms)

    def _notice(self) -> None:
        if self._noticed_ms > self.now_ms:
            self.advance(self._noticed_ms - self.now_ms)

    def contactor(self) -> bool:
        """Return whether the board wants the contactor in."""
        return bool(self.board.permission_ms)

    def outputs(self) -> tuple[bool, bool]:
        """Return which heater outputs are on."""
        self._notice()
        pins = self.board.pins
        return bool(pins & PIN_UPPER), bool(pins & PIN_LOWER)

    def sound(self) -> str:
        """Return the pattern of the buzzer."""
        self._notice()
        return BUZZES[int(self.board.unit.signals.playing)]

    def restart(self, cause: ResetCause, *, selftest_fails: bool = False) -> None:
        """Reset the board; its memory stays."""
        self._start(cause, 0, fails=selftest_fails)


@cache
def _eeprom(*, commissioned: bool) -> bytes:
    """Return an EEPROM as the factory, or commissioning of slot 1, leaves it."""
    from board_rig import SLOT, Bench

    blank = _blank()
    if not commissioned:
        return blank
    rig = CoreRig.__new__(CoreRig)
    rig.ffi, rig.lib = host_board()
    rig._build = rig._c_build(Build())  # noqa: SLF001 - the rig without its commissioned memory
    rig.board = rig.ffi.gc(rig.lib.host_board_new(), rig.lib.host_board_free)
    rig.ffi.memmove(rig.board.eeprom, blank, 1024)
    rig.board.switches = m.IN_MAINS
    rig._start(ResetCause.POWER, 0)  # noqa: SLF001 - same
    bench = Bench(rig).greet()
    rig.set_input(m.IN_ARM, on=True)
    bench.run(0.3)
    for half in Half:
        ask = bench.request(m.StoreMould, 1, half.value, SLOT.rise, SLOT.lag, SLOT.heat_up)
        assert bench.why(ask) == ""
        bench.run(0.3)
    assert bench.why(bench.request(m.Use, 1)) == ""
    rig.set_input(m.IN_ARM, on=False)
    bench.run(2.0)
    return bytes(rig.ffi.buffer(rig.board.eeprom))


def _blank() -> bytes:
    """Return the factory's content."""
    from eeprom_image import image

    return bytes(image(0x7A3E_0000_0000_0001))
