"""The simulated controller with everything wired to it, in this process: `tests/avr/shim.h`.

Nothing is loaded before the first chip is made.
"""

from __future__ import annotations

import ctypes
from enum import IntEnum
from functools import cache
from typing import Final

from tawny.errors import N_, InputError, LinkError
from tawny.sim.checkout import shim_path
from tawny.sim.image import Image

HZ: Final = 16_000_000
CYCLES_PER_MS: Final = HZ // 1000
EEPROM_BYTES: Final = 1024
SUPPLY_MV: Final = 5000
HISTORY: Final = 32

_SAID_BYTES: Final = 65_536
_POINTER: Final = ctypes.c_void_p
_U8: Final = ctypes.c_uint8
_U16: Final = ctypes.c_uint16
_U32: Final = ctypes.c_uint32
_U64: Final = ctypes.c_uint64
_BOOL: Final = ctypes.c_bool
_BYTES: Final = ctypes.c_char_p
_DOUBLE: Final = ctypes.c_double

# Why an image does not go on, as the shim counts states from 1.
_STOPPED: Final = (
    N_("the image {path} sleeps with interrupts off at {address:#06x}"),
    N_("the image {path} crashed at {address:#06x}"),
)

# Result and arguments of each function; all but `new` take the chip first.
_FUNCTIONS: Final[dict[str, tuple[object, ...]]] = {
    "free": (None,),
    "run": (ctypes.c_int, _U64),
    "run_to": (_BOOL, _U32, _U64),
    "reset": (None, _U8),
    "cycle": (_U64,),
    "asleep": (_U64,),
    "stretch": (_U64,),
    "resets": (_U32,),
    "counter": (_U32,),
    "misused": (_U32, ctypes.c_int),
    "peek": (_U8, _U16),
    "poke": (None, _U16, _U8),
    "store": (None, _U16, _U8),
    "flip_flash": (None, _U32, _U8),
    "cover": (None, _BOOL),
    "covered": (ctypes.POINTER(_U8),),
    "set_line": (None, _U32),
    "hear": (_U32, _BYTES, _U32),
    "said": (_U32, _BYTES, _U32),
    "unheard": (_U32,),
    "talks": (_BOOL,),
    "overruns": (_U32,),
    "set_register": (None, _U8, _U32),
    "set_conversion": (None, _U32),
    "reads": (_U32, _U8),
    "early_reads": (_U32, _U8),
    "set_switches": (None, _U16),
    "set_analogue": (None, _U8, _U32),
    "level": (_BOOL, _U8),
    "on_cycles": (_U64, _U8),
    "edge": (_U64, _U8),
    "edges": (_U32, _U8),
    "history": (_U32, _U8, ctypes.POINTER(_U64), _U32),
    "set_enable": (None, _DOUBLE, _DOUBLE, _DOUBLE, _DOUBLE),
    "enabled": (_BOOL,),
    "enable_changed": (_U64,),
    "load_eeprom": (None, _BYTES),
    "dump_eeprom": (None, _BYTES),
    "set_write_time": (None, _U32),
    "writes": (_U32,),
    "is_writing": (_BOOL,),
    "set_fuse": (None, _U8, _U8),
}


class Pin(IntEnum):
    """Outputs of `hardware/pins.csv`, as the shim counts them."""

    CALL_LAMP = 0
    BUZZER = 8
    HOT_LAMP = 20
    HEATER_UPPER = 21
    HEATER_LOWER = 22
    CONTACTOR_TRAIN = 23


class Analogue(IntEnum):
    """Analogue inputs."""

    IDENTITY = 6
    FORCE = 7


class ResetFlag(IntEnum):
    """Bits of the controller's reset register."""

    NONE = 0
    POWER = 1
    EXTERNAL = 2
    BROWNOUT = 4
    WATCHDOG = 8


class Misuse(IntEnum):
    """What an image must never do: how often it did is counted."""

    EEPROM = 0
    BUS = 1
    SELECT = 2
    LINE = 3


