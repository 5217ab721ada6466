"""The tables, as a list of migrations; a record from any earlier version opens for ever."""

from __future__ import annotations

APPLICATION_ID = 0x54574E59  # "TWNY" in the file's header

# journal: append only. The triggers stop a slip; the chain of hashes finds an edit.
# spool: the open pressing, outside the chain, gone once it is sealed.
# pressing, part, alarm, segment: read models, rebuilt from the journal at any time.
_FIRST = """
CREATE TABLE journal(
    seq INTEGER PRIMARY KEY,
    origin TEXT NOT NULL,
    kind TEXT NOT NULL,
    schema INTEGER NOT NULL,
    utc_ms INTEGER NOT NULL,
    mono_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    payload TEXT NOT NULL,
    prev BLOB NOT NULL CHECK(length(prev) = 32),
    hash BLOB NOT NULL CHECK(length(hash) = 32)
) STRICT;
CREATE TRIGGER journal_grows BEFORE INSERT ON journal
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM journal)
BEGIN SELECT raise(ABORT, 'the journal only grows at its end'); END;
CREATE TRIGGER journal_keeps BEFORE UPDATE ON journal
BEGIN SELECT raise(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER journal_stays BEFORE DELETE ON journal
BEGIN SELECT raise(ABORT, 'the journal is never shortened'); END;

CREATE TABLE blob(
    sha256 BLOB PRIMARY KEY CHECK(length(sha256) = 32),
    data BLOB NOT NULL
) STRICT;
CREATE TRIGGER blob_keeps BEFORE UPDATE ON blob
BEGIN SELECT raise(ABORT, 'a blob is never changed'); END;
CREATE TRIGGER blob_stays BEFORE DELETE ON blob
BEGIN SELECT raise(ABORT, 'a blob is never deleted'); END;

CREATE TABLE open_pressing(
    pressing_id TEXT PRIMARY KEY,
    number INTEGER NOT NULL,
    about TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE spool(
    place INTEGER PRIMARY KEY,
    pressing_id TEXT NOT NULL,
    data BLOB NOT NULL
) STRICT;

CREATE TABLE pressing(
    number INTEGER PRIMARY KEY,
    seq INTEGER NOT NULL REFERENCES journal(seq),
    trace BLOB NOT NULL REFERENCES blob(sha256),
    started_utc_ms INTEGER NOT NULL,
    ended_utc_ms INTEGER NOT NULL,
    result TEXT NOT NULL,
    recipe TEXT NOT NULL,
    recipe_version INTEGER NOT NULL,
    hold_s REAL NOT NULL,
    equivalent_s REAL,
    dose_gap INTEGER NOT NULL,
    peak_c REAL,
    mean_hold_c REAL,
    severity_min REAL,
    energy_kwh REAL NOT NULL,
    alarms TEXT NOT NULL,
    operator TEXT NOT NULL,
    lot TEXT NOT NULL,
    mould TEXT NOT NULL
) STRICT;
CREATE TABLE part(
    number INTEGER PRIMARY KEY,
    pressing INTEGER NOT NULL REFERENCES pressing(number),
    cavity INTEGER NOT NULL
) STRICT;
CREATE TABLE alarm(
    seq INTEGER PRIMARY KEY REFERENCES journal(seq),
    utc_ms INTEGER NOT NULL,
    mono_ms INTEGER NOT NULL,
    alarm TEXT NOT NULL,
    state TEXT NOT NULL,
    priority TEXT NOT NULL,
    pressing_id TEXT NOT NULL
) STRICT;
CREATE TABLE segment(
    seq INTEGER PRIMARY KEY REFERENCES journal(seq),
    rate TEXT NOT NULL,
    start_utc_ms INTEGER NOT NULL,
    end_utc_ms INTEGER NOT NULL,
    trace BLOB NOT NULL REFERENCES blob(sha256)
) STRICT;
CREATE INDEX segment_start ON segment(start_utc_ms);
"""

# Pressings sealed before had no such mark: their payload's default says the same.
_FIRST_OFF = """
ALTER TABLE pressing ADD COLUMN first_off INTEGER NOT NULL DEFAULT 0;
"""

MIGRATIONS: tuple[str, ...] = (_FIRST, _FIRST_OFF)
