"""Opens the record's file: checked, migrated, and safe against a power cut."""

from __future__ import annotations

from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

import apsw

from tawny.errors import N_, InputError, StoreError, StoreNewerError
from tawny.store.damage import damaged
from tawny.store.schema import APPLICATION_ID, MIGRATIONS
from tawny.store.trouble import read_only, told

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from apsw import Bindings

# 3.7.0 to 3.51.2 can lose committed rows when two connections checkpoint a log at once.
SQLITE_LEAST = (3, 51, 3)
BUSY_MS = 5000
_BAD_COPY = "the copy fails its check"
_FOREIGN = "its header is not that of a record of this program"
# Of a new record. A commit writes whole pages, one a second while pressing: smaller ones wear a
# memory card half as fast, and leave less room unused behind a trace of 6 kB.
PAGE_BYTES = 2048
LOG_MOST_BYTES = 16 << 20  # the log is cut back to this after a checkpoint


def sqlite_version() -> str:
    """Return the version of SQLite in use, as 3.54.1."""
    return apsw.sqlite_lib_version()


def check_sqlite(found: str | None = None) -> None:
    """Refuse a version of SQLite that can lose committed rows."""
    version = found or sqlite_version()
    if not tuple(int(part) for part in version.split(".")) >= SQLITE_LEAST:
        raise StoreError(
            N_("SQLite {found} can lose rows; {least} or later is needed: install apsw again"),
            found=version,
            least=".".join(map(str, SQLITE_LEAST)),
        )


def open_writer(
    file: Path,
    rebuild: Callable[[apsw.Connection], None],
    *,
    vfs: str = "",
    migrations: Sequence[str] = MIGRATIONS,
) -> apsw.Connection:
    """Open the record for its one writer, making or migrating its tables.

    Args:
        file: The record; made where there is none.
        rebuild: Fills the read models after a migration.
        vfs: Name of a registered SQLite file layer, "" for the system's own.
        migrations: The tables, version by version.

    Raises:
        StoreNewerError, StoreDamagedError, StoreFullError: As their names say.
    """
    check_sqlite()
    with told(file):
        db = apsw.Connection(str(file), vfs=vfs or None)
        try:
            _prepare(db, file, rebuild, migrations)
        except BaseException:
            with suppress(apsw.Error):  # what went wrong first is what counts
                db.close()
            raise
    return db


def _prepare(
    db: apsw.Connection,
    file: Path,
    rebuild: Callable[[apsw.Connection], None],
    migrations: Sequence[str],
) -> None:
    db.set_busy_timeout(BUSY_MS)  # before journal_mode, which may have to wait
    # Until the file is known to be sound, closing must not write into it.
    db.config(apsw.SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1)
    _check_sound(db, file, len(migrations))
    if db.readonly("main"):
        raise read_only(file)
    db.pragma("page_size", PAGE_BYTES)
    if db.pragma("journal_mode", "wal") != "wal":
        raise StoreError(
            N_("{file} can have no write-ahead log here; use a folder on a local disk (--home)"),
            file=file,
        )
    db.pragma("synchronous", "full")
    db.pragma("foreign_keys", 1)
    db.pragma("trusted_schema", 0)
    db.pragma("journal_size_limit", LOG_MOST_BYTES)
    db.config(apsw.SQLITE_DBCONFIG_DEFENSIVE, 1)
    migrate(db, file, rebuild, migrations)
    db.config(apsw.SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 0)


def open_reader(file: Path, *, known: int = len(MIGRATIONS)) -> apsw.Connection:
    """Open the record beside its writer: reads only, never checkpoints.

    A record on a read-only disk is read as it lies there, if no log waits beside it.
    """
    check_sqlite()
    if not file.exists():
        raise _no_record(file)
    with told(file, reading=True):
        try:
            return _open_reader(file, str(file), apsw.SQLITE_OPEN_READONLY, known)
        except (apsw.CantOpenError, apsw.ReadOnlyError):
            log = file.with_name(file.name + "-wal")
            if log.exists() and log.stat().st_size:
                raise
        name = f"{file.absolute().as_uri()}?immutable=1"
        return _open_reader(file, name, apsw.SQLITE_OPEN_READONLY | apsw.SQLITE_OPEN_URI, known)