class Chip:
    """One controller from its power-up on; its cycles count on through resets.

    Args:
        image: What is in its flash.

    Raises:
        InputError: If the simulator cannot be built or loaded.
    """

    def __init__(self, image: Image) -> None:
        self._library = library()
        self.image = image
        self._chip: int | None = self._library.shim_new(image.flash, len(image.flash))
        if self._chip is None:
            raise InputError(N_("{path} cannot be simulated"), path=str(image.path))
        self._said = ctypes.create_string_buffer(_SAID_BYTES)
        self._cycles = (_U64 * HISTORY)()

    def __del__(self) -> None:
        """Give its memory back."""
        if getattr(self, "_chip", None) is not None:
            self._library.shim_free(self._chip)

    @property
    def cycle(self) -> int:
        """Cycles since power-up."""
        return int(self._library.shim_cycle(self._chip))

    def run(self, until: int) -> None:
        """Run up to a cycle.

        Raises:
            LinkError: If the image crashes, or sleeps with interrupts off.
        """
        state = self._library.shim_run(self._chip, until)
        if state:
            raise LinkError(
                _STOPPED[state - 1],
                path=str(self.image.path),
                address=self._library.shim_counter(self._chip),
            )

    def run_to(self, symbol: str, until: int) -> bool:
        """Run until a function is about to begin; return whether it was before a cycle."""
        address = self.image.symbols[symbol]
        return bool(self._library.shim_run_to(self._chip, address, until))

    def call(self, name: str, *arguments: float | bytes) -> int:
        """Call a function of the shim by its name without `shim_`."""
        return getattr(self._library, f"shim_{name}")(self._chip, *arguments) or 0

    def hear(self, data: bytes) -> int:
        """Queue bytes towards the board; return how many found room."""
        return int(self._library.shim_hear(self._chip, data, len(data)))

    def said(self) -> bytes:
        """Return what the board has sent since the last call."""
        count = self._library.shim_said(self._chip, self._said, _SAID_BYTES)
        return ctypes.string_at(self._said, count)

    def history(self, pin: Pin) -> list[int]:
        """Return the cycles of a pin's last edges, the newest first."""
        count = self._library.shim_history(self._chip, pin, self._cycles, HISTORY)
        return self._cycles[:count]

    @property
    def eeprom(self) -> bytes:
        """What the EEPROM holds."""
        buffer = ctypes.create_string_buffer(EEPROM_BYTES)
        self._library.shim_dump_eeprom(self._chip, buffer)
        return buffer.raw

    @eeprom.setter
    def eeprom(self, content: bytes) -> None:
        if len(content) != EEPROM_BYTES:
            raise ValueError(len(content))
        self._library.shim_load_eeprom(self._chip, content)

    def poke(self, symbol: str, value: int, size: int) -> None:
        """Write a variable of the image, little-endian."""
        for index, byte in enumerate(value.to_bytes(size, "little")):
            self._library.shim_poke(self._chip, self.image.symbols[symbol] + index, byte)

    def peek(self, symbol: str, size: int) -> int:
        """Read a variable of the image."""
        at = self.image.symbols[symbol]
        read = self._library.shim_peek
        return int.from_bytes(
            bytes(read(self._chip, at + index) for index in range(size)), "little"
        )


@cache
def library() -> ctypes.CDLL:
    """Return the shim, built first where it must be."""
    path = shim_path()
    try:
        shim = ctypes.CDLL(str(path))
    except OSError as error:
        raise InputError(
            N_("{path} cannot be loaded ({reason}): it needs the Debian package libsimavr-dev"),
            path=str(path),
            reason=str(error),
        ) from error
    shim.shim_new.restype = _POINTER
    shim.shim_new.argtypes = (_BYTES, _U32)
    for name, (result, *arguments) in _FUNCTIONS.items():
        function = getattr(shim, f"shim_{name}")
        function.restype = result
        function.argtypes = (_POINTER, *arguments)
    return shim
