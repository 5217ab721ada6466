"""Reads a record, beside its owner or alone: short reads that hold nothing back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

import msgspec

from tawny.core.names import Result
from tawny.core.record import Begin, Pressing, PressingRecord
from tawny.errors import N_, InputError
from tawny.store import blobs, journal, spool, verdict
from tawny.store.codes import PART, PRESSING, number_of, part_code, pressing_code
from tawny.store.database import backup, only, open_reader, rows
from tawny.store.folder import RECORD_NAME
from tawny.store.sizes import Sizes, sizes
from tawny.store.trouble import told_reading

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    import apsw

ALL = -1  # as a limit: every row


class PartRow(msgspec.Struct, frozen=True):
    """One part in a list; no trace is read for it."""

    part_id: str
    pressing_id: str
    cavity: int
    recipe: str
    recipe_version: int
    result: Result
    started_utc_ms: int
    ended_utc_ms: int
    hold_s: float
    equivalent_s: float | None
    dose_gap: bool
    peak_c: float | None
    mean_hold_c: float | None
    severity_min: float | None
    energy_kwh: float
    alarms: tuple[str, ...]
    operator: str
    lot: str
    mould: str
    first_off: bool
    simulated: bool


class SealedPressing(msgspec.Struct, frozen=True):
    """A pressing as it was sealed, with its place in the chain."""

    record: PressingRecord
    part_ids: tuple[str, ...]
    trace: str  # SHA-256, hex
    entry: journal.Entry


class SegmentRow(msgspec.Struct, frozen=True):
    """A stretch of trace outside pressings."""

    rate: str
    start_utc_ms: int
    end_utc_ms: int
    trace: str  # SHA-256, hex


class AlarmRow(msgspec.Struct, frozen=True):
    """One change of state of one alarm."""

    seq: int
    utc_ms: int
    mono_ms: int
    alarm: str
    state: str
    priority: str
    pressing_id: str


_PART_FIELDS = PartRow.__struct_fields__[:-1]  # `simulated` is the record's own
_NUMBERS = {"part_id": "part.number", "pressing_id": "pressing.number"}
_PARTS = f"""
SELECT {", ".join(_NUMBERS.get(field, field) for field in _PART_FIELDS)}
FROM part JOIN pressing ON pressing.number = part.pressing
"""  # noqa: S608 - our own column names


class Reader:
    """The read side of a record. Every read is finished when its call returns."""

    def __init__(self, db: apsw.Connection, file: Path) -> None:
        """Read the record's first entry; use `open` instead."""
        self._db = db
        self.file = file
        first = journal.entry(db, 1)
        if first is None:
            raise InputError(N_("{file} holds no record yet"), file=file)
        self.origin = first.origin
        self.simulated = first.read(Begin).simulated

    @classmethod
    def open(cls, home: Path) -> Self:
        """Open the record in a home folder to read it.

        Raises:
            InputError: If there is none.
            StoreNewerError, StoreDamagedError: As their names say.
        """
        file = home / RECORD_NAME
        db = open_reader(file)
        try:
            with told_reading(file):
                return cls(db, file)
        except BaseException:
            db.close()
            raise

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def parts(
        self,
        limit: int = ALL,
        *,
        below: int | None = None,
        recipe: str | None = None,
        lot: str | None = None,
        operator: str | None = None,
        mould: str | None = None,
        result: Result | None = None,
        since_utc_ms: int | None = None,
        until_utc_ms: int | None = None,
    ) -> list[PartRow]:
        """Return parts, newest first.

        Args:
            limit: How many at most.
            below: Only part numbers below this: the next page of a list.
            recipe: Only parts of this recipe.
            lot: Only parts of this lot.
            operator: Only parts this person pressed.
            mould: Only parts of this mould.
            result: Only pressings that ended so.
            since_utc_ms: Only pressings that ended at or after this.
            until_utc_ms: Only pressings that ended before this.
        """
        wanted = {
            "part.number < ?": below,
            "recipe = ?": recipe,
            "lot = ?": lot,
            "operator = ?": operator,
            "mould = ?": mould,
            "result = ?": None if result is None else result.value,
            "ended_utc_ms >= ?": since_utc_ms,
            "ended_utc_ms < ?": until_utc_ms,
        }
        asked = {test: value for test, value in wanted.items() if value is not None}
        where = f"WHERE {' AND '.join(asked)}" if asked else ""
        query = f"{_PARTS}{where} ORDER BY part.number DESC LIMIT ?"
        with told_reading(self.file):
            found = rows(self._db, query, (*asked.values(), limit))
            return [self._part_row(row) for row in found]

    def part(self, part_id: str) -> PartRow:
        """Return one part by its code, as a person types it.

        Raises:
            InputError: If the code has a mistake or no such part is here.
        """
        number = number_of(part_id, PART)
        with told_reading(self.file):
            row = only(self._db, f"{_PARTS}WHERE part.number = ?", (number,))
        if row is None:
            raise InputError(
                N_("there is no part {part} in {file}"), part=part_code(number), file=self.file
            )
        return self._part_row(row)

    def pressing(self, pressing_id: str) -> SealedPressing:
        """Return one pressing as it was sealed.

        Raises:
            InputError: If the code has a mistake or no such pressing is here.
            StoreDamagedError: If its entry was changed.
        """
        number = number_of(pressing_id, PRESSING)
        with told_reading(self.file):
            seq = only(self._db, "SELECT seq FROM pressing WHERE number = ?", (number,))
            entry = None if seq is None else journal.entry(self._db, seq)
        if entry is None:
            raise InputError(
                N_("there is no pressing {pressing} in {file}"),
                pressing=pressing_code(number),
                file=self.file,
            )
        sealed = entry.read(Pressing)
        return SealedPressing(
            record=sealed.record,
            part_ids=tuple(map(part_code, sealed.parts)),
            trace=sealed.trace,
            entry=entry,
        )

    def trace(self, pressing_id: str) -> bytes:
        """Return a pressing's trace, checked against its name; `core.columns` decodes it."""
        return self.blob(self.pressing(pressing_id).trace)

    def blob(self, name: str) -> bytes:
        """Return the bytes of a SHA-256 in hex, checked against it."""
        with told_reading(self.file):
            return blobs.get(self._db, name)

    def segments(self, start_utc_ms: int, end_utc_ms: int) -> list[SegmentRow]:
        """Return the stretches of trace that overlap a span of time, oldest first."""
        query = """SELECT rate, start_utc_ms, end_utc_ms, lower(hex(trace)) FROM segment
            WHERE start_utc_ms <= ? AND end_utc_ms >= ? ORDER BY start_utc_ms, seq"""
        with told_reading(self.file):
            found = rows(self._db, query, (end_utc_ms, start_utc_ms))
        return [SegmentRow(*row) for row in found]

    def alarms(self, limit: int = ALL, *, pressing_id: str | None = None) -> list[AlarmRow]:
        """Return changes of alarms, newest first, of one pressing or of all."""
        query = """SELECT seq, utc_ms, mono_ms, alarm, state, priority, pressing_id FROM alarm
            WHERE ?1 IS NULL OR pressing_id = ?1 ORDER BY seq DESC LIMIT ?2"""
        with told_reading(self.file):
            found = rows(self._db, query, (pressing_id, limit))
        return [AlarmRow(*row) for row in found]

    def entries(
        self, first: int = 1, last: int | None = None, kinds: Collection[str] = ()
    ) -> list[journal.Entry]:
        """Return journal entries in order."""
        with told_reading(self.file):
            return list(journal.entries(self._db, first=first, last=last, kinds=kinds))

    def last_hash(self) -> str:
        """Return the hash of the last entry, 64 hex digits; a report prints it."""
        with told_reading(self.file):
            last = journal.last_entry(self._db)
        return last.hash.hex() if last else ""

    def next_pressing_number(self) -> int:
        """Return the number the next pressing takes."""
        query = """SELECT 1 + max(coalesce((SELECT max(number) FROM pressing), 0),
            coalesce((SELECT max(number) FROM open_pressing), 0))"""
        with told_reading(self.file):
            return int(only(self._db, query))

    def spooled(self) -> tuple[spool.Leftover, ...]:
        """Return the pressings that began and were never sealed."""
        with told_reading(self.file):
            return spool.leftovers(self._db)

    def sizes(self) -> Sizes:
        """Return how much room the record takes, and what takes it."""
        with told_reading(self.file):
            return sizes(self._db, self.file)

    def backup(self, to: Path) -> None:
        """Write a whole copy of the record to a new file, also while its owner is writing.

        Copying the file alone would leave out what still waits in the log beside it.

        Raises:
            InputError: If there is such a file already.
            StoreFullError: If the copy cannot be written.
        """
        backup(self._db, to)

    def verify(self, printed: str = "") -> verdict.Verdict:
        """Walk the whole record; `printed` is a hash from a report it must still hold."""
        with told_reading(self.file):
            return verdict.verify(self._db, printed)

    def _part_row(self, row: tuple[Any, ...]) -> PartRow:
        values = dict(zip(_PART_FIELDS, row, strict=True))
        values["part_id"] = part_code(values["part_id"])
        values["pressing_id"] = pressing_code(values["pressing_id"])
        values["result"] = Result(values["result"])
        values["dose_gap"] = bool(values["dose_gap"])
        values["first_off"] = bool(values["first_off"])
        values["alarms"] = tuple(values["alarms"].split())
        return PartRow(**values, simulated=self.simulated)