def _no_record(file: Path) -> InputError:
    return InputError(
        N_("{folder} holds no record yet; give another with --home"), folder=file.parent
    )


def _open_reader(file: Path, name: str, flags: int, known: int) -> apsw.Connection:
    db = apsw.Connection(name, flags=flags)
    try:
        db.set_busy_timeout(BUSY_MS)
        _check_readable(db, file, known)
    except BaseException:
        db.close()
        raise
    return db


def _check_readable(db: apsw.Connection, file: Path, known: int) -> None:
    if _foreign(db):
        raise apsw.NotADBError(_FOREIGN)
    version = _check_version(db, file, known)
    if not version:  # a start that was cut off before it wrote anything
        raise _no_record(file)
    if version < known:
        raise StoreError(
            N_("{file} is of an earlier version ({found}, now {known}); start `tawny` on it once"),
            file=file,
            found=version,
            known=known,
        )


@contextmanager
def transaction(db: apsw.Connection) -> Iterator[None]:
    """Run a block as one transaction that takes the write lock at its start."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if not db.get_autocommit():  # a full disk has already rolled it back
            db.execute("ROLLBACK")
        raise


def rows(db: apsw.Connection, query: str, values: Bindings = ()) -> list[tuple[Any, ...]]:
    """Return every row of a query; the read is over when this returns."""
    return db.execute(query, values).fetchall()


def only(db: apsw.Connection, query: str, values: Bindings = ()) -> Any:
    """Return the one row of a query, its value alone where it has one column; None without."""
    return db.execute(query, values).get


def migrate(
    db: apsw.Connection,
    file: Path,
    rebuild: Callable[[apsw.Connection], None],
    migrations: Sequence[str] = MIGRATIONS,
) -> None:
    """Bring the tables up to date, each step in a transaction, after a copy of the old file."""
    found = _user_version(db)
    if 0 < found < len(migrations):
        kept = file.with_name(f"{file.name}.version-{found}")
        if not kept.exists():
            db.execute("VACUUM INTO ?", (str(kept),))
    for version in range(found, len(migrations)):
        with transaction(db):
            db.execute(migrations[version])
            if found and version + 1 == len(migrations):
                rebuild(db)
            db.pragma("application_id", APPLICATION_ID)
            db.pragma("user_version", version + 1)


def backup(db: apsw.Connection, to: Path) -> None:
    """Write a whole copy to a new file: made beside it, checked, then given its name."""
    if to.exists():
        raise InputError(N_("{file} is there already; give another name"), file=to)
    part = to.with_name(to.name + ".part")
    part.unlink(missing_ok=True)
    try:
        with told(to):
            db.execute("VACUUM INTO ?", (str(part),))
            copy = apsw.Connection(str(part), flags=apsw.SQLITE_OPEN_READONLY)
            try:
                if copy.pragma("integrity_check", 1) != "ok":
                    raise apsw.CorruptError(_BAD_COPY)
            finally:
                copy.close()
        part.rename(to)
    finally:
        part.unlink(missing_ok=True)


def _check_sound(db: apsw.Connection, file: Path, known: int) -> None:
    try:
        if _foreign(db):
            report = _FOREIGN
        else:
            _check_version(db, file, known)
            report = db.pragma("quick_check", 1)
    except (apsw.CorruptError, apsw.NotADBError) as error:
        raise damaged(file, str(error)) from error
    if report != "ok":
        raise damaged(file, " ".join(str(report).split()))


def _foreign(db: apsw.Connection) -> bool:
    """Return whether the file holds tables that are not ours; an empty one is nobody's."""
    tables = only(db, "SELECT count(*) FROM sqlite_schema")
    return bool(tables) and db.pragma("application_id") != APPLICATION_ID


def _check_version(db: apsw.Connection, file: Path, known: int) -> int:
    version = _user_version(db)
    if version > known:
        raise StoreNewerError(
            N_(
                "{file} has record version {found}, this program reads up to {known}:"
                " install the later program"
            ),
            file=file,
            found=version,
            known=known,
        )
    return version


def _user_version(db: apsw.Connection) -> int:
    return int(db.pragma("user_version"))
