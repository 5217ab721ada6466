"""The record of one press, for its one owner."""

from __future__ import annotations

import secrets
import time
from contextlib import suppress
from typing import TYPE_CHECKING, Self, cast

import apsw

from tawny import __version__
from tawny.core.record import BEGIN, Begin, PressingRecord
from tawny.errors import N_, InputError
from tawny.store import journal, models
from tawny.store.database import open_writer, transaction
from tawny.store.folder import RECORD_NAME, FolderLock, check_local, make_folder
from tawny.store.reader import Reader
from tawny.store.requests import (
    Append,
    BeginPressing,
    Chunk,
    PutBlob,
    PutSegment,
    Request,
    Result,
    Seal,
    Sealed,
    Stamp,
    carry_out,
    plain_json,
)
from tawny.store.trouble import told

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from tawny.store.journal import Entry

_CLOSE_BUSY_MS = 1000  # a reader in the middle of something must not hold up the end


class Store(Reader):
    """Reads and writes a record; holds its home folder until closed.

    Every method that writes does so in one transaction that is on the disk when it returns.
    """

    def __init__(self, db: apsw.Connection, file: Path, lock: FolderLock) -> None:
        """Take over an open file; use `open` instead."""
        super().__init__(db, file)
        self._lock = lock

    @classmethod
    def open(  # type: ignore[override]  # the owner says what it expects of the record
        cls, home: Path, *, create: bool = True, simulated: bool, vfs: str = ""
    ) -> Self:
        """Open the record in a home folder, or begin one.

        Args:
            home: The folder; made for this user where there is none.
            create: Begin a record where there is none.
            simulated: Whether the press is; a record is one or the other from its first entry.
            vfs: Name of a registered SQLite file layer; the system's own when empty.

        Raises:
            BusyError: If another process holds the folder.
            InputError: If the record is of the other kind, missing, or on a network.
            StoreNewerError, StoreDamagedError, StoreFullError: As their names say.
        """
        file = home / RECORD_NAME
        if not create and not file.exists():
            raise InputError(
                N_("{folder} holds no record yet; give another with --home"), folder=home
            )
        check_local(home)
        make_folder(home)
        lock = FolderLock(home)
        try:
            db = open_writer(file, models.rebuild, vfs=vfs)
            try:
                with told(file):
                    _begin(db, simulated=simulated)
                    store = cls(db, file, lock)
                _check_kind(store, simulated=simulated)
            except BaseException:
                with suppress(apsw.Error):  # what went wrong first is what counts
                    db.close()
                raise
        except BaseException:
            lock.release()
            raise
        return store

    def write(self, requests: Sequence[Request]) -> list[Result]:
        """Do several requests in one transaction: all of them, or none.

        Raises:
            InputError: If one of them cannot be recorded as it is.
            StoreError: If the disk does not take them.
        """
        with told(self.file), transaction(self._db):
            return [
                carry_out(self._db, self.origin, self.simulated, request) for request in requests
            ]

    def append(self, kind: str, payload: object, *, who: str, utc_ms: int, mono_ms: int) -> Entry:
        """Add a journal entry.

        Args:
            kind: Its kind; those of `core.record` also change the lists.
            payload: A struct, or plain values with text keys and finite numbers.
            who: The operator, "board", "recorder" ...
            utc_ms: Wall time.
            mono_ms: Of the clock that only runs forwards.
        """
        return self.append_many([(kind, payload)], who=who, utc_ms=utc_ms, mono_ms=mono_ms)[0]

    def append_many(
        self, pairs: Sequence[tuple[str, object]], *, who: str, utc_ms: int, mono_ms: int
    ) -> list[Entry]:
        """Add several entries, kind and payload, in one transaction."""
        stamp = Stamp(who, utc_ms, mono_ms)
        requests = [Append(kind, plain_json(payload), stamp) for kind, payload in pairs]
        return cast("list[Entry]", self.write(requests))

    def put_blob(self, data: bytes) -> str:
        """Keep some bytes; return their SHA-256 in hex, for a payload to refer to."""
        return cast("str", self.write([PutBlob(data)])[0])

    def begin_pressing(self, pressing_id: str, number: int, about: object) -> None:
        """Note that a pressing has begun, with what a later `spooled` needs to seal it."""
        self.write([BeginPressing(pressing_id, number, plain_json(about))])

    def spool(self, pressing_id: str, data: bytes) -> None:
        """Add a chunk of an open pressing."""
        self.write([Chunk(pressing_id, data)])

    def seal_pressing(
        self, record: PressingRecord, trace: bytes, *, who: str, utc_ms: int, mono_ms: int
    ) -> Sealed:
        """End a pressing: its trace, entry and parts, and the end of its spool, at once."""
        return cast("Sealed", self.write([Seal(record, trace, Stamp(who, utc_ms, mono_ms))])[0])

    def put_segment(
        self,
        rate: str,
        start_utc_ms: int,
        end_utc_ms: int,
        trace: bytes,
        *,
        who: str,
        utc_ms: int,
        mono_ms: int,
    ) -> Entry:
        """Keep a stretch of trace outside pressings, of rate "rest" or "full"."""
        stamp = Stamp(who, utc_ms, mono_ms)
        return cast(
            "Entry", self.write([PutSegment(rate, start_utc_ms, end_utc_ms, trace, stamp)])[0]
        )

    def rebuild(self) -> None:
        """Make the lists anew from the journal."""
        with told(self.file), transaction(self._db):
            models.rebuild(self._db)

    def checkpoint(self) -> None:
        """Bring what is in the log into the file, as far as readers allow without waiting."""
        with told(self.file):
            self._db.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_PASSIVE)

    def close(self) -> None:
        """Bring the log into the file, so that the record is one file again, and let go."""
        try:
            self._db.set_busy_timeout(_CLOSE_BUSY_MS)
            self._db.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
        except apsw.Error:
            # A full disk or a reader: the log stays beside the file, and holds everything.
            with suppress(apsw.Error):
                self._db.config(apsw.SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1)
        finally:
            with suppress(apsw.Error):
                self._db.close()
            self._lock.release()


def _begin(db: apsw.Connection, *, simulated: bool) -> None:
    """Write the first entry of a new record: its origin, and whether it is simulated."""
    if journal.last_entry(db) is not None:
        return
    begin = Begin(
        simulated=simulated, software_version=__version__, sqlite_version=apsw.sqlite_lib_version()
    )
    with transaction(db):
        journal.append(
            db,
            secrets.token_hex(8),
            BEGIN,
            plain_json(begin),
            who="recorder",
            utc_ms=time.time_ns() // 1_000_000,
            mono_ms=time.monotonic_ns() // 1_000_000,
        )


def _check_kind(store: Store, *, simulated: bool) -> None:
    if store.simulated is simulated:
        return
    if store.simulated:
        template = N_(
            "{folder} holds a simulated record and takes no real press: give another --home"
        )
    else:
        template = N_(
            "{folder} holds the record of a real press and takes no simulation: give another --home"
        )
    raise InputError(template, folder=store.file.parent)
