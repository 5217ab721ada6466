"""What the board remembers through resets and power: its EEPROM, in a file or in process."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import msgspec

from tawny.core.names import FirstOut, Half
from tawny.errors import N_, SettingsError
from tawny.sim.commission import Measure
from tawny.sim.limits import LOG_ENTRIES, TRIP_DEFAULT_TENTHS, U16


class HalfSlot(msgspec.Struct, frozen=True):
    """One half of a mould slot, in the wire's units.

    Attributes:
        rise: mK/s. lag: Tenths of a second. heat_up: Seconds.
    """

    rise: int
    lag: int
    heat_up: int


class Slot(msgspec.Struct):
    """One mould slot."""

    upper: HalfSlot | None = None
    lower: HalfSlot | None = None

    def half(self, half: Half) -> HalfSlot | None:
        """Return what is stored of one half."""
        return self.upper if half is Half.UPPER else self.lower


class LogEntry(msgspec.Struct, frozen=True, array_like=True):
    """One entry of the event log; `number` is the wire's `i`."""

    number: int
    boot: int
    ms: int
    code: str
    tenths: int


class Contents(msgspec.Struct, forbid_unknown_fields=True):
    """Everything that is kept."""

    boots: int = 0
    sessions: int = 0
    operations: int = 0
    latch: FirstOut = FirstOut.NONE
    trip_tenths: int = TRIP_DEFAULT_TENTHS
    slot_in_use: int = 0
    slots: dict[int, Slot] = {}
    log: list[LogEntry] = []


class Memory:
    """The board's lasting memory.

    Args:
        path: A JSON file that keeps it from one process to the next; None: this object does.

    Raises:
        SettingsError: If the file is not one of these.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self.contents = Contents()
        if path is None or not path.exists():
            return
        try:
            self.contents = msgspec.json.decode(path.read_bytes(), type=Contents)
        except (OSError, msgspec.MsgspecError) as error:
            raise SettingsError(
                N_("{path} is not the memory of a simulated board ({reason}): delete or move it"),
                path=str(path),
                reason=str(error),
            ) from error

    def commission(self, measured: Measure, slot: int = 1) -> None:
        """Store what commissioning measured and use it, as on a board that ships commissioned."""
        self.contents.slots[slot] = Slot(
            *(
                HalfSlot(
                    rise=round(half.rise_k_per_s * 1000),
                    lag=round(half.lag_s * 10),
                    heat_up=round(half.heat_up_s),
                )
                for half in (measured.upper, measured.lower)
            )
        )
        self.contents.slot_in_use = slot
        self.save()

    def slot(self) -> Slot:
        """Return the slot in use, an empty one where there is none."""
        return self.contents.slots.get(self.contents.slot_in_use, Slot())

    def log(self, *, boot: int, ms: int, code: str, tenths: int) -> LogEntry:
        """Add an entry; the oldest beyond the last 64 goes."""
        log = self.contents.log
        number = log[-1].number % U16 + 1 if log else 1
        entry = LogEntry(number, boot, ms, code, tenths)
        log.append(entry)
        del log[:-LOG_ENTRIES]
        self.save()
        return entry

    def entry(self, number: int) -> LogEntry | None:
        """Return an entry by its number, the newest for 0."""
        log = self.contents.log
        if number == 0:
            return log[-1] if log else None
        return next((entry for entry in reversed(log) if entry.number == number), None)

    def save(self) -> None:
        """Write the file whole, where there is one.

        A board's own memory asks nothing of the host's disk: where that is full, the board goes
        on, and the next change is written with what was missed.
        """
        if self._path is None:
            return
        part = self._path.with_name(self._path.name + ".part")
        with suppress(OSError):
            part.write_bytes(msgspec.json.encode(self.contents))
            part.replace(self._path)
